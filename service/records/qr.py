"""QR codes: made and read back before anything is drawn."""

import numpy as np
import zxingcpp

QUIET_MODULES = 4
"""Light modules on each side (ISO/IEC 18004, from memory)."""
_FORMATS = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode])


class SymbolError(Exception):
    """A text that no QR code of ours can carry."""


def rows(text: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of a code with a quarter of it to spare, true where dark. Raises `SymbolError` where it doesn't read back."""
    try:
        made = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level="Q")
    except ValueError as error:
        raise SymbolError(f"this can't be encoded as one QR code: {error}") from error
    dark = np.asarray(made.to_image(scale=1, add_quiet_zones=False)) == 0
    drawn = np.kron(np.pad(dark, QUIET_MODULES), np.ones((4, 4), dtype=bool))
    found = zxingcpp.read_barcodes(np.where(drawn, 0, 255).astype(np.uint8), formats=_FORMATS)
    if [each.text for each in found if each.valid] != [text]:
        raise SymbolError("the QR code does not read back as what it should hold")
    return tuple(tuple(map(bool, row)) for row in dark)
