"""A printed label lying on a bench, as somebody would photograph it. Pure: an image from a drawing and seeded chance."""

import io
from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter, ImageFont

PHOTO = (1024, 768)

Colour = tuple[int, int, int]
Pixels = NDArray[np.float32]


class Stock(Struct, frozen=True):
    """What a label is printed on: its colour, and how much its grain shows."""

    paper: Colour
    ink: Colour
    grain: float
    hole: bool = False


WHITE = Stock((240, 239, 233), (28, 28, 32), 3.0)
FOIL = Stock((203, 205, 207), (30, 30, 34), 5.0)
TAG = Stock((226, 204, 140), (36, 32, 28), 5.5, hole=True)


class Sheet(Struct, frozen=True):
    """What is printed: the symbol as modules of one pixel, and the lines that people read."""

    modules: NDArray[np.uint8]
    linear: bool
    heading: str
    lines: tuple[tuple[str, str], ...]
    foot: str
    stock: Stock


def printed(sheet: Sheet) -> Image.Image:
    """The label as it comes from the printer, flat and clean."""
    return _linear(sheet) if sheet.linear else _square(sheet)


def _square(sheet: Sheet) -> Image.Image:
    module_px = max(5, 230 // len(sheet.modules))
    symbol = _symbol(sheet, module_px, module_px)
    margin, quiet = 34, 4 * module_px
    left = margin + (70 if sheet.stock.hole else 0)
    beside = left + symbol.width + quiet + 18
    height = max(symbol.height + 2 * quiet, 96 + 50 * len(sheet.lines) + 46)
    label, draw = _blank(sheet, (beside + _text_width(sheet) + margin, height))
    label.paste(symbol, (left, (height - symbol.height) // 2 + 8))
    _write(draw, sheet, beside)
    return label


def _linear(sheet: Sheet) -> Image.Image:
    symbol = _symbol(sheet, 4, 2)
    left = 104 if sheet.stock.hole else 44
    width = left + max(symbol.width + 76, _text_width(sheet) + 46)
    top = 96 + 50 * len(sheet.lines)
    label, draw = _blank(sheet, (width, top + symbol.height + 86))
    label.paste(symbol, (left + (width - left - symbol.width) // 2, top))
    _write(draw, sheet, left)
    return label


def _symbol(sheet: Sheet, wide_px: int, high_px: int) -> Image.Image:
    dark = np.kron(sheet.modules < 128, np.ones((high_px, wide_px), dtype=bool))
    drawn = np.where(dark[..., None], np.array(sheet.stock.ink), np.array(sheet.stock.paper))
    return Image.fromarray(drawn.astype(np.uint8))


def _blank(sheet: Sheet, size: tuple[int, int]) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    label = Image.new("RGB", size, sheet.stock.paper)
    draw = ImageDraw.Draw(label)
    if sheet.stock.hole:
        middle = size[1] // 2
        draw.ellipse((22, middle - 26, 74, middle + 26), fill=(176, 142, 84))
        draw.ellipse((34, middle - 14, 62, middle + 14), fill=(48, 46, 44))
    return label, draw


def _write(draw: ImageDraw.ImageDraw, sheet: Sheet, left: int) -> None:
    ink = sheet.stock.ink
    faint = tuple((3 * dark + light) // 4 for dark, light in zip(ink, sheet.stock.paper, strict=True))
    draw.text((left, 22), sheet.heading, fill=ink, font=_font(27), stroke_width=1)
    draw.line((left, 66, left + _text_width(sheet), 66), fill=ink, width=2)
    for row, (name, value) in enumerate(sheet.lines):
        y = 80 + 50 * row
        draw.text((left, y + 12), name, fill=faint, font=_font(20))
        draw.text((left + _NAME_PX, y), value, fill=ink, font=_font(35))
    foot = 84 + 50 * len(sheet.lines) if not sheet.linear else draw.im.size[1] - 44
    draw.text((left, foot), sheet.foot, fill=faint, font=_font(18))


_NAME_PX = 78


def _text_width(sheet: Sheet) -> int:
    values = (_NAME_PX + _font(35).getlength(value) for _, value in sheet.lines)
    return int(max(_font(27).getlength(sheet.heading) + 6, _font(18).getlength(sheet.foot), *values)) + 6


def _font(size: int) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size)
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise TypeError("Pillow was built without FreeType: labels can't be lettered")
    return font


def photograph(label: Image.Image, stock: Stock, seed: Sequence[int], damage: float) -> bytes:
    """A JPEG of the label on a bench; `damage` from 0 (a scan) to 1 (a quick shot in poor light)."""
    rng = np.random.default_rng(seed)
    bench = _bench(rng)
    corners, size = _laid(rng, label.size, damage)
    worn = _worn(rng, label, stock, damage)
    mask = _warp(Image.new("L", label.size, 255), corners, size).filter(ImageFilter.GaussianBlur(0.7))
    shadow = Image.fromarray(np.roll(np.asarray(mask), (9, 7), (0, 1))).filter(ImageFilter.GaussianBlur(9))
    scene = Image.composite(Image.new("RGB", PHOTO, (14, 14, 16)), bench, shadow.point(lambda each: int(each * 0.55)))
    scene.paste(_warp(worn, corners, size), (0, 0), mask)
    lit = np.asarray(scene, dtype=np.float32) * _light(rng, damage)[..., None]
    blurred = Image.fromarray(_bytes(lit)).filter(ImageFilter.GaussianBlur(0.5 + 0.7 * damage))
    noisy = np.asarray(blurred, dtype=np.float32) + rng.normal(0, 1 + 3.5 * damage, (PHOTO[1], PHOTO[0], 1))
    kept = io.BytesIO()
    Image.fromarray(_bytes(noisy)).save(kept, "JPEG", quality=int(90 - 10 * damage))
    return kept.getvalue()


def _bench(rng: np.random.Generator) -> Image.Image:
    """A work mat, a wooden top or a metal sheet, with its dirt."""
    base, along = _TOPS[int(rng.integers(len(_TOPS)))]
    stretch = (PHOTO[1], 6) if along else (PHOTO[1] // 2, PHOTO[0] // 2)
    grain = _smooth(rng, stretch) * 10 + _smooth(rng, (5, 7)) * 7 + rng.normal(0, 3, (PHOTO[1], PHOTO[0]))
    image = Image.fromarray(_bytes(np.array(base, dtype=np.float32) + grain[..., None]))
    if not along:
        draw = ImageDraw.Draw(image)
        step, offset = 96, int(rng.integers(96))
        line = tuple(each + 16 for each in base)
        for at in range(offset, PHOTO[0], step):
            draw.line((at, 0, at, PHOTO[1]), fill=line, width=2)
        for at in range(offset // 2, PHOTO[1], step):
            draw.line((0, at, PHOTO[0], at), fill=line, width=2)
    return image


_TOPS: tuple[tuple[Colour, bool], ...] = (
    ((58, 82, 98), False),
    ((146, 112, 78), True),
    ((126, 129, 132), True),
    ((62, 88, 74), False),
)


def _laid(
    rng: np.random.Generator, size: tuple[int, int], damage: float
) -> tuple[list[tuple[float, float]], tuple[int, int]]:
    """Where the four corners of the label come to lie: turned a little, and seen a little from the side."""
    width, height = size
    turn = np.radians(rng.uniform(2, 9) * rng.choice((-1, 1)) * (0.3 + 0.7 * damage))
    scale = min(1.0, 0.86 * PHOTO[0] / width, 0.8 * PHOTO[1] / height)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    flat = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) * scale / 2
    tilt = 1 + rng.uniform(-0.035, 0.035, (4, 1)) * damage
    middle = np.array(PHOTO) / 2 + rng.uniform(-30, 30, 2)
    return [(float(x), float(y)) for x, y in (flat * tilt) @ spin.T + middle], size


def _warp(image: Image.Image, corners: list[tuple[float, float]], size: tuple[int, int]) -> Image.Image:
    width, height = size
    sources = ((0, 0), (width, 0), (width, height), (0, height))
    rows, wanted = [], []
    for (x, y), (u, v) in zip(corners, sources, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        wanted += [u, v]
    found = [float(each) for each in np.linalg.solve(np.array(rows), np.array(wanted))]
    return image.transform(PHOTO, Image.Transform.PERSPECTIVE, found, Image.Resampling.BICUBIC)


def _worn(rng: np.random.Generator, label: Image.Image, stock: Stock, damage: float) -> Image.Image:
    """Paper grain, stains, uneven ink and a few scratches."""
    height, width = label.height, label.width
    pixels = np.asarray(label, dtype=np.float32)
    grain = rng.normal(0, stock.grain, (height, width)) + _smooth(rng, (5, 8), (width, height)) * 7 * damage
    ink = 1 - pixels.mean(axis=2) / 255
    faded = np.clip(_smooth(rng, (7, 11), (width, height)), 0, 1) * 46 * damage * ink
    worn = Image.fromarray(_bytes(pixels + (grain + faded)[..., None]))
    draw = ImageDraw.Draw(worn)
    for _ in range(int(4 * damage)):
        x, y = int(rng.integers(width)), int(rng.integers(height))
        reach = rng.integers(-90, 90, 2)
        draw.line((x, y, x + int(reach[0]), y + int(reach[1]) // 3), fill=tuple(each - 26 for each in stock.paper))
    return worn


def _light(rng: np.random.Generator, damage: float) -> Pixels:
    """A lamp at one side: bright there, darker away from it, with a soft spot."""
    across = np.linspace(-1, 1, PHOTO[0], dtype=np.float32)[None, :]
    down = np.linspace(-1, 1, PHOTO[1], dtype=np.float32)[:, None]
    angle = rng.uniform(0, 2 * np.pi)
    slope = (across * np.cos(angle) + down * np.sin(angle)) * 0.24 * damage
    x, y = rng.uniform(-0.9, 0.9, 2)
    spot = 0.16 * damage * np.exp(-((across - x) ** 2 + (down - y) ** 2) / 0.3)
    corners = 0.12 * (across**2 + down**2)
    lit: Pixels = (0.92 + slope + spot - corners).astype(np.float32)
    return lit


def _smooth(rng: np.random.Generator, cells: tuple[int, int], size: tuple[int, int] = PHOTO) -> Pixels:
    """Slow variation between about -1 and 1, from a few cells enlarged."""
    coarse = Image.fromarray(rng.uniform(-1, 1, cells).astype(np.float32), "F")
    return np.asarray(coarse.resize(size, Image.Resampling.BICUBIC), dtype=np.float32)


def _bytes(pixels: NDArray[np.floating]) -> NDArray[np.uint8]:
    kept: NDArray[np.uint8] = np.clip(pixels, 0, 255).astype(np.uint8)
    return kept
