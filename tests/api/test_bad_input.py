"""Whatever is sent, the answer is a problem that says what and where; never a 5xx, and nothing half-written."""

import base64
import json
import uuid
from typing import Any

import httpx
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run

FINE = entry("insertion")


def without(name: str) -> dict[str, Any]:
    """A fine entry that lacks one field."""
    return {key: value for key, value in FINE.items() if key != name}


ENTRIES: dict[str, tuple[Any, str]] = {
    "not an object": (3, "#/entries/0"),
    "no id": (without("id"), "#/entries/0/id"),
    "id no UUID": (FINE | {"id": "17"}, "#/entries/0/id"),
    "id null": (FINE | {"id": None}, "#/entries/0/id"),
    "no connector": (without("connector"), "#/entries/0/connector"),
    "connector empty": (FINE | {"connector": ""}, "#/entries/0/connector"),
    "connector NUL": (FINE | {"connector": "EX\0"}, "#/entries/0/connector"),
    "connector a number": (FINE | {"connector": 5}, "#/entries/0/connector"),
    "kind unknown": (FINE | {"kind": "polish"}, "#/entries/0/kind"),
    "kind case": (FINE | {"kind": "Insertion"}, "#/entries/0/kind"),
    "no time": (without("performed_at"), "#/entries/0/performed_at"),
    "time without zone": (FINE | {"performed_at": "2026-11-02T08:00:00"}, "#/entries/0/performed_at"),
    "time no time": (FINE | {"performed_at": "yesterday"}, "#/entries/0/performed_at"),
    "leap second": (FINE | {"performed_at": "1990-12-31T23:59:60Z"}, "#/entries/0/performed_at"),
    "hour 24": (FINE | {"performed_at": "2026-11-02T24:00:00Z"}, "#/entries/0/performed_at"),
    "month 13": (FINE | {"performed_at": "2026-13-02T08:00:00Z"}, "#/entries/0/performed_at"),
    "year 0001": (FINE | {"performed_at": "0001-01-01T00:00:00Z"}, "#/entries/0/performed_at"),
    "year 0001 with offset": (FINE | {"performed_at": "0001-01-01T00:00:00+14:00"}, "#/entries/0/performed_at"),
    "far future": (FINE | {"performed_at": "9999-12-31T23:59:59-23:59"}, "#/entries/0/performed_at"),
    "future": (FINE | {"performed_at": "2100-01-01T00:00:00Z"}, "#/entries/0/performed_at"),
    "time a number": (FINE | {"performed_at": 1_700_000_000}, "#/entries/0/performed_at"),
    "nobody": (without("performed_by"), "#/entries/0/performed_by"),
    "performer empty": (FINE | {"performed_by": ""}, "#/entries/0/performed_by"),
    "performer a control": (FINE | {"performed_by": "amy\x1b[2J"}, "#/entries/0/performed_by"),
    "no cavity": (without("cavity"), "#/entries/0/cavity"),
    "cavity blank": (FINE | {"cavity": " "}, "#/entries/0/cavity"),
    "cavity long": (FINE | {"cavity": "C" * 17}, "#/entries/0/cavity"),
    "cavities of an insertion": (FINE | {"cavities": ["C"]}, "#/entries/0/cavities"),
    "cavity twice": (entry("renewal", None) | {"cavities": ["C", "C"]}, "#/entries/0/cavities"),
    "cavity of a mating": (entry("mating", "C"), "#/entries/0/cavity"),
    "force negative": (FINE | {"force_n": -1}, "#/entries/0/force_n"),
    "force huge": (FINE | {"force_n": 1e300}, "#/entries/0/force_n"),
    "force text": (FINE | {"force_n": "66"}, "#/entries/0/force_n"),
    "count negative": (entry("carry_in") | {"insertions": -1}, "#/entries/0/insertions"),
    "count huge": (entry("carry_in") | {"insertions": 10**30}, "#/entries/0/insertions"),
    "carry-in without a count": (entry("carry_in"), "#/entries/0/insertions"),
    "count of an insertion": (FINE | {"insertions": 3}, "#/entries/0/insertions"),
    "note NUL": (FINE | {"note": "a\0b"}, "#/entries/0/note"),
    "note long": (FINE | {"note": "x" * 4001}, "#/entries/0/note"),
    "field unknown": (FINE | {"cavty": "C"}, "#/entries/0/cavty"),
    "corrects itself": (entry("correction", None) | {"corrects": "{id}"}, "#/entries/0/id"),
    "corrects nothing": (entry("correction", None), "#/entries/0/corrects"),
    "insertion that corrects": (FINE | {"corrects": str(uuid.uuid4())}, "#/entries/0/corrects"),
    "resolution of nothing": (entry("resolution", None), "#/entries/0/refers_to"),
    "resolution of no code": (
        entry("resolution", None) | {"refers_to": str(uuid.uuid4()), "code": "over_the_hill"},
        "#/entries/0/code",
    ),
    "asset of an insertion": (FINE | {"asset": "TN-01"}, "#/entries/0/asset"),
    "level of an insertion": (FINE | {"level": True}, "#/entries/0/level"),
    "level a word": (entry("seating_test") | {"level": "yes"}, "#/entries/0/level"),
    "tool of a seating test looked at": (
        entry("seating_test") | {"tool_looked_at": True},
        "#/entries/0/tool_looked_at",
    ),
    "held a word": (FINE | {"held": "yes"}, "#/entries/0/held"),
}


