"""Recording over HTTP: outcomes, idempotency, parking, late entries."""

import asyncio
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx

from service.core.entries import HouseRule
from service.store import database
from service.workflow import proof
from tests.conftest import Started, run

AT = datetime(2026, 11, 2, 8, 0, tzinfo=UTC)


def registration(serial: str = "EX-1", **changes: Any) -> dict[str, Any]:
    """A connector with the cavities C and c, rated 10."""
    base = {
        "serial": serial,
        "history": "new",
        "cavities": [{"id": "C", "contact_size": "20"}, {"id": "c", "contact_size": "20"}],
        "rating": {"value": 10, "basis": "house"},
    }
    return base | changes


def entry(kind: str, cavity: str | None = "C", minute: float = 0, serial: str = "EX-1", **more: Any) -> dict[str, Any]:
    """One entry with an id of its own."""
    made = {
        "id": str(uuid.uuid4()),
        "connector": serial,
        "kind": kind,
        "performed_at": (AT + timedelta(minutes=minute)).isoformat(),
        "performed_by": "badge 117",
    }
    return made | ({"cavity": cavity} if cavity else {}) | more


async def post(client: httpx.AsyncClient, *entries: dict[str, Any], **more: Any) -> list[dict[str, Any]]:
    """Record entries, which must be readable; their results."""
    reply = await client.post("/v1/entries", json={"entries": entries} | more)
    assert reply.status_code == 200, reply.text
    results: list[dict[str, Any]] = reply.json()["results"]
    assert len(results) == len(entries)
    return results


def test_the_main_job(service: Started) -> None:
    """Scan, answer, record: the eighth insertion is the first to warn, the eleventh is a no_go, and the count holds."""

    async def work() -> None:
        async with service() as client:
            made = await client.post("/v1/connectors", json=registration())
            assert made.status_code == 201
            found = await client.get("/v1/connectors", params={"mark": "EX-1"})
            (line,) = found.json()["connectors"]
            url = f"/v1/connectors/{line['id']}"
            answers = []
            for cycle in range(10):
                step = {"action": "insert", "cavity": "C"}
                answers.append((await client.post(f"{url}/plan", json={"steps": [step]})).json()["answer"])
                (done,) = await post(client, entry("insertion", minute=10 * cycle))
                assert done["discrepancies"] == []
                out = (await client.post(f"{url}/plan", json={"steps": [{"action": "remove", "cavity": "C"}]})).json()
                answers.append(out["answer"])
                await post(client, entry("removal", minute=10 * cycle + 5))
            assert answers[::2] == ["go"] * 7 + ["warn"] * 3
            assert answers[1::2] == ["go"] * 6 + ["warn"] * 4
            assert out["steps"][0]["reasons"][0]["code"] == "last_removal"
            eleventh = (await client.post(f"{url}/plan", json={"steps": [{"action": "insert", "cavity": "C"}]})).json()
            assert eleventh["answer"] == "no_go"
            assert [each["code"] for each in eleventh["steps"][0]["reasons"]] == ["spent"]
            (over,) = await post(client, entry("insertion", minute=200))
            assert over["outcome"] == "recorded"
            assert over["discrepancies"] == ["over_rating"]
            assert over["cavity"]["wear"] == "over"
        async with service() as client:
            shown = (await client.get(url)).json()
            assert {each["id"]: each["cycles_begun"] for each in shown["cavities"]} == {"C": 11, "c": 0}
            assert shown["wear"] == "over"
            report = (await client.get("/v1/reports/cycle-limits")).json()
            assert [(each["serial"], each["wear"], each["left"]) for each in report["connectors"]] == [
                ("EX-1", "over", 0)
            ]

    run(work())


