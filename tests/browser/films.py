"""Films for the browser's fake camera: concatenated JPEG pictures of a bench on which a symbol appears.

Each film begins with an empty bench. A patch in the upper left corner, outside of the reticle, is black while there is
no symbol and white while there is one, so that a page can tell when the symbol has come.
"""

import io
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import numpy as np
import zxingcpp
from msgspec import Struct
from numpy.typing import NDArray
from PIL import Image

from tests.corpus import damage, scenes
from tests.corpus.scenes import Pose, Scene

RATE = 30
"""Pictures in a second, as Chromium plays them."""
_CORNER_PX = 24
_TAKES = 6
"""So many pictures of a scene, each with a noise of its own; a sensor never gives one twice."""
_QUALITY = 90
_SERIAL, _OTHER = b"SN-20417", b"SN-33862"
_NAMED = "[)>\x1e06\x1d17V0CVA5\x1d1PFILM-7\x1dS20417\x1e\x04"


class Film(Struct, frozen=True):
    """What is seen once the bench is no longer empty, and which symbols must be told: bytes and AIM identifier."""

    name: str
    scene: Callable[[], Scene]
    told: frozenset[tuple[bytes, str]]


def _rng(seed: int) -> np.random.Generator:
    return np.random.default_rng((31_007, seed))


def _message() -> tuple[bytes, NDArray[np.bool_]]:
    """A whole ISO/IEC 15434 message that names a connector: its GS, RS and EOT must come through."""
    made = zxingcpp.create_barcode(_NAMED, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    return _NAMED.encode(), np.array(made.to_image(scale=1, add_quiet_zones=False)) == 0


def _label(seed: int, drawn: tuple[bytes, NDArray[np.bool_]], reach_px: float, degrees: float = 5) -> Scene:
    rng = _rng(seed)
    pose = Pose(reach_px / max(drawn[1].shape), degrees, 0.03, (322, 238))
    return damage.ordinary(rng, scenes.labelled(rng, drawn, pose))


def _clean() -> Scene:
    return _label(2, _message(), 150)


def _degraded() -> Scene:
    rng = _rng(10)
    return damage.noise(rng, damage.blur(rng, _label(10, _message(), 130), 0.45), 0.1)


def _pecked() -> Scene:
    drawn = _message()
    pose = Pose(190 / max(drawn[1].shape), 6, 0.03, (318, 243))
    return scenes.pecked(_rng(4), drawn, pose, light=True, shaded=0)


def _bars() -> Scene:
    return _label(5, scenes.code_128(_rng(5)), 400, -8)


def _qr() -> Scene:
    return _label(6, scenes.qr(_rng(6)), 140)


def _two() -> Scene:
    """Two serials on one label."""
    paper = np.full((480, 640), 215, np.float32)
    for text, left in ((_SERIAL, 130), (_OTHER, 380)):
        made = zxingcpp.create_barcode(text.decode(), zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
        drawn = np.array(made.to_image(scale=7), np.float32)
        paper[180 : 180 + len(drawn), left : left + len(drawn[0])] = 30 + drawn * (185 / 255)
    corners = np.array(((130, 180), (500, 180), (500, 300), (130, 300)), float)
    return Scene(scenes.softened(paper, 0.8), _SERIAL, Pose(7, 0, 0, (320, 240)), corners)


def _told(data: bytes, symbology: str) -> frozenset[tuple[bytes, str]]:
    return frozenset({(data, symbology)})


_MESSAGE = _message()[0]
FILMS = (
    Film("Data Matrix, clean", _clean, _told(_MESSAGE, "]d1")),
    Film("Data Matrix, degraded", _degraded, _told(_MESSAGE, "]d1")),
    Film("Data Matrix, dot peen", _pecked, _told(_MESSAGE, "]d1")),
    Film("Code 128", _bars, _told(scenes.code_128(_rng(5))[0], "]C0")),
    Film("QR", _qr, _told(scenes.qr(_rng(6))[0], "]Q1")),
    Film("two in view", _two, frozenset({(_SERIAL, "]d1"), (_OTHER, "]d1")})),
)


def takes(film: Film) -> Iterator[NDArray[np.uint8]]:
    """The pictures of a film's scene, which differ by their noise."""
    scene = film.scene()
    for take in range(_TAKES):
        yield _picture(scene, _rng(1000 + take))


def written(film: Film, folder: Path, empty_s: float, shown_s: float) -> Path:
    """A film as a file: so long an empty bench, then so long the symbol. The camera plays it again and again."""
    bare = [_jpeg(_picture(_bare(), _rng(2000 + take)), 0) for take in range(_TAKES)]
    shown = [_jpeg(each, 255) for each in takes(film)]
    return _joined(
        folder / f"{film.name.replace(', ', '-').replace(' ', '-')}.mjpeg", ((bare, empty_s), (shown, shown_s))
    )


def clutter(folder: Path, each_s: float) -> Path:
    """A film without a symbol, full of what looks like parts of one; scene after scene."""
    shots = []
    for seed in range(12):
        scene = scenes.empty(_rng(3000 + seed))
        shots.append(([_jpeg(_picture(scene, _rng(4000 + take)), 0) for take in range(_TAKES)], each_s))
    return _joined(folder / "nothing.mjpeg", tuple(shots))


def _joined(path: Path, shots: tuple[tuple[list[bytes], float], ...]) -> Path:
    with path.open("wb") as file:
        for pictures, length_s in shots:
            for place in range(round(length_s * RATE)):
                file.write(pictures[place % len(pictures)])
    return path


def _bare() -> Scene:
    """The bench with nothing on it."""
    rng = _rng(9)
    slow = Image.fromarray(rng.uniform(80, 140, (6, 8)).astype(np.float32)).resize(
        scenes.FRAME, Image.Resampling.BICUBIC
    )
    corners = np.array(((200, 120), (440, 120), (440, 360), (200, 360)), float)
    return Scene(np.asarray(slow, np.float32), None, Pose(4, 0, 0, (320, 240)), corners)


def _picture(scene: Scene, rng: np.random.Generator) -> NDArray[np.uint8]:
    still = msgspec.structs.replace(scene, grey=scene.grey.astype(np.float32))
    return np.clip(damage.taken(rng, still).grey, 0, 255).astype(np.uint8)


def _jpeg(grey: NDArray[np.uint8], corner: int) -> bytes:
    marked = grey.copy()
    marked[:_CORNER_PX, :_CORNER_PX] = corner
    held = io.BytesIO()
    Image.fromarray(marked).convert("RGB").save(held, "JPEG", quality=_QUALITY)
    return held.getvalue()