def test_malformed_entries(service: Started) -> None:
    """Each malformed entry is answered with 422 and a pointer to the field, and leaves nothing behind."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration())).json()
            for name, (bad, pointer) in ENTRIES.items():
                if isinstance(bad, dict) and bad.get("corrects") == "{id}":
                    bad["corrects"] = bad["id"]
                reply = await client.post("/v1/entries", json={"entries": [bad]})
                seen = check_problem(reply, name)
                assert reply.status_code == 422, name
                assert pointer in [each["pointer"] for each in seen["errors"]], (name, seen)
                assert seen["results"][0]["outcome"] == "refused"
            ledger = await client.get(f"/v1/connectors/{made['id']}/entries")
            assert ledger.json() == {"entries": [], "next": None}
            assert (await client.get("/v1/parked")).json()["parked"] == []

    run(work())


def check_problem(reply: httpx.Response, name: str) -> dict[str, Any]:
    """A reply is a problem as RFC 9457 has them, and not a 5xx."""
    assert 400 <= reply.status_code < 500, (name, reply.status_code, reply.text)
    assert reply.headers["content-type"] == "application/problem+json", name
    seen: dict[str, Any] = reply.json()
    assert seen["status"] == reply.status_code
    assert seen["type"].startswith("urn:tinebook:problem:")
    assert seen["title"]
    assert seen["detail"]
    return seen


BODIES: dict[str, tuple[bytes, int]] = {
    "empty": (b"", 400),
    "not JSON": (b"{", 400),
    "not UTF-8": (b'{"entries":["\xff"]}', 422),
    "null": (b"null", 422),
    "a list": (b"[]", 422),
    "no entries": (b"{}", 422),
    "empty list": (b'{"entries":[]}', 422),
    "entries null": (b'{"entries":null}', 422),
    "entries an object": (b'{"entries":{}}', 422),
    "unknown field": (b'{"entries":[{}],"x":1}', 422),
    "sent without zone": (b'{"entries":[{}],"sent_at":"2026-11-02T08:00:00"}', 422),
    "deep": (b'{"entries":' + b"[" * 5000 + b"]" * 5000 + b"}", 400),
    "lone surrogate": (b'{"entries":[{"id":"\\ud800"}]}', 400),
    "huge number": (b'{"entries":[1e999]}', 422),
    "1 001 entries": (json.dumps({"entries": [{}] * 1001}).encode(), 422),
    "too large": (b'{"entries":["' + b"x" * 9_000_000 + b'"]}', 413),
}


def test_malformed_bodies(service: Started) -> None:
    """A body that is no batch of 1 to 1 000 entries is answered with a problem."""

    async def work() -> None:
        async with service() as client:
            for name, (body, status) in BODIES.items():
                reply = await client.post("/v1/entries", content=body)
                check_problem(reply, name)
                assert reply.status_code == status, (name, reply.text)

    run(work())


REGISTRATIONS: dict[str, tuple[dict[str, Any], str]] = {
    "serial missing": ({"serial": None}, "#/serial"),
    "serial empty": ({"serial": ""}, "#/serial"),
    "serial NUL": ({"serial": "a\0"}, "#/serial"),
    "serial long": ({"serial": "S" * 201}, "#/serial"),
    "history missing": ({"history": None}, "#/history"),
    "history odd": ({"history": "old"}, "#/history"),
    "cavity twice": ({"cavities": [{"id": "C", "contact_size": "20"}] * 2}, "#/cavities/1/id"),
    "no cavities": ({"cavities": []}, "#/cavities"),
    "cavities missing": ({"cavities": None, "part_number": "UNHEARD-OF"}, "#/cavities"),
    "cavity without a size": ({"cavities": [{"id": "C"}]}, "#/cavities/0/contact_size"),
    "1 001 cavities": ({"cavities": [{"id": f"{n}", "contact_size": "20"} for n in range(1001)]}, "#/cavities"),
    "rating 0": ({"rating": {"value": 0, "basis": "house"}}, "#/rating/value"),
    "rating a fraction": ({"rating": {"value": 9.5, "basis": "house"}}, "#/rating/value"),
    "rating without a basis": ({"rating": {"value": 10}}, "#/rating/basis"),
    "rating on no day": (
        {"rating": {"value": 10, "basis": "house", "verified_on": "2026-02-31x"}},
        "#/rating/verified_on",
    ),
    "fraction 2": ({"nearing_fraction": 2}, "#/nearing_fraction"),
    "CAGE with I": ({"cage": "0CVI5"}, "#/cage"),
    "CAGE lower": ({"cage": "0cva5"}, "#/cage"),
    "id no UUID": ({"id": "5"}, "#/id"),
    "unknown field": ({"serail": "x"}, "#/serail"),
}


def test_malformed_registrations(service: Started) -> None:
    """A registration that can't hold is answered with 422 and a pointer, and registers nothing."""

    async def work() -> None:
        async with service() as client:
            for name, (changes, pointer) in REGISTRATIONS.items():
                asked = {
                    key: value for key, value in (registration() | changes).items() if value is not None or key == "id"
                }
                seen = check_problem(await client.post("/v1/connectors", json=asked), name)
                assert seen["status"] == 422, name
                assert pointer in [each["pointer"] for each in seen["errors"]], (name, seen)
            assert (await client.get("/v1/connectors")).json()["connectors"] == []

    run(work())


