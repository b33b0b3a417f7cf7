"""Usage and visits over HTTP: rows read each on its own, idempotent, all kept and the newest holding."""

from typing import Any

import httpx
import pytest

from service.store import database
from tests.conftest import Started, run

FLOWN = {"asset": "TN-1", "day": "2026-10-31", "flight_hours": 200.5, "flight_cycles": 110}
CHECK = {"asset": "TN-1", "name": "A check 12", "starts_on": "2027-02-08"}


async def put(client: httpx.AsyncClient, what: str, *rows: Any) -> list[str]:
    """State rows; the outcome of each."""
    reply = await client.put(f"/v1/{what}", json={"rows": rows})
    assert reply.status_code == 200, reply.text
    results = reply.json()["results"]
    assert [each["row"] for each in results] == list(range(len(rows)))
    return [each["outcome"] for each in results]


def test_rows_are_kept_once_and_the_newest_holds(service: Started, dsn: str) -> None:
    """The same row again is already recorded; another for the same day is kept beside it, and holds, also within one request."""

    async def work() -> None:
        async with service() as client:
            assert await put(client, "usage", FLOWN, FLOWN) == ["recorded", "already_recorded"]
            more, less = FLOWN | {"flight_hours": 210}, FLOWN | {"flight_cycles": None}
            assert await put(client, "usage", FLOWN, more, less) == ["already_recorded", "recorded", "recorded"]
            (shown,) = (await client.get("/v1/usage")).json()["usage"]
            assert (shown["flight_hours"], shown["flight_cycles"], shown["recorded_by"]) == (200.5, None, "test")
            moved = CHECK | {"starts_on": "2027-03-01"}
            assert await put(client, "visits", CHECK, CHECK) == ["recorded", "already_recorded"]
            assert await put(client, "visits", moved) == ["recorded"]
            (visit,) = (await client.get("/v1/visits?asset=TN-1")).json()["visits"]
            assert visit["starts_on"] == "2027-03-01"
            assert await put(client, "visits", {"asset": "TN-1", "name": "A check 12"}) == ["recorded"]
            assert (await client.get("/v1/visits")).json()["visits"] == []
        async with database.owner(dsn) as connection:
            assert await connection.fetchval("select count(*) from tinebook.asset_usage") == 3
            assert await connection.fetchval("select count(*) from tinebook.visit") == 3

    run(work())


BAD = [
    # what, row -> pointer
    ("usage", {"asset": "TN-1", "day": "31.10.2026", "flight_hours": 1}, "#/rows/1/day"),
    ("usage", {"asset": "TN-1", "day": "1812-10-31", "flight_hours": 1}, "#/rows/1/day"),
    ("usage", {"asset": "TN-1", "day": "2026-10-31"}, "#/rows/1/flight_hours"),
    ("usage", {"asset": "TN-1", "day": "2026-10-31", "flight_hours": -1}, "#/rows/1/flight_hours"),
    ("usage", {"asset": "TN-1", "day": "2026-10-31", "flight_hours": 1e300}, "#/rows/1/flight_hours"),
    ("usage", {"asset": "TN-1", "day": "2026-10-31", "flight_cycles": 1.5}, "#/rows/1/flight_cycles"),
    ("usage", {"asset": "", "day": "2026-10-31", "flight_hours": 1}, "#/rows/1/asset"),
    ("usage", {"asset": "TN-1", "day": "2026-10-31", "hours": 1}, "#/rows/1"),
    ("usage", 7, "#/rows/1"),
    ("visits", {"asset": "TN-1", "starts_on": "2027-02-08"}, "#/rows/1"),
    ("visits", {"asset": "TN-1", "name": "A\u0000"}, "#/rows/1/name"),
    ("visits", {"asset": "TN-1", "name": "A", "starts_on": "2200-01-01"}, "#/rows/1/starts_on"),
]


@pytest.mark.parametrize(("what", "row", "pointer"), BAD)
def test_a_bad_row_does_not_sink_its_neighbours(what: str, row: Any, pointer: str, service: Started) -> None:
    """A row that can't be read is refused with what is wrong and where; the others are recorded."""

    async def work() -> None:
        async with service() as client:
            good = FLOWN if what == "usage" else CHECK
            reply = await client.put(f"/v1/{what}", json={"rows": [good, row]})
            first, second = reply.json()["results"]
            assert (first["outcome"], first["problem"], second["outcome"]) == ("recorded", None, "refused")
            assert second["problem"]["type"] == "urn:tinebook:problem:invalid-request"
            assert second["problem"]["errors"][0]["pointer"].startswith(pointer)
            alone = await client.put(f"/v1/{what}", json={"rows": [row]})
            assert alone.status_code == 422
            assert alone.json()["detail"].startswith("none of the 1 rows can be read, nothing was recorded")

    run(work())


def test_lists_come_in_pages(service: Started) -> None:
    """Pages of usage and of visits follow each other without a gap or a repeat."""

    async def work() -> None:
        async with service() as client:
            days = [FLOWN | {"asset": f"TN-{each % 3}", "day": f"2026-10-{each + 1:02}"} for each in range(20)]
            await put(client, "usage", *days)
            await put(
                client, "visits", *(CHECK | {"asset": f"TN-{each % 3}", "name": f"C {each}"} for each in range(20))
            )
            for what in ("usage", "visits"):
                found: list[Any] = []
                cursor = ""
                while cursor is not None:
                    page = (await client.get(f"/v1/{what}?limit=7{cursor}")).json()
                    found += page[what]
                    cursor = page["next"] and f"&cursor={page['next']}"
                keys = [(each["asset"], each.get("day") or each["starts_on"]) for each in found]
                assert len(found) == 20
                assert keys == sorted(keys)
            assert (await client.get("/v1/usage?cursor=nonsense")).status_code == 422
            of_one = (await client.get("/v1/usage?asset=TN-1")).json()["usage"]
            assert {each["asset"] for each in of_one} == {"TN-1"}

    run(work())
