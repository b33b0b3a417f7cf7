"""Work orders over HTTP: stated in versions, their states from planned to closed and back, and what is kept for good."""

import asyncio
import uuid
from typing import Any

import asyncpg
import pytest
import rfc8785

from service import app
from service.core.records.orders import WorkOrder
from service.store import database
from service.workflow import work_orders
from service.workflow.access import Scope
from tests.conftest import Started, make_token, run
from tests.records.shop import APPROVER, CHEAP, INSPECTOR, ORDER, PLAN, TECHNICIAN, Shop, opened


def test_from_planned_to_closed(service: Started) -> None:
    """Planned, in work, worked, inspected, closed: each follows from what was recorded and signed, and nothing else."""

    async def work() -> None:
        async with opened(service) as shop:
            assert await shop.state() == "planned"
            await shop.do("removal")
            assert await shop.state() == "in_work"
            await shop.do("insertion", "seating_test", minute=1)
            assert await shop.state() == "worked"
            await shop.sign("performed", TECHNICIAN)
            assert await shop.state() == "worked"
            await shop.sign("inspected", INSPECTOR)
            assert await shop.state() == "inspected"
            await shop.sign("approved", APPROVER)
            assert await shop.state() == "closed"
            told = (await shop.order())["statement"]
            assert [each["meaning"] for each in told["signatures"]] == ["performed", "inspected", "approved"]
            (cavity,) = told["cavities"]
            assert (cavity["before"]["cycles_begun"], cavity["after"]["cycles_begun"]) == (1, 2)
            assert told["completed_at"] == "2026-11-02T08:02:00Z"

    run(work())


@pytest.mark.parametrize("late", ["step", "correction", "finding", "earlier count", "version"])
def test_what_comes_after_the_approval_reopens(late: str, service: Started) -> None:
    """Work, a correction, a finding, an earlier count or another version of the order: it is not closed any more."""

    async def work() -> None:
        async with opened(service) as shop:
            first, *_ = await shop.do("removal", "insertion")
            await shop.close()
            assert (await shop.record())["number"] == 1
            match late:
                case "step":
                    await shop.do("tine_entry", minute=60)
                case "correction":
                    await shop.do("correction", cavity=None, corrects=first, note="typing error", minute=60)
                case "finding":
                    await shop.do("finding", note="a tine is bent", minute=60)
                case "earlier count":
                    await shop.do("tine_entry", minute=-600, work_order="WO-before")
                case _:
                    await shop.plan(reference={"document": "Shop practice 7", "revision": "D"})
            found = await shop.order()
            assert found["state"] != "closed"
            assert found["record"] is None
            assert "approval_outdated" in found["lacks"]
            refused = await shop.client.post("/v1/records", json={"work_order": ORDER, "reason": "x"})
            assert (refused.status_code, refused.json()["type"]) == (409, "urn:tinebook:problem:work-order-not-closed")
            assert (await shop.client.get("/v1/records")).json()["records"][0]["number"] == 1

    run(work())


def test_what_does_not_concern_it_leaves_it_closed(service: Started) -> None:
    """Later work under another order, a new rating, a tool's next check and a settled discrepancy leave a closed order closed."""

    async def work() -> None:
        async with opened(service) as shop:
            await shop.client.put("/v1/tools/LT-1", json={"part_number": "M81969/14-02", "due_on": "2026-10-01"})
            first, _ = await shop.do("removal", "insertion", tool="LT-1")
            await shop.close()
            await shop.do("removal", "insertion", minute=90, work_order="WO-later")
            await shop.client.put("/v1/tools/LT-1", json={"part_number": "M81969/14-02", "due_on": "2027-10-01"})
            await shop.do("resolution", cavity=None, refers_to=first, note="checked", minute=95, work_order="WO-later")
            (connector,) = (await shop.order())["statement"]["connectors"]
            rating = {"value": 8, "basis": "house", "document": "Shop practice 7", "revision": "D"}
            revised = await shop.client.put(
                f"/v1/connectors/{connector['connector']}/rating", json={"rating": rating, "reason": "revision D"}
            )
            assert revised.is_success
            assert await shop.state() == "closed"

    run(work())


