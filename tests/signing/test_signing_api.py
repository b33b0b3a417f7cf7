"""Signing through the API: what is shown is what is signed, by somebody who may, once, and it can be proven later."""

import json
from collections.abc import Mapping
from typing import Any
from uuid import uuid4

import httpx
import pytest

from service import signing_messages as messages
from service.core.entries import HouseRule
from service.store import database
from service.store.database import Connection
from service.workflow import proof, signing
from service.workflow.access import Scope
from tests.api.test_recording import entry, registration
from tests.conftest import Started, make_token, run
from tests.signing import shop
from tests.signing.shop import APPROVER, CHEAP_SETTINGS, INSPECTOR, NOW, ORDER, OTHER, WORKER

SECRET = "known to one person only"  # noqa: S105 - of nobody


async def person(client: httpx.AsyncClient, badge: str, *whats: str, scope: str = "all") -> None:
    """Somebody with authority and a secret of their own, through the API alone."""
    given = [{"what": each, "scope": scope, "from_on": "2020-01-01"} for each in whats]
    told = {
        "name": f"Name of {badge}",
        "certificate": {"number": f"EX-{badge}", "kind": "repairman", "from_on": "2020-01-01"},
        "authorities": given,
    }
    assert (await client.put(f"/v1/people/{badge}", json=told)).status_code == 200
    assert (await client.post(f"/v1/people/{badge}/secret", json={"secret": "first secret"})).status_code == 201
    change = {"old": "first secret", "new": SECRET}
    assert (await client.put(f"/v1/people/{badge}/secret", json=change)).status_code == 200


async def recorded(client: httpx.AsyncClient, **more: Any) -> dict[str, Any]:
    """One insertion by B-1 on a new connector; the fact as a screen would show it."""
    serial = f"S-{uuid4().hex[:6]}"
    await client.post("/v1/connectors", json=registration(serial))
    fact = entry("insertion", serial=serial, **{"performed_by": "B-1"} | more)
    reply = await client.post("/v1/entries", json={"entries": [fact]})
    assert reply.json()["results"][0]["outcome"] == "recorded", reply.text
    shown: dict[str, Any] = (await client.get(f"/v1/entries/{fact['id']}")).json()["line"]["entry"]
    return shown


def request(fact: Mapping[str, Any], meaning: str, badge: str, **more: Any) -> dict[str, Any]:
    """What is posted to sign one entry."""
    return {
        "subject": "entries",
        "reference": fact["id"],
        "statement": {"entries": [fact]},
        "meaning": meaning,
        "badge": badge,
        "secret": SECRET,
    } | more


def kind(reply: httpx.Response) -> str:
    """The problem that a reply is, with the form of RFC 9457 seen to."""
    told = reply.json()
    assert reply.headers["content-type"] == "application/problem+json"
    assert told["status"] == reply.status_code
    assert told["title"]
    assert told["detail"]
    found: str = told["type"].removeprefix("urn:tinebook:problem:")
    return found


def test_a_signature_holds_what_was_shown_and_who_signed(service: Started) -> None:
    """It has the canonical statement with its hash, the signer with the certificate of that time, method, meaning and time."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await person(client, "B-7", "inspects")
            fact = await recorded(client)
            made = await client.post("/v1/signatures", json=request(fact, "inspected", "B-7", id=str(uuid4())))
            assert made.status_code == 201, made.text
            told = made.json()
            assert json.loads(told["statement"]) == {"entries": [fact]}
            assert list(json.loads(told["statement"])["entries"][0]) == sorted(fact)
            shown = {name: told[name] for name in ("badge", "name", "certificate_number", "certificate_kind", "method")}
            assert shown == {
                "badge": "B-7",
                "name": "Name of B-7",
                "certificate_number": "EX-B-7",
                "certificate_kind": "repairman",
                "method": "secret",
            }
            assert told["intact"]
            # The certificate and the name change; what was signed doesn't.
            later = {"name": "Other Name", "certificate": {"number": "EX-99", "kind": "other", "from_on": "2026-01-01"}}
            assert (await client.put("/v1/people/B-7", json=later)).status_code == 200
            assert (await client.get(f"/v1/signatures/{told['id']}")).json() == told
            listed = await client.get(f"/v1/signatures?subject=entries&reference={fact['id']}")
            assert listed.json()["signatures"] == [told]

    run(work())


def test_no_token_signs_alone(service: Started, dsn: str) -> None:
    """An administrator's token, without the secret or with a wrong one, signs for nobody; with it a bench's suffices."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await person(client, "B-1", "performs")
            await person(client, "B-2", "performs")
            fact = await recorded(client)
            asked = request(fact, "performed", "B-1")
            bare = {name: value for name, value in asked.items() if name != "secret"}
            assert kind(await client.post("/v1/signatures", json=bare)) == "invalid-request"
            assert kind(await client.post("/v1/signatures", json=asked | {"secret": "not it"})) == "secret-wrong"
            assert kind(await client.post("/v1/signatures", json=asked | {"badge": "B-3"})) == "secret-wrong"
            bench = {"Authorization": f"Bearer {await make_token(dsn, Scope.BENCH)}"}
            assert (await client.post("/v1/signatures", json=asked, headers=bench)).status_code == 201
            listed = (await client.get(f"/v1/signatures?subject=entries&reference={fact['id']}")).json()["signatures"]
            assert [each["badge"] for each in listed] == ["B-1"]

    run(work())


