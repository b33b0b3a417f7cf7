"""People who left: no page, report or feed names them any more, and everything that was proven still is."""

import hashlib
import html
import json
import re
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import asyncpg
import httpx
import pytest
from msgspec import Struct

from service.core import veil
from service.core.entries import HouseRule
from service.core.veil import Veil
from service.pages import planner
from service.store import database
from service.workflow import proof, pseudonyms
from service.workflow.access import Scope
from tests.conftest import Started, run
from tests.inbound.test_rows import events
from tests.pages.visiting import visitor

NAME, BADGE, CERTIFICATE, WINDOW = "Quentin Example-Leaver", "badge 4711", "EX-0815-Q", "Q. Leaver (window 3)"
LEFT = {"left_on": "2022-06-30", "reason": "Left; the time for which records are kept is over", "also_as": [WINDOW]}
PLACES = {"asset": "TN-1", "number": "WO-Q", "badge": "118", "mark": "EX-1"}
"""What stands in the paths of pages, besides the connector."""
LISTS = (
    *("/v1/people", "/v1/discrepancies", "/v1/connectors/{id}", "/v1/connectors/{id}/entries", "/v1/entries/{entry}"),
    *(
        "/v1/feed?limit=500",
        "/v1/epcis?limit=500",
        "/v1/reports/signals?about=person",
        "/v1/work-orders",
        "/v1/house-values",
    ),
    *("/v1/work-orders/WO-Q", "/v1/assets", "/v1/parked", "/v1/signatures?subject=work_order&reference=WO-Q"),
    *("/v1/connectors/{id}/log-card?format=html", "/v1/connectors/{id}/log-card?format=json", "/v1/transfers"),
    *("/v1/discrepancies?format=csv", "/v1/discrepancies?format=ndjson", "/v1/reports/signals?about=person&format=csv"),
)


def fact(kind: str, by: str, **more: Any) -> dict[str, Any]:
    """An entry on the one connector."""
    told = {"id": str(uuid.uuid4()), "connector": "EX-1", "kind": kind, "performed_by": by, "work_order": "WO-Q"}
    return told | {"performed_at": (datetime.now(UTC) - timedelta(hours=1)).isoformat()} | more


async def history(client: httpx.AsyncClient) -> tuple[str, str]:
    """Work of the one who will leave, under badge and under name, with a discrepancy; the connector and an entry."""
    told = {"serial": "EX-1", "history": "new", "cavities": [{"id": "C", "contact_size": "20"}]}
    made = (await client.post("/v1/connectors", json=told)).json()
    person = {
        "name": NAME,
        "certificate": {"number": CERTIFICATE, "kind": "repairman", "from_on": "2020-01-01"},
        "authorities": [{"what": "performs", "from_on": "2020-01-01"}],
        "identity": {"issuer": "https://id.example", "subject": "leaver-subject"},
    }
    assert (await client.put(f"/v1/people/{BADGE}", json=person)).status_code == 200
    assert (await client.put("/v1/people/118", json={"name": NAME})).status_code == 200, "another of the same name"
    twice = [fact("insertion", each, cavity="C") for each in (BADGE, NAME, WINDOW)]
    twice += [
        fact("placement", BADGE, asset="TN-1", zone="410", position="P1"),
        fact("mating", "118", work_order="WO-R"),
    ]
    sent = await client.post("/v1/entries", json={"entries": twice})
    assert {each["outcome"] for each in sent.json()["results"]} == {"recorded"}
    parked = fact("mating", BADGE) | {"connector": "EX-NOT-THERE"}
    await client.post("/v1/entries", json={"entries": [parked]})
    await client.put(
        "/v1/work-orders", json={"rows": [{"number": "WO-Q", "title": "Work of one who left", "asset": "TN-1"}]}
    )
    return made["id"], twice[0]["id"]


