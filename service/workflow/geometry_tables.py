"""Cavity lists and true coordinates from a table: all rows of a set, or of an arrangement, stand together."""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TypeVar

from msgspec import Struct

from service.catalog import Catalog
from service.core import sights
from service.core.entries import CavityDefinition, CavityId, ContactSize, Text
from service.core.sights import Point, Sight
from service.workflow import arrangements, sheets
from service.workflow.arrangements import Drawing, Placed
from service.workflow.sheets import Flaw, Form, Row
from service.workflow.shop import CavitySet

T = TypeVar("T", bound=Struct)

MOST_CAVITIES = 1000


class CavityRow(Struct, frozen=True, kw_only=True):
    """A cavity of a set, which is named after a part number or as the shop likes; in the order of the insert."""

    set: Text
    cavity: CavityId
    contact_size: ContactSize
    source: Text | None = None


CAVITIES = Form(
    name="cavity", made=CavityRow, columns=CavityRow.__struct_fields__, needed=("set", "cavity", "contact_size")
)


class CoordinateRow(Struct, frozen=True, kw_only=True):
    """Where a cavity of an arrangement is, from the centre: x to the right, y up, seen as `view` says."""

    standard: Text
    arrangement: Text
    cavity: CavityId
    x_mm: float
    y_mm: float
    source: Text
    view: Sight = Sight.PIN_FRONT


COORDINATES = Form(
    name="coordinate",
    made=CoordinateRow,
    columns=CoordinateRow.__struct_fields__,
    needed=("standard", "arrangement", "cavity", "x_mm", "y_mm", "source"),
)


def cavity_sets(path: Path) -> Iterator[CavitySet | Flaw]:
    """The sets of a table, one after the other, and every flaw in it."""
    for names, rows, flaws in _groups(sheets.read(path, CAVITIES), lambda row: (row.set,), "set"):
        seen: dict[str, int] = {}
        for row in rows:
            if row.value.cavity in seen:
                flaws.append(Flaw(row.number, "cavity", f"stands in row {seen[row.value.cavity]} already"))
            seen.setdefault(row.value.cavity, row.number)
        if len(rows) > MOST_CAVITIES:
            flaws.append(
                Flaw(rows[0].number, "set", f"has {len(rows)} cavities; no insert has more than {MOST_CAVITIES}")
            )
        yield from flaws
        if rows and not flaws:
            cavities = tuple(CavityDefinition(row.value.cavity, row.value.contact_size) for row in rows)
            yield CavitySet(names[0], cavities, rows[0].value.source)


def drawings(path: Path, book: Catalog) -> Iterator[Drawing | Flaw]:
    """The coordinates of a table, one arrangement after the other, and every flaw in it. They are kept as on pin front."""
    read = sheets.read(path, COORDINATES)
    for names, rows, flaws in _groups(read, lambda row: (row.standard, row.arrangement), "arrangement"):
        for row in rows:
            if (row.value.source, row.value.view) != (rows[0].value.source, rows[0].value.view):
                flaws.append(
                    Flaw(row.number, "source", "an arrangement has one source and one view: take them from one place")
                )
        if not rows or flaws:
            yield from flaws
            continue
        standard, arrangement = names
        drawing = Drawing(standard, arrangement, tuple(_placed(row.value) for row in rows), rows[0].value.source)
        found = [Flaw(rows[0].number, "arrangement", text) for text in arrangements.faults(book, drawing)]
        yield from found or (drawing,)


def _placed(row: CoordinateRow) -> Placed:
    point = sights.seen(Point(row.x_mm, row.y_mm), row.view)
    return Placed(row.cavity, point.x_mm, point.y_mm)


_Name = tuple[str, ...]
_Group = tuple[_Name, list[Row[T]], list[Flaw]]


def _groups(read: Iterable[Row[T] | Flaw], named: Callable[[T], _Name], column: str) -> Iterator[_Group[T]]:
    """Rows of one name together, with the flaws among them; a name that comes back later is a flaw."""
    name: _Name | None = None
    rows: list[Row[T]] = []
    flaws: list[Flaw] = []
    done: set[_Name] = set()
    for each in read:
        if isinstance(each, Flaw):
            flaws.append(each)
            continue
        own = named(each.value)
        if own != name:
            if name is not None:
                yield name, rows, flaws
                done.add(name)
                rows, flaws = [], []
            name = own
            if own in done:
                flaws.append(Flaw(each.number, column, "was there before, further up: its rows stand together"))
        rows.append(each)
    if name is not None or flaws:
        yield name or (), rows, flaws
