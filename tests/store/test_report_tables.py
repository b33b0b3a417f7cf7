"""The tables of the fleet's reports are what the ledger gives, whatever is recorded in whatever order and by whomever."""

import random
import uuid
from typing import Any

import asyncpg
import httpx
import pytest

from service.core.entries import HouseRule
from service.core.reported import Sums
from service.store import database, fleet
from service.workflow import proof
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run

TABLES = ("limit_line", "worn_cavity", "open_discrepancy")
SERIALS = tuple(f"R-{number}" for number in range(6))


def facts(chance: random.Random, count: int) -> list[dict[str, Any]]:
    """Work of every kind at a few connectors, some of it late, wrong, corrected, resolved or for connectors not there yet."""
    made: list[dict[str, Any]] = []
    for _ in range(count):
        serial = chance.choice((*SERIALS, "R-late"))
        kind = chance.choices(tuple(KINDS), tuple(KINDS.values()))[0]
        cavity = chance.choice("Cc") if kind in ("insertion", "removal", "tine_entry", "renewal") else None
        more: dict[str, Any] = {"bench": chance.choice(("Bench 1", "Bench 2"))} if chance.random() < 0.5 else {}
        about = [each["id"] for each in made if each["connector"] == serial]
        if kind == "placement":
            more |= {"asset": chance.choice(("TN-1", "TN-2")), "zone": chance.choice(("400", None)), "position": "P1"}
        if kind in ("correction", "resolution"):
            if not about:
                continue
            more |= {"corrects" if kind == "correction" else "refers_to": chance.choice(about), "note": "looked into"}
        made.append(entry(kind, cavity, chance.randrange(400), serial, **more))
    return made


KINDS = {
    "insertion": 30,
    "removal": 25,
    "tine_entry": 5,
    "renewal": 3,
    "placement": 4,
    "mating": 3,
    "correction": 6,
    "resolution": 6,
    "retirement": 1,
}
"""Kind -> how often."""


async def _recorded(client: httpx.AsyncClient, seed: int) -> None:
    """A fleet with a history made by chance; ratings are revised in between, and one connector is registered late."""
    chance = random.Random(seed)
    for serial in SERIALS:
        rated = (
            {"rating": {"value": chance.randint(1, 5), "basis": "house"}} if chance.random() < 0.8 else {"rating": None}
        )
        more = rated | {"history": chance.choice(("new", "unknown")), "family": chance.choice(("F-A", "F-B"))}
        await client.post("/v1/connectors", json=registration(serial, **more))
    every = facts(chance, 240)
    while every:
        batch, every = every[: chance.randint(1, 30)], every[30:]
        await post(client, *batch)
        made = (await client.get("/v1/connectors", params={"mark": chance.choice(SERIALS)})).json()["connectors"]
        rating = {"value": chance.randint(1, 5), "basis": "house"}
        await client.put(f"/v1/connectors/{made[0]['id']}/rating", json={"rating": rating, "reason": "checked"})
    await client.post("/v1/connectors", json=registration("R-late"))


async def breaks(connection: asyncpg.Connection) -> list[str]:
    """Where something is not what the ledger gives."""
    return [str(each) async for each in proof.verify(connection, HouseRule(), None, lambda *_: None)]


async def kept(connection: asyncpg.Connection) -> dict[str, list[str]]:
    """Every row of the tables."""
    return {
        each: sorted(row[0] for row in await connection.fetch(f"select t::text from tinebook.{each} as t"))
        for each in TABLES
    }


@pytest.mark.parametrize("seed", range(6))
def test_tables_are_what_the_ledger_gives(service: Started, dsn: str, seed: int) -> None:
    """After any history the tables are what a fold gives; emptied, `rebuild` makes every row of them anew."""

    async def work() -> None:
        async with service() as client:
            await _recorded(client, seed)
        async with database.owner(dsn) as connection:
            assert await breaks(connection) == []
            before = await kept(connection)
            assert before["open_discrepancy"]
            assert before["worn_cavity"]
            await connection.execute(f"truncate {', '.join(f'tinebook.{each}' for each in (*TABLES, *SUMS))}")
            assert await breaks(connection) != []
            outcomes = [each async for each in proof.rebuild(connection, HouseRule(), None, lambda *_: None)]
            assert all(isinstance(each, uuid.UUID) for each in outcomes)
            assert await kept(connection) == before
            assert await breaks(connection) == []

    run(work())


SUMS = ("wear_sum", "cycles_sum")


def test_writers_do_not_wait_for_each_other_s_sums(dsn: str) -> None:
    """While one session has not committed what it added to a group's counts, another adds to the same group and commits."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            sessions = [await asyncpg.connect(dsn) for _ in range(2)]
            while len({each.get_server_pid() % 4 for each in sessions}) == 1:
                sessions.append(await asyncpg.connect(dsn))
                sessions.pop(0)
            sums = Sums({("fleet", "", ""): [1, 2, 0, 0, 0, 0, 0], ("asset", "", "TN-1"): [1, 2, 0, 0, 0, 0, 0]})
            holding = sessions[0].transaction()
            await holding.start()
            await fleet.add(sessions[0], sums)
            await sessions[1].execute("set lock_timeout = '1s'")
            await fleet.add(sessions[1], sums)
            await holding.commit()
            found = await fleet.summed(connection)
            assert found.groups == {key: [2 * each for each in counts] for key, counts in sums.groups.items()}
            for each in sessions:
                await each.close()

    run(work())
