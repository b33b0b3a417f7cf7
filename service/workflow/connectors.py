"""Finding and showing connectors, revising their ratings, and taking in the entries that waited for them."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

import asyncpg
import msgspec
from msgspec import Struct

from service import messages, problems, views
from service.core import chain, entries, fold, marks, reported, states
from service.core.entries import Entry, HouseRule, Recorded, Text
from service.store import database, fleet, ledger
from service.store.database import Connection
from service.store.ledger import Head
from service.workflow import finding, recording

PAGE = 100


async def join_parked(connection: Connection, scribe: recording.Scribe, head: Head, house: HouseRule) -> None:
    """Let entries that wait for this connector join its ledger, with the id and the times that they have."""
    definition = head.definition
    keys = marks.keys(definition.serial, definition.cage, definition.part_number, definition.connector)
    rows = await database.fetch(connection, "parked_for", list(keys))
    found = await finding.meant(connection, {row["mark"]: finding.read(row["mark"]) for row in rows})
    sure = [
        row for row in rows if head.connector == finding.as_id(row["mark"]) or found[row["mark"]] == [head.connector]
    ]
    unsure = [row["id"] for row in rows if len(found[row["mark"]]) > 1]
    await database.run(connection, "keep_parked", unsure, "the mark means several connectors: say which one")
    await _join(connection, scribe, head, house, [(row["id"], _parked(row["body"])) for row in sure])


async def assign_parked(
    connection: Connection, scribe: recording.Scribe, house: HouseRule, entry: UUID, connector: UUID
) -> messages.EntryResult:
    """Say to which connector a parked entry belongs."""
    async with connection.transaction():
        heads = await ledger.heads(connection, scribe.definitions, [connector], lock=True)
        row = await database.fetch_one(connection, "parked_one", entry)
        if row is None:
            raise problems.raised(problems.Type.UNKNOWN_ENTRY, f"no entry {entry} is parked")
        if connector not in heads:
            raise unknown(str(connector))
        if heads[connector].handed_over:
            raise handed_over(heads[connector])
        results = await _join(connection, scribe, heads[connector], house, [(entry, _parked(row["body"]))])
        return results[0]


async def _join(
    connection: Connection,
    scribe: recording.Scribe,
    head: Head,
    house: HouseRule,
    waiting: list[tuple[UUID, Recorded]],
) -> list[messages.EntryResult]:
    known = {each.id for each in head.definition.cavities}
    fits, results = [], []
    for entry, recorded in waiting:
        missing = [each for each in entries.cavities_of(recorded.entry) if each not in known]
        if missing:
            text = f"the connector has no cavity {missing[0]!r}: correct the connector, or record the entry anew"
            await database.run(connection, "keep_parked", [entry], text)
            results.append(messages.EntryResult(id=entry, outcome="parked"))
        else:
            fits.append(recorded)
    if fits:
        draft = recording.Draft()
        state = await scribe.advance(connection, draft, head, fits)
        await draft.write(connection)
        told: list[tuple[Entry, messages.Outcome]] = [(each.entry, "recorded") for each in fits]
        results.extend(recording.results(told, head.definition, state, house))
        await database.run(connection, "join_parked", [each.entry.id for each in fits], head.connector)
    return results


def _parked(body: bytes) -> Recorded:
    return msgspec.json.decode(body, type=Recorded)


async def revise_rating(
    connection: Connection,
    scribe: recording.Scribe,
    house: HouseRule,
    connector: UUID,
    asked: messages.RatingRevision,
    by: str,
    at: datetime,
) -> Head:
    """Let another rating hold for a connector. Its whole history is folded anew, since the rating decides discrepancies."""
    async with connection.transaction():
        heads = await ledger.heads(connection, scribe.definitions, [connector], lock=True)
        if connector not in heads:
            raise unknown(str(connector))
        head = heads[connector]
        if head.handed_over:
            raise handed_over(head)
        definition = msgspec.structs.replace(head.definition, rating=asked.rating)
        hashes = await database.fetch(connection, "definition_hashes", connector)
        body = chain.canonical(
            chain.DefinitionBody(definition=definition, recorded_at=at, recorded_by=by, reason=asked.reason)
        )
        number = hashes[-1]["number"] + 1
        await database.run(
            connection, "append_definition", connector, number, at, body, chain.link(hashes[-1]["hash"], body)
        )
        past = await ledger.history(connection, connector, None)
        state = fold.fold(definition, [each for _, each in past])
        await database.run(connection, "move_definition", connector, number, states.encode(state))
        before = reported.judge(head.definition, head.state, head.bench, house)
        change = reported.change(before, reported.judge(definition, state, head.bench, house))
        known = {each.entry.id: (number, each) for number, each in past}
        await fleet.put(connection, [change], fleet.open_rows(connector, change.opened, known, change.where))
        return Head(connector, head.entries, head.hash, definition, number, state, head.bench)


def unknown(connector: str) -> problems.ProblemRaised:
    """The refusal for a connector that is not on the books."""
    return problems.raised(
        problems.Type.UNKNOWN_CONNECTOR,
        f"no connector {connector!r} is registered; find it by GET /v1/connectors?mark=",
    )


def handed_over(head: Head) -> problems.ProblemRaised:
    """The refusal for what would put something on the chain of a connector that has left."""
    text = (
        f"connector {head.definition.serial!r} was handed over, and its ledger goes on elsewhere: nothing is put on it here. "
        f"GET /v1/transfers?connector={head.connector} says to whom; facts are still kept, and wait"
    )
    return problems.raised(problems.Type.HANDED_OVER, text)


async def find(connection: Connection, definitions: ledger.Definitions, mark: marks.Mark) -> list[Head]:
    """The connectors that a mark means: none, one, or several that have to be told apart."""
    found = (await finding.meant(connection, {"": mark}))[""]
    heads = await ledger.heads(connection, definitions, found, lock=False)
    return [heads[each] for each in found]


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of connectors begins."""

    serial: Text
    connector: UUID


