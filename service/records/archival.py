"""A document as PDF/A-2u (ISO 19005-2): fonts within, no clock, no chance. The same document gives the same bytes."""

from collections.abc import Sequence
from datetime import UTC, datetime
from html import escape
from itertools import zip_longest
from typing import assert_never

from fpdf import FPDF
from fpdf.enums import DocumentCompliance, XPos, YPos

from service.messages import DECIDES
from service.records import lettering
from service.records.blocks import Block, Column, Heading, Note, Pairs, Paper, Sign, Symbol, Table

_FONT = "document"
_PAGES = "\ue000" * 5
"""Stands for the number of pages until it is known. No text can hold it: it is no printable character."""
_A4_MM = (210.0, 297.0)
_MARGIN_MM, _FOOT_MM = 14.0, 17.0
_BODY_PT, _SMALL_PT, _CELL_PT = 8.5, 7.0, 7.5
_LEADING = 1.32
_PAD_MM = 0.8
_HEADING_MM = 12.0
_INK, _DIM, _LINE, _WASH = 20, 85, 165, 236
_NAME_SHARE = 0.36
_PAGE_NUMBER_MM = 18.0
_BEHIND_FIGURES_MM = 1.6
_QUIET_MODULES = 4
"""Light modules round a QR code (ISO/IEC 18004, from memory); `qr` makes codes and reads them back."""


def pdf(paper: Paper) -> bytes:
    """The whole document."""
    drawn = _Pages(paper)
    drawn.add_page()
    _title(drawn, paper)
    for block, following in zip_longest(paper.blocks, paper.blocks[1:]):
        if isinstance(block, Heading) and isinstance(following, Table):
            # A heading stays with the first row below it.
            drawn.room(_HEADING_MM + _first_mm(drawn, following))
        _block(drawn, block)
    return bytes(drawn.output())


def _block(page: "_Pages", block: Block) -> None:
    match block:
        case Heading():
            _heading(page, block)
        case Pairs():
            _pairs(page, block)
        case Table():
            _table(page, block)
        case Note():
            _note(page, block)
        case Symbol():
            _symbol(page, block)
        case Sign():
            _sign(page, block)
        case _:
            assert_never(block)


class Archival(FPDF):
    """A PDF/A-2u file without pages yet, with its font and what it says of itself; its bytes depend on what is drawn alone."""

    def __init__(self, title: str, dated: datetime, width_mm: float, height_mm: float) -> None:
        super().__init__(unit="mm", format=(width_mm, height_mm), enforce_compliance=DocumentCompliance.PDFA_2U)
        for style in ("", "B"):
            self.add_font(_FONT, style, lettering.font_file(style))
        moment, shown = dated.astimezone(UTC).replace(microsecond=0), lettering.drawable(title)
        self.set_title(shown)
        self.set_producer("Tinebook")
        self.set_lang("en")
        self.set_creation_date(moment)
        # What fpdf2 would write of itself holds the moment of printing.
        self.set_xmp_metadata(_description(shown, moment.isoformat()))
        self.set_auto_page_break(False)
        self.c_margin = 0
        self.set_line_width(0.15)
        self.set_text_color(_INK)

    def put(self, x_mm: float, base_mm: float, line: str, points: float, style: str = "") -> None:
        """A line of drawable text on its base line."""
        self.set_font(_FONT, style, points)
        self.text(x_mm, base_mm, line)

    def modules(self, x_mm: float, y_mm: float, module_mm: float, rows: Sequence[Sequence[bool]]) -> None:
        """The dark modules of a symbol, its corner at a place."""
        self.set_fill_color(0)
        for number, row in enumerate(rows):
            for start, length in runs(row):
                self.rect(x_mm + start * module_mm, y_mm + number * module_mm, length * module_mm, module_mm, style="F")


