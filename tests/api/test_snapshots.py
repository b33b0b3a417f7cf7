"""What a bench takes along of a connector: the drawing, the contacts, the cautions."""

from typing import Any

import msgspec

from service import app, messages
from service.core.drawings import places
from service.store import database
from service.workflow import arrangements
from service.workflow.arrangements import Drawing, Placed
from tests.api.test_recording import registration
from tests.conftest import Started, run


async def imported(dsn: str, drawing: Drawing) -> None:
    """Let somebody bring true coordinates."""
    connection = await database.service_connection(dsn)
    try:
        assert await arrangements.record(connection, [drawing], "test", app.now()) == 1
    finally:
        await connection.close()


def test_a_bench_gets_what_it_draws_and_judges_with(service: Started) -> None:
    """The snapshot has a place for every cavity, the contacts made for the insert and the others, and cautions by action."""

    async def work() -> None:
        async with service() as client:
            body = {"serial": "EX-1", "part_number": "D38999/26WD19SN", "history": "new"}
            made = (await client.post("/v1/connectors", json=body)).json()
            reply = await client.get(f"/v1/connectors/{made['id']}/state")
            snapshot = msgspec.json.decode(reply.content, type=messages.Snapshot)
            drawing = snapshot.drawing
            assert drawing is not None
            assert (drawing.schematic, drawing.sex, drawing.source) == (True, "socket", None)
            assert len(drawing.places) == len(snapshot.definition.cavities) == 19
            assert max(x * x + y * y for x, y in drawing.places) < 1
            assert {each.sex for each in snapshot.contacts} == {"socket"}
            assert "AS39029/56-351" in {each.part_number for each in snapshot.contacts}
            assert "AS39029/58-363" in {each.part_number for each in snapshot.other_contacts}
            by_action = {
                action: [c for c in snapshot.cautions if action in c.actions] for action in ("insert", "remove")
            }
            asked = {"steps": [{"action": "insert", "cavity": made["cavities"][0]["id"]}]}
            plan = (await client.post(f"/v1/connectors/{made['id']}/plan", json=asked)).json()
            assert [each["text"] for each in plan["cautions"]] == [each.text for each in by_action["insert"]]
            assert {each.text for each in by_action["remove"]} != {each.text for each in by_action["insert"]}

    run(work())


def test_a_connector_without_a_part_number_is_drawn_too(service: Started) -> None:
    """Where nothing is known of the insert, the drawing is a scheme, of neither sex, and no contact is said to fit."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration())).json()
            seen: dict[str, Any] = (await client.get(f"/v1/connectors/{made['id']}/state")).json()
            assert seen["drawing"] == {
                "schematic": True,
                "sex": None,
                "source": None,
                "pitch": round(places.rings(2).pitch, 4),
                "places": [[round(x, 4), round(y, 4)] for x, y in places.rings(2).places],
            }
            assert seen["contacts"] == []
            assert seen["other_contacts"]

    run(work())


def test_true_places_are_drawn_where_somebody_brought_them(service: Started, dsn: str) -> None:
    """Imported coordinates are given in the order of the definition, and only where they are of these very cavities."""
    points = (Placed("C", 0.0, -2.0), Placed("A", 1.5, 1.0), Placed("B", -1.5, 1.0))

    async def work() -> None:
        await imported(dsn, Drawing("MIL-STD-1560", "9-98", points, "invented for a test"))
        async with service() as client:
            for serial, cavities, true in (("EX-1", "ABC", True), ("EX-2", "BAC", True), ("EX-3", "abc", False)):
                body: dict[str, Any] = {"serial": serial, "part_number": "D38999/26WA98SN", "history": "new"}
                body |= {"cavities": [{"id": each, "contact_size": "20"} for each in cavities]}
                made = (await client.post("/v1/connectors", json=body)).json()
                seen = (await client.get(f"/v1/connectors/{made['id']}/state")).json()["drawing"]
                assert (seen["schematic"], seen["source"]) == (not true, "invented for a test" if true else None)
                if true:
                    wanted = {"A": [0.675, 0.45], "B": [-0.675, 0.45], "C": [0.0, -0.9]}
                    assert dict(zip(cavities, seen["places"], strict=True)) == wanted

    run(work())


def test_a_bench_of_today_reads_what_one_of_yesterday_kept() -> None:
    """A snapshot without drawing, contacts and cautions, as earlier versions kept it, is still read."""
    known = {"connector": "5e5e5e5e-0000-4000-8000-000000000001", "serial": "EX-1", "cavities": [], "history": "new"}
    kept: dict[str, Any] = {
        "definition": known,
        "state": [[], []],
        "house": {},
        "tooling": None,
        "entries": 0,
        "as_of": "2026-11-02T08:00:00Z",
    }
    found = msgspec.convert(kept, messages.Snapshot)
    assert (found.drawing, found.cautions, found.contacts) == (None, (), ())
