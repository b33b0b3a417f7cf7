"""Connectors by where they are and by the work order that touched them, over HTTP."""

from typing import Any

import asyncpg
import httpx

from service.core.entries import HouseRule
from service.store import database
from service.workflow import proof
from service.workflow.proof import Break
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run

PLACES = {
    "EX-1": ("TN-01", "410", "P1"),
    "EX-2": ("TN-01", "410", "P2"),
    "EX-3": ("TN-01", "420", "P1"),
    "EX-4": ("TN-02", "410", "P1"),
    "EX-5": (None, None, None),
}


async def fleet(client: httpx.AsyncClient) -> None:
    """Five connectors, four of them placed."""
    for serial, (asset, zone, position) in PLACES.items():
        await client.post(
            "/v1/connectors", json=registration(serial, part_number="PN-1" if serial < "EX-3" else "PN-2")
        )
        if asset:
            at: dict[str, Any] = {"asset": asset, "zone": zone, "position": position}
            await post(client, entry("placement", None, serial=serial, **at))


async def found(client: httpx.AsyncClient, **filters: str) -> str:
    """The last characters of the serials that a list has, over all its pages of two."""
    seen, cursor = "", None
    while True:
        asked = filters | {"limit": "2"} | ({"cursor": cursor} if cursor else {})
        reply = await client.get("/v1/connectors", params=asked)
        assert reply.status_code == 200, reply.text
        seen += "".join(each["serial"][-1] for each in reply.json()["connectors"])
        cursor = reply.json()["next"]
        if cursor is None:
            return seen


def test_connectors_are_found_by_their_place(service: Started) -> None:
    """Asset, zone, position and the other filters combine, page by page; a connector that moved is where it is now."""

    async def work() -> None:
        async with service() as client:
            await fleet(client)
            assert await found(client) == "12345"
            assert await found(client, asset="TN-01") == "123"
            assert await found(client, asset="TN-01", zone="410") == "12"
            assert await found(client, zone="410") == "124"
            assert await found(client, position="P1") == "134"
            assert await found(client, asset="TN-01", position="P1") == "13"
            assert await found(client, asset="TN-01", part_number="PN-2") == "3"
            assert await found(client, asset="tn-01") == ""
            await post(client, entry("placement", None, 5, "EX-1", asset="TN-02", zone="410", position="P9"))
            assert await found(client, asset="TN-01") == "23"
            assert await found(client, asset="TN-02") == "14"
            # A late placement from before the move changes nothing; one that takes it off its aircraft does.
            await post(client, entry("placement", None, 2, "EX-1", asset="TN-03"))
            assert await found(client, asset="TN-03") == ""
            await post(client, entry("placement", None, 6, "EX-4"))
            assert await found(client, asset="TN-02") == "1"

    run(work())


def test_connectors_are_found_by_their_work_order(service: Started) -> None:
    """A connector is found by a work order that any of its entries states, letter for letter, and by no part of one."""
    odd = 'WO "7"\\ä/1'

    async def work() -> None:
        async with service() as client:
            await fleet(client)
            await post(
                client,
                entry("insertion", serial="EX-1", work_order="WO-7"),
                entry("removal", serial="EX-1", work_order="WO-7", minute=1),
                entry("insertion", serial="EX-3", work_order="WO-7"),
                entry("insertion", serial="EX-2", work_order="WO-78", force_n=1.5),
                entry("insertion", serial="EX-4", work_order=odd),
                entry("insertion", serial="EX-5", note='"work_order":"WO-7"'),
            )
            assert await found(client, work_order="WO-7") == "13"
            assert await found(client, work_order="WO-78") == "2"
            assert await found(client, work_order="WO-7", part_number="PN-2") == "3"
            assert await found(client, work_order="WO-7", asset="TN-02") == ""
            assert await found(client, work_order=odd) == "4"
            assert await found(client, work_order='WO "8"') == ""
            assert await found(client, work_order='WO "7"') == ""
            assert await found(client, work_order="WO") == ""

    run(work())


def test_the_columns_of_the_place_are_a_cache(service: Started, dsn: str) -> None:
    """A place that is not what the ledger gives is found by verify, and rebuild writes it anew."""

    async def spoilt(connection: asyncpg.Connection) -> None:
        await connection.execute("update tinebook.head set zone = '999' where asset = 'TN-02'")

    async def work() -> None:
        async with service() as client:
            await fleet(client)
            async with database.owner(dsn) as connection:
                house = HouseRule()
                assert [each async for each in proof.verify(connection, house, None, _silent)] == []
                await spoilt(connection)
                breaks = [each async for each in proof.verify(connection, house, None, _silent)]
                assert [(each.place, each.text) for each in breaks] == [("place", "is not what the state gives")]
                done = [each async for each in proof.rebuild(connection, house, None, _silent)]
                assert (len(done), any(isinstance(each, Break) for each in done)) == (1, False)
                assert [each async for each in proof.verify(connection, house, None, _silent)] == []
            assert await found(client, asset="TN-02", zone="410") == "4"

    run(work())


def _silent(_done: int, _all: int) -> None:
    """Say nothing of how far it is."""
