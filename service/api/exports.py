"""Reports as files: all rows of what a query asks for, in one snapshot. The API and the command line give the same bytes."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import AsyncExitStack, aclosing
from datetime import datetime
from enum import Enum
from typing import Any

from msgspec import Struct

from service import problems
from service.api import fleet_queries, outlook_queries, signal_queries
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.core.entries import HouseRule
from service.outlook_messages import Rested
from service.reports import contents, forms, tables
from service.reports.forms import FORMS
from service.reports.tables import Head, Table
from service.store.database import Connection
from service.store.ledger import Definitions
from service.workflow import discrepancies, fleet, outlook, signals

BATCH = 500
"""Rows that are read and written at once."""
_ALL = 2**31
NO_FILTERS = ("format", "cursor", "limit")
Batches = AsyncIterator[Sequence[Any]]


class Source(Struct, frozen=True):
    """Where rows come from, and the moment at which they are read."""

    connection: Connection
    definitions: Definitions
    house: HouseRule
    now: datetime


class Found(Struct, frozen=True):
    """What a report holds: its columns, its rows some at a time, and what is said of the whole."""

    table: Table
    batches: Batches
    as_of: datetime
    notes: tuple[str, ...] = ()


class Report(Struct, frozen=True):
    """A report: the query that asks for it, and how it is found."""

    query: type[Struct]
    find: Callable[[Source, Any], Awaitable[Found]]


async def reply(services: Services, call: Call, name: str) -> Reply:
    """A report as a file, written while it is read. What is wrong with the question is a problem, before the first byte."""
    asked = call.query
    if asked.cursor is not None:
        text = "a file holds all rows, from the first on: leave the cursor out, or ask for format=json"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("?cursor", text))
    if name == "signals":
        signals.admit(asked.about, call.bearer)
    if services.exporting.locked():
        text = "as many reports are being written as this service writes at once; ask again after Retry-After"
        raise problems.raised(problems.Type.BUSY, text, headers={"Retry-After": "10"})
    now = services.clock()
    moment = getattr(asked, "as_of", None) or now
    written = _served(services, name, asked, now)
    first = await anext(written, b"")
    file = f"tinebook-{name}-{moment:%Y%m%dT%H%M%SZ}.{asked.format}"
    headers = {"Content-Disposition": f'attachment; filename="{file}"'}
    return Reply(200, _whole(first, written), FORMS[asked.format].media_type, headers)


async def _served(services: Services, name: str, asked: Any, now: datetime) -> AsyncIterator[bytes]:
    async with services.exporting, services.pool.acquire() as connection:
        source = Source(connection, services.scribe.definitions, services.house, now)
        async with aclosing(written(source, name, asked, asked.format)) as chunks:
            async for each in chunks:
                yield each


async def _whole(first: bytes, rest: Any) -> AsyncIterator[bytes]:
    async with aclosing(rest):
        yield first
        async for each in rest:
            yield each


async def written(
    source: Source, name: str, asked: Any, form: forms.Name, tell: Callable[[int], None] = lambda _: None
) -> Any:
    """A report's bytes, piece by piece; `tell` hears how many rows are written.

    Raises the problem for a question that can't be answered, and for more rows than the form holds.
    """
    chosen = FORMS[form]
    async with AsyncExitStack() as stack:
        await stack.enter_async_context(source.connection.transaction(isolation="repeatable_read", readonly=True))
        found = await REPORTS[name].find(source, asked)
        head = Head(found.table.title, found.as_of, filters(asked), found.notes)
        writer, rows = chosen.writer(found.table, head), 0
        stack.callback(writer.close)
        data = writer.begin()
        batches: Any = await stack.enter_async_context(aclosing(found.batches))
        async for batch in batches:
            rows += len(batch)
            if chosen.most_rows is not None and rows > chosen.most_rows:
                raise _too_many(form, chosen.most_rows)
            data += await asyncio.to_thread(writer.add, batch)
            tell(rows)
            if data:
                yield data
                data = b""
        data += await asyncio.to_thread(writer.end)
        if data:
            yield data


def _too_many(form: str, most: int) -> problems.ProblemRaised:
    text = f"{form} holds at most {most:,} rows and there are more: narrow the filters, or ask for csv, which holds all"
    return problems.raised(problems.Type.INVALID_REQUEST, text, ("?format", text))


def filters(asked: Struct) -> tuple[tuple[str, str], ...]:
    """What a query asks for, as names and values."""
    told = ((name, getattr(asked, name)) for name in asked.__struct_fields__ if name not in NO_FILTERS)
    return tuple((name, _told(value)) for name, value in told if value is not None and value != ())


def _told(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(_told(each) for each in value)
    return str(value.value) if isinstance(value, Enum) else tables.text(tables.cell(value))


def _narrowed(asked: Struct, wanted: type[Any]) -> Any:
    return wanted(**{name: getattr(asked, name) for name in wanted.__struct_fields__ if hasattr(asked, name)})


async def _batched(lines: Any) -> Batches:
    batch: list[Any] = []
    async with aclosing(lines):
        async for each in lines:
            batch.append(each)
            if len(batch) == BATCH:
                yield batch
                batch = []
    if batch:
        yield batch


Page = tuple[Any, Any]
"""A report of one page, and the cursor of the next."""


async def _paged(first: Page, read: Callable[[Any], Awaitable[Page]], rows: Callable[[Any], Sequence[Any]]) -> Batches:
    report, after = first
    yield rows(report)
    while after is not None:
        report, after = await read(after)
        yield rows(report)


async def _cycle_limits(source: Source, asked: fleet_queries.CycleLimits) -> Found:
    wanted, at = _narrowed(asked, fleet.Filters), asked.as_of
    notes = ("In the order of the connectors' ids.",) if at else ("The worst first.",)
    lines: Any
    if asked.of == "connectors":
        table, lines = contents.CONNECTORS, fleet.each_connector(source.connection, source.house, wanted, at)
    else:
        lines = fleet.each_cavity(source.connection, source.definitions, source.house, wanted, at)
        table = contents.CAVITIES
    return Found(table, _batched(lines), at or source.now, notes)


async def _wear(source: Source, asked: fleet_queries.WearBy) -> Found:
    wanted = _narrowed(asked, fleet.Filters)

    async def read(after: Any) -> Page:
        return await fleet.wear(source.connection, asked.by, wanted, after, BATCH)

    first = await read(None)
    total = first[0].total
    note = (
        f"The whole fleet: {total.connectors} connectors, {total.cavities} cavities. Retired connectors are left out."
    )
    return Found(contents.WEAR, _paged(first, read, lambda report: report.groups), source.now, (note,))


async def _discrepancies(source: Source, asked: fleet_queries.Discrepancies) -> Found:
    lines = discrepancies.each(source.connection, _narrowed(asked, discrepancies.Filters), source.now)
    notes = ("The most serious first, and of those the oldest.",)
    return Found(contents.DISCREPANCIES, _batched(lines), source.now, notes)


async def _outlook(source: Source, asked: outlook_queries.Outlook) -> Found:
    wanted = _narrowed(asked, outlook.Filters)

    async def read(after: Any) -> Page:
        return await outlook.connectors(
            source.connection, wanted, asked.horizon_days, asked.band, asked.at_least, after, BATCH
        )

    first = await read(None)
    batches = _paged(first, read, lambda report: report.connectors)
    return _resting(contents.OUTLOOK, batches, first, source, f"Within {first[0].horizon_days} days.")


async def _demand(source: Source, asked: outlook_queries.Demand) -> Found:
    wanted = _narrowed(asked, outlook.Filters)

    async def read(after: Any) -> Page:
        return await outlook.demand(source.connection, wanted, asked.months, after, BATCH)

    first = await read(None)
    return _resting(contents.DEMAND, _paged(first, read, lambda report: report.lines), first, source)


async def _stock(source: Source, asked: outlook_queries.Stock) -> Found:
    wanted = _narrowed(asked, outlook.Filters)

    async def read(after: Any) -> Page:
        return await outlook.stock(source.connection, wanted, asked.service_level, asked.horizon_days, after, BATCH)

    first = await read(None)
    batches = _paged(first, read, lambda report: report.lines)
    return _resting(contents.STOCK, batches, first, source, f"Over {first[0].horizon_days} days.")


_VISITS_AT_ONCE = 10


async def _visits(source: Source, asked: outlook_queries.Visits) -> Found:
    wanted = _narrowed(asked, outlook.Filters)

    async def read(after: Any) -> Page:
        today = source.now.date()
        return await outlook.visits(source.connection, wanted, asked.risk, today, after, _VISITS_AT_ONCE)

    def rows(report: Any) -> list[contents.VisitRow]:
        return [row for visit in report.assets for row in contents.visit_rows(visit)]

    first = await read(None)
    return _resting(contents.VISITS, _paged(first, read, rows), first, source)


def _resting(table: Table, batches: Batches, first: Page, source: Source, *notes: str) -> Found:
    """What rests on a run of the outlook, and says so."""
    rests: Rested | None = first[0].rests_on
    if rests is None:
        return Found(table, batches, source.now, ("No outlook was computed yet: there is nothing to show.",))
    known = f"{rests.connectors} connectors, {rests.known} of known history, {rests.not_known} not known"
    told = (f"Outlook {rests.run}: {known}.", f"{rests.thin}.", *rests.assumptions)
    return Found(table, batches, rests.as_of, (*notes, *told))


async def _signals(source: Source, asked: signal_queries.Signals) -> Found:
    wanted = _narrowed(asked, signals.Filters)
    report, _ = await signals.report(source.connection, asked.about, wanted, source.now, None, _ALL)

    async def batches() -> Batches:
        for start in range(0, len(report.signals), BATCH):
            yield report.signals[start : start + BATCH]

    left_out = (f"Not counted: {each}" for each in report.left_out)
    notes = (report.says, f"Compared in {report.unit}, as {report.effect}.", *left_out, *report.cannot_show)
    return Found(contents.SIGNALS, batches(), report.until, notes)


REPORTS: dict[str, Report] = {
    "cycle-limits": Report(fleet_queries.CycleLimits, _cycle_limits),
    "wear": Report(fleet_queries.WearBy, _wear),
    "discrepancies": Report(fleet_queries.Discrepancies, _discrepancies),
    "outlook": Report(outlook_queries.Outlook, _outlook),
    "demand": Report(outlook_queries.Demand, _demand),
    "stock": Report(outlook_queries.Stock, _stock),
    "visits": Report(outlook_queries.Visits, _visits),
    "signals": Report(signal_queries.Signals, _signals),
}
"""By the name of the report: its path's last part."""
