"""Which sizes a printer can do: modules of whole dots, that read back, and on a sleeve that a camera sees at once."""

import math

from service.labels import simulation, symbols
from service.labels.symbols import LabelError, Symbol

MM_PER_INCH = 25.4
LEAST_UNUSED_CORRECTION = 0.5
"""Grade B of ISO/IEC 15415 (from memory), in the simulated pictures."""
SEEN_OF_CIRCUMFERENCE = 1 / 3
"""How much of a sleeve a camera is taken to see at once. A rule of ours: beyond it the modules at the sides narrow to half.
It is the most that is tried; the simulated picture of the bent label decides, and often asks for less."""

_MOST_DOTS = 40
_WIDER = 1.06


def snapped(module_mm: float, dpi: int) -> int:
    """The whole dots of a printer that come nearest to a module's size; at least one."""
    return max(1, round(module_mm * dpi / MM_PER_INCH))


def size_mm(dots: int, dpi: int) -> float:
    """How wide so many dots are."""
    return dots * MM_PER_INCH / dpi


def quality(symbol: Symbol, dots: int, dpi: int, sleeve_mm: float | None = None) -> float:
    """The error correction that is left unused in the second worst of the simulated pictures; 0 where it can't be read.

    One picture may fail by chance, since a camera takes many of them.
    """
    lowest: list[float] = []
    for grey in simulation.pictures(symbol, dots, size_mm(dots, dpi), sleeve_mm):
        lowest = sorted([*lowest, symbols.unused_correction(symbol, grey)])[:2]
        if lowest[-1] < LEAST_UNUSED_CORRECTION and len(lowest) > 1:
            break
    return lowest[-1]


def chosen_dots(symbol: Symbol, module_mm: float, dpi: int, sleeve_mm: float | None = None) -> int:
    """Dots a module, checked. Raises `LabelError` where the label would not read back or not be seen, with what would."""
    dots = snapped(module_mm, dpi)
    if sleeve_mm is not None and symbol.side * size_mm(dots, dpi) > _seen_mm(sleeve_mm):
        raise LabelError(
            f"on a sleeve of {sleeve_mm:g} mm a camera sees {_seen_mm(sleeve_mm):.1f} mm at once, and this symbol of "
            f"{symbol.side} modules is {_mm(symbol.side * dots, dpi)} wide at {_mm(dots, dpi)} a module; "
            f"{_what_fits(symbol, dpi, sleeve_mm)}"
        )
    if not _reads(symbol, dots, dpi, sleeve_mm):
        where = "a simulated print" if sleeve_mm is None else f"a simulated print round a sleeve of {sleeve_mm:g} mm"
        would = _what_reads(symbol, dots, dpi) if sleeve_mm is None else _what_fits(symbol, dpi, sleeve_mm)
        told = f"a module of {_mm(dots, dpi)} ({dots} dots at {dpi} dpi) does not read back from {where}"
        raise LabelError(f"{told}; {would}")
    return dots


def _reads(symbol: Symbol, dots: int, dpi: int, sleeve_mm: float | None = None) -> bool:
    return quality(symbol, dots, dpi, sleeve_mm) >= LEAST_UNUSED_CORRECTION


def _seen_mm(sleeve_mm: float) -> float:
    return math.pi * sleeve_mm * SEEN_OF_CIRCUMFERENCE


def _smallest(symbol: Symbol, least: int, dpi: int) -> int | None:
    return next((each for each in range(least, _MOST_DOTS + 1) if _reads(symbol, each, dpi)), None)


def _what_reads(symbol: Symbol, dots: int, dpi: int) -> str:
    larger = _smallest(symbol, dots + 1, dpi)
    return "no larger one does either" if larger is None else f"{_mm(larger, dpi)} ({larger} dots) does"


def _what_fits(symbol: Symbol, dpi: int, sleeve_mm: float) -> str:
    """The widest module that reads back on a sleeve, or else the sleeve that it would take."""
    most = min(_MOST_DOTS, math.floor(_seen_mm(sleeve_mm) / symbol.side / size_mm(1, dpi)))
    fitting = next((each for each in range(most, 0, -1) if _reads(symbol, each, dpi, sleeve_mm)), None)
    if fitting is not None:
        return f"{_mm(fitting, dpi)} a module fits and reads back"
    smallest = _smallest(symbol, 1, dpi)
    if smallest is None:
        return "no module that this printer prints reads back"
    wider_mm = max(sleeve_mm, symbol.side * size_mm(smallest, dpi) / math.pi / SEEN_OF_CIRCUMFERENCE)
    while not _reads(symbol, smallest, dpi, wider_mm):
        wider_mm *= _WIDER
    wider_mm = math.ceil(wider_mm)
    return (
        f"nothing that fits reads back at {dpi} dpi: use a sleeve of {wider_mm:g} mm with {_mm(smallest, dpi)} a module, a "
        "printer with more dots, or a flag beside the cable"
    )


def _mm(dots: int, dpi: int) -> str:
    return f"{size_mm(dots, dpi):.3g} mm"