def test_the_same_registration_again(service: Started) -> None:
    """The same registration again is answered with what is on the books; another for the same serial is refused."""

    async def work() -> None:
        async with service() as client:
            first = await client.post("/v1/connectors", json=registration())
            again = await client.post("/v1/connectors", json=registration())
            assert (first.status_code, again.status_code) == (201, 200)
            assert first.json() == again.json()
            other = await client.post("/v1/connectors", json=registration(rating={"value": 100, "basis": "house"}))
            assert check_problem(other, "other rating")["connector"] == first.json()["id"]
            assert other.status_code == 409
            await client.post("/v1/connectors", json=registration("EX-2"))
            second = (await client.get("/v1/connectors", params={"mark": "EX-2"})).json()["connectors"][0]["id"]
            for serial, identity in (("EX-2", first.json()["id"]), ("EX-1", second)):
                mixed = await client.post("/v1/connectors", json=registration(serial, id=identity))
                assert check_problem(mixed, "the id of another")["connector"] == identity

    run(work())


PLANS: dict[str, tuple[Any, str]] = {
    "no steps": ({"steps": []}, "#/steps"),
    "steps missing": ({}, "#/steps"),
    "action odd": ({"steps": [{"action": "push", "cavity": "C"}]}, "#/steps/0/action"),
    "no cavity": ({"steps": [{"action": "insert"}]}, "#/steps/0/cavity"),
    "cavity not there": (
        {"steps": [{"action": "insert", "cavity": "C"}, {"action": "insert", "cavity": "Z"}]},
        "#/steps/1/cavity",
    ),
    "1 001 steps": ({"steps": [{"action": "insert", "cavity": "C"}] * 1001}, "#/steps"),
}