class _Pages(Archival):
    """The pages with what stands at the foot of each: number, hash, who decides, which page of how many."""

    def __init__(self, paper: Paper) -> None:
        size_mm = _A4_MM[::-1] if paper.landscape else _A4_MM
        super().__init__(f"{paper.title} {paper.number}", paper.dated, *size_mm)
        self._paper = paper
        self.set_margins(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
        self.set_draw_color(_LINE)
        self.alias_nb_pages(_PAGES)

    @property
    def left_mm(self) -> float:
        """What is free below the line that was written last."""
        return self.h - _FOOT_MM - self.get_y()

    def room(self, height_mm: float) -> None:
        """Go to a new page where so much doesn't fit on this one."""
        if self.left_mm < height_mm and self.get_y() > _MARGIN_MM + 8:
            self.add_page()

    def write_line(self, x_mm: float, line: str, points: float, style: str = "", below_mm: float = 0.0) -> None:
        """Text whose line box begins at `below_mm` under the place that is written at; the place stays."""
        self.put(x_mm, self.get_y() + below_mm + leading_mm(points) * 0.76, line, points, style)

    def header(self) -> None:
        """What a page that is torn out is of."""
        if self.page_no() > 1:
            self.set_text_color(_DIM)
            named = lettering.lines(f"{self._paper.title} · {self._paper.number}", self.epw, _SMALL_PT)
            self.write_line(_MARGIN_MM, named[0], _SMALL_PT)
            self.set_text_color(_INK)
            self.ln(6)

    def footer(self) -> None:
        """Number, hash, who decides, and where one is."""
        self.set_y(-_FOOT_MM + 4)
        self.line(_MARGIN_MM, self.get_y(), self.w - _MARGIN_MM, self.get_y())
        self.ln(1.2)
        self.set_text_color(_DIM)
        self.set_font(_FONT, "", 6.5)
        named = lettering.lines(self._paper.number, 60, 6.5)[0]
        self.cell(0, 3.2, f"{named} · SHA-256 of the content {self._paper.sha256}", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.cell(0, 3.2, DECIDES)
        # From the left, since how wide the number of pages is shows only at the end.
        self.set_x(self.w - _MARGIN_MM - _PAGE_NUMBER_MM)
        self.cell(_PAGE_NUMBER_MM, 3.2, f"Page {self.page_no()} of {_PAGES}")
        self.set_text_color(_INK)


def leading_mm(points: float) -> float:
    """From one line to the next."""
    return points * _LEADING * 25.4 / 72


def _description(title: str, dated: str) -> str:
    """The XMP packet (ISO 16684-1) that says what kind of file it is; the same facts as the file's own dictionary."""
    parts = (
        (
            "pdfaid",
            "http://www.aiim.org/pdfa/ns/id/",
            "<pdfaid:part>2</pdfaid:part><pdfaid:conformance>U</pdfaid:conformance>",
        ),
        ("xmp", "http://ns.adobe.com/xap/1.0/", f"<xmp:CreateDate>{dated}</xmp:CreateDate>"),
        ("pdf", "http://ns.adobe.com/pdf/1.3/", "<pdf:Producer>Tinebook</pdf:Producer>"),
        (
            "dc",
            "http://purl.org/dc/elements/1.1/",
            f'<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{escape(title)}</rdf:li></rdf:Alt></dc:title>',
        ),
    )
    told = "".join(
        f'<rdf:Description rdf:about="" xmlns:{prefix}="{schema}">{facts}</rdf:Description>'
        for prefix, schema, facts in parts
    )
    kind = 'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"'
    return f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF {kind}>{told}</rdf:RDF></x:xmpmeta>'


def _paragraph(page: _Pages, text: str, points: float, style: str = "") -> None:
    for line in lettering.lines(text, page.epw, points, style):
        page.room(leading_mm(points))
        page.write_line(_MARGIN_MM, line, points, style)
        page.ln(leading_mm(points))


def _title(page: _Pages, paper: Paper) -> None:
    _paragraph(page, paper.title, 15, "B")
    _paragraph(page, paper.number, 10.5, "B")
    if paper.subtitle:
        page.set_text_color(_DIM)
        _paragraph(page, paper.subtitle, _BODY_PT)
        page.set_text_color(_INK)
    page.ln(1.5)


def _heading(page: _Pages, heading: Heading) -> None:
    first = heading.level == 1
    points = 11 if first else 9
    # A heading never stands alone at the foot of a page.
    page.room(26 if first else 18)
    page.ln(3.2 if first else 1.6)
    _paragraph(page, heading.text, points, "B")
    if first:
        page.line(_MARGIN_MM, page.get_y() + 0.3, page.w - _MARGIN_MM, page.get_y() + 0.3)
    page.ln(1.4 if first else 0.6)


def _pairs(page: _Pages, block: Pairs) -> None:
    width_mm = page.epw / block.columns
    name_mm = min(width_mm * _NAME_SHARE, 46.0)
    for start in range(0, len(block.told), block.columns):
        cells = []
        for name, value in block.told[start : start + block.columns]:
            cells.append((lettering.lines(name, name_mm - 2, _BODY_PT), name_mm, ""))
            cells.append((lettering.lines(value, width_mm - name_mm - 3, _BODY_PT), width_mm - name_mm, ""))
        _pair_line(page, cells)
    page.ln(1)


def _pair_line(page: _Pages, cells: Sequence[tuple[list[str], float, str]]) -> None:
    deep, step_mm = max(len(each[0]) for each in cells), leading_mm(_BODY_PT)
    for number in range(deep):
        page.room(step_mm)
        x_mm = _MARGIN_MM
        for place, (lines, width_mm, style) in enumerate(cells):
            page.set_text_color(_INK if place % 2 else _DIM)
            if number < len(lines):
                page.write_line(x_mm, lines[number], _BODY_PT, style)
            x_mm += width_mm
        page.set_text_color(_INK)
        page.ln(step_mm)
    page.ln(0.5)


def _table(page: _Pages, table: Table) -> None:
    if table.caption:
        _note(page, Note(table.caption))
    if not table.rows:
        _note(page, Note(table.empty))
        return
    widths = _widths(page, table)
    heads = _wrapped([each.heading for each in table.columns], widths, "B")
    # The headings go with at least one row.
    page.room(_first_mm(page, table))
    _row(page, table.columns, heads, widths, "B")
    for row in table.rows:
        wrapped = _wrapped(row, widths, "")
        # A row that fits on a page is kept together; a longer one goes on over the page's end.
        if page.left_mm < min(_deep_mm(wrapped), page.h / 3):
            page.add_page()
            _row(page, table.columns, heads, widths, "B")
        while wrapped := _row(page, table.columns, wrapped, widths, ""):
            page.add_page()
            _row(page, table.columns, heads, widths, "B")
    page.ln(1.5)


def _widths(page: _Pages, table: Table) -> list[float]:
    across_mm = page.epw / sum(each.width for each in table.columns)
    return [each.width * across_mm for each in table.columns]


def _first_mm(page: _Pages, table: Table) -> float:
    """What the headings and the first row take: all of it, or as much as is kept together."""
    widths = _widths(page, table)
    heads = _wrapped([each.heading for each in table.columns], widths, "B")
    first = _wrapped(table.rows[0], widths, "") if table.rows else []
    return _deep_mm(heads) + (min(_deep_mm(first), page.h / 3) if first else leading_mm(_CELL_PT))


def _wrapped(texts: Sequence[str], widths: Sequence[float], style: str) -> list[list[str]]:
    return [
        lettering.lines(each, width_mm - 2 * _PAD_MM - _BEHIND_FIGURES_MM, _CELL_PT, style)
        for each, width_mm in zip(texts, widths, strict=True)
    ]


def _deep_mm(wrapped: list[list[str]]) -> float:
    return max(len(each) for each in wrapped) * leading_mm(_CELL_PT) + 2 * _PAD_MM


def _row(
    page: _Pages, columns: Sequence[Column], wrapped: list[list[str]], widths: Sequence[float], style: str
) -> list[list[str]]:
    """Draw as many lines of a row as the page has room for; what is left goes on the next page."""
    step_mm = leading_mm(_CELL_PT)
    fit = max(1, int((page.left_mm - 2 * _PAD_MM) / step_mm))
    now = [each[:fit] for each in wrapped]
    height_mm = _deep_mm(now)
    if style:
        page.set_fill_color(_WASH)
        page.rect(_MARGIN_MM, page.get_y(), page.epw, height_mm, style="F")
    x_mm = _MARGIN_MM
    for column, lines, width_mm in zip(columns, now, widths, strict=True):
        for number, line in enumerate(lines):
            moved_mm = (
                width_mm - 2 * _PAD_MM - _BEHIND_FIGURES_MM - lettering.width_mm(line, _CELL_PT, style)
                if column.figures
                else 0.0
            )
            page.write_line(x_mm + _PAD_MM + moved_mm, line, _CELL_PT, style, _PAD_MM + number * step_mm)
        x_mm += width_mm
    page.ln(height_mm)
    page.line(_MARGIN_MM, page.get_y(), page.w - _MARGIN_MM, page.get_y())
    left = [each[fit:] for each in wrapped]
    return left if any(left) else []


def _note(page: _Pages, note: Note) -> None:
    if not note.strong:
        page.set_text_color(_DIM)
        _paragraph(page, note.text, _SMALL_PT + 0.5)
        page.set_text_color(_INK)
        page.ln(0.8)
        return
    lines = lettering.lines(note.text, page.epw - 6, _BODY_PT, "B")
    step_mm = leading_mm(_BODY_PT)
    page.room(len(lines) * step_mm + 5)
    page.ln(0.5)
    page.set_draw_color(_INK)
    page.rect(_MARGIN_MM, page.get_y(), page.epw, len(lines) * step_mm + 3)
    page.set_draw_color(_LINE)
    for number, line in enumerate(lines):
        page.write_line(_MARGIN_MM + 3, line, _BODY_PT, "B", 1.5 + number * step_mm)
    page.ln(len(lines) * step_mm + 5)


def _symbol(page: _Pages, symbol: Symbol) -> None:
    page.room(symbol.size_mm + 2)
    module_mm = symbol.size_mm / (len(symbol.rows) + 2 * _QUIET_MODULES)
    top_mm, quiet_mm = page.get_y(), _QUIET_MODULES * module_mm
    page.modules(_MARGIN_MM + quiet_mm, top_mm + quiet_mm, module_mm, symbol.rows)
    room_mm = page.epw - symbol.size_mm - 3
    for number, line in enumerate(lettering.lines(symbol.caption, room_mm, _SMALL_PT)):
        page.write_line(_MARGIN_MM + symbol.size_mm + 3, line, _SMALL_PT, below_mm=2 + number * leading_mm(_SMALL_PT))
    page.set_y(top_mm + symbol.size_mm + 1)


def runs(modules: Sequence[bool]) -> list[tuple[int, int]]:
    """Where each run of dark modules begins, and its length."""
    found: list[tuple[int, int]] = []
    for at, dark in enumerate(modules):
        if dark and found and sum(found[-1]) == at:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        elif dark:
            found.append((at, 1))
    return found


def _sign(page: _Pages, sign: Sign) -> None:
    width_mm = page.epw / len(sign.meanings)
    page.room(18)
    page.ln(10)
    for number, meaning in enumerate(sign.meanings):
        x_mm = _MARGIN_MM + number * width_mm
        page.line(x_mm, page.get_y(), x_mm + width_mm - 6, page.get_y())
        page.write_line(x_mm, lettering.lines(meaning, width_mm - 6, _SMALL_PT)[0], _SMALL_PT, below_mm=0.8)
    page.ln(6)
