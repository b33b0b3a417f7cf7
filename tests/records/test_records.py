"""The record of closed work: its content by rule, its numbers, its bytes, and how it is corrected."""

import asyncio
import hashlib
import html
import re
from typing import Any

import asyncpg
import jsonschema_rs
import msgspec
import pytest
import rfc8785

from service import app
from service.core.entries import HouseRule
from service.core.records.content import MaintenanceRecord
from service.messages import DECIDES
from service.record_messages import RecordRequest
from service.records import forms
from service.store import database
from service.store.ledger import Definitions
from service.workflow import records
from service.workflow.order_books import Means
from tests.conftest import Started, run
from tests.records.shop import APPROVER, INSPECTOR, ORDER, SECRET, TECHNICIAN, Shop, opened

MANDATORY = {"value": 10, "basis": "mandatory", "document": "EX maintenance manual", "revision": "4"}


async def closed(shop: Shop) -> dict[str, Any]:
    """A record of a replacement, and what it states."""
    await shop.client.put("/v1/tools/LT-1", json={"part_number": "M81969/14-01", "due_on": "2026-10-01"})
    await shop.do("removal", "insertion", tool="LT-1", contact="M39029/56-348 lot 7")
    await shop.do("seating_test", minute=2, held=True, force_n=44.5)
    await shop.close()
    found: dict[str, Any] = (await shop.record())["record"]
    return found


def test_it_holds_what_the_rules_ask_for(service: Started) -> None:
    """Every item that 14 CFR 43.9(a), 43.10, AMC M.A.305(e) and GM M.A.305(d) ask of an entry is there."""

    async def work() -> None:
        async with opened(service, rating=MANDATORY) as shop:
            found = await closed(shop)
        # 43.9(a)(1): description, or reference to data acceptable to the authority.
        assert found["description"].startswith("Replace the contact in cavity C. Done: 1 x contact removed")
        assert found["reference"] == {"document": "Shop practice 7", "revision": "C", "task": "4.2"}
        # (2): the date of completion. (3): who did the work.
        assert (found["completed_at"], found["completed_local"]) == (
            "2026-11-02T08:02:00Z",
            "2026-11-02T09:02:00+01:00",
        )
        assert [(each["badge"], each["name"]) for each in found["performed_by"]] == [(TECHNICIAN, "T. Example")]
        # (4): signature, certificate number and kind of the approver; only for the work performed.
        approval = found["approval"]
        assert (approval["name"], approval["badge"], approval["meaning"]) == ("A. Example", APPROVER, "approved")
        assert (approval["certificate_number"], approval["certificate_kind"]) == ("EX-301", "repairman")
        assert "only for the work performed" in found["approves"]
        # 145.219: in English. 145.A.48: inspector and details before release.
        assert found["language"] == "en"
        assert [(each["badge"], each["outcome"]) for each in found["inspections"]] == [(INSPECTOR, "accepted")]
        assert found["inspections"][0]["signed_at"] < approval["signed_at"] < found["made_at"]
        told = found["statement"]
        # Standards 3.5: identity of the connector, with the UII of MIL-STD-130N Table A-II.
        (connector,) = told["connectors"]
        assert (connector["cage"], connector["part_number"], connector["serial"]) == (
            "0CVA5",
            "D38999/26WE35SN",
            "EX-1",
        )
        assert connector["uii"] == "D0CVA5D38999/26WE35SNEX-1"
        # Contact and lot, tool and its calibration due.
        assert told["contacts"] == [{"contact": "M39029/56-348 lot 7", "insertions": 1}]
        assert told["tools"][0] | {"uses": 0} == {
            "tool": "LT-1",
            "part_number": "M81969/14-01",
            "due_on": "2026-10-01",
            "overdue": True,
            "uses": 0,
        }
        # Count before and after, limit, basis, remaining.
        (cavity,) = told["cavities"]
        assert (cavity["before"]["cycles_begun"], cavity["after"]["cycles_begun"]) == (1, 2)
        assert (cavity["limit"]["value"], cavity["limit"]["basis"], cavity["after"]["remaining"]) == (
            10,
            "mandatory",
            8,
        )
        # 43.10(c): part number, serial, current life status; GM M.A.305(d): limit, accumulated, remaining.
        (status,) = told["life_status"]
        assert (status["part_number"], status["serial"]) == ("D38999/26WE35SN", "EX-1")
        assert (status["limit"]["value"], status["accumulated"], status["remaining"]) == (10, 2, 8)
        assert (status["as_of"], status["removals"]) == (told["completed_at"], 1)
        # Entry id, number and hash in its chain; what is open and not verified is said.
        assert [each["number"] for each in told["done"]] == [1, 2, 3]
        assert {each["code"] for each in told["discrepancies"]} == {"tool_overdue"}
        assert {"limit_not_verified", "discrepancies_open", "tool_overdue"} <= {
            each["code"] for each in told["remarks"]
        }
        assert found["notice"] == told["notice"] == DECIDES

    run(work())


