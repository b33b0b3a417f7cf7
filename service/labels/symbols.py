"""Data Matrix symbols: square, and read back before anything is drawn."""

from typing import Any

import numpy as np
import zxingcpp
from msgspec import Struct
from numpy.typing import NDArray

QUIET_MODULES = 1
"""Light modules on each side (ISO/IEC 16022, from memory)."""

_FORMATS = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.DataMatrix])


class LabelError(Exception):
    """A label that would not do its work: says why, and what would."""


class Symbol(Struct, frozen=True):
    """A symbol as rows of modules, true where dark, without its quiet zone."""

    text: str
    rows: tuple[tuple[bool, ...], ...]

    @property
    def modules(self) -> int:
        """Modules of a side, without the quiet zone."""
        return len(self.rows)

    @property
    def side(self) -> int:
        """Modules of a side with the quiet zone."""
        return self.modules + 2 * QUIET_MODULES


def data_matrix(text: str) -> Symbol:
    """Encode a text. Raises `LabelError` where the encoder can't, or made something else than was asked."""
    try:
        made = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    except ValueError as error:
        raise LabelError(f"this can't be encoded as one Data Matrix symbol: {error}") from error
    dark = np.asarray(made.to_image(scale=1, add_quiet_zones=False)) == 0
    symbol = Symbol(text, tuple(tuple(map(bool, row)) for row in dark))
    if dark.shape[0] != dark.shape[1]:
        raise LabelError("the encoder made a rectangle of what must be square")
    if unused_correction(symbol, _clean(dark)) < 1:
        raise LabelError("the symbol does not read back as what it should hold")
    return symbol


def unused_correction(symbol: Symbol, grey: NDArray[np.uint8]) -> float:
    """How much of the error correction reading the symbol from an image leaves unused: 1 all, 0 where it can't be read."""
    found = zxingcpp.read_barcodes(grey, formats=_FORMATS)
    if [bytes(each.bytes) for each in found if each.valid] != [symbol.text.encode()]:
        return 0.0
    extra: Any = found[0].extra
    return float(extra.get("UEC", 0))


def _clean(dark: NDArray[np.bool_]) -> NDArray[np.uint8]:
    drawn = np.kron(np.pad(dark, QUIET_MODULES), np.ones((4, 4), dtype=bool))
    return np.where(drawn, 0, 255).astype(np.uint8)
