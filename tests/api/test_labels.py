"""Labels over HTTP."""

from collections.abc import Callable

import pytest

from service.core import marks
from tests.api.test_recording import registration
from tests.conftest import Started, run
from tests.labels import readers

PICTURES: dict[str, Callable[[bytes], readers.Grey]] = {
    "svg": readers.svg,
    "png": readers.png,
    "pdf": lambda data: readers.pdf(data, 600)[0],
}


@pytest.mark.parametrize(
    ("kind", "media"), [("svg", "image/svg+xml"), ("png", "image/png"), ("pdf", "application/pdf")]
)
def test_a_scanned_label_finds_its_connector(service: Started, kind: str, media: str) -> None:
    """A connector's label in each format, read by a decoder and sent as a scan, finds the connector."""

    async def work() -> None:
        async with service() as client:
            asked = registration("EX-0001", cage="0CVA5", part_number="D38999/26WB35SN")
            made = (await client.post("/v1/connectors", json=asked)).json()
            url = f"/v1/connectors/{made['id']}/label"
            reply = await client.get(url, params={"format": kind, "dpi": 600, "module_mm": 0.25})
            assert (reply.status_code, reply.headers["content-type"].partition(";")[0]) == (200, media)
            (text,) = readers.zxing(PICTURES[kind](reply.content))
            assert marks.read(text).identity == "D0CVA5D38999/26WB35SNEX-0001"
            scan = await client.post("/v1/scans", json={"text": text.decode()})
            assert [each["id"] for each in scan.json()["connectors"]] == [made["id"]]
            again = await client.get(url, params={"format": kind, "dpi": 600, "module_mm": 0.25})
            assert again.content == reply.content

    run(work())


@pytest.mark.parametrize(
    ("query", "status", "told"),
    [
        ("module_mm=0.25", 422, "0.339 mm (4 dots) does"),
        ("sleeve_mm=3", 422, "a camera sees"),
        ("module_mm=9", 422, "in the query"),
        ("module_mm=NaN", 422, "in the query"),
        ("dpi=12000", 422, "in the query"),
        ("format=gif", 422, "in the query"),
        ("size=3", 422, "in the query"),
    ],
)
def test_a_label_that_will_not_do_is_a_problem(service: Started, query: str, status: int, told: str) -> None:
    """A size that would not read back is answered with one that would; a query that is none, by its name."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration("EX-0001"))).json()
            reply = await client.get(f"/v1/connectors/{made['id']}/label?{query}")
            assert (reply.status_code, reply.headers["content-type"]) == (status, "application/problem+json")
            assert told in reply.json()["detail"]
            kinds = ("urn:tinebook:problem:label-not-readable", "urn:tinebook:problem:invalid-request")
            assert reply.json()["type"] == kinds["in the query" in told]

    run(work())


def test_a_label_of_nothing_is_not_found(service: Started) -> None:
    """A connector that is not registered has no label."""

    async def work() -> None:
        async with service() as client:
            reply = await client.get("/v1/connectors/6f9619ff-8b86-4d01-b42d-00cf4fc964ff/label")
            assert reply.status_code == 404

    run(work())


def test_a_label_whatever_the_serial_is(service: Started) -> None:
    """Serials that no UII may hold, and that a drawing language would take for its own, get a label all the same."""

    async def work() -> None:
        async with service() as client:
            for serial in ("</text><script>", "\u0416\u4e2d", 'a"b&c', "x" * 200, "urn:tinebook:badge:117"):
                made = (await client.post("/v1/connectors", json=registration(serial))).json()
                for kind in ("svg", "png", "pdf"):
                    reply = await client.get(f"/v1/connectors/{made['id']}/label?format={kind}")
                    assert reply.status_code == 200
                    assert b"<script" not in reply.content

    run(work())
