"""What the shop holds beside the catalogue: figures of its own, and lists of cavities."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

import msgspec
from msgspec import Struct

from service import problems
from service import reference_messages as messages
from service.catalog import Catalog
from service.core import house
from service.core.entries import CavityDefinition
from service.core.house import Book, Figure, HouseValue, What
from service.store import database
from service.store.database import Connection
from service.workflow import identifying


class Shop(Struct, frozen=True):
    """What a registration may take from the shop: its figures, and the cavity sets that it names."""

    book: Book = Book()
    cavity_sets: Mapping[str, tuple[CavityDefinition, ...]] = {}


async def read(connection: Connection, sets: Iterable[str]) -> Shop:
    """The shop's figures as they are now, and these cavity sets as far as they exist."""
    return Shop(await book(connection), await cavity_sets(connection, sets))


async def book(connection: Connection) -> Book:
    """The shop's figures that hold."""
    return Book([_value(row) for row in await database.fetch(connection, "house_values")])


async def cavity_sets(connection: Connection, names: Iterable[str]) -> dict[str, tuple[CavityDefinition, ...]]:
    """The cavity sets of these names; a name that has none is left out."""
    rows = await database.fetch(connection, "cavity_sets", sorted(set(names)))
    return {row["name"]: msgspec.json.decode(row["cavities"], type=tuple[CavityDefinition, ...]) for row in rows}


class CavitySet(Struct, frozen=True):
    """Cavities in the order of the insert, under a part number or a name of the shop's."""

    name: str
    cavities: tuple[CavityDefinition, ...]
    source: str | None


async def record_cavity_sets(connection: Connection, sets: Sequence[CavitySet], by: str, at: datetime) -> int:
    """Keep cavity sets, except those that stand so already; returns how many were new or changed."""
    before = await cavity_sets(connection, (each.name for each in sets))
    news = [each for each in sets if before.get(each.name) != each.cavities]
    if news:
        await database.run(
            connection,
            "record_cavity_sets",
            [each.name for each in news],
            [msgspec.json.encode(each.cavities).decode() for each in news],
            [each.source for each in news],
            by,
            at,
        )
    return len(news)


async def tools(
    connection: Connection, book: Catalog, after: str | None, limit: int
) -> tuple[tuple[messages.ShopToolView, ...], str | None]:
    """A page of the shop's tools by mark, each with what the catalogue knows of it, and where the next begins."""
    rows = await database.fetch(connection, "tool_page", after, limit + 1)
    following = rows[limit - 1]["mark"] if len(rows) > limit else None
    found = tuple(
        messages.ShopToolView(
            mark=row["mark"],
            part_number=row["part_number"],
            due_on=row["due_on"],
            serves=tuple(identifying.tool_uses(book, row["part_number"], None)),
        )
        for row in rows[:limit]
    )
    return found, following


async def record(
    connection: Connection, asked: messages.HouseValueRequest, by: str, at: datetime
) -> messages.HouseValueView:
    """Keep a figure of the shop's own. From now on it holds instead of an older one for the same."""
    faults = house.faults(asked.what, asked.family, asked.part_number, asked.contact_size, asked.value)
    if faults:
        raise problems.raised(
            problems.Type.INVALID_REQUEST,
            "; ".join(f"{each.field}: {each.text}" for each in faults),
            *((f"#/{each.field}", each.text) for each in faults),
        )
    stated = {name: getattr(asked, name) for name in _COLUMNS}
    value = None if asked.value is None else msgspec.json.encode(asked.value).decode()
    row = await database.fetch_one(
        connection,
        "record_house_value",
        asked.what.value,
        asked.family,
        asked.part_number,
        asked.contact_size,
        value,
        *stated.values(),
        asked.reason,
        by,
        at,
    )
    return messages.HouseValueView(
        number=row["number"] if row is not None else 0,
        what=asked.what,
        family=asked.family,
        part_number=asked.part_number,
        contact_size=asked.contact_size,
        value=asked.value,
        verified=_held(asked).verified,
        reason=asked.reason,
        recorded_by=by,
        recorded_at=at,
        holds=asked.value is not None,
        **stated,
    )


async def page(
    connection: Connection,
    after: int | None,
    limit: int,
    what: What | None,
    family: str | None,
    part_number: str | None,
) -> tuple[tuple[messages.HouseValueView, ...], int | None]:
    """A page of everything that the shop ever stated, newest first, and where the next begins."""
    rows = await database.fetch(connection, "house_value_page", after, limit + 1, what, family, part_number)
    following = rows[limit - 1]["number"] if len(rows) > limit else None
    return tuple(_view(row) for row in rows[:limit]), following


_COLUMNS = ("document", "revision", "paragraph", "verified_by", "verified_on")


def _held(asked: messages.HouseValueRequest) -> HouseValue:
    return HouseValue(
        what=asked.what,
        family=asked.family,
        part_number=asked.part_number,
        contact_size=asked.contact_size,
        figure=asked.value,
        **{name: getattr(asked, name) for name in _COLUMNS},
    )


def _value(row: Any) -> HouseValue:
    return HouseValue(
        what=What(row["what"]),
        family=row["family"],
        part_number=row["part_number"],
        contact_size=row["contact_size"],
        figure=None if row["value"] is None else msgspec.json.decode(row["value"], type=Figure),
        **{name: row[name] for name in _COLUMNS},
    )


def _view(row: Any) -> messages.HouseValueView:
    value = _value(row)
    return messages.HouseValueView(
        number=row["number"],
        what=value.what,
        family=value.family,
        part_number=value.part_number,
        contact_size=value.contact_size,
        value=value.figure,
        verified=value.verified,
        reason=row["reason"],
        recorded_by=row["recorded_by"],
        recorded_at=row["recorded_at"],
        holds=row["holds"],
        **{name: row[name] for name in _COLUMNS},
    )
