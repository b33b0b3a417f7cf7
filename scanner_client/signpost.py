"""A sheet that points to an address: a QR code with the words that belong to it, as SVG."""

from collections.abc import Iterator, Sequence

import numpy as np
import zxingcpp
from numpy.typing import NDArray

from service.core.markup import Markup, element, text

_QUIET_MODULES = 4
"""Light modules on each side (ISO/IEC 18004, from memory)."""
_MODULE, _LINE, _LETTER = 8, 26, 15


def drawing(address: str, words: Sequence[str]) -> Markup:
    """The code of an address and, below it, the address and the words. Raises ValueError where it is too long for a code."""
    dark = _modules(address)
    lines = (address, *words)
    side = (len(dark) + 2 * _QUIET_MODULES) * _MODULE
    width = max(side, max(map(len, lines)) * 9 + 2 * _LINE)
    height = side + _LINE * (len(lines) + 1)
    left = (width - side) // 2 + _QUIET_MODULES * _MODULE
    return element(
        "svg",
        element("title", text(f"QR code of {address}")),
        element("desc", text(" ".join(lines))),
        element("rect", width=width, height=height, fill="#ffffff"),
        element("path", d=" ".join(_squares(dark, left, _QUIET_MODULES * _MODULE)), fill="#000000"),
        *(_written(each, width // 2, side + _LINE * (at + 1)) for at, each in enumerate(lines)),
        role="img",
        viewBox=f"0 0 {width} {height}",
        width=width,
        height=height,
        xmlns="http://www.w3.org/2000/svg",
    )


def _modules(address: str) -> NDArray[np.bool_]:
    made = zxingcpp.create_barcode(address, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    return np.asarray(np.asarray(made.to_image(scale=1, add_quiet_zones=False)) == 0, dtype=np.bool_)


def _squares(dark: NDArray[np.bool_], left: int, top: int) -> Iterator[str]:
    for row, column in np.argwhere(dark).tolist():
        yield f"M{left + column * _MODULE} {top + row * _MODULE}h{_MODULE}v{_MODULE}h-{_MODULE}z"


def _written(line: str, x: int, y: int) -> Markup:
    return element(
        "text", text(line), x=x, y=y, text_anchor="middle", font_family="monospace", font_size=_LETTER, fill="#000000"
    )
