"""The feed over HTTP: resumable, filterable, and in the form that CloudEvents 1.0 publishes."""

import json
from pathlib import Path
from typing import Any

import asyncpg
import httpx
import jsonschema_rs
import pytest
from cloudevents.core.formats.json import JSONFormat

from service.core import chain
from service.feed import events
from service.store import database
from service.workflow import feeding
from service.workflow.access import Scope
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run

PUBLISHED = Path(__file__).parent / "published"
CLOUD_EVENT = jsonschema_rs.Draft7Validator(
    json.loads((PUBLISHED / "cloud_event.json").read_text()), validate_formats=True
)
"""The JSON Schema of CloudEvents 1.0 (cloudevents/formats/cloudevents.json), with its formats on."""
BATCH = "application/cloudevents-batch+json"


async def busy(client: httpx.AsyncClient) -> list[str]:
    """A shop in which something of every sort is recorded; the connectors' ids."""
    ids = [(await client.post("/v1/connectors", json=registration(f"EX-{each}"))).json()["id"] for each in (1, 2)]
    wrong = entry("insertion")
    void = entry("correction", None, corrects=wrong["id"], note="wrong cavity")
    await post(client, wrong, entry("removal", "c", 5, "EX-2", force_n=31.5, held=True), void)
    await post(client, entry("insertion", serial="EX-9"))
    rating: dict[str, Any] = {"rating": {"value": 5, "basis": "house"}, "reason": "revised"}
    assert (await client.put(f"/v1/connectors/{ids[0]}/rating", json=rating)).status_code == 200
    figure = {"what": "rating", "family": "38999-III", "value": {"cycles": 10, "basis": "house"}, "reason": "first"}
    assert (await client.post("/v1/house-values", json=figure)).status_code == 201
    return ids


async def pages(client: httpx.AsyncClient, limit: int, **filters: str) -> list[dict[str, Any]]:
    """All of the feed, by so many at a time."""
    found: list[dict[str, Any]] = []
    cursor: dict[str, str] = {}
    while True:
        page = (await client.get("/v1/feed", params={"limit": str(limit)} | filters | cursor)).json()
        found += page["events"]
        cursor = {"cursor": page["next"]}
        if not page["more"]:
            return found


def test_everything_recorded_is_there_as_a_cloud_event(service: Started) -> None:
    """Each event fits the published schema, the SDK reads it, and it holds what is in the chain, provably by its hash."""

    async def work() -> None:
        async with service() as client:
            ids = await busy(client)
            found = await pages(client, 500)
            ledger = (await client.get(f"/v1/connectors/{ids[0]}/entries")).json()["entries"]
        types = [each["type"].removeprefix("tinebook.") for each in found]
        assert sorted(types) == sorted(
            ["connector.registered"] * 2
            + ["entry.insertion", "entry.removal", "entry.correction", "entry.parked"]
            + ["connector.revised", "shop.house_value"]
        )
        assert set(types) <= set(events.TOPICS)
        assert [each["sequence"] for each in found] == [f"{each:020}" for each in range(1, len(found) + 1)]
        for each in found:
            CLOUD_EVENT.validate(each)
            read = JSONFormat().read(None, json.dumps(each))
            assert (read.get_id(), read.get_data()) == (each["id"], each["data"])
        chained = [each for each in found if each["subject" if "subject" in each else "id"] == ids[0]]
        previous = b""
        told = [each for each in chained if each["type"].startswith("tinebook.entry.")]
        definitions = [each for each in chained if each["type"].startswith("tinebook.connector.")]
        assert [each["id"] for each in told] == [each["id"] for each in ledger]
        assert [each["data"]["hash"] for each in told] == [each["hash"] for each in ledger]
        for each in definitions:
            previous = chain.link(previous, chain.canonical(each["data"]["recorded"]))
            assert each["data"]["hash"] == previous.hex()
        previous = bytes.fromhex(definitions[0]["data"]["hash"])
        for each in told:
            previous = chain.link(previous, chain.canonical(each["data"]["recorded"]))
            assert each["data"]["hash"] == previous.hex()
        assert {each["data"].get("serial") for each in chained} == {"EX-1"}

    run(work())


def test_the_schema_tells_good_from_bad() -> None:
    """The published schema, as it is used here, refuses what it ought to refuse (vectors of the CloudEvents JSON format)."""
    good = {"specversion": "1.0", "type": "com.example.someevent", "source": "/mycontext", "id": "C234-1234-1234"}
    assert CLOUD_EVENT.is_valid(good | {"time": "2018-04-05T17:31:00Z", "subject": None, "data": {"appinfoB": 123}})
    for change in ({"id": ""}, {"source": ""}, {"time": "yesterday"}, {"dataschema": "no uri"}, {"type": None}):
        assert not CLOUD_EVENT.is_valid(good | change)


def test_pages_of_any_size_are_the_same_feed(service: Started) -> None:
    """Whoever resumes gets each event once, in the same order, by pages of any size; later events come behind the cursor."""

    async def work() -> None:
        async with service() as client:
            await busy(client)
            whole = (await client.get("/v1/feed?limit=500")).json()
            for limit in (1, 2, 3, 7):
                assert await pages(client, limit) == whole["events"]
            nothing = (await client.get("/v1/feed", params={"cursor": whole["next"]})).json()
            assert nothing == {"events": [], "next": whole["next"], "more": False}
            at_end = (await client.get("/v1/feed?start=end")).json()
            assert at_end == nothing
            late = entry("tine_entry", minute=-600)
            await post(client, late)
            more = (await client.get("/v1/feed", params={"cursor": whole["next"]})).json()
            assert [each["id"] for each in more["events"]] == [late["id"]]

    run(work())


