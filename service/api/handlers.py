"""One function per operation: from a message that was read to a message that will be written."""

import asyncio
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

import msgspec
from msgspec import Struct

from service import messages, problems, views
from service.api import queries, reading
from service.api.services import Services
from service.core import entries
from service.core.entries import Definition, Entry
from service.labels import content, drawing, layout
from service.labels.symbols import LabelError
from service.store import database
from service.store.ledger import Head
from service.workflow import (
    connectors,
    discrepancies,
    finding,
    identifying,
    planning,
    recording,
    registering,
    scanning,
    snapshots,
)
from service.workflow.access import Bearer


class Call(Struct, frozen=True):
    """One request as a handler sees it. `accept` is the header, for operations that reply in more than one form.

    `key` is the header Idempotency-Key as it came, and `fingerprint` what tells this request from another, where one came.
    """

    bearer: Bearer
    path: dict[str, str]
    query: Any
    body: Any
    accept: str = ""
    key: str = ""
    fingerprint: bytes = b""


class Reply(Struct, frozen=True):
    """What a handler answers: a status and a message, or the bytes of a file with their media type; headers where needed."""

    status: int
    message: Any
    media_type: str = "application/json"
    headers: dict[str, str] = {}


def _shown(head: Head, services: Services) -> messages.ConnectorView:
    view = views.connector(head.definition, head.state, services.house, head.entries, head.hash.hex())
    return msgspec.structs.replace(view, handed_over=True) if head.handed_over else view


def identity(text: str, what: problems.Type) -> UUID:
    """An id that stands in a path. Raises the problem for what can't be one."""
    try:
        return UUID(text)
    except ValueError as error:
        raise problems.raised(what, f"{text!r} is not an id: ids are UUIDs") from error


def key(text: str) -> str:
    """What a thing on one of the shop's lists is kept under. Raises the problem for what can't be one."""
    try:
        return msgspec.convert(text, entries.Text)
    except msgspec.ValidationError as error:
        raise problems.raised(problems.Type.INVALID_REQUEST, f"{text[:200]!r} can't be a key: {error}") from error


async def register(services: Services, call: Call) -> Reply:
    """Put a connector on the books."""
    async with services.pool.acquire() as connection:
        done = await registering.register(
            connection,
            services.scribe,
            services.reference,
            services.house,
            call.body,
            call.bearer.name,
            services.clock(),
            uuid4(),
        )
    return Reply(201 if done.new else 200, _shown(done.head, services))


async def find_connectors(services: Services, call: Call) -> Reply:
    """Find by anything scannable, or page through all."""
    asked: queries.Connectors = call.query
    following = None
    async with services.pool.acquire() as connection:
        if asked.mark is not None:
            found = await connectors.find(connection, services.scribe.definitions, finding.read(asked.mark))
        else:
            found, following = await connectors.page(
                connection,
                services.scribe.definitions,
                reading.cursor(asked.cursor, connectors.Cursor),
                asked.limit,
                connectors.Wanted(
                    part_number=asked.part_number,
                    family=asked.family,
                    asset=asked.asset,
                    zone=asked.zone,
                    position=asked.position,
                    work_order=asked.work_order,
                ),
            )
    lines = connectors.lines(found, services.house)
    return Reply(200, messages.ConnectorList(connectors=lines, next=reading.encode_cursor(following)))


async def show_connector(services: Services, call: Call) -> Reply:
    """One connector with every cavity."""
    head = await services.reader.one(identity(call.path["connector"], problems.Type.UNKNOWN_CONNECTOR))
    return Reply(200, _shown(head, services))


async def label(services: Services, call: Call) -> Reply:
    """A connector's label. Simulating its print takes a while, so it is done beside the loop."""
    head = await services.reader.one(identity(call.path["connector"], problems.Type.UNKNOWN_CONNECTOR))
    asked: queries.Label = call.query
    return Reply(200, await asyncio.to_thread(_drawn, head.definition, asked), drawing.MEDIA_TYPES[asked.format])