def test_a_refused_inspection_asks_for_rework(service: Started) -> None:
    """A refusal holds the order up until work that it did not see was done and another inspection accepts that."""

    async def work() -> None:
        async with opened(service) as shop:
            await shop.do("removal", "insertion")
            await shop.sign("inspected", INSPECTOR, outcome="refused", remark="the contact stands out of line")
            assert (await shop.order())["lacks"] == ["inspection_refused", "approval"]
            assert (await shop.try_sign("inspected", INSPECTOR)).status_code == 409
            assert await shop.state() == "worked"
            for kind in ("removal", "insertion"):
                await shop.do(kind, performed_at=app.now().isoformat())
            await shop.close()
            found = await shop.order()
            assert found["state"] == "closed"
            assert [each["outcome"] for each in found["statement"]["signatures"]] == ["refused", "accepted", "accepted"]

    run(work())


def test_only_what_is_so_now_is_signed(service: Started) -> None:
    """The statement that the screen showed has to be the one that is so when it is signed, letter by letter."""

    async def work() -> None:
        async with opened(service) as shop:
            await shop.do("removal")
            shown = await shop.statement()
            await shop.do("insertion", minute=1)
            late = await shop.try_sign("performed", TECHNICIAN, statement=shown)
            assert (late.status_code, late.json()["type"]) == (409, "urn:tinebook:problem:statement-changed")
            altered = await shop.statement() | {"title": "Something else"}
            assert (await shop.try_sign("performed", TECHNICIAN, statement=altered)).status_code == 409
            assert (await shop.try_sign("performed", TECHNICIAN)).status_code == 201

    run(work())


def test_the_statement_depends_on_the_books_alone(service: Started) -> None:
    """Asked for twice, by whomever, it is the same bytes; they are what a signature on it hashes (RFC 8785)."""

    async def work() -> None:
        async with opened(service) as shop:
            await shop.do("removal", "insertion", "seating_test", held=True, force_n=66.7)
            first = await shop.statement()
            await asyncio.sleep(0.05)
            assert await shop.statement() == first
            signed = await shop.sign("performed", TECHNICIAN)
            assert signed["statement"].encode() == rfc8785.dumps(first)

    run(work())


def test_versions_are_kept_and_the_same_again_is_none(service: Started, dsn: str) -> None:
    """Each change is a version of its own, the same again is not; two at one moment are two versions."""

    async def work() -> None:
        async with service(**CHEAP) as client:
            shop = Shop(client)
            assert [(await shop.plan())["version"] for _ in range(2)] == [1, 1]
            assert (await shop.plan(title="Something else"))["version"] == 2
            body = [WorkOrder(title=f"At once {each}") for each in range(5)]

            async def put(each: WorkOrder) -> int:
                connection = await database.service_connection(dsn)
                try:
                    return (await work_orders.put(connection, ORDER, each, "test", app.now())).version
                finally:
                    await connection.close()

            assert sorted(await asyncio.gather(*(put(each) for each in body))) == [3, 4, 5, 6, 7]
            feed = (await client.get("/v1/feed?types=tinebook.work_order.stated")).json()["events"]
            assert [each["data"]["recorded"]["version"] for each in feed] == [1, 2, 3, 4, 5, 6, 7]

    run(work())


def test_an_order_that_only_entries_name(service: Started) -> None:
    """Entries may name an order first: it is shown as not on the books, can't be closed, and entries that wait are said."""

    async def work() -> None:
        async with opened(service) as shop:
            unknown = await shop.client.get("/v1/work-orders/WO-9")
            assert (unknown.status_code, unknown.json()["type"]) == (404, "urn:tinebook:problem:unknown-work-order")
            await shop.do("removal", work_order="WO-9")
            waiting = {
                "id": str(uuid.uuid4()),
                "connector": "nobody registered this",
                "kind": "mating",
                "performed_at": "2026-11-02T08:00:00Z",
                "performed_by": TECHNICIAN,
                "work_order": "WO-9",
            }
            reply = await shop.client.post("/v1/entries", json={"entries": [waiting]})
            assert reply.json()["results"][0]["outcome"] == "parked"
            found = await shop.order("WO-9")
            assert (found["version"], found["order"], found["state"]) == (0, None, "in_work")
            assert found["lacks"] == ["not_on_the_books", "steps_open", "approval"]
            assert found["statement"]["waiting_entries"] == 1
            assert {each["code"] for each in found["statement"]["remarks"]} >= {"not_on_the_books", "entries_wait"}

    run(work())


