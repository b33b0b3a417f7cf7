"""Connectors as the ledger held them at a past moment: folded from what had been recorded by then, a page at a time."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Annotated, Generic, TypeVar
from uuid import UUID

from msgspec import Meta, Struct

from service.core import chain, fold, reported, states
from service.core.entries import Definition, HouseRule, Recorded
from service.core.reported import Subject
from service.core.transfers import leaving
from service.store import database, ledger
from service.store.database import Connection

CHUNK = 200
"""Connectors folded at once: bounds the memory."""
MOST = 2_000
"""Connectors looked at for one page: bounds its time. A page may so be short, or empty, although another follows."""

Line = TypeVar("Line")


class PastCursor(Struct, frozen=True, array_like=True):
    """Where the next page as of a past moment begins: at a connector, after so many of its lines."""

    connector: UUID
    told: Annotated[int, Meta(ge=0, le=1000)]


class Page(Struct, Generic[Line], frozen=True):
    """Lines with the serial and the definition of their connector, and where the next page begins."""

    lines: Sequence[tuple[str, Definition, Line]]
    following: PastCursor | None


async def page(
    connection: Connection,
    house: HouseRule,
    kind: tuple[str | None, str | None],
    at: datetime,
    after: PastCursor | None,
    limit: int,
    lines: Callable[[Subject], Sequence[Line]],
) -> Page[Line]:
    """A page of what `lines` makes of each connector as it was, in the order of their ids.

    `kind` is the family and the part number that are wanted, if any: they never change.
    """
    # The connector at which the last page ended is looked at again: it may have more lines.
    start, skipped = (UUID(int=max(after.connector.int - 1, 0)), after) if after else (UUID(int=0), None)
    found: list[tuple[str, Definition, Line]] = []
    places: list[PastCursor] = []
    for _ in range(0, MOST, CHUNK):
        rows = await database.fetch(connection, "past_page", start, CHUNK, at, *kind)
        serials = {row["connector"]: row["serial"] for row in rows}
        for connector, subject in (await _subjects(connection, house, list(serials), at)).items():
            told = skipped.told if skipped is not None and skipped.connector == connector else 0
            for place, each in enumerate(list(lines(subject))[told:], told + 1):
                found.append((serials[connector], subject.definition, each))
                places.append(PastCursor(connector, place))
            if len(found) > limit:
                return Page(found[:limit], places[limit - 1])
        if len(rows) < CHUNK:
            return Page(found, None)
        start = rows[-1]["connector"]
    return Page(found, PastCursor(start, _ALL))


_ALL = 1_000
"""As many lines as a connector can have: all of one have been told."""


async def _subjects(
    connection: Connection, house: HouseRule, connectors: list[UUID], at: datetime
) -> dict[UUID, Subject]:
    definitions = await _definitions(connection, connectors, at)
    kept = {row["connector"]: row for row in await database.fetch(connection, "unchanged_since", connectors, at)}
    histories = await _histories(connection, [each for each in connectors if each not in kept], at)
    away = {row["connector"] for row in await database.fetch(connection, "connectors_away", connectors, at)}
    found = {}
    for connector in connectors:
        definition = definitions.get(connector)
        if definition is None:
            continue
        if connector in kept:
            state, bench = states.decode(kept[connector]["state"]), kept[connector]["bench"]
        else:
            history = histories.get(connector, [])
            state, bench = fold.fold(definition, history), ledger.last_bench(None, history)
        if connector in away:
            state = leaving.closed(state)
        found[connector] = reported.judge(definition, state, bench, house)
    return found


async def _definitions(connection: Connection, connectors: list[UUID], at: datetime) -> dict[UUID, Definition]:
    rows = await database.fetch(connection, "past_definitions", connectors, at)
    return {row["connector"]: chain.decode_definition(row["body"]).definition for row in rows}


async def _histories(connection: Connection, connectors: list[UUID], at: datetime) -> dict[UUID, list[Recorded]]:
    found: dict[UUID, list[Recorded]] = {}
    for row in await database.fetch(connection, "past_entries", connectors, at):
        found.setdefault(row["connector"], []).append(chain.decode_body(row["body"]).recorded)
    return found