def test_filters(service: Started, monkeypatch: pytest.MonkeyPatch) -> None:
    """Types (whole, or up to a dot) and a connector let through what they name, all of it, however little that is."""
    monkeypatch.setattr(feeding, "_WINDOW", 2)

    async def work() -> None:
        async with service() as client:
            ids = await busy(client)
            whole = await pages(client, 500)

            async def only(**filters: str) -> list[str]:
                return [each["type"].removeprefix("tinebook.") for each in await pages(client, 2, **filters)]

            assert await only(types="tinebook.entry.removal") == ["entry.removal"]
            assert set(await only(types="tinebook.entry.")) == {
                "entry.insertion",
                "entry.removal",
                "entry.correction",
                "entry.parked",
            }
            both = "tinebook.shop.house_value, tinebook.connector.revised"
            assert sorted(await only(types=both)) == ["connector.revised", "shop.house_value"]
            assert await only(types="tinebook.shop.housexvalue") == []
            assert await only(types="tinebook.entry_removal") == []
            second = [each["type"].removeprefix("tinebook.") for each in whole if each.get("subject") == ids[1]]
            assert await only(connector=ids[1]) == second == ["connector.registered", "entry.removal"]
            assert await only(connector=ids[1], types="tinebook.entry.") == ["entry.removal"]
            assert (await client.get("/v1/feed?types=entry.")).status_code == 422
            assert (await client.get("/v1/feed?types=tinebook.%25")).status_code == 422

    run(work())


def test_a_batch_only_where_it_is_asked_for(service: Started) -> None:
    """A batch of CloudEvents comes to whoever asks for its media type, with the way on in `Link` (RFC 8288); to nobody else."""

    async def work() -> None:
        async with service() as client:
            await busy(client)
            for accept in (None, "*/*", "application/json", "application/*", f"x-{BATCH}"):
                reply = await client.get("/v1/feed", headers={"Accept": accept} if accept else {})
                assert reply.headers["content-type"] == "application/json"
            found: list[dict[str, Any]] = []
            url = "/v1/feed?types=tinebook.entry.&limit=2"
            while True:
                reply = await client.get(url, headers={"Accept": f"{BATCH}, application/json;q=0.5"})
                assert reply.headers["content-type"] == BATCH
                if not reply.json():
                    break
                found += reply.json()
                url = reply.links["next"]["url"]
            assert found == await pages(client, 500, types="tinebook.entry.")

    run(work())


def test_a_cursor_of_another_history_is_refused(service: Started, dsn: str) -> None:
    """What is no cursor, and a cursor of what is not here any more, is refused with what to do: never a silent gap."""

    async def work() -> None:
        async with service() as client:
            await busy(client)
            cursor = (await client.get("/v1/feed")).json()["next"]
            for bad in ("x", "", "W10", "WyItMSIsbnVsbF0", "WzksbnVsbF0", "WzE4NDQ2NzQ0MDczNzA5NTUxNjE2LG51bGxd"):
                reply = await client.get("/v1/feed", params={"cursor": bad})
                assert reply.status_code == 422, bad
            async with database.owner(dsn) as owner:
                # A database that was restored from before, and where other things happened since.
                await owner.execute("alter table tinebook.feed disable trigger feed_is_append_only")
                await owner.execute(
                    "update tinebook.feed set id = gen_random_uuid() "
                    "where position = (select max(position) from tinebook.feed)"
                )
            reply = await client.get("/v1/feed", params={"cursor": cursor})
            assert reply.status_code == 422
            assert "restored" in reply.json()["detail"]

    run(work())


def test_who_may_read_the_feed(service: Started) -> None:
    """The feed holds everything, so a bench may not read it."""

    async def work() -> None:
        async with service(scopes=(Scope.BENCH,)) as client:
            assert (await client.get("/v1/feed")).status_code == 403

    run(work())


@pytest.mark.parametrize(
    "statement",
    [
        "update tinebook.feed set topic = 'x'",
        "delete from tinebook.feed",
        "truncate tinebook.feed",
    ],
)
def test_the_feed_is_append_only(service: Started, dsn: str, statement: str) -> None:
    """Not even the owner changes the feed, and the service's role has no right to try."""

    async def work() -> None:
        async with service() as client:
            await busy(client)
            await client.get("/v1/feed")
        async with database.owner(dsn) as owner:
            with pytest.raises(asyncpg.RestrictViolationError):
                await owner.execute(statement)
        connection = await database.service_connection(dsn)
        with pytest.raises(asyncpg.InsufficientPrivilegeError):
            await connection.execute(statement)
        await connection.close()

    run(work())


def test_what_was_recorded_before_there_was_a_feed(dsn: str, service: Started) -> None:
    """The migration puts an older ledger at the beginning of the feed: all of it, each connector's in the order of its chain."""
    text = (Path(__file__).parents[2] / "service/store/migrations/0008_feed.sql").read_text()
    filling = text[text.index("insert into tinebook.feed (") : text.index("create function tinebook.feed_entries")]

    async def work() -> None:
        async with service() as client:
            await post(client, entry("insertion"), entry("removal", minute=1))
            await busy(client)
            now = await pages(client, 500)
            async with database.owner(dsn) as owner:
                await owner.execute("alter table tinebook.feed disable trigger user; delete from tinebook.feed;")
                await owner.execute(filling)
            then = await pages(client, 500)
        chained = [each for each in now if "hash" in each["data"]]
        assert len(then) == len(chained)
        for subject in {each["subject"] for each in chained}:
            for start in ("tinebook.entry.", "tinebook.connector."):
                was, is_now = (
                    [
                        each["data"]["hash"]
                        for each in some
                        if each["subject"] == subject and each["type"].startswith(start)
                    ]
                    for some in (chained, then)
                )
                assert was == is_now

    run(work())