async def signed(client: httpx.AsyncClient) -> str:
    """The work signed by the one who will leave; the signature's id."""
    await client.post(f"/v1/people/{BADGE}/secret", json={"secret": "an initial secret"})
    changed = {"old": "an initial secret", "new": "one of my own"}
    assert (await client.put(f"/v1/people/{BADGE}/secret", json=changed)).status_code == 200
    statement = (await client.get("/v1/work-orders/WO-Q/statement")).json()
    told = {
        "subject": "work_order",
        "reference": "WO-Q",
        "meaning": "performed",
        "badge": BADGE,
        "secret": "one of my own",
    }
    reply = await client.post("/v1/signatures", json=told | {"statement": statement})
    assert reply.status_code == 201, reply.text
    found: str = reply.json()["id"]
    return found


async def shown(client: httpx.AsyncClient, paths: tuple[str, ...], places: dict[str, str]) -> dict[str, str]:
    """What there is to read, by path."""
    found = {}
    for path in paths:
        reply = await client.get(path.format(**places))
        assert reply.status_code == 200, (path, reply.text[:300])
        found[path] = reply.text
    return found


def test_nothing_shows_who_left_and_everything_is_still_proven(service: Started, dsn: str) -> None:
    """After the act no page, list, file or event shows name, badge, certificate or other names; verify proves all."""

    async def work() -> None:
        async with service() as client, database.owner(dsn) as connection:
            connector, entry = await history(client)
            signature = await signed(client)
            places = {"id": connector, "entry": entry}
            before = await shown(client, LISTS, places)
            everywhere = "\n".join(before.values())
            assert all(each in everywhere for each in (NAME, BADGE, CERTIFICATE, WINDOW)), "there is something to hide"
            kept = await connection.fetch("select body, hash from tinebook.entry order by connector, number")
            done = await client.put(f"/v1/people/{BADGE}/pseudonym", json=LEFT)
            assert done.status_code == 200, done.text
            pseudonym = done.json()["pseudonym"]
            assert done.json()["signatures"] == 1
            after = await shown(client, LISTS, places)
            for path, text in after.items():
                for each in (BADGE, CERTIFICATE, WINDOW, "leaver-subject"):
                    assert each not in text, (path, each)
                # Another of the same name stays: nothing but the badge tells the two apart.
                assert text.count(NAME) == (1 if path == "/v1/people" else 0), path
            assert pseudonym in after["/v1/connectors/{id}/entries"]
            assert await connection.fetch("select body, hash from tinebook.entry order by connector, number") == kept
            assert not [each async for each in proof.verify(connection, HouseRule(), None, lambda *_: None)]
            one = (await client.get(f"/v1/signatures/{signature}")).json()
            assert (one["name"], one["badge"], one["certificate_number"], one["intact"]) == (*[pseudonym] * 3, True)

    run(work())


def test_no_page_shows_who_left(service: Started, dsn: str) -> None:
    """Before the act the pages name the one who will leave; after it none of them does, and the history shows the pseudonym."""

    async def every(client: httpx.AsyncClient, connector: str) -> dict[str, str]:
        found = {}
        for page in planner.PAGES:
            path = re.sub(r"{(\w+)(:\w+)?}", lambda name: PLACES.get(name[1], connector), page.path)
            for query in ("", "?about=person", "?of=cavities"):
                reply = await client.get(f"{path}{query}", follow_redirects=True)
                assert reply.status_code < 500, (path, reply.text)
                found[f"{path}{query}"] = html.unescape(reply.text)
        return found

    async def work() -> None:
        async with service() as client:
            connector, _ = await history(client)
            await signed(client)
            async with visitor(dsn, Scope.ADMIN) as browser:
                before = "\n".join((await every(browser, connector)).values())
                assert all(each in before for each in (NAME, BADGE, WINDOW)), "there is something to hide"
                pseudonym = (await client.put(f"/v1/people/{BADGE}/pseudonym", json=LEFT)).json()["pseudonym"]
                after = await every(browser, connector)
                for path, text in after.items():
                    for each in (BADGE, CERTIFICATE, WINDOW, "leaver-subject", *([] if "people" in path else [NAME])):
                        assert each not in text, (path, each)
                assert pseudonym in after[f"/connectors/{connector}"]

    run(work())


REFUSED = [
    # left on, days before today -> status, without and with a reason to do it nevertheless
    (-1, 422, 422),
    (0, 409, 200),
    (35 * 30, 409, 200),
    (37 * 31, 200, 200),
]


