"""An image to the symbols in it. The only place that knows the decoder."""

import io
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import zxingcpp
from msgspec import Struct
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from scanner_client import ladder, levels, readings
from scanner_client.ladder import Look, Sight, Threshold, Wanted
from scanner_client.levels import Pixels
from scanner_client.readings import Channel, Reading

MOST_PIXELS = 50_000_000
"""Photos of today's phones have up to this many; anything bigger is more likely made to fill the memory."""
FRAME_BUDGET_S = 0.05
"""For one picture of a running camera. The next one comes soon and may be better."""
PHOTO_BUDGET_S = 2.0
"""For a photo, which is all there is."""
_MOST_SEEN_PIXELS = 12_000_000
_MOST_CLIMBED_PIXELS = 1_300_000
"""The ladder works on no more than this: a symbol that fills half of a photo has modules enough at that size."""

_READABLE_FILES = ("PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP", "PPM")
_MATRIX = (zxingcpp.BarcodeFormat.DataMatrix, zxingcpp.BarcodeFormat.QRCode)
_LINEAR = (zxingcpp.BarcodeFormat.Code128, zxingcpp.BarcodeFormat.Code39)
_FORMATS = {
    Wanted.ANY: zxingcpp.BarcodeFormats([*_MATRIX, *_LINEAR]),
    Wanted.MATRIX: zxingcpp.BarcodeFormats([*_MATRIX]),
    Wanted.LINEAR: zxingcpp.BarcodeFormats([*_LINEAR]),
    Wanted.STRIP: zxingcpp.BarcodeFormats([*_LINEAR]),
    Wanted.DRAWN: zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.DataMatrix]),
}
_THRESHOLDS = {
    Threshold.LOCAL: zxingcpp.Binarizer.LocalAverage,
    Threshold.GLOBAL: zxingcpp.Binarizer.GlobalHistogram,
}
_EXIF_ORIENTATION = 0x0112
_EXIF_WAYS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""Exif 2.3, tag Orientation (from memory); JPEG from phones, held upright, has 6."""
_HEIF_BRANDS = (b"heic", b"heix", b"mif1", b"heim", b"msf1")


class UnreadableError(Exception):
    """An image that gives no scan. `code` is stable; the text says what, where, and what to do."""

    def __init__(self, code: str, where: str, what: str, to_do: str) -> None:
        """Keep the parts for scripts and join them for people."""
        super().__init__(f"{where}: {what} {to_do}")
        self.code, self.where, self.what, self.to_do = code, where, what, to_do


class Seen(Struct, frozen=True):
    """What a picture gave: what is sure, and bar codes that a single look gave, which another picture may confirm."""

    sure: tuple[Reading, ...]
    unsure: tuple[Reading, ...] = ()


def scans(
    image: bytes, where: str, channel: Channel = Channel.PHOTO, budget_s: float = PHOTO_BUDGET_S
) -> tuple[Reading, ...]:
    """Every different symbol in an image, in the order found. `where` names the image in errors."""
    seen = read(pixels(image, where), channel, budget_s)
    if seen.sure:
        return seen.sure
    if seen.unsure:
        raise UnreadableError(
            "unsure_symbol",
            where,
            "a bar code can be read in it, but too badly to be sure of every character.",
            "Take the picture again, sharper and with the bars upright; or type the mark.",
        )
    raise UnreadableError(
        "no_symbol",
        where,
        "no Data Matrix, QR, Code 128 or Code 39 symbol can be read in it.",
        "Let the symbol fill about half of the picture, square to it, without glare; or type the mark.",
    )


def frame(image: bytes, where: str, budget_s: float = FRAME_BUDGET_S) -> Seen:
    """What one picture of a running camera shows, as far as it can be found in the time; often nothing."""
    return read(pixels(image, where), Channel.CAMERA, budget_s, aimed=True)


def read(
    grey: Pixels,
    channel: Channel = Channel.PHOTO,
    budget_s: float = PHOTO_BUDGET_S,
    clock: Callable[[], float] = time.monotonic,
    *,
    aimed: bool = False,
) -> Seen:
    """Look at a picture as it is, then up the ladder until all that was found is sure or the time is over.

    With `aimed` the reticle is looked at first: a third of the pixels, and what people hold there is what they mean.
    The time is asked before each look: one that has begun is finished. Whatever the budget, the first look is taken.
    """
    if not grey.size:
        return Seen(())
    over = clock() + budget_s
    first = ladder.reticle(grey) if aimed else _within(grey, _MOST_SEEN_PIXELS)
    sights = list(_sights(Look("as it is", first, Wanted.ANY), channel))
    if not ladder.settled(sights):
        for wanted, looks in _climbs(grey, aimed=aimed):
            _climb(wanted, looks, channel, sights, lambda: clock() >= over)
            if clock() >= over or ladder.settled(sights):
                break
    return Seen(ladder.believed(sights), ladder.doubted(sights))


def scan(image: bytes, where: str, channel: Channel = Channel.PHOTO) -> Reading:
    """The one symbol in an image; several different ones are an error, since picking one would be a guess."""
    found = scans(image, where, channel)
    if len(found) > 1:
        listed = "; ".join(each.shown for each in found)
        raise UnreadableError(
            "several_symbols",
            where,
            f"there are {len(found)} different symbols in it: {listed}.",
            "Cover the others or go closer, so that only the one you mean is in the picture.",
        )
    reason = readings.fault(found[0])
    if reason:
        raise UnreadableError("unusable_symbol", where, reason, "")
    return found[0]


def pixels(image: bytes, where: str) -> Pixels:
    """The grey levels of an image file. Transparent parts count as white paper."""
    if not image:
        raise UnreadableError("not_an_image", where, "the file is empty.", "Take the picture again.")
    try:
        with Image.open(io.BytesIO(image), formats=_READABLE_FILES) as opened:
            width, height = opened.size
            if width * height > MOST_PIXELS:
                raise _too_big(where, f"{width} x {height} pixels")
            opened.load()
            return _grey(opened)
    except UnidentifiedImageError:
        raise _not_an_image(image, where) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_big(where, "far too many pixels") from None
    except (OSError, SyntaxError, ValueError, EOFError, MemoryError) as error:
        raise UnreadableError(
            "damaged_image",
            where,
            f"the image is cut off or damaged ({error}).",
            "It was probably not copied to the end: copy it or take it again.",
        ) from None


def _climbs(grey: Pixels, *, aimed: bool) -> Iterator[tuple[Wanted, Iterator[Look]]]:
    """The ladders of a picture; of a big photo those of its middle as well, where a small symbol keeps its pixels."""
    whole = _within(grey, _MOST_CLIMBED_PIXELS)
    yield from ladder.climbs(whole, aimed=aimed)
    if whole.size < grey.size:
        side = int(_MOST_CLIMBED_PIXELS**0.5)
        top, left = (max(0, (each - side) // 2) for each in grey.shape)
        yield from ladder.climbs(np.ascontiguousarray(grey[top : top + side, left : left + side]), aimed=True)


def _climb(
    wanted: Wanted, looks: Iterator[Look], channel: Channel, sights: list[Sight], is_over: Callable[[], bool]
) -> None:
    """Add what one ladder shows. Once a bar code waits to be confirmed, looks for matrix symbols are of no use."""
    while not is_over() and not ladder.settled(sights) and not (sights and wanted is Wanted.MATRIX):
        look = next(looks, None)
        if look is None:
            return
        sights.extend(_sights(look, channel))


def _within(grey: Pixels, most_pixels: int) -> Pixels:
    factor = 1
    while grey.size > most_pixels * factor**2:
        factor += 1
    return levels.reduced(grey, factor) if factor > 1 else grey


def _sights(look: Look, channel: Channel) -> Iterator[Sight]:
    # Only the bytes are the symbol's own: the decoder's text shows separators as pictures of themselves.
    searched = look.wanted not in (Wanted.STRIP, Wanted.DRAWN)
    found = zxingcpp.read_barcodes(
        np.ascontiguousarray(look.pixels),
        formats=_FORMATS[look.wanted],
        try_rotate=searched,
        try_downscale=searched,
        try_invert=searched,
        is_pure=look.wanted is Wanted.DRAWN,
        binarizer=_THRESHOLDS[look.threshold],
        text_mode=zxingcpp.TextMode.Plain,
    )
    for each in found:
        if each.valid and each.bytes:
            reading = Reading(bytes(each.bytes), each.symbology_identifier or None, channel)
            yield Sight(look.name, reading, look.part, _box(each.position))


def _box(place: zxingcpp.Position) -> ladder.Box:
    corners = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
    across, down = [each.x for each in corners], [each.y for each in corners]
    return min(across), min(down), max(across), max(down)


def _grey(opened: Image.Image) -> Pixels:
    """The first picture of a file, upright, its levels from 0 to 255."""
    if opened.mode.startswith("I;16"):
        return (np.asarray(opened) >> 8).astype(np.uint8)
    if opened.mode in ("I", "F"):
        return _stretched(np.asarray(opened))
    if opened.mode in ("RGBA", "LA", "PA") or "transparency" in opened.info:
        seen = opened.convert("LA" if opened.mode == "LA" else "RGBA")
        paper = Image.new("L", seen.size, 255)
        paper.paste(seen.convert("L"), mask=seen.getchannel("A"))
        return np.asarray(_upright(paper, opened))
    return np.asarray(_upright(opened.convert("L"), opened))


def _stretched(levels_found: NDArray[Any]) -> Pixels:
    """Levels of an open scale, as scientific cameras write them: what there is, from black to white."""
    known = np.nan_to_num(levels_found.astype(np.float32))
    dark, light = float(known.min()), float(known.max())
    stretched: Pixels = ((known - dark) * (255 / max(light - dark, 1e-9))).astype(np.uint8)
    return stretched


def _upright(grey: Image.Image, opened: Image.Image) -> Image.Image:
    """Turned as the camera says it was held. A mirrored picture would be none of a symbol."""
    way = _EXIF_WAYS.get(opened.getexif().get(_EXIF_ORIENTATION, 1))
    return grey if way is None else grey.transpose(way)


def _too_big(where: str, size: str) -> UnreadableError:
    return UnreadableError(
        "too_big",
        where,
        f"the image has {size}; the most that is read is {MOST_PIXELS // 1_000_000} million.",
        "Take it at a lower resolution or cut out the part with the symbol.",
    )


def _not_an_image(image: bytes, where: str) -> UnreadableError:
    if image[4:8] == b"ftyp" and image[8:12] in _HEIF_BRANDS:
        return UnreadableError(
            "not_an_image",
            where,
            "this is a HEIF photo, which is not read here.",
            "Set the phone's camera to JPEG, or export the photo as JPEG.",
        )
    return UnreadableError(
        "not_an_image",
        where,
        "this is not an image that can be read.",
        "Give a PNG, JPEG, WebP, TIFF, BMP or GIF file.",
    )
