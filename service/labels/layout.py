"""A label laid out on the printer's dots: the symbol on the left, its lines beside it. Everything is in whole dots."""

import math

from msgspec import Struct

from service.labels import printing, symbols
from service.labels.content import Content
from service.labels.symbols import Symbol

TEXT_MM = 2.0
"""Height of the letters with their room."""
LINE_MM = 2.4
MARGIN_MM = 0.8
"""White around everything; the symbol's quiet zone is besides."""
CHARACTER_WIDTH = 0.6
"""Of a fixed-width letter, by its height."""


class Label(Struct, frozen=True):
    """A label that was checked: it reads back at `dpi` with `dots` a module, and leaves `quality` of its correction unused."""

    symbol: Symbol
    lines: tuple[str, ...]
    dots: int
    dpi: int
    quality: float

    @property
    def module_mm(self) -> float:
        """The size of a module as it is printed."""
        return printing.size_mm(self.dots, self.dpi)

    @property
    def margin(self) -> int:
        """White around everything, in dots."""
        return self._dots(MARGIN_MM)

    @property
    def origin(self) -> tuple[int, int]:
        """Where the first module begins: dots from the left and from the top."""
        quiet = symbols.QUIET_MODULES * self.dots
        return self.margin + quiet, (self.height - self.symbol.side * self.dots) // 2 + quiet

    @property
    def text_height(self) -> int:
        """Height of the letters in dots."""
        return self._dots(TEXT_MM)

    @property
    def width(self) -> int:
        """The whole label in dots."""
        longest = max((len(each) for each in self.lines), default=0)
        text = self.margin + self.text_width(longest) if longest else 0
        return 2 * self.margin + self.symbol.side * self.dots + text

    @property
    def height(self) -> int:
        """The whole label in dots."""
        return 2 * self.margin + max(self.symbol.side * self.dots, len(self.lines) * self._dots(LINE_MM))

    def text_width(self, characters: int) -> int:
        """How wide so many letters are, in dots."""
        return math.ceil(characters * CHARACTER_WIDTH * self.text_height)

    def line_place(self, number: int) -> tuple[int, int]:
        """Where the base line of a line of text begins, in dots."""
        pitch = self._dots(LINE_MM)
        top = (self.height - len(self.lines) * pitch) // 2
        return 2 * self.margin + self.symbol.side * self.dots, top + number * pitch + round(0.8 * self.text_height)

    def dark_runs(self) -> list[tuple[int, int, int, int]]:
        """The dark modules as rectangles of whole rows: left, top, width, height in dots."""
        left, top = self.origin
        return [
            (left + start * self.dots, top + row * self.dots, length * self.dots, self.dots)
            for row, modules in enumerate(self.symbol.rows)
            for start, length in _runs(modules)
        ]

    def _dots(self, size_mm: float) -> int:
        return round(size_mm * self.dpi / printing.MM_PER_INCH)


def label(content: Content, module_mm: float, dpi: int, sleeve_mm: float | None = None) -> Label:
    """A label to print. Raises `LabelError` where it would not read back or be seen, with what would."""
    symbol = symbols.data_matrix(content.text)
    dots = printing.chosen_dots(symbol, module_mm, dpi, sleeve_mm)
    return Label(symbol, content.lines, dots, dpi, printing.quality(symbol, dots, dpi, sleeve_mm))


def _runs(modules: tuple[bool, ...]) -> list[tuple[int, int]]:
    """Where each run of dark modules in a row begins, and its length."""
    found: list[tuple[int, int]] = []
    for at, dark in enumerate(modules):
        if not dark:
            continue
        if found and sum(found[-1]) == at:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        else:
            found.append((at, 1))
    return found
