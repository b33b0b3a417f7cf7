"""Load the demo fleet into a migrated database: in the order of its connectors, a few of them to a transaction.

What is loaded is what the service itself would have recorded at the time: the same registration, the same rule, the
same ledger. Cut off and run again, it goes on where it was; complete, it finds that out with one question.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, date, datetime, time

from msgspec import Struct

from service.catalog import Catalog
from service.core import chain
from service.core.entries import HouseRule
from service.core.noting import Lists
from service.demo import fleet as fleets
from service.demo import orders, yard
from service.demo.fleet import FULL, Connector, Fleet, Size
from service.demo.story import Fact
from service.store import database, ledger
from service.store.database import Connection
from service.workflow import recording, registering, usage, work_orders
from service.workflow.recording import MAX_BATCH, Scribe
from service.workflow.reference import Reference

RECORDED_BY = "demo"
_REGISTRATIONS = 100
"""Connectors registered in one transaction."""

Progress = Callable[[str, int, int], None]
"""Told what is being done, and how many of how many are done."""


class Loaded(Struct, frozen=True):
    """What this run did: connectors and entries that it wrote, and how many of both the fleet has."""

    registered: int
    recorded: int
    connectors: int
    entries: int

    @property
    def already_there(self) -> bool:
        """Whether everything had been there before."""
        return self.registered == self.recorded == 0


async def begun_on(service_dsn: str, seed: int) -> date | None:
    """The day of the fleet whose loading began in this database; None where none has. A later start must go on with it."""
    connection = await database.service_connection(service_dsn)
    try:
        rows = await database.fetch(connection, "definitions", [yard.opening_id(seed)], [1])
        if not rows:
            return None
        return yard.ends(chain.decode_definition(rows[0]["body"]).recorded_at)
    finally:
        await connection.close()


async def complete(service_dsn: str, seed: int) -> bool:
    """Whether the whole fleet is there; quick, since it asks for its last entry only."""
    connection = await database.service_connection(service_dsn)
    try:
        return bool(await database.fetch(connection, "receipts", [yard.closing_id(seed)]))
    finally:
        await connection.close()


async def ensure(
    service_dsn: str, house: HouseRule, book: Catalog, seed: int, today: date, progress: Progress, size: Size = FULL
) -> Loaded | None:
    """Have the fleet in the database: nothing to do (None) where it is complete, else loaded, or gone on with.

    A loading that was cut off on an earlier day goes on with that day's fleet, since every id depends on it.
    """
    if await complete(service_dsn, seed):
        return None
    day = await begun_on(service_dsn, seed)
    return await load(service_dsn, house, book, fleets.fleet(seed, day or today, book, size), progress)


async def load(service_dsn: str, house: HouseRule, book: Catalog, fleet: Fleet, progress: Progress) -> Loaded:
    """Load a fleet, or what is missing of it. One connection, under the service's own role."""
    total = sum(len(each.facts) for each in fleet.connectors) + len(fleet.strays)
    connection = await database.service_connection(service_dsn)
    try:
        if await database.fetch(connection, "receipts", [yard.closing_id(fleet.seed)]):
            return Loaded(0, 0, len(fleet.connectors), total)
        await _plan(connection, fleet)
        reference = Reference(book)
        # The operator's history was noted against its lists. That of people is not loaded, so that whoever tries the demo may
        # record under any badge without being told that he is unknown.
        reference.lists = Lists(frozenset(fleet.people), fleet.tools)
        scribe = Scribe(house, reference)
        registered = await _register(connection, scribe, reference, house, fleet, progress)
        recorded = 0
        for done, chunk in _chunks(fleet):
            recorded += await _record(connection, scribe, reference, chunk)
            progress("entries", done, total)
        return Loaded(registered, recorded, len(fleet.connectors), total)
    finally:
        await connection.close()


async def _plan(connection: Connection, fleet: Fleet) -> None:
    """The operator's tools with the days of their checks, its work orders, what its aircraft flew, and when they come in."""
    for mark, number in fleet.tools.items():
        await database.run(connection, "put_tool", mark, number, fleet.due[mark])
    at = datetime.combine(fleet.today, time(), UTC)
    for number, order in orders.of(fleet):
        await work_orders.put(connection, number, order, RECORDED_BY, at)
    for start in range(0, len(fleet.usage), MAX_BATCH):
        await usage.record_usage(connection, fleet.usage[start : start + MAX_BATCH], RECORDED_BY, at)
    for start in range(0, len(fleet.visits), MAX_BATCH):
        await usage.record_visits(connection, fleet.visits[start : start + MAX_BATCH], RECORDED_BY, at)


async def _register(
    connection: Connection, scribe: Scribe, reference: Reference, house: HouseRule, fleet: Fleet, progress: Progress
) -> int:
    registered = 0
    for start in range(0, len(fleet.connectors), _REGISTRATIONS):
        page = fleet.connectors[start : start + _REGISTRATIONS]
        wanted = [each.registration.id for each in page if each.registration.id is not None]
        known = await ledger.heads(connection, scribe.definitions, wanted, lock=False)
        missing = [each for each in page if each.registration.id not in known]
        async with connection.transaction():
            for each in missing:
                await _put_on_books(connection, scribe, reference, house, each)
        registered += len(missing)
        progress("connectors", min(start + _REGISTRATIONS, len(fleet.connectors)), len(fleet.connectors))
    return registered


async def _put_on_books(
    connection: Connection, scribe: Scribe, reference: Reference, house: HouseRule, each: Connector
) -> None:
    asked = each.registration
    if asked.id is None:
        raise ValueError(asked.serial)
    at = each.registered_at
    await registering.register(connection, scribe, reference, house, asked, RECORDED_BY, at, asked.id)


async def _record(connection: Connection, scribe: Scribe, reference: Reference, chunk: list[Fact]) -> int:
    """Record a chunk unless it is there; each is there whole or not at all."""
    if len(await database.fetch(connection, "receipts", [each.entry.id for each in chunk])) == len(chunk):
        return 0
    submissions = [recording.submission(each.entry, RECORDED_BY, each.recorded_at, None, reference) for each in chunk]
    async with connection.transaction():
        results = await scribe.write(connection, submissions, brief=True)
    refused = [each for each in results if each.outcome == "refused"]
    if refused:
        raise RuntimeError(f"the demo's own entry {refused[0].id} was refused: {refused[0].problem}")
    return sum(1 for each in results if each.outcome != "already_recorded")


def _chunks(fleet: Fleet) -> Iterator[tuple[int, list[Fact]]]:
    """Entries of a few whole connectors at a time, the strays last; each with how many are done after it."""
    done, chunk = 0, list[Fact]()
    histories: Iterable[tuple[Fact, ...]] = (each.facts for each in fleet.connectors)
    for facts in histories:
        chunk.extend(facts)
        if len(chunk) >= MAX_BATCH:
            done += len(chunk)
            yield done, chunk
            chunk = []
    if chunk:
        done += len(chunk)
        yield done, chunk
    yield done + len(fleet.strays), list(fleet.strays)
