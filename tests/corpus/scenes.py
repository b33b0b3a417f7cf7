"""A symbol in front of a camera: modules drawn on a label or pecked into metal, lying on a bench. Undamaged."""

from collections.abc import Callable

import numpy as np
import zxingcpp
from msgspec import Struct
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter, ImageFont

FRAME = (640, 480)
DRAWN_PX = 8
"""A module on the label before the camera sees it."""

Grey = NDArray[np.float32]
Modules = NDArray[np.bool_]


class Pose(Struct, frozen=True):
    """How the symbol lies in the picture: pixels to a module, degrees turned, how far its corners lean out of a square."""

    module_px: float
    degrees: float
    lean: float
    middle: tuple[float, float]


class Scene(Struct, frozen=True):
    """A picture, what its symbol says (None: there is none), and where it lies: four corners in pixels, (x, y)."""

    grey: Grey
    data: bytes | None
    pose: Pose
    corners: NDArray[np.float64]

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of the symbol, in pixels (x, y)."""
        x, y = self.corners.mean(axis=0)
        return float(x), float(y)

    @property
    def reach_px(self) -> float:
        """Half of the symbol's shorter side, in pixels."""
        sides = np.linalg.norm(self.corners - np.roll(self.corners, 1, axis=0), axis=1)
        return float(sides.min()) / 2


def data_matrix(rng: np.random.Generator) -> tuple[bytes, Modules]:
    """A square Data Matrix: a bare serial, a serial with its part number, or a whole ISO/IEC 15434 message."""
    serial = _text(rng, int(rng.integers(5, 11)))
    part = _text(rng, int(rng.integers(6, 11)))
    data = str(rng.choice((serial, f"{part} {serial}", f"[)>\x1e06\x1d17VZZZ9\x1d1P{part}\x1dS{serial}\x1e\x04")))
    return data.encode(), _modules(data, zxingcpp.BarcodeFormat.DataMatrix)