def test_malformed_plans(service: Started) -> None:
    """A plan that names what is not there is answered with 422 and a pointer."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration())).json()
            for name, (body, pointer) in PLANS.items():
                seen = check_problem(await client.post(f"/v1/connectors/{made['id']}/plan", json=body), name)
                assert seen["status"] == 422
                assert pointer in [each["pointer"] for each in seen["errors"]], (name, seen)
            only = registration("EX-9", cavities=[{"id": "C", "contact_size": "20"}])
            other = (await client.post("/v1/connectors", json=only)).json()
            step = {"steps": [{"action": "insert", "cavity": "c"}]}
            seen = check_problem(await client.post(f"/v1/connectors/{other['id']}/plan", json=step), "case")
            assert "'C'" in seen["detail"]

    run(work())


SOME_ID = str(uuid.uuid4())


def cursor(*values: Any) -> str:
    """A cursor that no page gave out."""
    return base64.urlsafe_b64encode(json.dumps(values).encode()).decode().rstrip("=")


KEYS = ("/v1/people/a%00b", f"/v1/people/{'a' * 201}", "/v1/tools/a%00b", "/v1/tools/a%1bb")
QUERIES = (
    ("/v1/connectors?limit=0", 422),
    ("/v1/connectors?limit=501", 422),
    ("/v1/connectors?limit=x", 422),
    ("/v1/connectors?cursor=nonsense", 422),
    ("/v1/connectors?colour=red", 422),
    ("/v1/connectors?mark=", 422),
    ("/v1/connectors?mark=%00", 422),
    ("/v1/reports/cycle-limits?wear=bad", 422),
    ("/v1/reports/cycle-limits?cursor=WzFd", 422),
    ("/v1/parked?cursor=WzEsMl0", 422),
    (f"/v1/connectors?cursor={cursor('EX' + chr(0), SOME_ID)}", 422),
    (f"/v1/reports/cycle-limits?cursor={cursor(99_999, 1, SOME_ID)}", 422),
    (f"/v1/reports/cycle-limits?cursor={cursor(1, 10**12, SOME_ID)}", 422),
    (f"/v1/parked?cursor={cursor('2026-01-01T00:00:00', SOME_ID)}", 422),
    (f"/v1/parked?cursor={cursor('0001-01-01T00:00:00+14:00', SOME_ID)}", 422),
    (f"/v1/parked?cursor={cursor('9999-12-31T23:59:59-14:00', SOME_ID)}", 422),
    ("/v1/connectors/17", 404),
    (f"/v1/connectors/{uuid.uuid4()}", 404),
    (f"/v1/connectors/{uuid.uuid4()}/entries", 404),
    (f"/v1/entries/{uuid.uuid4()}", 404),
    ("/v1/entries/x", 404),
    ("/v1/nothing", 404),
    ("/", 404),
)


def test_odd_addresses(service: Started) -> None:
    """What is asked for and not there, or asked for wrongly, is answered with a problem."""

    async def work() -> None:
        async with service() as client:
            for address, status in QUERIES:
                reply = await client.get(address)
                check_problem(reply, address)
                assert reply.status_code == status, address
            for address in KEYS:
                reply = await client.put(address, json={"name": "x"} if "people" in address else {"part_number": "x"})
                check_problem(reply, address)
                assert reply.status_code == 422, address
            made = (await client.post("/v1/connectors", json=registration())).json()
            ledger = f"/v1/connectors/{made['id']}/entries?cursor={cursor(10**12)}"
            assert check_problem(await client.get(ledger), "ledger cursor")["status"] == 422
            reason = {"rating": None, "reason": "\0"}
            put = await client.put(f"/v1/connectors/{made['id']}/rating", json=reason)
            assert check_problem(put, "reason NUL")["status"] == 422
            scan = await client.post("/v1/scans", json={"bytes_base64": "\u00e9"})
            assert check_problem(scan, "base64 not ASCII")["status"] == 422
            check_problem(await client.delete("/v1/entries"), "DELETE")
            check_problem(await client.put("/v1/connectors", json={}), "PUT")

    run(work())


def test_odd_clocks_are_recorded_and_said(service: Started) -> None:
    """A clock far off or a wrong time zone is not refused: the fact is kept with its discrepancy, and no answer is a plain go."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration())).json()
            ahead, behind, fine = await post(
                client,
                entry("insertion") | {"performed_at": "2036-01-01T00:00:00Z"},
                entry("insertion", "c") | {"performed_at": "1970-01-01T00:00:00Z"},
                entry("removal", "c"),
            )
            assert (ahead["discrepancies"], behind["discrepancies"]) == (["clock_ahead"], ["clock_behind"])
            assert fine["discrepancies"] == []
            (off,) = await post(client, entry("tine_entry", "c", minute=1), sent_at="2026-01-01T00:00:00Z")
            assert off["discrepancies"] == ["clock_off"]
            step = {"steps": [{"action": "insert", "cavity": "c"}]}
            answer = (await client.post(f"/v1/connectors/{made['id']}/plan", json=step)).json()
            assert answer["answer"] == "warn"
            assert [each["code"] for each in answer["steps"][0]["reasons"]] == ["time_in_doubt"]

    run(work())


any_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)
any_entry = st.fixed_dictionaries({}, optional={name: st.just(value) | any_json for name, value in FINE.items()})


def test_whatever_is_sent_is_answered(service: Started) -> None:
    """Any JSON at all is answered with results or a problem, never with a failure of the service's."""

    async def work() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration())
            bodies: list[Any] = []

            @given(st.lists(any_entry | any_json, max_size=4), st.booleans())
            @settings(max_examples=200, database=None, suppress_health_check=list(HealthCheck))
            def collect(entries: list[Any], wrapped: bool) -> None:
                bodies.append({"entries": entries} if wrapped else entries)

            collect()
            for body in bodies:
                content = json.dumps(body).encode()
                for path in ("/v1/entries", "/v1/connectors", "/v1/scans"):
                    reply = await client.post(path, content=content)
                    assert reply.status_code < 500, (path, content, reply.text)

    run(work())