def test_the_same_id_means_one_thing(service: Started) -> None:
    """The same id and content gets the same answer and counts once; the same id with other content is refused."""

    async def work() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration())
            one = entry("insertion")
            (first,) = await post(client, one)
            (again,) = await post(client, one)
            twice = await post(client, entry("insertion", "c"), one, one)
            assert first["outcome"] == "recorded"
            assert again == first | {"outcome": "already_recorded"}
            assert [each["outcome"] for each in twice] == ["recorded", "already_recorded", "already_recorded"]
            over = entry("insertion", minute=5)
            once, copy = await post(client, over, over)
            assert once["discrepancies"] == ["inserted_while_occupied"]
            assert copy == once | {"outcome": "already_recorded"}
            hasty = entry("insertion", minute=6)
            both = await asyncio.gather(post(client, hasty), post(client, hasty))
            told = {each["outcome"]: each for (each,) in both}
            assert told["already_recorded"] == told["recorded"] | {"outcome": "already_recorded"}
            (other,) = await post(client, one | {"cavity": "c"})
            assert other["outcome"] == "refused"
            assert other["problem"]["type"] == "urn:tinebook:problem:id-reused"
            assert again["cavity"]["cycles_begun"] == 1

    run(work())


def test_a_bad_entry_does_not_sink_its_neighbours(service: Started) -> None:
    """What is malformed or unknown in a batch is refused with a pointer; the rest is recorded."""

    async def work() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration())
            results = await post(
                client,
                entry("insertion"),
                entry("insertion", "q"),
                entry("insertion") | {"performed_at": "2026-11-02T08:00:00"},
                entry("removal", minute=1),
            )
            assert [each["outcome"] for each in results] == ["recorded", "refused", "refused", "recorded"]
            pointers = [each["problem"]["errors"][0]["pointer"] for each in results[1:3]]
            assert pointers == ["#/entries/1/cavity", "#/entries/2/performed_at"]
            wrong_case = (await post(client, entry("insertion", "C"), entry("insertion", "a")))[1]["problem"]["detail"]
            assert "case" not in wrong_case
            only_c = await client.post(
                "/v1/connectors", json=registration("EX-2", cavities=[{"id": "C", "contact_size": "20"}])
            )
            assert only_c.status_code == 201
            (near,) = await post(client, entry("insertion", "c", serial="EX-2"))
            assert "'C'" in near["problem"]["detail"]

    run(work())


def test_entries_wait_for_their_connector(service: Started) -> None:
    """An entry on an unregistered connector is parked and joins the ledger with its id and times at registration."""

    async def work() -> None:
        async with service() as client:
            one, two = entry("insertion"), entry("removal", "q", minute=1)
            parked = await post(client, one, two)
            assert [each["outcome"] for each in parked] == ["parked", "parked"]
            assert (await post(client, one))[0]["outcome"] == "parked"
            waiting = (await client.get("/v1/parked")).json()["parked"]
            assert {each["id"] for each in waiting} == {one["id"], two["id"]}
            made = (await client.post("/v1/connectors", json=registration())).json()
            assert made["cavities"][0]["cycles_begun"] == 1
            lines = (await client.get(f"/v1/connectors/{made['id']}/entries")).json()["entries"]
            assert [(each["id"], each["recorded_at"]) for each in lines] == [(one["id"], waiting[0]["recorded_at"])]
            assert (await post(client, one))[0]["outcome"] == "already_recorded"
            left = (await client.get("/v1/parked")).json()["parked"]
            assert [each["id"] for each in left] == [two["id"]]
            assert "'q'" in left[0]["reason"]

    run(work())