def test_what_has_changed_is_not_signed(service: Started) -> None:
    """A statement that is not what is so now is refused with what to do, be it by one letter."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await person(client, "B-1", "performs")
            fact = await recorded(client)
            other: tuple[dict[str, Any], ...] = (
                {"entries": [fact | {"cavity": "c"}]},
                {"entries": []},
                {"entries": [fact], "more": 1},
            )
            for statement in other:
                reply = await client.post("/v1/signatures", json=request(fact, "performed", "B-1", statement=statement))
                assert reply.status_code == 409
                assert kind(reply) == "statement-changed"
                assert "look again" in reply.json()["detail"]
            # The same in other words: order and form of numbers are not what is signed.
            shuffled = dict(reversed(fact.items()))
            reply = await client.post("/v1/signatures", json=request(shuffled, "performed", "B-1"))
            assert reply.status_code == 201

    run(work())


def test_the_same_again_is_signed_once(service: Started) -> None:
    """The same request under its id gives the same signature; another under that id is refused."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await person(client, "B-1", "performs")
            await person(client, "B-7", "inspects")
            fact = await recorded(client)
            asked = request(fact, "performed", "B-1", id=str(uuid4()))
            first = await client.post("/v1/signatures", json=asked)
            second = await client.post("/v1/signatures", json=asked)
            assert (first.status_code, second.status_code) == (201, 200)
            assert first.json() == second.json()
            other = await client.post("/v1/signatures", json=asked | {"meaning": "inspected", "badge": "B-7"})
            assert kind(other) == "id-reused"

    run(work())


def test_the_bad_is_told_as_a_problem(service: Started) -> None:
    """Each refusal says what is wrong, where, and what to do, in the form of RFC 9457."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await person(client, "B-1", "performs", "inspects")
            await person(client, "B-7", "inspects")
            await person(client, "B-8", "inspects", scope="family:other")
            fact = await recorded(client)
            cases = (
                (request(fact, "inspected", "B-1"), 403, "own-work"),
                (request(fact, "inspected", "B-1", exception_reason="alone"), 403, "exception-not-allowed"),
                (request(fact, "approved", "B-7"), 403, "not-authorised"),
                (request(fact, "inspected", "B-8"), 403, "not-authorised"),
                (request(fact, "inspected", "B-7", outcome="refused"), 422, "invalid-request"),
                (request(fact, "performed", "B-1", outcome="refused", remark="bent"), 422, "invalid-request"),
                (request(fact, "performed", "B-1", exception_reason="alone"), 422, "invalid-request"),
                (request(fact, "inspected", "B-7", reference=str(uuid4())), 404, "unknown-entry"),
                (request(fact, "inspected", "B-7", reference="no id"), 422, "invalid-request"),
                (request(fact, "inspected", "B-7", reference=fact["id"].upper()), 422, "invalid-request"),
                (request(fact, "inspected", "B-7", statement={"n": 2**60}), 422, "invalid-request"),
                (request(fact, "approved", "B-1", subject="nothing"), 422, "invalid-request"),
            )
            for asked, status, wanted in cases:
                reply = await client.post("/v1/signatures", json=asked)
                assert (reply.status_code, kind(reply)) == (status, wanted), reply.text
                assert reply.json()["errors"][0]["pointer"].startswith("#")
            for path, wanted in (
                (f"/v1/signatures/{uuid4()}", "unknown-signature"),
                ("/v1/signatures/x", "unknown-signature"),
                ("/v1/people/nobody", "unknown-person"),
            ):
                assert kind(await client.get(path)) == wanted

    run(work())


def test_a_refused_inspection_stands(service: Started) -> None:
    """It is kept with what was found; nothing takes its place but rework and another inspection."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            for badge in ("B-7", "B-8"):
                await person(client, badge, "inspects")
            await person(client, "B-9", "approves")
            fact = await recorded(client)
            refusing = request(fact, "inspected", "B-7", outcome="refused", remark="contact not seated")
            assert (await client.post("/v1/signatures", json=refusing)).status_code == 201
            for meaning, badge in (("inspected", "B-8"), ("inspected", "B-7"), ("approved", "B-9")):
                reply = await client.post("/v1/signatures", json=request(fact, meaning, badge))
                assert kind(reply) == "inspection-refused"
                assert "rework" in reply.json()["detail"]
            (kept,) = (await client.get(f"/v1/signatures?subject=entries&reference={fact['id']}")).json()["signatures"]
            assert (kept["outcome"], kept["remark"], kept["intact"]) == ("refused", "contact not seated", True)

    run(work())