def test_the_published_schema_holds_it(service: Started) -> None:
    """The schema is read without a token, a Draft 2020-12 one; a record fits it, formats and all, and a broken one does not."""

    async def work() -> None:
        async with opened(service, rating=MANDATORY) as shop:
            found = await closed(shop)
            reply = await shop.client.get("/schema/record.json", headers={"Authorization": ""})
            assert reply.status_code == 200
            schema = reply.json()
        assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
        assert jsonschema_rs.meta.is_valid(schema)
        judge = jsonschema_rs.Draft202012Validator(schema, validate_formats=True)
        judge.validate(found)
        for broken in (
            {"completed_at": "yesterday"},
            {"id": "x"},
            {"language": "de"},
            {"approval": {**found["approval"], "sha256": "x"}},
        ):
            assert not judge.is_valid({**found, **broken}), broken
        for name in found:
            if name not in ("format", "language"):
                assert not judge.is_valid({key: value for key, value in found.items() if key != name}), name

    run(work())


@pytest.mark.parametrize("form", ["json", "html", "pdf"])
def test_every_export_is_the_same_bytes(form: str, service: Started) -> None:
    """A record is drawn from what was frozen: later work, names and ratings change no byte of any form of it, in any language."""

    async def work() -> None:
        async with opened(service) as shop:
            await closed(shop)
            languages = ("en", "de")
            urls = [f"/v1/records/1/document?format={form}&language={each}" for each in languages]
            first = [(await shop.client.get(url)).content for url in urls]
            assert (first[0] == first[1]) is (form == "json")
            await shop.client.put(f"/v1/people/{TECHNICIAN}", json={"name": "Somebody Else"})
            await shop.client.put("/v1/tools/LT-1", json={"part_number": "M81969/14-03"})
            await shop.do("removal", "insertion", minute=60)
            assert [(await shop.client.get(url)).content for url in urls] == first
            reply = await shop.client.get(urls[0])
            assert reply.headers["content-type"].partition(";")[0] == forms.MEDIA_TYPES[form]  # type: ignore[index]
            assert f'filename="record-1.{form}"' in reply.headers["content-disposition"]

    run(work())


def test_the_hash_is_of_the_json_and_is_printed(service: Started) -> None:
    """The JSON is in RFC 8785 form, its SHA-256 is the record's, and stands on the document with the number and who decides."""

    async def work() -> None:
        async with opened(service) as shop:
            found = await closed(shop)
            view = (await shop.client.get("/v1/records/1")).json()
            written = (await shop.client.get("/v1/records/1/document?format=json")).content
            page = (await shop.client.get("/v1/records/1/document?format=html")).text
        assert msgspec.json.decode(written) == found
        assert written == rfc8785.dumps(found)
        assert hashlib.sha256(written).hexdigest() == view["sha256"]
        assert view["intact"] is True
        words = html.unescape(re.sub(r"<[^>]+>", " ", page))
        for each in (
            "Record 1",
            view["sha256"],
            DECIDES,
            found["approval"]["sha256"],
            "NOT VERIFIED",
            "repairman EX-301",
        ):
            assert each in words
        approved = hashlib.sha256(rfc8785.dumps(found["statement"])).hexdigest()
        assert approved == found["approval"]["sha256"]

    run(work())


def test_german_stands_beside_english(service: Started) -> None:
    """In German the document holds all its English words, and the German ones beside them."""

    async def work() -> tuple[str, str]:
        async with opened(service) as shop:
            await closed(shop)
            first, other = [
                (await shop.client.get(f"/v1/records/1/document?format=html&language={each}")).text
                for each in ("en", "de")
            ]
            return first, other

    english, both = run(work())
    heads = re.findall(r"<(?:h1|h2|h3|th|dt)[^>]*>([^<]+)<", english)
    assert len(heads) > 40
    assert [each for each in heads if each not in both] == []
    assert "Zyklenzahlen" in both
    assert "Zyklenzahlen" not in english


def test_an_approval_is_recorded_once(service: Started) -> None:
    """Asked for again, the same record is given; the number stands for the approval."""

    async def work() -> None:
        async with opened(service) as shop:
            await closed(shop)
            again = await shop.client.post("/v1/records", json={"work_order": ORDER})
            assert (again.status_code, again.json()["number"]) == (200, 1)
            assert (await shop.order())["record"] == 1

    run(work())


def test_a_correction_is_a_new_record(service: Started) -> None:
    """After more work and a new approval another record, with a reason, points to the old; the old stays and says so."""

    async def work() -> None:
        async with opened(service) as shop:
            before = await closed(shop)
            await shop.do("removal", "insertion", minute=60)
            await shop.close()
            unexplained = await shop.client.post("/v1/records", json={"work_order": ORDER})
            assert unexplained.status_code == 422
            assert unexplained.json()["errors"][0]["pointer"] == "#/reason"
            second = await shop.record(reason="a second replacement was missing")
            assert (second["number"], second["corrects"]) == (2, 1)
            assert second["record"]["correction_reason"] == "a second replacement was missing"
            first = (await shop.client.get("/v1/records/1")).json()
            assert (first["corrected_by"], first["record"]) == (2, before)
            page = (await shop.client.get("/v1/records/2/document?format=html")).text
            assert "This record corrects record 1. Reason: a second replacement was missing" in page
            assert (await shop.order())["record"] == 2
            feed = (await shop.client.get("/v1/feed?types=tinebook.record.made")).json()["events"]
            assert [each["data"]["recorded"]["number"] for each in feed] == [1, 2]
            assert feed[0]["id"] == before["id"]
            assert feed[0]["data"]["recorded"]["content"] == before

    run(work())


