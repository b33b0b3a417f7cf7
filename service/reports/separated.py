"""A report as CSV by RFC 4180: a header, CRLF, UTF-8 without a byte order mark (RFC 3629 section 6 advises against it)."""

import csv
import io
from collections.abc import Sequence
from typing import Any

from service.reports import tables
from service.reports.tables import Cell, Table

_STARTERS = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20'")
"""How a text begins that a spreadsheet would take for a formula (common practice, no source), and our guard itself."""


class Separated:
    """Writes CSV, some rows at a time."""

    def __init__(self, table: Table) -> None:
        self._table = table

    def begin(self) -> bytes:
        """The header."""
        return _lines([[each.name for each in self._table.columns]])

    def add(self, rows: Sequence[Any]) -> bytes:
        """Rows."""
        return _lines([[guarded(each) for each in self._table.cells(row)] for row in rows])

    def end(self) -> bytes:
        """Nothing more."""
        return b""

    def close(self) -> None:
        """Nothing is left behind."""


def guarded(value: Cell) -> str:
    """A cell as text that no spreadsheet runs. An apostrophe at the beginning is always the guard: whoever reads drops one."""
    told = tables.text(value)
    return f"'{told}" if isinstance(value, str) and told.startswith(_STARTERS) else told


def _lines(rows: Sequence[Sequence[str]]) -> bytes:
    target = io.StringIO(newline="")
    csv.writer(target, lineterminator="\r\n").writerows(rows)
    return target.getvalue().encode()
