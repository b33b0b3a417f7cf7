"""Two decoders that share no code, and files turned back into pixels without the programs that drew them."""

import io
import re
import warnings
import zlib

import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray
from PIL import Image

Grey = NDArray[np.uint8]


def zxing(grey: Grey) -> list[bytes]:
    """What one decoder reads."""
    return [bytes(each.bytes) for each in zxingcpp.read_barcodes(grey) if each.valid]


def dmtx(grey: Grey) -> list[bytes]:
    """What another one reads (libdmtx); skips the test where its library is not installed."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # it compares versions with a module that Python gave up
        decoder = pytest.importorskip(
            "pylibdmtx.pylibdmtx", reason="needs libdmtx (apt-get install libdmtx0b)", exc_type=ImportError
        )
    return [each.data for each in decoder.decode(Image.fromarray(grey), max_count=1, timeout=5000)]


def padded(dark: NDArray[np.bool_]) -> Grey:
    """Dark modules on white paper, with room around them and enough pixels a module."""
    return np.where(np.kron(np.pad(dark, 12), np.ones((2, 2), dtype=bool)), 0, 255).astype(np.uint8)


def png(data: bytes) -> Grey:
    """The pixels of a PNG."""
    with Image.open(io.BytesIO(data)) as image:
        return padded(~np.asarray(image))


def svg(data: bytes) -> Grey:
    """The path of an SVG, filled on the grid of its own units."""
    text = data.decode()
    (width, height), path = re.findall(r'viewBox="0 0 (\d+) (\d+)"', text)[0], re.findall(r'<path d="([^"]+)"', text)[0]
    dark = np.zeros((int(height), int(width)), dtype=bool)
    for x, y, across, down, back in re.findall(r"M(\d+) (\d+)h(\d+)v(\d+)h-(\d+)z", path):
        assert across == back
        dark[int(y) : int(y) + int(down), int(x) : int(x) + int(across)] = True
    return padded(dark)


def pdf(data: bytes, dpi: int) -> list[Grey]:
    """The filled rectangles of each page of a PDF, at a printer's resolution."""
    width, height = (float(each) for each in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data)[0])
    pages = []
    for packed in re.findall(rb"/Filter .*?stream\n(.*?)\nendstream", data, re.DOTALL):
        stream = zlib.decompress(packed).decode("latin-1")
        boxes = re.findall(r"(-?[\d.]+) (-?[\d.]+) (-?[\d.]+) (-?[\d.]+) re f", stream)
        dark = np.zeros((round(height / 72 * dpi), round(width / 72 * dpi)), dtype=bool)
        for box in boxes:
            left, bottom, across, up = (round(float(each) / 72 * dpi) for each in box)
            top = round(height / 72 * dpi) - bottom - max(up, 0)
            dark[top : top + abs(up), left : left + across] = True
        pages.append(padded(dark))
    return pages