def test_the_exception_is_switched_on_with_a_reason(service: Started, dsn: str) -> None:
    """It is off until an administrator says otherwise, needs a reason each time, shows in the signature, and can be off again."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await person(client, "B-1", "performs", "inspects")
            fact, other = await recorded(client), await recorded(client)
            path = "/v1/signing-rules/same_person_inspection"
            assert (await client.get("/v1/signing-rules")).json() == {"rules": []}
            planner = {"Authorization": f"Bearer {await make_token(dsn, Scope.PLANNER)}"}
            word = {"allowed": True, "reason": "procedure 12"}
            assert (await client.put(path, json=word, headers=planner)).status_code == 403
            assert (await client.put(path, json={"allowed": True, "reason": ""})).status_code == 422
            assert (await client.put("/v1/signing-rules/other", json=word)).status_code == 404
            assert (await client.put(path, json=word)).status_code == 200
            assert kind(await client.post("/v1/signatures", json=request(fact, "inspected", "B-1"))) == "own-work"
            made = await client.post("/v1/signatures", json=request(fact, "inspected", "B-1", exception_reason="alone"))
            assert made.json()["exception_reason"] == "alone"
            await person_without_need(client, fact)
            told = (await client.put(path, json={"allowed": False, "reason": "two on shift"})).json()["rules"]
            assert [(each["allowed"], each["holds"]) for each in told] == [(False, True), (True, False)]
            again = request(other, "inspected", "B-1", exception_reason="alone")
            assert kind(await client.post("/v1/signatures", json=again)) == "exception-not-allowed"

    run(work())


async def person_without_need(client: httpx.AsyncClient, fact: dict[str, Any]) -> None:
    """Somebody who did none of it claims the exception."""
    await person(client, "B-7", "inspects")
    reply = await client.post("/v1/signatures", json=request(fact, "inspected", "B-7", exception_reason="alone"))
    assert kind(reply) == "exception-not-needed"


def test_withdrawn_authority_signs_nothing_new(service: Started) -> None:
    """It stops the next signature, leaves the last one as it is, and says when it was withdrawn."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await person(client, "B-7", "inspects")
            fact, other = await recorded(client), await recorded(client)
            made = (await client.post("/v1/signatures", json=request(fact, "inspected", "B-7"))).json()
            shown = (await client.get("/v1/people/B-7")).json()
            (given,) = shown["authorities"]
            assert given["holds"]
            told = {"authority": given["number"], "reason": "left the shop"}
            taken = await client.post("/v1/people/B-7/withdrawals", json=told)
            assert taken.json()["authorities"][0] | {"withdrawn_at": 0} == given | {
                "holds": False,
                "withdrawn_at": 0,
                "withdrawn_by": "test",
                "withdrawn_because": "left the shop",
            }
            assert (await client.post("/v1/people/B-7/withdrawals", json=told)).json() == taken.json(), "twice is once"
            reply = await client.post("/v1/signatures", json=request(other, "inspected", "B-7"))
            assert kind(reply) == "not-authorised"
            assert "withdrawn on" in reply.json()["detail"]
            assert (await client.get(f"/v1/signatures/{made['id']}")).json() == made
            wrong = await client.post("/v1/people/B-7/withdrawals", json={"authority": 999, "reason": "x"})
            assert kind(wrong) == "unknown-authority"

    run(work())


