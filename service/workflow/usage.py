"""What is stated of assets: what they fly, and when they come in. Every statement is kept; the newest holds."""

from collections.abc import Awaitable, Callable, Sequence
from datetime import date, datetime
from typing import Annotated, Any, TypeVar

import msgspec
from msgspec import Meta, Struct

from service import usage_messages as messages
from service.core.entries import Text
from service.messages import Problem
from service.store import database
from service.store.database import Connection
from service.usage_messages import UsageRow, VisitRow
from service.workflow import row_reading
from service.workflow.sheets import Form

R = TypeVar("R", UsageRow, VisitRow)

EARLIEST, LATEST = date(1950, 1, 1), date(2100, 1, 1)
MOST_VISITS = 100_000
"""Visits that are looked through at once; more than any fleet plans."""


def usage_faults(row: UsageRow) -> list[tuple[str, str]]:
    """What makes a row of usage malformed, by column, beyond its types."""
    found = [] if EARLIEST <= row.day < LATEST else [("day", _SPAN)]
    if row.flight_hours is None and row.flight_cycles is None:
        found.append(("flight_hours", "state flight_hours, flight_cycles or both"))
    return found


def visit_faults(row: VisitRow) -> list[tuple[str, str]]:
    """What makes a row of visits malformed, by column, beyond its types."""
    return [] if row.starts_on is None or EARLIEST <= row.starts_on < LATEST else [("starts_on", _SPAN)]


_SPAN = f"must lie between {EARLIEST.year} and {LATEST.year}"

USAGE = Form(
    name="usage",
    made=UsageRow,
    columns=("asset", "day", "flight_hours", "flight_cycles"),
    needed=("asset", "day"),
    faults=usage_faults,
)
VISITS = Form(
    name="visit",
    made=VisitRow,
    columns=("asset", "name", "starts_on"),
    needed=("asset", "name"),
    faults=visit_faults,
)


def usage_key(row: UsageRow) -> tuple[str, str]:
    """What a row of usage is about."""
    return row.asset, row.day.isoformat()


def visit_key(row: VisitRow) -> tuple[str, str]:
    """What a row of visits is about."""
    return row.asset, row.name


async def record_usage(connection: Connection, rows: Sequence[UsageRow], by: str, at: datetime) -> list[bool]:
    """Keep rows of usage, except those that say what holds already; which of them were new. One transaction."""
    async with connection.transaction():
        held = await database.fetch(
            connection, "usage_that_holds", [each.asset for each in rows], [each.day for each in rows]
        )
        before = {row["place"] - 1: (row["flight_hours"], row["flight_cycles"]) for row in held}
        news = _news(rows, usage_key, lambda each: (each.flight_hours, each.flight_cycles), before)
        fresh = [each for each, new in zip(rows, news, strict=True) if new]
        columns = ([getattr(each, name) for each in fresh] for name in USAGE.columns)
        await database.run(connection, "record_usage", *columns, by, at)
    return news


async def record_visits(connection: Connection, rows: Sequence[VisitRow], by: str, at: datetime) -> list[bool]:
    """Keep rows of visits, except those that say what holds already; which of them were new. One transaction."""
    async with connection.transaction():
        held = await database.fetch(
            connection, "visits_that_hold", [each.asset for each in rows], [each.name for each in rows]
        )
        before = {row["place"] - 1: row["starts_on"] for row in held}
        news = _news(rows, visit_key, lambda each: each.starts_on, before)
        fresh = [each for each, new in zip(rows, news, strict=True) if new]
        columns = ([getattr(each, name) for each in fresh] for name in VISITS.columns)
        await database.run(connection, "record_visits", *columns, by, at)
    return news


def _news(rows: Sequence[R], key: Callable[[R], Any], says: Callable[[R], Any], before: dict[int, Any]) -> list[bool]:
    """Which rows say something else than what holds, those before them in the same request included."""
    holds: dict[Any, Any] = {}
    news = []
    for place, row in enumerate(rows):
        held = holds.get(key(row), before.get(place, _NOTHING))
        news.append(held != says(row))
        holds[key(row)] = says(row)
    return news


_NOTHING = object()

Recording = Callable[[Connection, Sequence[R], str, datetime], Awaitable[list[bool]]]


async def record_rows(  # what both PUT operations do
    connection: Connection,
    raw: Sequence[msgspec.Raw],
    form: Form[R],
    recording: Recording[R],
    by: str,
    at: datetime,
) -> messages.RowsReply:
    """Read rows each on its own, keep those that can be read, and say what became of every one.

    Raises the problem where none can be read.
    """
    read = row_reading.read(raw, form)
    good = [each for each in read if not isinstance(each, Problem)]
    if not good:
        raise row_reading.none_read([each for each in read if isinstance(each, Problem)])
    news = iter(await recording(connection, good, by, at))
    return messages.RowsReply(
        results=tuple(
            messages.RowResult(row=place, outcome="refused", problem=each)
            if isinstance(each, Problem)
            else messages.RowResult(row=place, outcome="recorded" if next(news) else "already_recorded", problem=None)
            for place, each in enumerate(read)
        )
    )


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of statements of usage begins."""

    asset: Text
    day: date


class VisitCursor(Struct, frozen=True, array_like=True):
    """Where the next page of visits begins: after so many."""

    number: Annotated[int, Meta(ge=0, le=MOST_VISITS)]


async def usage(
    connection: Connection, asset: str | None, after: Cursor | None, limit: int
) -> tuple[tuple[messages.UsageView, ...], Cursor | None]:
    """A page of the statements of usage that hold, by asset and day, and where the next begins."""
    start = (after.asset, after.day) if after else (None, None)
    rows = await database.fetch(connection, "usage_page", *start, asset, limit + 1)
    following = Cursor(rows[limit - 1]["asset"], rows[limit - 1]["day"]) if len(rows) > limit else None
    return tuple(messages.UsageView(**row) for row in rows[:limit]), following


async def visits(
    connection: Connection, asset: str | None, after: VisitCursor | None, limit: int
) -> tuple[tuple[messages.VisitView, ...], VisitCursor | None]:
    """A page of the visits that hold, by asset and day, and where the next begins."""
    first = after.number if after else 0
    rows = await database.fetch(connection, "visit_list", asset, None)
    following = VisitCursor(first + limit) if len(rows) > first + limit else None
    return tuple(messages.VisitView(**row) for row in rows[first : first + limit]), following