class Wanted(Struct, frozen=True, kw_only=True):
    """Which connectors are asked for; what is said combines. `work_order` is one that some entry of the connector states."""

    part_number: str | None = None
    family: str | None = None
    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    work_order: str | None = None


async def page(
    connection: Connection, definitions: ledger.Definitions, after: Cursor | None, limit: int, wanted: Wanted
) -> tuple[list[Head], Cursor | None]:
    """A page of the connectors by serial, and the cursor of the next."""
    start = (after.serial, after.connector) if after else (None, None)
    filters = (getattr(wanted, name) for name in Wanted.__struct_fields__)
    rows = await database.fetch(connection, "connector_page", *start, limit + 1, *filters)
    heads = await ledger.heads(connection, definitions, [row["connector"] for row in rows[:limit]], lock=False)
    last = rows[limit - 1] if len(rows) > limit else None
    following = Cursor(last["serial"], last["connector"]) if last else None
    return [heads[row["connector"]] for row in rows[:limit]], following


async def one(connection: asyncpg.Pool | Connection, definitions: ledger.Definitions, connector: UUID) -> Head:
    """One connector by its id."""
    found = await many(connection, definitions, [connector])
    if connector not in found:
        raise unknown(str(connector))
    return found[connector]


async def many(
    connection: asyncpg.Pool | Connection, definitions: ledger.Definitions, connectors: Iterable[UUID]
) -> dict[UUID, Head]:
    """Several connectors in one read."""
    return await ledger.heads(connection, definitions, connectors, lock=False)  # type: ignore[arg-type]


def lines(heads: Iterable[Head], house: HouseRule) -> tuple[messages.ConnectorLine, ...]:
    """Connectors as a list shows them."""
    return tuple(views.line(each.definition, each.state, house) for each in heads)