@pytest.mark.parametrize(("days", "without", "with_reason"), REFUSED)
def test_work_is_known_by_name_for_as_long_as_the_law_has_it(
    service: Started, days: int, without: int, with_reason: int
) -> None:
    """M.A.305(e): 36 months after the last day it may be done; before that only where somebody says what provides for it."""
    left = {"left_on": str((datetime.now(UTC) - timedelta(days=days)).date()), "reason": "Left"}

    async def work() -> None:
        async with service() as client:
            await client.put("/v1/people/117", json={"name": "R. Example"})
            await client.put("/v1/people/118", json={"name": "S. Example"})
            plain = await client.put("/v1/people/117/pseudonym", json=left)
            assert plain.status_code == without, plain.text
            reasoned = await client.put(
                "/v1/people/118/pseudonym", json=left | {"despite_retention": "All records handed over"}
            )
            assert reasoned.status_code == with_reason, reasoned.text
            if without == 409:
                assert plain.json()["type"] == "urn:tinebook:problem:records-kept-by-law"
                assert (await client.get("/v1/people/117")).json()["name"] == "R. Example"

    run(work())


def test_nobody_who_left_comes_back(service: Started, dsn: str) -> None:
    """The act again is answered alike; of a nightly list that still has the person that row is refused, by the database too."""

    async def work() -> None:
        async with service() as client, database.owner(dsn) as connection:
            await history(client)
            first = await client.put(f"/v1/people/{BADGE}/pseudonym", json=LEFT)
            again = await client.put(f"/v1/people/{BADGE}/pseudonym", json=LEFT | {"reason": "Once more"})
            assert (first.status_code, first.json()) == (200, again.json())
            rows = [{"badge": BADGE, "name": NAME}, {"badge": "119", "name": "T. Example"}]
            results = (await client.put("/v1/people", json={"rows": rows})).json()["results"]
            assert [each["outcome"] for each in results] == ["refused", "created"]
            assert results[0]["problem"]["type"] == "urn:tinebook:problem:person-left"
            assert (await client.put(f"/v1/people/{BADGE}", json={"name": NAME})).status_code == 409
            assert (await client.get(f"/v1/people/{BADGE}")).status_code == 404
            for act in ACTS:
                with pytest.raises(asyncpg.RestrictViolationError):
                    await connection.execute(act, BADGE)
            (told,) = await events(client, "person.pseudonymised")
            assert told["pseudonym"] == first.json()["pseudonym"]
            assert "reason" not in told
            # Late work of theirs is taken like anybody's, and nobody becomes unknown by leaving.
            late = await client.post("/v1/entries", json={"entries": [fact("unmating", BADGE)]})
            assert late.json()["results"][0]["discrepancies"] == []

    run(work())


ACTS = (
    "update tinebook.person set name = 'again' where badge = $1",
    """insert into tinebook.person_certificate (badge, certificate_number, certificate_kind, from_on, recorded_by, recorded_at)
       values ($1, 'again', 'x', now(), 'x', now())""",
    "insert into tinebook.person_identity (badge, issuer, subject, recorded_by, recorded_at) values ($1, 'i', 's', 'x', now())",
    """insert into tinebook.person_authority (badge, what, scope, from_on, recorded_by, recorded_at)
       values ($1, 'performs', 'all', now(), 'x', now())""",
    "update tinebook.person_certificate set certificate_number = 'again' where badge = $1",
    "update tinebook.person_certificate set certificate_kind = 'again' where badge = $1",
    "delete from tinebook.person_certificate where badge = $1",
    "update tinebook.person_identity set subject = 'again' where badge = $1",
)
"""What the database refuses of somebody who left, even to its owner."""


def test_only_a_recorded_pseudonym_takes_a_certificates_place(service: Started, dsn: str) -> None:
    """Of somebody who has not left nothing can be blanked, by whatever word."""

    async def work() -> None:
        async with service() as client, database.owner(dsn) as connection:
            await history(client)
            for act in ACTS[4:]:
                with pytest.raises(asyncpg.RestrictViolationError):
                    await connection.execute(act, BADGE)

    run(work())


