"""A report on paper: a PDF table on A4, with what it is, its filters and its moment. The same rows give the same bytes."""

from collections.abc import Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from fpdf import FPDF
from fpdf.enums import XPos, YPos

from service.messages import DECIDES
from service.reports import tables
from service.reports.tables import Cell, Head, Table

_MADE = datetime(2000, 1, 1, tzinfo=UTC)
_FONT = "Helvetica"
_TEXT_PT, _LINE_MM, _PAD_MM = 7, 3.2, 0.8
_MARGIN_MM, _FOOT_MM = 10, 12
_ENCODING = "latin-1"
_PAGES = "{pages}"


class Paper:
    """Writes a PDF, some rows at a time."""

    def __init__(self, table: Table, head: Head) -> None:
        self._table, self._head = table, head
        self._places = table.places()
        self._pdf = _Pages(head)
        across_mm = self._pdf.epw / sum(each.width for each in table.printed)
        self._widths = [each.width * across_mm for each in table.printed]
        # Serials and times are many, but places, part numbers and figures come again and again.
        self._wrapped = lru_cache(maxsize=4_096)(self._wrap)

    def begin(self) -> bytes:
        """What the report is, and the headings; the bytes come at the end."""
        pdf = self._pdf
        pdf.add_page()
        pdf.set_font(_FONT, "B", 13)
        pdf.multi_cell(0, 6, encodable(self._head.title), new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        pdf.set_font(_FONT, "", 8)
        asked = "; ".join(f"{name}: {told}" for name, told in self._head.filters) or "none, all is shown"
        told = (f"As of {tables.text(self._head.as_of)}. All times are in UTC.", f"Filters: {asked}", *self._head.notes)
        for each in told:
            pdf.multi_cell(0, 4, encodable(each), new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        pdf.ln(2)
        self._headings()
        return b""

    def add(self, rows: Sequence[Any]) -> bytes:
        """Rows; the bytes come at the end."""
        for row in rows:
            cells = self._table.cells(row)
            marked = tables.unverified(self._places, cells)
            told = [self._told(each.name, cells[self._places[each.name]], marked) for each in self._table.printed]
            wrapped = [self._wrapped(each, width, False) for each, width in zip(told, self._widths, strict=True)]
            if self._pdf.get_y() + _height(wrapped) > self._pdf.h - _FOOT_MM:
                self._pdf.add_page()
                self._headings()
            self._line(wrapped)
        return b""

    def end(self) -> bytes:
        """The whole document."""
        return bytes(self._pdf.output())

    def close(self) -> None:
        """Nothing is left behind."""

    def _told(self, name: str, value: Cell, marked: bool) -> str:
        if name == "rating" and marked:
            return f"{value} {tables.NOT_VERIFIED}"
        match value:
            case bool():
                return "yes" if value else "no"
            case float():
                return f"{value:.4g}"
            case datetime():
                return f"{value:%Y-%m-%d %H:%M}"
            case _:
                return encodable(tables.text(value))

    def _headings(self) -> None:
        self._pdf.set_font(_FONT, "B", _TEXT_PT)
        self._pdf.set_fill_color(225)
        self._line(
            [self._wrapped(e.heading, w, True) for e, w in zip(self._table.printed, self._widths, strict=True)], True
        )
        self._pdf.set_font(_FONT, "", _TEXT_PT)

    def _line(self, wrapped: list[list[str]], filled: bool = False) -> None:
        pdf, height_mm = self._pdf, _height(wrapped)
        x, y = pdf.l_margin, pdf.get_y()
        if filled:
            pdf.rect(x, y, pdf.epw, height_mm, style="F")
        for lines, width_mm in zip(wrapped, self._widths, strict=True):
            for number, each in enumerate(lines):
                pdf.text(x + _PAD_MM, y + _PAD_MM + _LINE_MM * (number + 0.75), each)
            x += width_mm
        pdf.line(pdf.l_margin, y + height_mm, pdf.w - pdf.r_margin, y + height_mm)
        pdf.set_y(y + height_mm)

    def _wrap(self, text: str, width_mm: float, _bold: bool) -> list[str]:
        """A text in lines that fit: broken between words, and a word that is too long anywhere. Nothing is cut off."""
        room_mm = width_mm - 2 * _PAD_MM
        measure = self._pdf.get_string_width
        if measure(text) <= room_mm:
            return [text]
        lines = [""]
        for word in text.split():
            rest = word
            longer = f"{lines[-1]} {rest}".strip()
            if measure(longer) <= room_mm:
                lines[-1] = longer
                continue
            if lines[-1]:
                lines.append("")
            while measure(rest) > room_mm and len(rest) > 1:
                fits = next(n for n in range(len(rest) - 1, 0, -1) if n == 1 or measure(rest[:n]) <= room_mm)
                lines[-1], rest = rest[:fits], rest[fits:]
                lines.append("")
            lines[-1] = rest
        return lines


def _height(wrapped: list[list[str]]) -> float:
    return max(len(each) for each in wrapped) * _LINE_MM + 2 * _PAD_MM


def encodable(text: str) -> str:
    """A text in the letters of the font that every reader of PDF has; others as their code, so that none is lost."""
    if not text.isprintable():
        text = "".join(each if each.isprintable() else f"\\x{ord(each):02x}" for each in text)
    return text.encode(_ENCODING, "backslashreplace").decode(_ENCODING)


class _Pages(FPDF):
    """A4 across, with who decides and the number on each page. Its bytes depend on what is drawn alone."""

    def __init__(self, head: Head) -> None:
        super().__init__(orientation="landscape", unit="mm", format="A4")
        self._title = encodable(head.title)
        self.set_title(head.title)
        self.set_lang("en")
        self.set_creation_date(_MADE)
        self.set_margin(_MARGIN_MM)
        self.set_auto_page_break(False)
        self.set_line_width(0.1)
        self.set_draw_color(170)
        self.alias_nb_pages(_PAGES)

    def header(self) -> None:
        """What a page that is torn out is of."""
        if self.page_no() > 1:
            self.set_font(_FONT, "", 8)
            self.cell(0, 5, self._title, new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def footer(self) -> None:
        """Who decides, and where one is."""
        self.set_y(-_FOOT_MM + 3)
        self.set_font(_FONT, "", 7)
        self.cell(0, 4, encodable(DECIDES))
        self.set_x(self.l_margin)
        self.cell(0, 4, f"Page {self.page_no()} of {_PAGES}", align="R")