def _drawn(definition: Definition, asked: queries.Label) -> bytes:
    held = content.connector(definition.connector, definition.serial, definition.cage, definition.part_number)
    try:
        return drawing.draw(asked.format, layout.label(held, asked.module_mm, asked.dpi, asked.sleeve_mm))
    except LabelError as error:
        raise problems.raised(problems.Type.LABEL_NOT_READABLE, str(error)) from error


async def show_state(services: Services, call: Call) -> Reply:
    """What a bench keeps to go on answering while the service is away."""
    await _refresh(services)
    head = await services.reader.one(identity(call.path["connector"], problems.Type.UNKNOWN_CONNECTOR))
    return Reply(200, await snapshots.take(services.pool, head, services.reference, services.house, services.clock()))


async def revise_rating(services: Services, call: Call) -> Reply:
    """Let another rating hold."""
    connector = identity(call.path["connector"], problems.Type.UNKNOWN_CONNECTOR)
    async with services.pool.acquire() as connection:
        head = await connectors.revise_rating(
            connection, services.scribe, services.house, connector, call.body, call.bearer.name, services.clock()
        )
    return Reply(200, _shown(head, services))


async def plan(services: Services, call: Call) -> Reply:
    """Answer before the work."""
    await _refresh(services)
    connector = identity(call.path["connector"], problems.Type.UNKNOWN_CONNECTOR)
    parked = await planning.waiting(services.pool, connector)
    head = await services.reader.one(connector)
    today = services.clock().date()
    return Reply(200, planning.answer(head, call.body, services.reference, services.house, parked, today))


async def list_ledger(services: Services, call: Call) -> Reply:
    """A page of a connector's ledger."""
    connector = identity(call.path["connector"], problems.Type.UNKNOWN_CONNECTOR)
    await services.reader.one(connector)
    after = reading.cursor(call.query.cursor, queries.LedgerCursor)
    limit: int = call.query.limit
    async with services.pool.acquire() as connection:
        rows = await database.fetch(connection, "entry_page", connector, after.number if after else 0, limit + 1)
    lines = tuple(discrepancies.ledger_line(row) for row in rows[:limit])
    following = queries.LedgerCursor(rows[limit - 1]["number"]) if len(rows) > limit else None
    return Reply(200, messages.Ledger(entries=lines, next=reading.encode_cursor(following)))


async def show_entry(services: Services, call: Call) -> Reply:
    """Where an entry is: in which ledger, or waiting for its connector."""
    entry = identity(call.path["entry"], problems.Type.UNKNOWN_ENTRY)
    async with services.pool.acquire() as connection:
        where = await database.fetch_one(connection, "where_is_entry", entry)
        if where is None:
            raise problems.raised(problems.Type.UNKNOWN_ENTRY, f"no entry {entry} was ever recorded")
        if where["parked"]:
            return Reply(200, messages.EntryPlace(id=entry, outcome="parked", connector=None, line=None))
        row = await database.fetch_one(connection, "entry_by_id", where["connector"], entry)
    line = discrepancies.ledger_line(row)
    return Reply(200, messages.EntryPlace(id=entry, outcome="recorded", connector=where["connector"], line=line))


async def record(services: Services, call: Call) -> Reply:
    """Record facts. Each entry is read on its own: a malformed one is refused, its neighbours are recorded."""
    await _refresh(services)
    envelope: messages.EntriesEnvelope = call.body
    at = services.clock()
    read = [_read_entry(each) for each in envelope.entries]
    good = [
        recording.submission(each, call.bearer.name, at, envelope.sent_at, services.reference)
        for each in read
        if isinstance(each, Entry)
    ]
    recorded = iter(await services.recorder.record(good) if good else [])
    results = tuple(
        _placed(next(recorded) if isinstance(each, Entry) else each, index) for index, each in enumerate(read)
    )
    if not good:
        raise problems.ProblemRaised(_all_refused(results))
    return Reply(200, messages.EntriesReply(results=results))


