"""The forms that a report can be had in as a file."""

from collections.abc import Callable, Sequence
from typing import Any, Literal, Protocol, TypeAlias

from msgspec import Struct

from service.reports.lines import Lines
from service.reports.separated import Separated
from service.reports.tables import Head, Table

Name: TypeAlias = Literal["csv", "ndjson", "xlsx", "pdf"]


class Writer(Protocol):
    """Turns rows into bytes, some at a time; what can only be written whole comes from `end`."""

    def begin(self) -> bytes:
        """What stands before the rows."""

    def add(self, rows: Sequence[Any]) -> bytes:
        """The bytes of rows."""

    def end(self) -> bytes:
        """What stands behind them."""

    def close(self) -> None:
        """Leave nothing behind, also where the end was never reached."""


class Form(Struct, frozen=True):
    """A form: its media type (the web adds a text's charset), whether it is text, the most rows that it holds, its writer."""

    media_type: str
    is_text: bool
    most_rows: int | None
    writer: Callable[[Table, Head], Writer]


def _workbook(table: Table, head: Head) -> Writer:
    from service.reports.workbook import Workbook  # noqa: PLC0415 - takes long to load, and few ask for it

    return Workbook(table, head)


def _paper(table: Table, head: Head) -> Writer:
    from service.reports.paper import Paper  # noqa: PLC0415 - the same

    return Paper(table, head)


FORMS: dict[Name, Form] = {
    "csv": Form("text/csv; header=present", True, None, lambda table, _: Separated(table)),
    "ndjson": Form("application/x-ndjson", True, None, lambda *_: Lines()),
    "xlsx": Form("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", False, 100_000, _workbook),
    "pdf": Form("application/pdf", False, 5_000, _paper),
}

MEDIA_TYPES = tuple(each.media_type.partition(";")[0] for each in FORMS.values())
