"""Assets, positions and tools over HTTP: rows read each on its own, as often as one likes."""

from typing import Any

import asyncpg
import httpx
import pytest

from service.store import database
from tests.conftest import Started, run

ASSET = {"asset": "TN-1", "type": "Regional 70", "serial": "70-0001"}
PLACE: dict[str, Any] = {"asset": "TN-1", "zone": "410", "position": "P1", "part_number": "D38999/26WE35SN"}
TOOL = {"mark": "T-20-03", "part_number": "M81969/14-02", "due_on": "2027-03-31"}


async def put(client: httpx.AsyncClient, what: str, *rows: Any) -> list[str]:
    """Send rows; the outcome of each."""
    reply = await client.put(f"/v1/{what}", json={"rows": rows})
    assert reply.status_code == 200, reply.text
    results = reply.json()["results"]
    assert [each["row"] for each in results] == list(range(len(rows)))
    return [each["outcome"] for each in results]


async def events(client: httpx.AsyncClient, topic: str) -> list[dict[str, Any]]:
    """What the feed tells of a topic."""
    page = (await client.get(f"/v1/feed?types=tinebook.{topic}&limit=500")).json()
    return [each["data"]["recorded"] for each in page["events"]]


KEPT = [
    # what, row, the same thing said otherwise, its key, topic
    ("assets", ASSET, ASSET | {"type": "Regional 90"}, "TN-1", "asset.described"),
    ("positions", PLACE, PLACE | {"part_number": None}, "TN-1 / 410 / P1", "asset.position"),
    ("positions", {"asset": "TN-1", "position": "P1"}, PLACE | {"zone": None}, "TN-1 / P1", "asset.position"),
    ("tools", TOOL, TOOL | {"due_on": None}, "T-20-03", "shop.tool"),
]


@pytest.mark.parametrize(("what", "row", "other", "key", "topic"), KEPT)
def test_a_row_counts_once(service: Started, what: str, row: Any, other: Any, key: str, topic: str) -> None:
    """A new row is created, the same again unchanged, another one about the same changed; the feed hears of what is new."""

    async def work() -> None:
        async with service() as client:
            assert await put(client, what, row) == ["created"]
            assert await put(client, what, row, row) == ["unchanged", "unchanged"]
            assert await put(client, what, other, row, row) == ["changed", "changed", "unchanged"]
            reply = await client.put(f"/v1/{what}", json={"rows": [row]})
            assert reply.json()["results"] == [{"row": 0, "key": key, "outcome": "unchanged", "problem": None}]
            told = await events(client, topic)
            # A list that is not kept whole tells what a request came to; the others every statement.
            assert len(told) == (2 if what == "tools" else 3)
            assert all(told[-1][name] == value for name, value in row.items() if value is not None)

    run(work())


def test_one_tool_alone_is_told_of_as_well(service: Started) -> None:
    """The operation for one tool keeps it as a row would, and the feed hears of it once."""

    async def work() -> None:
        async with service() as client:
            told = {"part_number": "M81969/14-02", "due_on": "2027-03-31"}
            for _ in range(2):
                assert (await client.put("/v1/tools/T-20-03", json=told)).status_code == 200
            assert await put(client, "tools", TOOL) == ["unchanged"]
            assert await events(client, "shop.tool") == [TOOL | {"recorded_by": "test"}]

    run(work())


BAD = [
    # what, row -> pointer, key
    ("assets", {"type": "Regional 70"}, "#/rows/1", None),
    ("assets", {"asset": "", "type": "Regional 70"}, "#/rows/1/asset", None),
    ("assets", ASSET | {"withdrawn_on": "31.3.2027"}, "#/rows/1/withdrawn_on", "TN-1"),
    ("assets", ASSET | {"withdrawn_on": "1812-03-31"}, "#/rows/1/withdrawn_on", "TN-1"),
    ("assets", ASSET | {"typ": "Regional 70"}, "#/rows/1", "TN-1"),
    ("assets", ASSET | {"type": "A\u0000"}, "#/rows/1/type", "TN-1"),
    ("assets", 7, "#/rows/1", None),
    ("positions", {"asset": "TN-1", "zone": "410"}, "#/rows/1", "TN-1 / 410"),
    ("positions", PLACE | {"present": "no"}, "#/rows/1/present", "TN-1 / 410 / P1"),
    ("tools", {"mark": "T-1"}, "#/rows/1", "T-1"),
    ("tools", TOOL | {"due_on": "2200-01-01"}, "#/rows/1/due_on", "T-20-03"),
]