def _read_entry(raw: msgspec.Raw) -> Entry | messages.EntryResult:
    try:
        entry = entries.EntryDecoder.decode(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        return messages.EntryResult(id=_claimed_id(raw), outcome="refused", problem=reading.entry_problem(error))
    faults = entries.faults(entry)
    if not faults:
        return entry
    fault = problems.problem(
        problems.Type.INVALID_ENTRY,
        "; ".join(f"{each.field}: {each.text}" for each in faults),
        *((f"#/{each.field}", each.text) for each in faults),
    )
    return messages.EntryResult(id=entry.id, outcome="refused", problem=fault)


class _Claim(Struct):
    id: UUID


def _claimed_id(raw: msgspec.Raw) -> UUID | None:
    try:
        return msgspec.json.decode(raw, type=_Claim).id
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None


def _placed(result: messages.EntryResult, index: int) -> messages.EntryResult:
    """A result whose pointers begin at the request, not at the entry."""
    if result.problem is None:
        return result
    moved = tuple(
        messages.ProblemError(pointer=f"#/entries/{index}{each.pointer.removeprefix('#')}", detail=each.detail)
        for each in result.problem.errors
    )
    return msgspec.structs.replace(result, problem=msgspec.structs.replace(result.problem, errors=moved))


def _all_refused(results: tuple[messages.EntryResult, ...]) -> messages.Problem:
    errors = tuple(error for each in results if each.problem is not None for error in each.problem.errors)
    detail = (
        f"none of the {len(results)} entries can be read, nothing was recorded: {errors[0].detail if errors else ''}"
    )
    return msgspec.structs.replace(
        problems.problem(problems.Type.INVALID_REQUEST, detail), errors=errors, results=results
    )


async def list_parked(services: Services, call: Call) -> Reply:
    """Entries that wait for their connector."""
    after = reading.cursor(call.query.cursor, queries.ParkedCursor)
    limit: int = call.query.limit
    start: tuple[datetime | None, UUID | None] = (after.recorded_at, after.id) if after else (None, None)
    async with services.pool.acquire() as connection:
        rows = await database.fetch(connection, "parked_page", *start, limit + 1)
    lines = tuple(
        messages.ParkedLine(
            id=row["id"],
            mark=row["mark"],
            recorded_at=row["recorded_at"],
            reason=row["reason"],
            entry=msgspec.json.decode(row["body"], type=entries.Recorded).entry,
        )
        for row in rows[:limit]
    )
    last = rows[limit - 1] if len(rows) > limit else None
    following = queries.ParkedCursor(last["recorded_at"], last["id"]) if last else None
    return Reply(200, messages.ParkedList(parked=lines, next=reading.encode_cursor(following)))


async def assign_parked(services: Services, call: Call) -> Reply:
    """Say to which connector a parked entry belongs."""
    entry = identity(call.path["entry"], problems.Type.UNKNOWN_ENTRY)
    async with services.pool.acquire() as connection:
        done = await connectors.assign_parked(connection, services.scribe, services.house, entry, call.body.connector)
    return Reply(200, done)


async def scan(services: Services, call: Call) -> Reply:
    """What a scan means and what it matches."""
    async with services.pool.acquire() as connection:
        return Reply(200, await scanning.meaning(connection, services.scribe.definitions, call.body, services.house))


async def part_number(services: Services, call: Call) -> Reply:
    """Everything that is known of a part number. A wrong one is no bad request: where it is wrong is the answer."""
    return Reply(200, identifying.identify(services.reference.catalog, call.query.number))


async def _refresh(services: Services) -> None:
    if services.reference.stale:
        async with services.pool.acquire() as connection:
            await services.reference.refresh(connection)