def test_no_text_of_who_left_is_kept_beside_the_pseudonym(service: Started, dsn: str) -> None:
    """The tables that may be blanked are blank, and what is veiled is kept as digests alone."""

    async def work() -> None:
        async with service() as client, database.owner(dsn) as connection:
            await history(client)
            await client.put(f"/v1/people/{BADGE}/pseudonym", json=LEFT)
            for table in ("person", "person_certificate", "person_identity", "pseudonym", "veiled"):
                kept = await connection.fetch(f"select t::text as row from tinebook.{table} as t")
                text = "\n".join(row["row"] for row in kept if "118," not in row["row"])
                for each in (NAME, CERTIFICATE, WINDOW, "leaver-subject"):
                    assert each not in text, (table, each)
            installation = await connection.fetchval("select installation from tinebook.installation")
            assert await connection.fetchval("select tinebook.veil($1)", NAME) == veil.digest(installation, NAME)

    run(work())


INSTALLATION = uuid.UUID(int=7)
THROUGH = Veil(INSTALLATION, {veil.digest(INSTALLATION, each): "leaver 1" for each in ("117", "Q", 'a "b" ä')})
DOCUMENTS = [
    # what there is, what is shown
    ({"performed_by": "117", "cavity": "117"}, {"performed_by": "leaver 1", "cavity": "117"}),
    ({"by": 'a "b" ä'}, {"by": "leaver 1"}),
    ({"performers": ["117", "118"]}, {"performers": ["leaver 1", "118"]}),
    ({"performed_by": [{"badge": "117", "name": "X"}]}, {"performed_by": [{"badge": "leaver 1", "name": "leaver 1"}]}),
    (
        {"badge": "117", "name": "X", "certificate_number": None},
        {"badge": "leaver 1", "name": "leaver 1", "certificate_number": None},
    ),
    ({"badge": "118", "name": "Q"}, {"badge": "118", "name": "Q"}),
    ({"serial": "Q", "note": "117"}, {"serial": "Q", "note": "117"}),
    (
        {"statement": '{"performers":[{"badge":"117","name":"X"}]}'},
        {"statement": '{"performers":[{"badge":"leaver 1","name":"leaver 1"}]}'},
    ),
    ({"statement": "by 117"}, {"statement": "by 117"}),
    ([{"entry": {"performed_by": "Q", "force_n": 80.5}}], [{"entry": {"performed_by": "leaver 1", "force_n": 80.5}}]),
]


@pytest.mark.parametrize(("data", "wanted"), DOCUMENTS)
def test_only_fields_of_people_are_veiled(data: Any, wanted: Any) -> None:
    """A text that somebody was known by is replaced where it names a person, and nowhere else."""
    for separators in ((",", ":"), (", ", ": ")):
        for plain in (True, False):
            sent = json.dumps(data, separators=separators, ensure_ascii=plain).encode()
            assert json.loads(THROUGH.document(sent)) == wanted
            if data == wanted:
                assert THROUGH.document(sent) is sent


def test_a_message_is_veiled_whole() -> None:
    """A message keeps its type and all that names nobody; one that names nobody who left is the very same."""
    told = PersonList(people=(PersonLine("117", (1.5, None)), PersonLine("118", (2.5, 3.5))))
    shown = pseudonyms.message(told, THROUGH)
    assert shown == PersonList(people=(PersonLine("leaver 1", (1.5, None)), PersonLine("118", (2.5, 3.5))))
    assert pseudonyms.message(shown, THROUGH) is shown
    assert pseudonyms.message(told, veil.NOTHING) is told


class PersonLine(Struct, frozen=True):
    """A line of the test's own."""

    badge: str
    figures: tuple[float, float | None]


class PersonList(Struct, frozen=True):
    """A list of the test's own."""

    people: tuple[PersonLine, ...]


def test_a_digest_is_of_the_installation_and_the_text() -> None:
    """SHA-256 over id, colon and text, by the library's own function."""
    told = hashlib.sha256(b"00000000-0000-0000-0000-000000000007:117").digest()
    assert veil.digest(INSTALLATION, "117") == told