@pytest.mark.parametrize(("what", "row", "pointer", "key"), BAD)
def test_one_bad_row_does_not_sink_the_others(
    service: Started, what: str, row: Any, pointer: str, key: str | None
) -> None:
    """A row that can't be read is refused with its place and what it is about; where none can be read the request is."""
    good = {"assets": ASSET, "positions": PLACE, "tools": TOOL}[what]

    async def work() -> None:
        async with service() as client:
            reply = await client.put(f"/v1/{what}", json={"rows": [good, row, good]})
            assert reply.status_code == 200, reply.text
            first, bad, last = reply.json()["results"]
            assert (first["outcome"], bad["outcome"], last["outcome"]) == ("created", "refused", "unchanged")
            assert (bad["problem"]["errors"][0]["pointer"], bad["key"]) == (pointer, key)
            alone = await client.put(f"/v1/{what}", json={"rows": [row]})
            assert alone.status_code == 422
            assert alone.json()["errors"][0]["pointer"] == pointer.replace("/1", "/0", 1)

    run(work())


def test_pages_hold_everything_once(service: Started) -> None:
    """Pages of assets and positions follow each other without a gap or a repeat, and filters narrow them."""

    async def work() -> None:
        async with service() as client:
            rows = [ASSET | {"asset": f"TN-{each}", "type": f"Type {each % 2}"} for each in range(20)]
            await put(client, "assets", *rows, *(each | {"serial": None} for each in rows))
            places = [
                PLACE | {"position": f"P{each}", "zone": str(each % 3) if each % 3 else None} for each in range(20)
            ]
            await put(client, "positions", *places, places[0] | {"present": False})
            for what, most in (("assets", 20), ("positions", 19)):
                found, cursor = [], ""
                while cursor is not None:
                    page = (await client.get(f"/v1/{what}?limit=7{cursor}")).json()
                    found += page[what]
                    cursor = page["next"] and f"&cursor={page['next']}"
                keys = [(each["asset"], each.get("zone") or "", each.get("position")) for each in found]
                assert len(keys) == len(set(keys)) == most
            assert all(each["serial"] is None for each in (await client.get("/v1/assets")).json()["assets"])
            of_type = (await client.get("/v1/assets?type=Type 1")).json()["assets"]
            assert len(of_type) == 10
            in_zone = (await client.get("/v1/positions?asset=TN-1&zone=2")).json()["positions"]
            assert {each["zone"] for each in in_zone} == {"2"}
            assert (await client.get("/v1/positions?cursor=WyJhIl0")).status_code == 422

    run(work())


def test_a_position_shows_what_is_there(service: Started) -> None:
    """Beside what belongs at a position stand the connectors that were placed there, and whether each is what is expected."""

    async def work() -> None:
        async with service() as client:
            for serial, number in (("EX-1", "D38999/26WE35SN"), ("EX-2", "D38999/26WB35SN"), ("EX-3", None)):
                told = {"serial": serial, "history": "new", "cavities": [{"id": "1", "contact_size": "22D"}]}
                made = await client.post("/v1/connectors", json=told | ({"part_number": number} if number else {}))
                assert made.status_code == 201, made.text
                placed = {"kind": "placement", "connector": serial, "asset": "TN-1", "zone": "410", "position": "P1"}
                placed |= {"id": made.json()["id"], "performed_at": "2026-11-02T09:30:00Z", "performed_by": "117"}
                await client.post("/v1/entries", json={"entries": [placed]})
            await put(client, "positions", PLACE, PLACE | {"zone": None}, PLACE | {"position": "P2"})
            shown = (await client.get("/v1/positions")).json()
            found = [
                (each["zone"], each["position"], [(one["serial"], one["expected"]) for one in each["connectors"]])
                for each in shown["positions"]
            ]
            there = [("EX-1", True), ("EX-2", False), ("EX-3", None)]
            assert found == [(None, "P1", there), ("410", "P1", there), ("410", "P2", [])]
            assert "decide" in shown["notice"]

    run(work())


@pytest.mark.parametrize("table", ["asset", "place", "pseudonym", "veiled"])
def test_statements_are_append_only(dsn: str, table: str) -> None:
    """Even the owner can't change, delete or empty what was stated; the service's role may not try."""
    made = {
        "asset": "insert into tinebook.asset (asset, recorded_by, recorded_at) values ('A', 'x', now())",
        "place": """insert into tinebook.place (asset, zone, "position", present, recorded_by, recorded_at)
                    values ('A', '', 'P', true, 'x', now())""",
    }
    some = """insert into tinebook.pseudonym (pseudonym, left_on, reason, recorded_by, recorded_at)
              values ('p', now(), 'r', 'x', now())"""
    made |= {"pseudonym": some, "veiled": "insert into tinebook.veiled (digest, pseudonym) values (sha256('x'), 'p')"}

    async def work() -> None:
        async with database.owner(dsn) as connection:
            if table == "veiled":
                await connection.execute(some)
            await connection.execute(made[table])
            column = "digest" if table == "veiled" else "recorded_by"
            acts = (f"update tinebook.{table} set {column} = {column}", f"delete from tinebook.{table}")
            for act in (*acts, f"truncate tinebook.{table} cascade"):
                with pytest.raises(asyncpg.RestrictViolationError):
                    await connection.execute(act)
        async with await database.service_pool(dsn, 1) as pool, pool.acquire() as connection:
            for act in acts:
                with pytest.raises(asyncpg.InsufficientPrivilegeError):
                    await connection.execute(act)

    run(work())
