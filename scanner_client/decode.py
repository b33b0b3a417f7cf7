"""An image to the symbols in it. The only place that knows the decoder."""

import io
from collections.abc import Iterator

import numpy as np
import zxingcpp
from msgspec import Struct
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from scanner_client import readings
from scanner_client.readings import Channel, Reading

MOST_PIXELS = 50_000_000
"""Photos of today's phones have up to this many; anything bigger is more likely made to fill the memory."""
MOST_UPSCALED_PIXELS = 12_000_000

_READABLE_FILES = ("PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP", "PPM")
_FORMATS = zxingcpp.BarcodeFormats(
    [
        zxingcpp.BarcodeFormat.DataMatrix,
        zxingcpp.BarcodeFormat.QRCode,
        zxingcpp.BarcodeFormat.Code128,
        zxingcpp.BarcodeFormat.Code39,
    ]
)
_HEIF_BRANDS = (b"heic", b"heix", b"mif1", b"heim", b"msf1")


class UnreadableError(Exception):
    """An image that gives no scan. `code` is stable; the text says what, where, and what to do."""

    def __init__(self, code: str, where: str, what: str, to_do: str) -> None:
        """Keep the parts for scripts and join them for people."""
        super().__init__(f"{where}: {what} {to_do}")
        self.code, self.where, self.what, self.to_do = code, where, what, to_do


class Try(Struct, frozen=True):
    """One way of looking at an image: enlarge (2), as it is (1), or halve (0.5)."""

    scale: float


LADDER = (Try(1), Try(2), Try(0.5))


def scans(image: bytes, where: str, channel: Channel = Channel.PHOTO) -> tuple[Reading, ...]:
    """Every different symbol in an image, in the order found. `where` names the image in errors."""
    grey = pixels(image, where)
    for seen in _looks(grey):
        found = tuple(dict.fromkeys(_read(seen, channel)))
        if found:
            return found
    raise UnreadableError(
        "no_symbol",
        where,
        "no Data Matrix, QR, Code 128 or Code 39 symbol can be read in it.",
        "Let the symbol fill about half of the picture, square to it, without glare; or type the mark.",
    )


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


def pixels(image: bytes, where: str) -> NDArray[np.uint8]:
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


def _looks(grey: NDArray[np.uint8]) -> Iterator[NDArray[np.uint8]]:
    height, width = grey.shape
    for each in LADDER:
        if each.scale == 1:
            yield grey
            continue
        if each.scale > 1 and grey.size > MOST_UPSCALED_PIXELS:
            continue
        size = (max(1, round(width * each.scale)), max(1, round(height * each.scale)))
        yield np.asarray(Image.fromarray(grey).resize(size, Image.Resampling.BICUBIC))


def _read(grey: NDArray[np.uint8], channel: Channel) -> Iterator[Reading]:
    # Only the bytes are the symbol's own: the decoder's text shows separators as pictures of themselves.
    found = zxingcpp.read_barcodes(np.ascontiguousarray(grey), formats=_FORMATS, text_mode=zxingcpp.TextMode.Plain)
    for each in found:
        if each.valid and each.bytes:
            yield Reading(bytes(each.bytes), each.symbology_identifier or None, channel)


def _grey(opened: Image.Image) -> NDArray[np.uint8]:
    if opened.mode.startswith("I;16"):
        return (np.asarray(opened) >> 8).astype(np.uint8)
    if opened.mode in ("RGBA", "LA", "PA") or "transparency" in opened.info:
        seen = opened.convert("RGBA")
        paper = Image.new("RGBA", seen.size, "white")
        return np.asarray(Image.alpha_composite(paper, seen).convert("L"))
    return np.asarray(opened.convert("L"))


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
