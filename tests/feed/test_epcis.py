"""What is handed over in EPCIS 2.0, held to the JSON Schema that GS1 publishes, with its formats on."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx
import jsonschema_rs
import pytest
from epcpy.utils.parsers import epc_pure_identity_to_scheme

from service.feed import epcis
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run

DOCUMENT = jsonschema_rs.Draft7Validator(
    json.loads((Path(__file__).parent / "published" / "epcis_document.json").read_text()), validate_formats=True
)
"""Without its formats the schema lets an unknown step pass, and a field without a prefix."""
ID = UUID("019ac0de-0000-7000-8000-000000000001")
EVENT: dict[str, Any] = {
    "type": "AssociationEvent",
    "eventID": "urn:uuid:017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
    "eventTime": "2026-01-02T03:04:05.000Z",
    "eventTimeZoneOffset": "+00:00",
    "parentID": "urn:epc:id:adi:0CVA5.1234.786950",
    "childQuantityList": [{"epcClass": "https://example.org/part/contact/0CVA5/99999/lot/L42", "quantity": 1}],
    "action": "ADD",
    "bizStep": "installing",
    "tinebook:cavity": "12",
}


def document(**changes: Any) -> dict[str, Any]:
    """A document with one event; a change to None leaves a field out."""
    event = {key: value for key, value in (EVENT | changes).items() if value is not None}
    whole = epcis.document([], datetime(2026, 1, 2, tzinfo=UTC))
    return whole | {"epcisBody": {"eventList": [event]}}


@pytest.mark.parametrize(
    ("changes", "good"),
    [
        # What the published schema says of each was found by trial, with formats on.
        ({}, True),
        ({"action": "DELETE", "bizStep": "removing"}, True),
        ({"action": "DELETE", "bizStep": "removing", "childQuantityList": None}, True),
        ({"childQuantityList": None}, False),
        ({"parentID": None}, False),
        ({"eventTimeZoneOffset": None}, False),
        ({"bizStep": "mating"}, False),
        ({"cavity": "12"}, False),
        ({"parentID": "0CVA5/1234/786950"}, False),
        ({"eventTime": "2026-01-02 03:04"}, False),
    ],
)
def test_the_schema_tells_good_from_bad(changes: dict[str, Any], *, good: bool) -> None:
    """The published schema, as it is used here, refuses what it ought to refuse."""
    assert DOCUMENT.is_valid(document(**changes)) == good


@pytest.mark.parametrize(
    ("serial", "cage", "part_number", "wanted"),
    [
        # GS1 Tag Data Standard, scheme ADI: CAGE, original part number or nothing, serial; a slash is percent-encoded.
        ("786950", "0CVA5", "1234", "urn:epc:id:adi:0CVA5.1234.786950"),
        ("786950", "0CVA5", None, "urn:epc:id:adi:0CVA5..786950"),
        ("S1", "0CVA5", "12/34", "urn:epc:id:adi:0CVA5.12%2F34.S1"),
        ("M37GXB92", "35962", "PQ7VZ4", "urn:epc:id:adi:35962.PQ7VZ4.M37GXB92"),
        # What an ADI can't hold is named by its id here.
        ("786950", None, "1234", ID.urn),
        ("ex 1", "0CVA5", None, ID.urn),
        ("S1", "0CVA5", "A" * 33, ID.urn),
        ("S" * 31, "0CVA5", None, ID.urn),
        ("S.1", "0CVA5", None, ID.urn),
        ("https://id.gs1.org/01/09506000134352/21/A1", None, None, "https://id.gs1.org/01/09506000134352/21/A1"),
    ],
)
def test_what_a_connector_is_called(serial: str, cage: str | None, part_number: str | None, wanted: str) -> None:
    """A connector is an ADI where its identity makes one, its GS1 Digital Link where that is its serial, else its id."""
    found = epcis.connector(ID, serial, cage, part_number)
    assert found == wanted
    if wanted.startswith("urn:epc:"):
        assert epc_pure_identity_to_scheme(found).epc_uri == wanted


async def handed_over(client: httpx.AsyncClient, path: str = "/v1/epcis") -> list[dict[str, Any]]:
    """The events of a document that fits the published schema."""
    reply = await client.get(path)
    assert (reply.status_code, reply.headers["content-type"]) == (200, "application/ld+json")
    DOCUMENT.validate(reply.json())
    found: list[dict[str, Any]] = reply.json()["epcisBody"]["eventList"]
    return found


def test_work_at_contacts(service: Started) -> None:
    """Insertions, removals and seating tests are handed over with cavity, class of contact, bench and work order."""

    async def work() -> list[dict[str, Any]]:
        async with service() as client:
            await client.post("/v1/connectors", json=registration(cage="0CVA5", part_number="D38999/26WD35SN"))
            await post(
                client,
                entry("insertion", contact="AS39029/56-348", bench="Bench 2", work_order="WO-1/ä"),
                entry("seating_test", minute=1, held=True, force_n=31.5),
                entry("seating_test", minute=2, held=True, level=False),
                entry("seating_test", minute=3),
                entry("tine_entry", "c", minute=4),
                entry("removal", minute=5) | {"performed_at": "2026-11-02T10:00:00-05:30"},
                entry("removal", "c", minute=6),
            )
            return await handed_over(client)

    inserted, held, not_level, removed, unknown = run(work())
    uri = "urn:epc:id:adi:0CVA5.D38999%2F26WD35SN.EX-1"
    assert (inserted["type"], inserted["action"], inserted["bizStep"]) == ("AssociationEvent", "ADD", "installing")
    assert inserted["parentID"] == uri
    contact = [{"epcClass": "urn:tinebook:contact:AS39029%2F56-348", "quantity": 1}]
    assert inserted["childQuantityList"] == contact
    assert inserted["tinebook:cavity"] == "C"
    assert inserted["readPoint"] == {"id": "urn:tinebook:bench:Bench%202"}
    assert inserted["bizTransactionList"] == [{"bizTransaction": "urn:tinebook:work_order:WO-1/%C3%A4"}]
    assert "117" not in json.dumps(inserted), "who did it stays in the house"
    assert (held["type"], held["action"], held["bizStep"]) == ("ObjectEvent", "OBSERVE", "inspecting")
    assert (held["disposition"], held["tinebook:forceNewton"], held["epcList"]) == ("conformant", 31.5, [uri])
    assert not_level["disposition"] == "non_conformant"
    assert (removed["action"], removed["bizStep"]) == ("DELETE", "removing")
    assert removed["childQuantityList"] == contact, "what comes out is what was put in"
    assert (removed["eventTime"], removed["eventTimeZoneOffset"]) == ("2026-11-02T15:30:00.000Z", "-05:30")
    assert unknown["childQuantityList"] == [{"epcClass": "urn:tinebook:contact", "quantity": 1}]


def test_corrections(service: Started) -> None:
    """A correction hands the event over again, with its id and an error declaration; one without effect hands over nothing."""
    wrong, test = entry("insertion", contact="AS39029/56-348"), entry("seating_test", minute=1, held=True)
    void = entry("correction", None, 2, corrects=wrong["id"], note="wrong connector")
    without = entry("correction", None, 3, corrects=test["id"])
    of_other = entry("correction", None, 4, corrects=str(ID), note="of nothing")
    of_void = entry("correction", None, 5, corrects=void["id"], note="of a correction")
    mating = entry("mating", None, 6)
    of_mating = entry("correction", None, 7, corrects=mating["id"], note="was not mated")

    async def work() -> list[dict[str, Any]]:
        async with service() as client:
            await client.post("/v1/connectors", json=registration())
            await post(client, wrong, test, void, without, of_other, of_void, mating, of_mating)
            return await handed_over(client)

    first, tested, declared = run(work())
    assert [first["eventID"], tested["eventID"]] == [f"urn:uuid:{wrong['id']}", f"urn:uuid:{test['id']}"]
    assert "errorDeclaration" not in tested
    declaration = declared.pop("errorDeclaration")
    assert declared == first
    assert declaration["reason"] == "did_not_occur"
    assert declaration["tinebook:because"] == "wrong connector"


def test_a_correction_that_came_first(service: Started) -> None:
    """An entry whose correction arrived before it is handed over once, as the error that it is."""
    wrong, good = entry("insertion"), entry("insertion", "c")
    void = entry("correction", None, 2, corrects=wrong["id"], note="wrong connector")
    later = entry("correction", None, 3, corrects=good["id"], note="wrong too")

    async def work() -> list[dict[str, Any]]:
        async with service() as client:
            await client.post("/v1/connectors", json=registration())
            await post(client, void)
            await post(client, wrong, good, later)
            return await handed_over(client)

    found = [(each["eventID"], "errorDeclaration" in each) for each in run(work())]
    named = [f"urn:uuid:{each['id']}" for each in (wrong, good)]
    assert found == [(named[0], True), (named[1], False), (named[1], True)]


def test_the_parts_make_the_whole(service: Started) -> None:
    """Following `Link`, a partner gets every event once; a part may hold none; a connector's are to be had alone."""

    async def work() -> None:
        async with service() as client:
            one = (await client.post("/v1/connectors", json=registration("EX-1"))).json()["id"]
            await client.post("/v1/connectors", json=registration("EX-2"))
            empty = await client.get("/v1/epcis")
            DOCUMENT.validate(empty.json())
            assert empty.json()["epcisBody"]["eventList"] == []
            for minute in range(6):
                kind = "removal" if minute % 2 else "insertion"
                await post(client, entry(kind, minute=minute, serial=f"EX-{minute % 2 + 1}"))
            whole = await handed_over(client)
            assert len(whole) == 6
            parts, url = [], "/v1/epcis?limit=4"
            while True:
                reply = await client.get(url)
                if not (more := reply.json()["epcisBody"]["eventList"]):
                    break
                parts += more
                url = reply.links["next"]["url"]
            assert parts == whole
            alone = await handed_over(client, f"/v1/epcis?connector={one}")
            assert alone == [each for each in whole if each["parentID"] == UUID(one).urn]

    run(work())
