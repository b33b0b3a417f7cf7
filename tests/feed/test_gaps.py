"""The promise of the feed: nothing is ever put in behind a reader's back, however writers overlap."""

import asyncio
import random
import uuid
from typing import Any

import asyncpg
import httpx
import msgspec

from service import app, catalog
from service.core.entries import Entry, HouseRule
from service.store import database
from service.store.statements import SQL
from service.workflow import feeding, recording
from service.workflow.feeding import Wanted
from service.workflow.recording import Scribe
from service.workflow.reference import Reference
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run
from tests.store.test_races import one_waits

EVERYTHING = Wanted()


async def registered(client: httpx.AsyncClient, *serials: str) -> None:
    """Connectors to write about."""
    for serial in serials:
        assert (await client.post("/v1/connectors", json=registration(serial))).status_code == 201


async def write(connection: asyncpg.Connection, *facts: dict[str, Any]) -> None:
    """Record in the transaction that the connection is in."""
    reference = Reference(catalog.load())
    scribe = Scribe(HouseRule(), reference)
    made = [msgspec.convert(each, Entry) for each in facts]
    await scribe.write(connection, [recording.submission(each, "test", app.now(), None, reference) for each in made])


async def read(connection: asyncpg.Connection, after: int, limit: int = 500) -> tuple[list[uuid.UUID], int]:
    """Everything that a reader gets from a position on, and where it stands afterwards."""
    found: list[uuid.UUID] = []
    while True:
        await feeding.number(connection)
        page = await feeding.page(connection, after, EVERYTHING, limit)
        found += [each.id for each in page.items]
        after = page.position
        if not page.more:
            return found, after


def test_what_is_written_first_and_committed_last_is_not_missed(service: Started, dsn: str) -> None:
    """A writer draws first and commits late; a reader who was past that point meanwhile gets it, behind what it has read."""

    async def work() -> None:
        async with service() as client:
            await registered(client, "EX-1", "EX-2")
        slow, quick = await database.service_connection(dsn), await database.service_connection(dsn)
        early, late = entry("insertion", serial="EX-1"), entry("insertion", serial="EX-2")
        _, after = await read(quick, 0)
        holding = slow.transaction()
        await holding.start()
        await write(slow, early)
        async with quick.transaction():
            await write(quick, late)
        seen, after = await read(quick, after)
        assert seen == [uuid.UUID(late["id"])], "what is not committed is not there"
        await holding.commit()
        seen, after = await read(quick, after)
        assert seen == [uuid.UUID(early["id"])], "and is not lost either"
        assert await read(quick, after) == ([], after)
        await slow.close()
        await quick.close()

    run(work())


def test_a_numberer_in_the_middle_is_waited_for(service: Started, dsn: str) -> None:
    """A second numberer waits until the first has committed: positions appear in their order or not at all."""

    async def work() -> None:
        async with service() as client:
            await registered(client, "EX-1")
            first, second = await database.service_connection(dsn), await database.service_connection(dsn)
            await read(first, 0)
            await post(client, entry("insertion"))
        async with database.owner(dsn) as owner:
            begun = first.transaction()
            await begun.start()
            await database.run(first, "lock_numbering")
            assert await first.fetchval(SQL["number_arrivals"], 10) == 1
            last = await feeding.end(second)
            other = asyncio.create_task(feeding.number(second))
            await one_waits(owner)
            assert await feeding.end(owner) == last
            await begun.commit()
            assert await other == 0
            assert await feeding.end(second) == last + 1
        await first.close()
        await second.close()

    run(work())


def test_readers_among_many_writers_get_everything_once(service: Started, dsn: str) -> None:
    """Each reader gets all that eight writers committed, once, without holes, and each connector's in the order of its ledger."""
    serials = [f"EX-{number}" for number in range(8)]
    chance = random.Random(20261125)
    committed: list[uuid.UUID] = []

    async def writer(serial: str) -> None:
        connection = await database.service_connection(dsn)
        for turn in range(6):
            facts = [
                entry("tine_entry", minute=turn * 10 + each, serial=serial) for each in range(chance.randint(1, 4))
            ]
            begun = connection.transaction()
            await begun.start()
            await write(connection, *facts)
            await asyncio.sleep(chance.choice((0, 0, 0.01, 0.05)))
            if chance.random() < 0.2:
                await begun.rollback()
            else:
                await begun.commit()
                committed.extend(uuid.UUID(each["id"]) for each in facts)
        await connection.close()

    async def reader(done: asyncio.Event, limit: int) -> list[uuid.UUID]:
        connection = await database.service_connection(dsn)
        found, after = await read(connection, 0, limit)
        while True:
            last_turn = done.is_set()
            more, after = await read(connection, after, limit)
            found += more
            if last_turn:
                await connection.close()
                return found
            await asyncio.sleep(0)

    async def work() -> None:
        async with service() as client:
            await registered(client, *serials)
        done = asyncio.Event()
        readers = [asyncio.create_task(reader(done, limit)) for limit in (1, 7, 500)]
        await asyncio.gather(*(writer(each) for each in serials))
        done.set()
        first, *others = [await each for each in readers]
        assert others == [first, first]
        async with database.owner(dsn) as owner:
            rows = await owner.fetch(
                "select position, id, connector, number, topic from tinebook.feed order by position"
            )
            assert await owner.fetchval("select count(*) from tinebook.feed_arrival") == 0
        assert [each["position"] for each in rows] == list(range(1, len(rows) + 1))
        assert [each["id"] for each in rows] == first
        entries = [each for each in rows if each["topic"].startswith("entry.")]
        assert sorted(each["id"] for each in entries) == sorted(committed)
        for connector in {each["connector"] for each in entries}:
            numbers = [each["number"] for each in entries if each["connector"] == connector]
            assert numbers == list(range(1, len(numbers) + 1))

    run(work())