def code_128(rng: np.random.Generator) -> tuple[bytes, Modules]:
    """A bar code of a serial, a quarter as high as it is wide."""
    data = _text(rng, int(rng.integers(6, 12)))
    row = _modules(data, zxingcpp.BarcodeFormat.Code128)[:1]
    return data.encode(), np.repeat(row, row.shape[1] // 4, axis=0)


def qr(rng: np.random.Generator) -> tuple[bytes, Modules]:
    """A QR symbol of a serial, or of a link."""
    data = str(rng.choice((_text(rng, 12), f"https://bench.invalid/t/{_text(rng, 14)}")))
    return data.encode(), _modules(data, zxingcpp.BarcodeFormat.QRCode)


def labelled(
    rng: np.random.Generator, drawn: tuple[bytes, Modules], pose: Pose, *, crowded: float = 0, ink_gain: float = 0
) -> Scene:
    """A printed label with the symbol and some lettering.

    `crowded` from 0 to 1 lets things into the quiet zone; `ink_gain` from -1 (dark modules are lonely dots) to 1 (they
    run into each other) is how the printer was set.
    """
    data, modules = drawn
    paper, ink = rng.uniform(190, 240), rng.uniform(15, 60)
    quiet = round(DRAWN_PX * (10 if _linear(modules) else 2.5) * (1 - 0.55 * crowded))
    symbol = _printed(modules, ink_gain)
    margin = quiet + 14 * DRAWN_PX
    label = Image.new("L", (symbol.width + 2 * margin, symbol.height + 2 * margin), int(paper))
    draw = ImageDraw.Draw(label)
    label.paste(int(ink), (margin, margin), symbol)
    _lettering(rng, draw, label.size, margin - quiet, int(ink))
    if crowded:
        _crowd(rng, draw, (margin, margin, margin + symbol.width, margin + symbol.height), int(ink), crowded)
    return _seen(rng, label, (margin, margin, symbol.width, symbol.height), data, pose, _bench(rng))


def pecked(rng: np.random.Generator, drawn: tuple[bytes, Modules], pose: Pose, *, light: bool, shaded: float) -> Scene:
    """A symbol pecked dot by dot into brushed metal; `light` dots shine, `shaded` ones have a bright rim on one side."""
    data, modules = drawn
    metal = rng.uniform(95, 150)
    depth = rng.uniform(45, 80) * (1 if light else -1)
    margin = 6 * DRAWN_PX
    high, wide = (each * DRAWN_PX + 2 * margin for each in modules.shape)
    grain = rng.normal(0, 1, (high, 1)) * 2 + rng.normal(0, 3, (high, wide))
    plate = (metal + grain).astype(np.float32)
    across, down = np.meshgrid(np.arange(wide), np.arange(high))
    radius = rng.uniform(0.29, 0.37) * DRAWN_PX
    sun = rng.uniform(0, 2 * np.pi)
    dots, rims = np.zeros((high, wide), np.float32), np.zeros((high, wide), np.float32)
    for row, column in np.argwhere(modules):
        y, x = (np.array((row, column)) + 0.5 + rng.normal(0, 0.04, 2)) * DRAWN_PX + margin
        size = radius * rng.normal(1, 0.08)
        near = np.hypot(across - x, down - y)
        rim = np.hypot(across - x - np.cos(sun) * size * 0.7, down - y - np.sin(sun) * size * 0.7)
        np.maximum(dots, np.clip(size + 0.5 - near, 0, 1) * rng.uniform(0.8, 1), out=dots)
        np.maximum(rims, np.clip(size * 0.6 - rim, 0, 1), out=rims)
    plate += depth * (dots - 0.9 * shaded * rims)
    label = Image.fromarray(np.clip(plate, 0, 255).astype(np.uint8))
    box = (margin, margin, wide - 2 * margin, high - 2 * margin)
    return _seen(rng, label, box, data, pose, np.full(_AREA, metal, np.float32))


def empty(rng: np.random.Generator) -> Scene:
    """A picture without a symbol, full of what looks like parts of one: lettering, bars, dots, a board of squares."""
    image = Image.fromarray(np.clip(_bench(rng), 0, 255).astype(np.uint8))
    draw = ImageDraw.Draw(image)
    draw.rectangle((90, 70, 1190, 890), fill=int(rng.uniform(150, 240)))
    _EMPTY[int(rng.integers(len(_EMPTY)))](rng, draw)
    pose = Pose(4, 0, 0, (320, 240))
    grey = np.asarray(image.reduce(2), np.float32)
    return Scene(grey, None, pose, np.array(((200, 120), (440, 120), (440, 360), (200, 360)), float))


_AREA = (2 * FRAME[1], 2 * FRAME[0])


def _text(rng: np.random.Generator, length: int) -> str:
    return "".join(rng.choice(list("ABCDEFGHJKLMNPRSTUVWXYZ0123456789-"), length))


def _modules(data: str, kind: zxingcpp.BarcodeFormat) -> Modules:
    options = {"force_square": True} if kind == zxingcpp.BarcodeFormat.DataMatrix else {}
    made = zxingcpp.create_barcode(data, kind, **options)
    seen = np.array(made.to_image(scale=1, add_quiet_zones=False)) < 128
    rows, columns = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    cut: Modules = seen[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return cut


def _linear(modules: Modules) -> bool:
    return bool((modules == modules[:1]).all())


def _printed(modules: Modules, ink_gain: float) -> Image.Image:
    """The symbol with every dark module up to 0.6 smaller or 0.7 bigger than it ought to be; bars in width only."""
    across = DRAWN_PX * (1 + (0.6 if ink_gain < 0 else 0.7) * ink_gain)
    rise = (DRAWN_PX - 1) / 2 if _linear(modules) else (across - 1) / 2
    image = Image.new("1", (modules.shape[1] * DRAWN_PX, modules.shape[0] * DRAWN_PX))
    draw = ImageDraw.Draw(image)
    for row, column in np.argwhere(modules):
        y, x = (row + 0.5) * DRAWN_PX - 0.5, (column + 0.5) * DRAWN_PX - 0.5
        draw.rectangle((x - (across - 1) / 2, y - rise, x + (across - 1) / 2, y + rise), fill=1)
    return image


def _lettering(
    rng: np.random.Generator, draw: ImageDraw.ImageDraw, size: tuple[int, int], margin: int, ink: int
) -> None:
    letters = ImageFont.load_default(round(0.45 * margin))
    for y in (0.2 * margin, size[1] - 0.75 * margin):
        draw.text((0.3 * margin, y), f"PN {_text(rng, 9)}  SN {_text(rng, 6)}", fill=ink, font=letters)


def _crowd(
    rng: np.random.Generator, draw: ImageDraw.ImageDraw, box: tuple[int, int, int, int], ink: int, crowded: float
) -> None:
    """A frame line, letters and specks close to the symbol; the nearer, the more crowded it is."""
    left, top, right, bottom = box
    gap = DRAWN_PX * (1.5 - 1.5 * crowded)
    sides = (
        (left - gap, top - 20, left - gap, bottom + 20),
        (left - 20, top - gap, right + 20, top - gap),
        (right + gap, top - 20, right + gap, bottom + 20),
        (left - 20, bottom + gap, right + 20, bottom + gap),
    )
    for side in rng.permutation(4)[: 1 + round(2.4 * crowded)]:
        draw.line(sides[side], fill=ink, width=max(2, DRAWN_PX // 2))
    for _ in range(round(10 * crowded)):
        x, y = rng.uniform(left - 2 * DRAWN_PX, right + 2 * DRAWN_PX), rng.choice((top - gap * 1.2, bottom + gap * 1.2))
        size = DRAWN_PX * rng.uniform(0.2, 0.5)
        draw.ellipse((x - size, y - size, x + size, y + size), fill=ink)


def _seen(
    rng: np.random.Generator,
    label: Image.Image,
    box: tuple[int, int, int, int],
    data: bytes,
    pose: Pose,
    behind: Grey,
) -> Scene:
    """Lay the label down as the pose says. Drawn at twice the size, so that edges come out soft as through a lens."""
    scale = 2 * pose.module_px / DRAWN_PX
    turn = np.radians(pose.degrees)
    spin = np.array(((np.cos(turn), np.sin(turn)), (-np.sin(turn), np.cos(turn)))) * scale
    middle = np.array((box[0] + box[2] / 2, box[1] + box[3] / 2))
    flat = (_corners((0, 0, *label.size)) - middle) @ spin
    leaning = flat * (1 + rng.uniform(-pose.lean, pose.lean, (4, 1))) + np.array(pose.middle) * 2
    back = _projection(leaning, _corners((0, 0, *label.size)))
    size = (_AREA[1], _AREA[0])
    drawn = label.transform(size, Image.Transform.PERSPECTIVE, list(back.flat)[:8], Image.Resampling.BICUBIC)
    where = Image.new("L", label.size, 255).transform(size, Image.Transform.PERSPECTIVE, list(back.flat)[:8])
    whole = np.where(np.asarray(where) > 127, np.asarray(drawn, np.float32), behind)
    grey = np.asarray(Image.fromarray(np.clip(whole, 0, 255).astype(np.uint8)).reduce(2), np.float32)
    forth = np.linalg.inv(back)
    seen = np.column_stack((_corners(box), np.ones(4))) @ forth.T
    return Scene(grey, data, pose, seen[:, :2] / seen[:, 2:] / 2)


def _corners(box: tuple[int, int, int, int]) -> NDArray[np.float64]:
    left, top, width, height = box
    return np.array(((left, top), (left + width, top), (left + width, top + height), (left, top + height)), float)


def _projection(seen: NDArray[np.float64], flat: NDArray[np.float64]) -> NDArray[np.float64]:
    """The matrix that leads from points of the picture back to points of the label."""
    rows, wanted = [], []
    for (x, y), (u, v) in zip(seen, flat, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        wanted += [u, v]
    found: NDArray[np.float64] = np.append(np.linalg.solve(np.array(rows), np.array(wanted)), 1).reshape(3, 3)
    return found


def _bench(rng: np.random.Generator) -> Grey:
    coarse = Image.fromarray(rng.uniform(-1, 1, (6, 8)).astype(np.float32))
    slow = np.asarray(coarse.resize(_AREA[::-1], Image.Resampling.BICUBIC))
    grained: Grey = (rng.uniform(60, 140) + 18 * slow + rng.normal(0, 3, _AREA)).astype(np.float32)
    return grained


def _bars(rng: np.random.Generator, draw: ImageDraw.ImageDraw) -> None:
    x = 250.0
    while x < 1000:
        wide, gap = rng.integers(1, 5, 2) * 4.2
        draw.rectangle((x, 300, x + wide, 560), fill=30)
        x += wide + gap


def _squares(rng: np.random.Generator, draw: ImageDraw.ImageDraw) -> None:
    side = int(rng.integers(8, 18))
    count = int(rng.integers(10, 26))
    for row, column in np.argwhere(rng.random((count, count)) < 0.5):
        x, y = 430 + column * side, 260 + row * side
        draw.rectangle((x, y, x + side - 1, y + side - 1), fill=30)
    draw.rectangle((430 - side, 260, 430, 260 + count * side), fill=30)
    draw.rectangle((430 - side, 260 + count * side, 430 + count * side, 260 + (count + 1) * side), fill=30)


def _dots(rng: np.random.Generator, draw: ImageDraw.ImageDraw) -> None:
    for x, y in rng.uniform((200, 200), (1080, 760), (400, 2)):
        draw.ellipse((x - 5, y - 5, x + 5, y + 5), fill=30)


def _lines(rng: np.random.Generator, draw: ImageDraw.ImageDraw) -> None:
    letters = ImageFont.load_default(34)
    for row in range(16):
        draw.text((140, 90 + 48 * row), _text(rng, 40), fill=40, font=letters)


_EMPTY: tuple[Callable[[np.random.Generator, ImageDraw.ImageDraw], None], ...] = (_bars, _squares, _dots, _lines)


def softened(grey: Grey, sigma_px: float) -> Grey:
    """A blur as of a lens."""
    image = Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)).filter(ImageFilter.GaussianBlur(sigma_px))
    return np.asarray(image, np.float32)
