"""A report as a workbook (XLSX). The same rows give the same bytes, in memory that does not grow with them."""

import io
import tempfile
from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Any

import xlsxwriter

from service.messages import DECIDES
from service.reports import tables
from service.reports.tables import Cell, Head, Table

_MADE = datetime(2000, 1, 1)  # noqa: DTZ001 - the same in every workbook; the writer takes moments without a zone only
_FIRST = datetime(1900, 3, 1, tzinfo=UTC)
"""Earlier days a workbook can't count (from memory); they are written as text."""
_WIDTH = 16


class Workbook:
    """Writes a workbook, some rows at a time. Texts are texts: nothing in it is a formula."""

    def __init__(self, table: Table, head: Head) -> None:
        self._table, self._head = table, head
        self._places = table.places()
        self._target = io.BytesIO()
        self._folder = tempfile.TemporaryDirectory(prefix="tinebook-report-")
        # Rows that are written go to a file at once; nothing of a text is taken for a formula, a figure or an address.
        self._book = xlsxwriter.Workbook(
            self._target,
            {
                "constant_memory": True,
                "tmpdir": self._folder.name,
                "strings_to_formulas": False,
                "strings_to_numbers": False,
                "strings_to_urls": False,
                "nan_inf_to_errors": False,
            },
        )
        self._row = 0

    def begin(self) -> bytes:
        """The header, and a sheet that says what this is; its bytes come at the end."""
        self._book.set_properties({"title": self._head.title, "comments": DECIDES, "created": _MADE})
        self._bold = self._book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        self._moment = self._book.add_format({"num_format": 'yyyy-mm-dd"T"hh:mm:ss"Z"'})
        self._day = self._book.add_format({"num_format": "yyyy-mm-dd"})
        self._unverified = self._book.add_format({"num_format": f'0" {tables.NOT_VERIFIED}"', "italic": True})
        self._sheet = self._book.add_worksheet("Report")
        self._sheet.set_landscape()
        self._sheet.set_paper(9)  # A4
        self._sheet.fit_to_pages(1, 0)
        self._sheet.repeat_rows(0)
        self._sheet.freeze_panes(1, 0)
        self._sheet.set_header(f"&L{_printed(self._head.title)}&R{tables.text(self._head.as_of)}")
        self._sheet.set_footer(f"&L{_printed(DECIDES)}&R&P / &N")
        self._sheet.set_column(0, len(self._table.columns) - 1, _WIDTH)
        for place, each in enumerate(self._table.columns):
            self._sheet.write_string(0, place, each.name, self._bold)
        return b""

    def add(self, rows: Sequence[Any]) -> bytes:
        """Rows; their bytes come at the end."""
        for row in rows:
            self._row += 1
            cells = self._table.cells(row)
            marked = self._places["rating"] if tables.unverified(self._places, cells) else None
            for place, each in enumerate(cells):
                self._write(place, each, marked=place == marked)
        return b""

    def end(self) -> bytes:
        """The whole workbook."""
        self._sheet.autofilter(0, 0, self._row, len(self._table.columns) - 1)
        self._about()
        self._book.close()
        return self._target.getvalue()

    def close(self) -> None:
        """Take away the rows that were kept in files."""
        for each in self._book.worksheets():
            each.row_data_fh.close()
        self._folder.cleanup()

    def _write(self, place: int, value: Cell, *, marked: bool) -> None:
        sheet, row = self._sheet, self._row
        match value:
            case None:
                return
            case bool():
                sheet.write_boolean(row, place, value)
            case int() | float():
                sheet.write_number(row, place, value, self._unverified if marked else None)
            case datetime() if value >= _FIRST:
                sheet.write_datetime(row, place, value.replace(tzinfo=None), self._moment)
            case date() if not isinstance(value, datetime) and value >= _FIRST.date():
                sheet.write_datetime(row, place, value, self._day)
            case _:
                sheet.write_string(row, place, tables.text(value))

    def _about(self) -> None:
        sheet = self._book.add_worksheet("About")
        sheet.set_column(0, 0, _WIDTH)
        sheet.set_column(1, 1, 100)
        lines = [
            ("Report", self._head.title),
            ("As of", tables.text(self._head.as_of)),
            *self._head.filters,
            *(("Note", each) for each in self._head.notes),
            ("Rows", str(self._row)),
            ("Times", "in UTC"),
            ("", DECIDES),
        ]
        for row, (name, told) in enumerate(lines):
            sheet.write_string(row, 0, name, self._bold)
            sheet.write_string(row, 1, told)


def _printed(text: str) -> str:
    """A text in a header or footer, where an ampersand begins a command."""
    return text.replace("&", "&&")
