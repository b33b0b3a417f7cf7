"""A report as a table: what stands in which column of a row, and what is said of the whole."""

import enum
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from operator import attrgetter
from typing import Any, TypeAlias
from uuid import UUID

from msgspec import Struct

Cell: TypeAlias = str | int | float | bool | datetime | date | None
"""What a cell holds, in every form of a file. Moments are in UTC."""


class Column(Struct, frozen=True):
    """One column: the name it has in a file, and how its cell is read from a row."""

    name: str
    read: Callable[[Any], Any]


class Printed(Struct, frozen=True):
    """A column as it is printed: the heading, and its share of the width of the paper."""

    name: str
    heading: str
    width: float


class Table(Struct, frozen=True):
    """The columns of a report in a file, and those for which paper has room."""

    title: str
    columns: tuple[Column, ...]
    printed: tuple[Printed, ...]

    def cells(self, row: Any) -> tuple[Cell, ...]:
        """A row's cells."""
        return tuple(cell(each.read(row)) for each in self.columns)

    def places(self) -> dict[str, int]:
        """Where each column stands among a row's cells."""
        return {each.name: place for place, each in enumerate(self.columns)}


class Head(Struct, frozen=True):
    """What is said of a report as a whole. `filters` are what was asked for, as names and values."""

    title: str
    as_of: datetime
    filters: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()


def _ids(name: str) -> Callable[[Any], str]:
    return lambda row: " ".join(str(each.id) for each in getattr(row, name))


_NESTED: dict[str, tuple[Column, ...]] = {
    "place": tuple(Column(name, attrgetter(f"place.{name}")) for name in ("asset", "zone", "position")),
    "entry": (
        Column("entry", attrgetter("entry.id")),
        *(Column(name, attrgetter(f"entry.{name}")) for name in ("kind", "performed_by", "recorded_by")),
    ),
    "before": (Column("before", _ids("before")),),
    "after": (Column("after", _ids("after")),),
    "ways": (Column("ways", lambda row: " ".join(each.way for each in row.ways)),),
}
"""Fields that are no single value: the columns that stand for them. A line of NDJSON holds them whole."""


def table(title: str, row: type[Struct], *printed: tuple[str, str, float]) -> Table:
    """The table of a kind of row: all its fields in a file, and what is `printed` (name, heading, width) on paper."""
    columns = tuple(
        column for name in row.__struct_fields__ for column in _NESTED.get(name, (Column(name, attrgetter(name)),))
    )
    return Table(title, columns, tuple(Printed(*each) for each in printed))


_PLAIN = frozenset({str, int, bool, float, type(None)})
"""What most values are, and needs no second look."""


def cell(value: Any) -> Cell:
    """A field's value as a cell."""
    if type(value) in _PLAIN:
        return value  # type: ignore[no-any-return]
    if isinstance(value, enum.Enum):
        value = value.value
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, datetime):
        return value.astimezone(UTC)
    if value is None or isinstance(value, str | int | float | date):
        return value
    raise TypeError(f"{type(value).__name__} is no cell")


def text(value: Cell) -> str:
    """A cell as text: RFC 3339, figures exactly as in JSON, nothing for what is not known."""
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case datetime():
            return value.isoformat().replace("+00:00", "Z")
        case date():
            return value.isoformat()
        case float():
            return repr(value)
        case _:
            return str(value)


NOT_VERIFIED = "not verified"
"""Stands at every rating that nobody has verified."""


def unverified(places: dict[str, int], cells: Sequence[Cell]) -> bool:
    """Whether a row has a rating that nobody has verified."""
    if "rating_verified" not in places:
        return False
    return cells[places["rating"]] is not None and not cells[places["rating_verified"]]