def test_people_are_put_again_and_again(service: Started, dsn: str) -> None:
    """The same again keeps nothing twice, a name alone changes nothing else, and only an administrator gives authority."""

    async def work() -> None:
        async with service() as client:
            told = {
                "name": "R. Example",
                "certificate": {"number": "EX-1", "kind": "repairman", "from_on": "2025-01-01"},
                "authorities": [{"what": "performs", "from_on": "2025-01-01"}],
                "identity": {"issuer": "https://id.example", "subject": "7"},
            }
            for body in (told, told, {"name": "R. Example"}):
                assert (await client.put("/v1/people/B-1", json=body)).status_code == 200
            shown = (await client.get("/v1/people/B-1")).json()
            assert len(shown["certificates"]) == len(shown["authorities"]) == 1
            assert shown["identity"] == told["identity"]
            assert shown["secret"] == "none"  # noqa: S105 - a word, not one
            planner = {"Authorization": f"Bearer {await make_token(dsn, Scope.PLANNER)}"}
            assert (await client.put("/v1/people/B-2", json={"name": "S. Example"}, headers=planner)).status_code == 200
            for part in ("certificate", "authorities", "identity"):
                body = {"name": "S. Example", part: told[part]}
                assert kind(await client.put("/v1/people/B-2", json=body, headers=planner)) == "forbidden"
            taken = await client.put("/v1/people/B-2", json={"name": "S. Example", "identity": told["identity"]})
            assert kind(taken) == "identity-taken"
            backwards = {"what": "performs", "from_on": "2025-01-02", "until_on": "2025-01-01"}
            wrong = await client.put("/v1/people/B-2", json={"name": "S. Example", "authorities": [backwards]})
            assert wrong.json()["errors"][0]["pointer"] == "#/authorities/0/until_on"
            ended = {"name": "R. Example", "certificate": {"from_on": "2026-01-01"}}
            assert (await client.put("/v1/people/B-1", json=ended)).status_code == 200
            shown = (await client.get("/v1/people/B-1")).json()
            assert shown["certificate"] is None
            assert [each["number"] for each in shown["certificates"]] == ["EX-1", None]
            page = (await client.get("/v1/people?limit=1")).json()
            assert [each["badge"] for each in page["people"]] == ["B-1"]
            rest = (await client.get(f"/v1/people?limit=1&cursor={page['next']}")).json()
            assert [each["badge"] for each in rest["people"]] == ["B-2"]
            assert rest["next"] is None

    run(work())


def test_the_feed_tells_of_it(service: Started) -> None:
    """Signatures stand in the feed whole; authority, certificates and switches by badge, without a name."""

    async def work() -> None:
        async with service(**CHEAP_SETTINGS) as client:
            await person(client, "B-7", "inspects")
            fact = await recorded(client)
            made = (await client.post("/v1/signatures", json=request(fact, "inspected", "B-7"))).json()
            await client.post("/v1/people/B-7/withdrawals", json={"authority": 1, "reason": "left"})
            await client.put("/v1/signing-rules/same_person_inspection", json={"allowed": False, "reason": "as before"})
            events = (
                await client.get("/v1/feed?limit=500&types=tinebook.signature.,tinebook.person.,tinebook.signing.")
            ).json()
            told = {each["type"].removeprefix("tinebook."): each for each in events["events"]}
            assert list(told) == [
                "person.certificate",
                "person.authority",
                "signature.made",
                "person.authority_withdrawn",
                "signing.rule",
            ]
            recorded_ = told["signature.made"]["data"]["recorded"]
            assert told["signature.made"]["id"] == made["id"]
            same = ("id", "badge", "name", "meaning", "outcome", "statement", "sha256", "seal", "certificate_number")
            assert {name: recorded_[name] for name in same} == {name: made[name] for name in same}
            withdrawn = told["person.authority_withdrawn"]["data"]["recorded"]
            assert (withdrawn["badge"], withdrawn["reason"]) == ("B-7", "left")
            assert "Name of B-7" not in json.dumps([each for name, each in told.items() if name != "signature.made"])

    run(work())


