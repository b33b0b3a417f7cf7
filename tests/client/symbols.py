"""Images with symbols in them, made for the tests."""

import io

import numpy as np
import zxingcpp
from PIL import Image

# The check message of facts on MIL-STD-130: an enterprise, a part number, a serial, in format 06.
MESSAGE = b"[)>\x1e06\x1d17V0CVA5\x1d1P1234\x1dS786950\x1e\x04"


def symbol(data: str, kind: zxingcpp.BarcodeFormat = zxingcpp.BarcodeFormat.DataMatrix, scale: int = 6) -> Image.Image:
    """One symbol with its quiet zone."""
    options = {"force_square": True} if kind == zxingcpp.BarcodeFormat.DataMatrix else {}
    made = zxingcpp.create_barcode(data, kind, **options)
    assert made.symbology_identifier, "the encoder made a symbol"
    return Image.fromarray(np.array(made.to_image(scale=scale)))


def page(*symbols: Image.Image) -> Image.Image:
    """Symbols beside each other on white paper."""
    width = sum(each.width + 40 for each in symbols) + 40
    paper = Image.new("L", (width, max(each.height for each in symbols) + 80), 255)
    left = 40
    for each in symbols:
        paper.paste(each, (left, 40))
        left += each.width + 40
    return paper


def encoded(image: Image.Image, kind: str = "PNG") -> bytes:
    """The bytes of an image file."""
    held = io.BytesIO()
    image.save(held, kind)
    return held.getvalue()
