"""Registering over HTTP, by serial and by scanning."""

import base64
from typing import Any

import pytest

from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run

_GS, _RS, _EOT = "\x1d", "\x1e", "\x04"


def message(*elements: str) -> str:
    """A symbol of format 06 (ISO/IEC 15434)."""
    return f"[)>{_RS}06{_GS}{_GS.join(elements)}{_RS}{_EOT}"


SCANNED = message("18S0CVA5EX-0001", "1PD38999/26WD19SN")


def test_a_scan_registers_everything_in_one_step(service: Started) -> None:
    """From the mark alone come serial, maker, part number, family, cavities and the house's rating; the mark finds it."""

    async def work() -> None:
        async with service() as client:
            body = {
                "what": "rating",
                "family": "38999-III",
                "value": {"cycles": 10, "basis": "house"},
                "document": "Shop practice 7",
                "reason": "test",
            }
            assert (await client.post("/v1/house-values", json=body)).status_code == 201
            scan = base64.b64encode(SCANNED.encode()).decode()
            reply = await client.post("/v1/connectors", json={"bytes_base64": scan, "history": "new"})
            assert reply.status_code == 201
            made = reply.json()
            assert (made["serial"], made["cage"], made["part_number"]) == ("EX-0001", "0CVA5", "D38999/26WD19SN")
            assert (made["family"], len(made["cavities"]), made["cavity_ids"]) == ("38999-III", 19, "published")
            assert (made["rating"]["value"], made["rating"]["verified"]) == (10, False)
            again = await client.post("/v1/connectors", json={"mark": SCANNED, "history": "new"})
            assert (again.status_code, again.json()["id"]) == (200, made["id"])
            found = (await client.get("/v1/connectors", params={"mark": SCANNED})).json()["connectors"]
            assert [each["id"] for each in found] == [made["id"]]

    run(work())


def test_a_mark_that_finds_a_connector_registers_no_second(service: Started) -> None:
    """A connector that was registered by hand, with more than its mark says, is the one that the mark means."""

    async def work() -> None:
        async with service() as client:
            by_hand = registration("EX-0001", cage="0CVA5", part_number="D38999/26WD19SN")
            made = (await client.post("/v1/connectors", json=by_hand)).json()
            for mark in (message("18S0CVA5EX-0001"), SCANNED):
                reply = await client.post("/v1/connectors", json={"mark": mark, "history": "new"})
                assert (reply.status_code, reply.json().get("id")) == (200, made["id"])
            other = await client.post("/v1/connectors", json={"mark": SCANNED, "history": "unknown"})
            assert other.status_code == 409
            assert "history" in other.json()["detail"]

    run(work())


def test_entries_that_wait_join_what_is_scanned(service: Started) -> None:
    """Entries parked under a mark join the connector that the mark registers."""

    async def work() -> None:
        async with service() as client:
            (waiting,) = await post(client, entry("insertion", "A", serial=SCANNED))
            assert waiting["outcome"] == "parked"
            made = (await client.post("/v1/connectors", json={"mark": SCANNED, "history": "new"})).json()
            assert made["entries"] == 1
            assert made["cavities"][0]["cycles_begun"] == 1

    run(work())


CAVITIES = [{"id": "1", "contact_size": "20"}]


@pytest.mark.parametrize(
    ("body", "problem", "pointer"),
    [
        ({}, "invalid-request", "#/serial"),
        ({"serial": "X", "mark": "Y"}, "invalid-request", "#/serial"),
        ({"mark": "urn:tinebook:badge:117"}, "mark-unusable", "#/mark"),
        ({"mark": "[)>\x1e0618S0CVA5EX1"}, "mark-unusable", "#/mark"),
        ({"mark": message("1PD38999/26WD19SN")}, "mark-unusable", "#/mark"),
        ({"bytes_base64": "AA!"}, "invalid-request", "#/bytes_base64"),
        ({"mark": "EX-1"}, "cavities-needed", "#/cavities"),
        ({"mark": message("18S0CVA5EX-1")}, "cavities-needed", "#/cavities"),
        ({"mark": message("18S0CVA5EX-1", "1P4711")}, "cavities-needed", "#/cavities"),
        ({"mark": SCANNED, "part_number": "D38999/26WE35SN"}, "invalid-request", "#/part_number"),
        ({"mark": SCANNED, "cage": "0CVA6"}, "invalid-request", "#/cage"),
        ({"serial": "X", "cavity_count": 3, "contact_size": "20"}, "invalid-request", "#/cavity_count"),
        ({"serial": "X", "cavity_ids": "assumed"}, "cavities-needed", "#/cavities"),
        ({"serial": "X", "cavity_set": "none"}, "cavities-needed", "#/cavity_set"),
        ({"serial": "X", "cavity_set": "none", "cavities": CAVITIES}, "invalid-request", "#/cavity_set"),
    ],
)
def test_what_is_missing_is_said(service: Started, body: dict[str, Any], problem: str, pointer: str) -> None:
    """A registration that lacks something says what and where; cavity ids are never made up, not even by their number."""

    async def work() -> None:
        async with service() as client:
            reply = await client.post("/v1/connectors", json={"history": "new"} | body)
            assert reply.json()["type"] == f"urn:tinebook:problem:{problem}", reply.text
            assert pointer in [each["pointer"] for each in reply.json()["errors"]]
            assert (await client.get("/v1/connectors")).json()["connectors"] == []

    run(work())


def test_assumed_ids_are_given_and_say_so(service: Started) -> None:
    """Somebody may register cavities whose ids are assumed: with the ids, and the connector says so for good."""

    async def work() -> None:
        async with service() as client:
            body = {"serial": "X", "history": "new", "cavities": CAVITIES, "cavity_ids": "assumed"}
            assert (await client.post("/v1/connectors", json=body)).json()["cavity_ids"] == "assumed"

    run(work())


def test_a_mark_and_what_it_lacks(service: Started) -> None:
    """What the mark does not say may be stated beside it."""

    async def work() -> None:
        async with service() as client:
            body = {"mark": "EX-7", "cage": "0CVA5", "part_number": "D38999/26WD19SN", "history": "unknown"}
            made = (await client.post("/v1/connectors", json=body)).json()
            assert (made["serial"], made["cage"], made["family"]) == ("EX-7", "0CVA5", "38999-III")
            found = (await client.get("/v1/connectors", params={"mark": "EX-7"})).json()["connectors"]
            assert [each["id"] for each in found] == [made["id"]]

    run(work())