TAMPERED = {
    "badge": "'B-1'",
    "name": "'Somebody Else'",
    "certificate_number": "'EX-99'",
    "outcome": "'accepted'",
    "remark": "'all is well'",
    "meaning": "'approved'",
    "canonical": "convert_to('{}', 'UTF8')",
    "signed_at": "signed_at - interval '1 day'",
    "seal": "sha256('x')",
}


@pytest.mark.parametrize("column", TAMPERED)
def test_what_was_altered_shows(dsn: str, column: str) -> None:
    """Whoever has the database's own rights and alters a signature breaks its hash or its seal, and it is told so."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            await opened.sign("performed", WORKER)
            made = await opened.sign("inspected", INSPECTOR, outcome="refused", remark="bent")
            assert made.intact
            await opened.owner.execute(
                f"alter table tinebook.signature disable trigger user;"
                f"alter table tinebook.signature drop constraint refusal_is_of_an_inspection,"
                f" drop constraint signature_of_what_was_shown;"
                f"update tinebook.signature set {column} = {TAMPERED[column]} where meaning = 'inspected';"
            )
            kept = await signing.of(opened.service, "work_order", ORDER)
            assert [each.intact for each in kept] == [True, False]

    run(work())


def test_what_was_taken_out_shows(dsn: str) -> None:
    """A signature that was deleted from among others breaks the seal of the one after it."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            await opened.sign("performed", WORKER)
            await opened.sign("inspected", INSPECTOR)
            await opened.sign("approved", APPROVER)
            await opened.owner.execute(
                "alter table tinebook.signature disable trigger user; delete from tinebook.signature where meaning = 'inspected'"
            )
            kept = await signing.of(opened.service, "work_order", ORDER)
            assert [(each.meaning, each.intact) for each in kept] == [("performed", True), ("approved", False)]

    run(work())


def test_what_there_is_to_sign_comes_from_whoever_knows_it(dsn: str) -> None:
    """A subject's statement is asked for in the transaction that signs."""

    async def current(connection: Connection, reference: str) -> dict[str, Any]:
        assert connection.is_in_transaction()
        return {"number": reference}

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            told = shop.act("performed", WORKER, subject="work_order", reference=ORDER, statement={"number": ORDER})
            assert (await signing.sign(opened.service, told, NOW, current)).new

    run(work())


def test_a_situation_names_the_performers(dsn: str) -> None:
    """Whoever derives a work order's state reads the steps with who did them, and the signatures with their outcome."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            await opened.work(by=OTHER, cavity="A")
            await opened.sign("inspected", INSPECTOR)
            found = await signing.situation(opened.service, "work_order", ORDER)
            assert {each.performed_by for each in found.work} == {WORKER, OTHER}
            assert [(each.meaning, each.outcome) for each in found.earlier] == [("inspected", "accepted")]

    run(work())


def test_replies_are_what_is_published(dsn: str) -> None:
    """A signature is the struct that the contract names, field for field."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            made = await opened.sign("performed", WORKER)
            assert isinstance(made, messages.Signature)
            async with database.owner(dsn) as owner:
                row = await owner.fetchrow("select badge, name, sha256 from tinebook.signature")
            assert row is not None
            assert (made.badge, made.name, made.sha256) == (row["badge"], row["name"], row["sha256"].hex())

    run(work())


async def _breaks(opened: shop.Shop) -> list[str]:
    house = HouseRule("warn", 0.8)
    return [
        str(each)
        async for each in proof.verify(opened.owner, house, None, lambda *_: None)
        if each.place.startswith("signature")
    ]


TAKEN_OUT = {
    "the last": "delete from tinebook.signature where meaning = 'approved'",
    "the first": "delete from tinebook.signature where meaning = 'performed'",
    "altered": "update tinebook.signature set name = 'Somebody Else' where meaning = 'inspected'",
    "sealed anew": "update tinebook.signature set seal = sha256('x') where meaning = 'approved'",
}


@pytest.mark.parametrize("how", TAKEN_OUT)
def test_verify_finds_it(dsn: str, how: str) -> None:
    """`tinebook verify` names signatures that were altered or taken out, be it the last one of a work order."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            for meaning, badge in (("performed", WORKER), ("inspected", INSPECTOR), ("approved", APPROVER)):
                await opened.sign(meaning, badge)
            assert await _breaks(opened) == []
            await opened.owner.execute(f"alter table tinebook.signature disable trigger user; {TAKEN_OUT[how]}")
            assert await _breaks(opened)

    run(work())
