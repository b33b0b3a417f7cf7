"""The shop's own figures and arrangements over HTTP."""

from typing import Any

import asyncpg
import httpx
import pytest

from service.store import database
from service.workflow import arrangements
from service.workflow.arrangements import Drawing, Placed
from tests.api.test_recording import registration
from tests.conftest import Started, run

PROVEN = {
    "document": "Shop practice 7",
    "revision": "C",
    "paragraph": "3.2",
    "verified_by": "badge 204",
    "verified_on": "2026-10-30",
}


async def state(client: httpx.AsyncClient, what: str, value: Any, **more: Any) -> dict[str, Any]:
    """State a figure for 38999 series III, unless said otherwise."""
    body = {"what": what, "value": value, "family": "38999-III", "reason": "test"} | more
    reply = await client.post("/v1/house-values", json=body)
    assert reply.status_code == 201, reply.text
    found: dict[str, Any] = reply.json()
    return found


def bare(serial: str, **more: Any) -> dict[str, Any]:
    """A registration by part number alone."""
    return {"serial": serial, "part_number": "D38999/26WD19SN", "history": "new"} | more


def test_a_registration_takes_the_house_rating(service: Started) -> None:
    """Without a rating of its own a connector gets the house's for its family, with its provenance, copied for good."""

    async def work() -> None:
        async with service() as client:
            before = (await client.post("/v1/connectors", json=bare("EX-0"))).json()
            assert before["rating"] is None
            await state(client, "rating", {"cycles": 10, "basis": "house"}, **PROVEN)
            await state(client, "mating_rating", {"cycles": 500, "basis": "recommended"})
            await state(client, "nearing_fraction", {"nearing_fraction": 0.5})
            made = (await client.post("/v1/connectors", json=bare("EX-1"))).json()
            assert {name: made["rating"][name] for name in PROVEN} == PROVEN
            assert (made["rating"]["value"], made["rating"]["verified"], made["rating"]["nearing_from"]) == (
                10,
                True,
                5,
            )
            assert (made["mating"]["rating"]["value"], made["mating"]["rating"]["verified"]) == (500, False)
            own = (await client.post("/v1/connectors", json=bare("EX-2", rating={"value": 5, "basis": "house"}))).json()
            assert own["rating"]["value"] == 5
            await state(client, "rating", {"cycles": 20, "basis": "house"})
            again = await client.post("/v1/connectors", json=bare("EX-1"))
            assert again.status_code == 200
            assert again.json()["rating"] == made["rating"]
            assert (await client.get(f"/v1/connectors/{before['id']}")).json()["rating"] is None
            newer = (await client.post("/v1/connectors", json=bare("EX-3"))).json()
            assert (newer["rating"]["value"], newer["rating"]["verified"]) == (20, False)

    run(work())