def test_numbers_have_no_gaps_under_concurrent_makers(service: Started, dsn: str) -> None:
    """However many make records at once, and however many of them fail, the numbers are 1, 2, 3 and so on."""

    async def work() -> None:
        async with opened(service) as shop:
            numbers = [f"WO-{each}" for each in range(6)]
            for at, number in enumerate(numbers):
                await shop.plan(number, inspection_required=False)
                await shop.do("removal", "insertion", minute=10 * at, work_order=number)
                await shop.sign("approved", APPROVER, number)
            means = Means(Definitions(), HouseRule())

            async def make(number: str, *, fail: bool) -> None:
                connection = await database.service_connection(dsn)
                try:
                    async with connection.transaction():
                        await records.make(connection, means, RecordRequest(work_order=number), "test", app.now())
                        if fail:
                            await connection.execute("select pg_sleep(1)", timeout=0.01)
                except TimeoutError:
                    assert fail
                finally:
                    await connection.close()

            await asyncio.gather(*(make(each, fail=fail) for each in numbers for fail in (True, False)))
            made = (await shop.client.get("/v1/records")).json()["records"]
            assert [each["number"] for each in made] == [6, 5, 4, 3, 2, 1]
            assert {each["work_order"] for each in made} == set(numbers)

    run(work())


def test_the_database_refuses_a_number_out_of_turn(service: Started, dsn: str) -> None:
    """Even its owner can't leave a gap, or keep bytes under a hash that is not theirs."""

    async def work() -> None:
        async with opened(service) as shop:
            await closed(shop)
        insert = """
            insert into tinebook.record (number, id, work_order, approval, canonical, sha256, made_by, made_at)
            values ($1, gen_random_uuid(), 'x', gen_random_uuid(), 'x', sha256($2::bytea), 'x', now())
        """
        async with database.owner(dsn) as connection:
            with pytest.raises(asyncpg.CheckViolationError) as gap:
                await connection.execute(insert, 3, b"x")
            assert gap.value.constraint_name == "record_numbers_have_no_gaps"
            with pytest.raises(asyncpg.CheckViolationError) as other:
                await connection.execute(insert, 2, b"y")
            assert other.value.constraint_name == "record_of_what_it_states"

    run(work())


def test_what_was_altered_shows(service: Started, dsn: str) -> None:
    """A record that somebody with the owner's rights altered, hash and all, is not intact: its approval was on something else."""

    async def work() -> None:
        async with opened(service) as shop:
            await closed(shop)
            async with database.owner(dsn) as connection:
                await connection.execute("alter table tinebook.record disable trigger user")
                written = await connection.fetchval("select canonical from tinebook.record")
                forged = written.replace(b'"cycles_begun":2', b'"cycles_begun":1')
                assert forged != written
                await connection.execute("update tinebook.record set canonical = $1, sha256 = sha256($1)", forged)
            assert (await shop.client.get("/v1/records/1")).json()["intact"] is False

    run(work())


@pytest.mark.parametrize("number", ["0", "2", "x", "-1", "9" * 30, "1.0", "²"])
def test_records_that_are_none(number: str, service: Started) -> None:
    """A number that no record has is told as that."""

    async def work() -> None:
        async with opened(service) as shop:
            for path in (f"/v1/records/{number}", f"/v1/records/{number}/document"):
                reply = await shop.client.get(path)
                assert (reply.status_code, reply.json()["type"]) == (404, "urn:tinebook:problem:unknown-record")

    run(work())


def test_a_record_can_be_signed_too(service: Started) -> None:
    """Somebody may put a further signature on a record: on all of it, as it is kept."""

    async def work() -> None:
        async with opened(service) as shop:
            found = await closed(shop)
            told = {"subject": "record", "reference": "1", "meaning": "approved", "badge": APPROVER, "secret": SECRET}
            signed = await shop.client.post("/v1/signatures", json=told | {"statement": found})
            assert signed.status_code == 201, signed.text
            other = await shop.client.post("/v1/signatures", json=told | {"statement": found | {"number": 2}})
            assert other.status_code == 409

    run(work())


def test_the_content_is_read_as_it_was_written(service: Started) -> None:
    """A record that is read into the service's own form and written again is the same bytes: no field is lost on the way."""

    async def work() -> bytes:
        async with opened(service) as shop:
            await closed(shop)
            reply = await shop.client.get("/v1/records/1/document?format=json")
            return reply.content

    written = run(work())
    read = msgspec.json.decode(written, type=MaintenanceRecord)
    assert rfc8785.dumps(msgspec.to_builtins(read)) == written