def test_a_mark_that_means_two_connectors_is_assigned_by_a_person(service: Started) -> None:
    """Where a serial is not unique the entry is parked, and a planner says where it belongs."""

    async def work() -> None:
        async with service() as client:
            one = (await client.post("/v1/connectors", json=registration(cage="0CVA5"))).json()
            await client.post("/v1/connectors", json=registration(cage="0F3N5"))
            fact = entry("insertion")
            (parked,) = await post(client, fact)
            assert parked["outcome"] == "parked"
            early = entry("insertion", serial="EX-7")
            assert (await post(client, early))[0]["outcome"] == "parked"
            seventh = (await client.post("/v1/connectors", json=registration("EX-7", cage="0CVA5"))).json()
            assert seventh["entries"] == 1
            split = "[)>\x1e06\x1d17V0CVA5\x1d1PE\x1dSX-1\x1e\x04"
            (other_item,) = await post(client, entry("insertion", serial=split))
            assert other_item["outcome"] == "parked", "the same UII text, but another item"
            url, step = f"/v1/connectors/{one['id']}/plan", {"steps": [{"action": "insert", "cavity": "C"}]}
            unsure = (await client.post(url, json=step)).json()
            assert [each["code"] for each in unsure["steps"][0]["reasons"]] == ["entries_waiting"]
            elsewhere = {"steps": [{"action": "insert", "cavity": "c"}]}
            assert (await client.post(url, json=elsewhere)).json()["answer"] == "go"
            done = await client.post(f"/v1/parked/{fact['id']}", json={"connector": one["id"]})
            assert done.json()["outcome"] == "recorded"
            assert (await client.get(f"/v1/entries/{fact['id']}")).json()["connector"] == one["id"]
            sure = (await client.post(url, json={"steps": [{"action": "remove", "cavity": "C"}]})).json()
            assert sure["answer"] == "go"
            assert (await post(client, entry("removal", minute=1, serial="D0CVA5EX-1")))[0]["outcome"] == "recorded"

    run(work())


def test_late_entries_and_corrections_change_what_stands(service: Started) -> None:
    """A late renewal moves earlier work into the old life; a correction takes an entry out again."""

    async def work() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration())
            await post(
                client, *(entry(kind, minute=minute) for minute, kind in enumerate(["insertion", "removal"] * 5))
            )
            (late,) = await post(client, entry("renewal", minute=5.5))
            assert (late["cavity"]["life"], late["cavity"]["cycles_begun"]) == (2, 2)
            (out,) = await post(
                client, entry("correction", None, minute=60, corrects=late["id"], note="other connector")
            )
            assert out["discrepancies"] == []
            (line,) = (await client.get("/v1/connectors", params={"mark": "EX-1"})).json()["connectors"]
            cavity = (await client.get(f"/v1/connectors/{line['id']}")).json()["cavities"][0]
            assert (cavity["life"], cavity["cycles_begun"]) == (1, 5)

    run(work())


def test_many_at_once_on_one_connector(service: Started) -> None:
    """Sixty clients recording on one connector at the same time lose and double nothing, and the chain numbers them all."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration())).json()
            facts = [entry("tine_entry", "C" if number % 2 else "c", minute=number % 7) for number in range(60)]
            results = await asyncio.gather(*(post(client, each) for each in facts))
            assert all(each["outcome"] == "recorded" for (each,) in results)
            shown = (await client.get(f"/v1/connectors/{made['id']}")).json()
            assert [each["tine_entries"] for each in shown["cavities"]] == [30, 30]
            ledger = (await client.get(f"/v1/connectors/{made['id']}/entries", params={"limit": 500})).json()["entries"]
            assert [each["number"] for each in ledger] == list(range(1, 61))
            assert {each["id"] for each in ledger} == {each["id"] for each in facts}

    run(work())


def test_a_state_that_can_not_be_read_is_said_and_rebuilt(service: Started, dsn: str) -> None:
    """A kept state of another version is answered with what to do, and is rebuilt from the ledger."""

    async def alter() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute("update tinebook.head set state = '[1'::bytea")

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration())).json()
            await post(client, entry("insertion"))
            await alter()
            for reply in (
                await client.get(f"/v1/connectors/{made['id']}"),
                await client.post("/v1/entries", json={"entries": [entry("removal")]}),
            ):
                assert reply.status_code == 503
                assert reply.json()["type"] == "urn:tinebook:problem:state-unreadable"
                assert "tinebook rebuild" in reply.json()["detail"]
            async with database.owner(dsn) as connection:
                done = [each async for each in proof.rebuild(connection, HouseRule(), None, lambda _done, _all: None)]
            assert len(done) == 1
            shown = (await client.get(f"/v1/connectors/{made['id']}")).json()
            assert shown["cavities"][0]["cycles_begun"] == 1

    run(work())