@pytest.mark.parametrize("number", ['WO "7"', "WO \\ 7", "WO Ä 7", "WO%7", "WO-1"])
def test_numbers_are_compared_whole(number: str, service: Started) -> None:
    """Whatever a number holds, exactly the entries that state it are its own."""

    async def work() -> None:
        async with opened(service) as shop:
            await shop.do("removal", work_order=number)
            await shop.do("insertion", minute=1, work_order=f"{number}1")
            reply = await shop.client.get(f"/v1/work-orders/{number.replace('%', '%25')}")
            assert reply.status_code == 200, reply.text
            assert [each["kind"] for each in reply.json()["statement"]["done"]] == ["removal"]

    run(work())


def test_the_list_shows_what_has_yet_to_be_recorded(service: Started) -> None:
    """Those that came last first, page by page; those of an asset, and those without a record."""

    async def work() -> None:
        async with opened(service) as shop:
            for number in range(5):
                await shop.plan(f"WO-{number}", asset="EX-02", inspection_required=False)
            await shop.do("removal", "insertion", work_order="WO-3")
            await shop.sign("approved", APPROVER, "WO-3")
            await shop.record("WO-3")

            async def numbers(query: str) -> list[str]:
                found: list[str] = []
                cursor = ""
                while True:
                    page = (await shop.client.get(f"/v1/work-orders?limit=2&{query}{cursor}")).json()
                    found += [each["number"] for each in page["work_orders"]]
                    if page["next"] is None:
                        return found
                    cursor = f"&cursor={page['next']}"

            assert await numbers("") == ["WO-4", "WO-3", "WO-2", "WO-1", "WO-0", ORDER]
            assert await numbers("asset=EX-01") == [ORDER]
            assert await numbers("asset=EX-02&recorded=false") == ["WO-4", "WO-2", "WO-1", "WO-0"]
            (line,) = (await shop.client.get("/v1/work-orders?recorded=true")).json()["work_orders"]
            assert (line["number"], line["state"], line["record"]) == ("WO-3", "closed", 1)

    run(work())


@pytest.mark.parametrize("scope", [Scope.BENCH, Scope.RECORDS])
def test_only_a_planner_states_orders(scope: Scope, service: Started, dsn: str) -> None:
    """A bench and a records clerk read work orders; stating one takes a planner."""

    async def work() -> None:
        async with opened(service) as shop:
            headers = {"Authorization": f"Bearer {await make_token(dsn, scope)}"}
            assert (await shop.client.get(f"/v1/work-orders/{ORDER}", headers=headers)).status_code == 200
            put = await shop.client.put(f"/v1/work-orders/{ORDER}", json=PLAN, headers=headers)
            assert put.status_code == 403

    run(work())


_CHANGES = {
    "work_order": ("update tinebook.work_order set title = 'x'", "delete from tinebook.work_order"),
    "record": ("update tinebook.record set made_by = 'x'", "delete from tinebook.record"),
}


@pytest.mark.parametrize("table", _CHANGES)
def test_neither_is_ever_changed(table: str, service: Started, dsn: str) -> None:
    """The service's role may not change a work order or a record; even the owner is refused (23001), and can't empty the table."""

    async def work() -> None:
        async with opened(service) as shop:
            await shop.do("removal", "insertion")
            await shop.close()
            await shop.record()
        truncate = f"truncate tinebook.{table} cascade"
        connection = await database.service_connection(dsn)
        try:
            for statement in (*_CHANGES[table], truncate):
                with pytest.raises(asyncpg.InsufficientPrivilegeError):
                    await connection.execute(statement)
        finally:
            await connection.close()
        async with database.owner(dsn) as owner:
            for statement in (*_CHANGES[table], truncate):
                with pytest.raises(asyncpg.RestrictViolationError, match="append-only"):
                    await owner.execute(statement)

    run(work())


def _bad(**changes: Any) -> dict[str, Any]:
    return PLAN | changes


@pytest.mark.parametrize(
    "body",
    [
        {},
        _bad(title=""),
        _bad(state="closed"),
        _bad(steps=[{"act": "polish"}]),
        _bad(steps=[{"act": "insert", "done": True}]),
        _bad(reference={"revision": "C"}),
    ],
)
def test_a_state_is_not_stated(body: dict[str, Any], service: Started) -> None:
    """An order without a title, with an act that is none, or with a state or a tick of its own is refused with what is wrong."""

    async def work() -> None:
        async with service(**CHEAP) as client:
            reply = await client.put("/v1/work-orders/WO-1", json=body)
            assert reply.status_code == 422
            assert reply.json()["errors"]

    run(work())
