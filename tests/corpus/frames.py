"""The two sets of pictures, each frame made on demand from its seed."""

import enum
from collections.abc import Iterator

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tests.corpus import damage, scenes
from tests.corpus.damage import Damage
from tests.corpus.scenes import Pose, Scene


class Split(enum.IntEnum):
    """Which seeds: those to tune on, or those that nothing was ever tuned on."""

    TUNING = 20_461
    SPENT = 77_003
    """The first hold-out. It showed a bar code read wrong, which changed what is believed: no hold-out any more."""
    HOLD_OUT = 90_217


class Kind(enum.StrEnum):
    """What is in a picture. `NOTHING` is there for wrong reads: whatever is read in it is one."""

    DATA_MATRIX = "Data Matrix"
    CODE_128 = "Code 128"
    QR = "QR"
    DOT_PEEN = "dot peen"
    NOTHING = "nothing"


class Frame(Struct, frozen=True):
    """One picture as the decoder gets it, and what is in it."""

    kind: Kind
    damage: str
    severity: float
    grey: NDArray[np.uint8]
    data: bytes | None


_LABEL_DAMAGE: dict[str, Damage] = {
    "blur": damage.blur,
    "motion": damage.motion,
    "low contrast": damage.pale,
    "noise": damage.noise,
    "glare": damage.glare,
    "uneven light": damage.shade,
    "perspective": damage.tilt,
    "occlusion": damage.burn,
    "low resolution": damage.far,
    "inverted": damage.inverted,
    "clutter": damage.none,
    "ink loss": damage.none,
    "ink spread": damage.none,
    "JPEG": damage.jpeg,
    "mixed": damage.grease,
}
_METAL_DAMAGE: dict[str, Damage] = {
    "dark dots": damage.none,
    "light dots": damage.none,
    "shaded dots": damage.none,
    "blur": damage.blur,
    "low contrast": damage.pale,
    "noise": damage.noise,
    "uneven light": damage.shade,
    "perspective": damage.none,
}
_MILD = 0.35
"""Damage on top of a dot-peen mark is kept small: the dots are the damage."""
_SIZES: dict[Split, dict[Kind, int]] = {
    Split.TUNING: {Kind.DATA_MATRIX: 24, Kind.CODE_128: 12, Kind.QR: 8, Kind.DOT_PEEN: 10, Kind.NOTHING: 48},
    Split.SPENT: {Kind.DATA_MATRIX: 53, Kind.CODE_128: 25, Kind.QR: 15, Kind.DOT_PEEN: 20, Kind.NOTHING: 100},
    Split.HOLD_OUT: {Kind.DATA_MATRIX: 53, Kind.CODE_128: 25, Kind.QR: 15, Kind.DOT_PEEN: 20, Kind.NOTHING: 100},
}


def made(split: Split, kinds: tuple[Kind, ...] = tuple(Kind), each: int | None = None) -> Iterator[Frame]:
    """The frames of a set, those of one damage together; `each` for fewer of every damage than the whole set has."""
    for kind in kinds:
        count = each or _SIZES[split][kind]
        for name in _names(kind):
            for index in range(count):
                yield _frame(split, kind, name, index, count)


def _names(kind: Kind) -> tuple[str, ...]:
    if kind is Kind.NOTHING:
        return ("none",)
    return tuple(_METAL_DAMAGE if kind is Kind.DOT_PEEN else _LABEL_DAMAGE)


def _frame(split: Split, kind: Kind, name: str, index: int, count: int) -> Frame:
    rng = np.random.default_rng((split, list(Kind).index(kind), _names(kind).index(name), index))
    severity = float((index + rng.random()) / count)
    if kind is Kind.NOTHING:
        scene = scenes.empty(rng)
    elif kind is Kind.DOT_PEEN:
        scene = _METAL_DAMAGE[name](rng, _metal(rng, name, severity), _MILD * severity)
    else:
        scene = _LABEL_DAMAGE[name](rng, damage.ordinary(rng, _label(rng, kind, name, severity)), severity)
    grey = np.clip(damage.taken(rng, scene).grey, 0, 255).astype(np.uint8)
    return Frame(kind, name, severity, grey, scene.data)


def _label(rng: np.random.Generator, kind: Kind, name: str, severity: float) -> Scene:
    draw = {Kind.DATA_MATRIX: scenes.data_matrix, Kind.QR: scenes.qr, Kind.CODE_128: scenes.code_128}[kind]
    drawn = draw(rng)
    pose = _pose(rng, drawn[1].shape, name, severity)
    ink_gain = {"ink loss": -severity, "ink spread": severity}.get(name, 0)
    return scenes.labelled(rng, drawn, pose, crowded=severity if name == "clutter" else 0, ink_gain=ink_gain)


def _metal(rng: np.random.Generator, name: str, severity: float) -> Scene:
    drawn = scenes.data_matrix(rng)
    pose = _pose(rng, drawn[1].shape, name, severity * _MILD, metal=True)
    light = name == "light dots" or (name != "dark dots" and bool(rng.random() < 0.5))
    return scenes.pecked(rng, drawn, pose, light=light, shaded=severity if name == "shaded dots" else 0)


def _pose(rng: np.random.Generator, shape: tuple[int, ...], name: str, severity: float, *, metal: bool = False) -> Pose:
    """Most symbols are held about upright, any side up, and fill 60 to 180 pixels of the picture.

    Bars fill 300 to 440. For a pecked mark people go closer: 90 to 260.
    """
    widest = max(shape)
    linear = widest > 2 * min(shape)
    least, most = (300, 440) if linear else (90, 260) if metal else (60, 180)
    module_px = float(np.clip(rng.uniform(least, most) / widest, 1.5, 12))
    degrees = rng.uniform(-25, 25) if linear else rng.choice((0, 90, 180, 270)) + rng.uniform(-10, 10)
    lean = 0.03
    if name == "perspective":
        degrees, lean = rng.uniform(0, 360), 0.03 + 0.5 * severity
    middle = (320 + rng.uniform(-25, 25), 240 + rng.uniform(-20, 20))
    return Pose(module_px, float(degrees), lean, middle)