def test_a_plan_shows_the_pull_and_prefers_the_houses(service: Started) -> None:
    """An insertion shows the light pull with its status; the house's figure and tools stand before the catalogue's at once."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration(family="26500"))).json()
            steps = {"steps": [{"action": "replace", "cavity": "C"}]}
            url = f"/v1/connectors/{made['id']}/plan"
            out, put = (await client.post(url, json=steps)).json()["work"]
            assert out["seating_pull"] is None
            assert put["seating_pull"] == {
                "force_n": 66.7,
                "force_lbf": 15.0,
                "verified": False,
                "status": "common practice",
                "source": "common practice, no source",
            }
            await state(client, "pull", {"force_n": 44.5}, family="26500", contact_size="20", **PROVEN)
            await state(
                client,
                "tool",
                {"tools": [{"half": "insert", "part_number": "M81969/14-10", "end": "red end"}]},
                family="26500",
                contact_size="20",
            )
            out, put = (await client.post(url, json=steps)).json()["work"]
            assert (put["seating_pull"]["force_n"], put["seating_pull"]["verified"]) == (44.5, True)
            assert put["seating_pull"]["source"].startswith("Shop practice 7 C 3.2; verified by badge 204")
            assert [(each["part_number"], each["status"]) for each in put["tools"]] == [
                ("M81969/14-10", "house, not verified")
            ]
            assert [each["part_number"] for each in out["tools"]] == ["MS24256R20"]
            await state(client, "pull", None, family="26500", contact_size="20")
            _, put = (await client.post(url, json=steps)).json()["work"]
            assert put["seating_pull"]["status"] == "common practice"

    run(work())


def test_no_pull_where_nothing_is_known(service: Started) -> None:
    """A connector of an unknown family, of a size without a figure or of rear release has no pull: none is made up."""

    async def work() -> None:
        async with service() as client:
            for asked, cavity in (
                (registration(), "C"),
                (bare("EX-2", part_number="D38999/26WE35SN"), "14"),
                (bare("EX-3"), "A"),
            ):
                made = (await client.post("/v1/connectors", json=asked)).json()
                steps = {"steps": [{"action": "insert", "cavity": cavity}]}
                (put,) = (await client.post(f"/v1/connectors/{made['id']}/plan", json=steps)).json()["work"]
                assert put["seating_pull"] is None

    run(work())


def test_every_figure_is_kept(service: Started) -> None:
    """Nothing that was stated is lost: the list shows all, newest first, and which of them hold."""

    async def work() -> None:
        async with service() as client:
            for cycles in (10, 12, 14):
                await state(client, "rating", {"cycles": cycles, "basis": "house"})
            await state(client, "rating", None, part_number="D38999/26WD19SN")
            await state(client, "pull", {"force_n": 60}, contact_size="20", family="26500")
            page = (await client.get("/v1/house-values?what=rating&limit=3")).json()
            shown = [(each["value"] and each["value"]["cycles"], each["holds"]) for each in page["values"]]
            assert shown == [(None, False), (14, True), (12, False)]
            rest = (await client.get(f"/v1/house-values?what=rating&limit=3&cursor={page['next']}")).json()
            assert [each["value"]["cycles"] for each in rest["values"]] == [10]
            assert rest["next"] is None
            other = (await client.get("/v1/house-values?family=26500")).json()["values"]
            assert [each["value"] for each in other] == [{"force_n": 60}]

    run(work())


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"what": "rating", "value": {"cycles": 10, "basis": "house"}}, "#/family"),
        ({"what": "rating", "family": "x", "value": {"cycles": 10}}, "#/value/basis"),
        ({"what": "pull", "family": "x", "value": {"force_n": 10}}, "#/contact_size"),
        ({"what": "pull", "family": "x", "contact_size": "20", "value": {"force_n": 0}}, "#/value/force_n"),
        ({"what": "limit", "family": "x", "value": None}, "#/what"),
        ({"what": "rating", "family": "x", "value": {"rating": 10}}, "#/value/rating"),
    ],
)
def test_a_statement_that_is_none_is_refused(service: Started, body: dict[str, Any], pointer: str) -> None:
    """What a statement lacks or has too much is said, with where, and nothing is kept."""

    async def work() -> None:
        async with service() as client:
            reply = await client.post("/v1/house-values", json=body | {"reason": "test"})
            assert reply.status_code == 422
            assert pointer in [each["pointer"] for each in reply.json()["errors"]]
            assert (await client.get("/v1/house-values")).json()["values"] == []

    run(work())


@pytest.mark.parametrize("table", ["house_value", "cavity_set", "coordinates"])
def test_what_the_shop_states_is_append_only(service: Started, dsn: str, table: str) -> None:
    """Not even the owner changes, deletes or truncates what the shop stated; the service's role may not try."""

    async def work() -> None:
        async with service() as client:
            await state(client, "rating", {"cycles": 10, "basis": "house"})
        async with database.owner(dsn) as connection:
            await connection.execute("""
                insert into tinebook.cavity_set (name, cavities, recorded_by, recorded_at) values ('x', '[]', 'x', now());
                insert into tinebook.coordinates (standard, arrangement, points, source, recorded_by, recorded_at)
                values ('x', 'x', '[]', 'x', 'x', now());
            """)
            for change in (f"update tinebook.{table} set number = default", f"delete from tinebook.{table}"):
                with pytest.raises(asyncpg.RestrictViolationError, match="append-only"):
                    await connection.execute(change)
            with pytest.raises(asyncpg.RestrictViolationError, match="append-only"):
                await connection.execute(f"truncate tinebook.{table}")
        service_role = await database.service_connection(dsn)
        try:
            with pytest.raises(asyncpg.InsufficientPrivilegeError):
                await service_role.execute(f"delete from tinebook.{table}")
        finally:
            await service_role.close()

    run(work())


def test_an_arrangement_is_schematic_until_coordinates_come(service: Started, dsn: str) -> None:
    """Without coordinates an arrangement says that it is schematic; with them each cavity has its place, seen from any side."""

    async def work() -> None:
        async with service() as client:
            url = "/v1/arrangements/MIL-STD-1560/9-98"
            plain = (await client.get(url)).json()
            assert (plain["schematic"], plain["coordinates_source"], plain["total"]) == (True, None, 3)
            assert [(each["id"], each["contact_size"], each["x_mm"]) for each in plain["cavities"]] == [
                ("A", "20", None),
                ("B", "20", None),
                ("C", "20", None),
            ]
            assert {each["status"] for each in plain["cavities"]} == {"second-hand"}
            points = (Placed("A", 1.5, 1.0), Placed("B", -1.5, 1.0), Placed("C", 0.0, -2.0))
            drawing = Drawing("MIL-STD-1560", "9-98", points, "invented for a test")
            connection = await database.service_connection(dsn)
            try:
                from service import app  # noqa: PLC0415 - its clock

                assert await arrangements.record(connection, [drawing], "test", app.now()) == 1
                assert await arrangements.record(connection, [drawing], "test", app.now()) == 0
            finally:
                await connection.close()
            for view, left in (("pin_front", 1.5), ("pin_rear", -1.5), ("socket_front", -1.5), ("socket_rear", 1.5)):
                shown = (await client.get(f"{url}?view={view}")).json()
                assert (shown["schematic"], shown["coordinates_source"]) == (False, "invented for a test")
                assert (shown["cavities"][0]["x_mm"], shown["cavities"][0]["y_mm"]) == (left, 1.0)

    run(work())


def test_arrangements_that_are_not_listed_whole(service: Started) -> None:
    """An arrangement without a cavity list has none, a twin's is derived, and one that is on no list is not found."""

    async def work() -> None:
        async with service() as client:
            unlisted = (await client.get("/v1/arrangements/MIL-STD-1560/25-35")).json()
            assert (unlisted["total"], unlisted["cavities"], unlisted["schematic"]) == (128, None, True)
            twin = (await client.get("/v1/arrangements/MIL-STD-1560/16-35")).json()
            assert {each["status"] for each in twin["cavities"]} == {"derived"}
            assert twin["cavities"][0]["source"].startswith("as in 17-35: ")
            missing = await client.get("/v1/arrangements/MIL-STD-1560/99-99")
            assert missing.status_code == 404
            assert "MIL-STD-1669" in missing.json()["detail"]

    run(work())
