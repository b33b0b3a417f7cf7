"""The header Idempotency-Key, by draft-ietf-httpapi-idempotency-key-header (IETF draft, not an RFC)."""

import asyncio
from datetime import timedelta
from typing import Any

import asyncpg
import httpx
import pytest

from service import problems
from service.store import database
from service.workflow import access, idempotency
from service.workflow.access import Scope
from tests.conftest import Started, run

KEY = '"8e03978e-40d5-43e8-bc93-6894a57f9324"'
BODY = {"rows": [{"asset": "TN-1", "type": "Regional 70"}, {"asset": ""}]}


async def put(
    client: httpx.AsyncClient, body: Any, key: str = KEY, what: str = "assets", **more: Any
) -> httpx.Response:
    """Send rows under a key."""
    return await client.put(f"/v1/{what}", json=body, headers={"Idempotency-Key": key} | more)


TEXTS = [
    # the header's value -> the key, or None where it is none
    # RFC 8941 (structured fields) 3.3.3; the draft's own example first
    ('"8e03978e-40d5-43e8-bc93-6894a57f9324"', "8e03978e-40d5-43e8-bc93-6894a57f9324"),
    (' "a" ', "a"),
    (r'"a\"b\\c"', r"a\"b\c".replace("\\", "", 1)),
    ("8e03978e-40d5-43e8-bc93-6894a57f9324", None),
    ('"a", "b"', None),
    ('"a', None),
    ('a"', None),
    (r'"a\n"', None),
    ('"ä"', None),
    ('"\t"', None),
    # It can be read, and says nothing: our rule.
    ('""', None),
    (f'"{"x" * 201}"', None),
]


@pytest.mark.parametrize(("header", "wanted"), TEXTS)
def test_a_key_is_a_text_in_quotes(header: str, wanted: str | None) -> None:
    """The quotes belong to the key's form; whatever is no such text is refused with how it should look."""
    if wanted is not None:
        assert idempotency.key(header) == wanted
        return
    with pytest.raises(problems.ProblemRaised) as raised:
        idempotency.key(header)
    assert raised.value.problem.status == 400
    assert '"8e03978e-40d5-43e8-bc93-6894a57f9324"' in raised.value.problem.detail


def test_the_same_request_is_answered_alike(service: Started, dsn: str) -> None:
    """The same key and body get the stored answer to the byte, though by now another would be due; nothing is done again."""

    async def work() -> None:
        async with service() as client:
            first = await put(client, BODY)
            assert [each["outcome"] for each in first.json()["results"]] == ["created", "refused"]
            again = await put(client, BODY)
            assert (again.status_code, again.content) == (200, first.content)
            without = await client.put("/v1/assets", json=BODY)
            assert [each["outcome"] for each in without.json()["results"]] == ["unchanged", "refused"]
            fresh = await put(client, BODY, '"another"')
            assert fresh.json()["results"][0]["outcome"] == "unchanged"
        async with database.owner(dsn) as connection:
            assert await connection.fetchval("select count(*) from tinebook.asset") == 1

    run(work())


def test_another_request_under_a_key_is_refused(service: Started) -> None:
    """The same key with another body, or on another operation, is 422, and nothing of it is done."""

    async def work() -> None:
        async with service() as client:
            await put(client, BODY)
            for body, what in (({"rows": [{"asset": "TN-2"}]}, "assets"), (BODY, "positions")):
                reply = await put(client, body, what=what)
                assert reply.status_code == 422
                assert reply.json()["type"] == "urn:tinebook:problem:idempotency-key-reused" or what == "positions"
            assert len((await client.get("/v1/assets")).json()["assets"]) == 1
            usage = {"rows": [{"asset": "TN-1", "day": "2026-10-31", "flight_hours": 2.5}]}
            assert (await put(client, usage, what="usage")).json()["type"].endswith("idempotency-key-reused")

    run(work())


def test_a_refusal_is_an_answer_too(service: Started) -> None:
    """A request of which nothing can be read is answered alike the second time, as a problem."""

    async def work() -> None:
        async with service() as client:
            first, again = await put(client, {"rows": [7]}), await put(client, {"rows": [7]})
            assert (first.status_code, first.headers["content-type"]) == (422, "application/problem+json")
            assert (again.status_code, again.headers["content-type"]) == (422, "application/problem+json")
            assert again.content == first.content

    run(work())


def test_keys_belong_to_their_client(service: Started, dsn: str) -> None:
    """What one client sent under a key does not answer another."""

    async def work() -> None:
        async with service() as client:
            await put(client, BODY)
            async with database.owner(dsn) as connection:
                from service import app  # noqa: PLC0415 - its clock

                now = app.now()
                token = await access.make(connection, "other", [Scope.PLANNER], now, now + timedelta(hours=1))
            theirs = await put(client, {"rows": [{"asset": "TN-2"}]}, Authorization=f"Bearer {token}")
            assert theirs.json()["results"][0]["outcome"] == "created"

    run(work())


def test_a_second_request_while_the_first_is_at_work(service: Started, dsn: str) -> None:
    """Held up in the database, the first is still at work: the second gets 409; later the first's answer. One row comes of it."""

    async def work() -> None:
        async with service() as client, database.owner(dsn) as connection:
            async with connection.transaction():
                await connection.execute("lock table tinebook.asset in exclusive mode")
                first = asyncio.create_task(put(client, BODY))
                waiting = "select count(*) from pg_stat_activity where wait_event_type = 'Lock' and datname = current_database()"
                async with asyncio.timeout(30):
                    while not await connection.fetchval(waiting):  # noqa: ASYNC110 - the database's doing
                        await asyncio.sleep(0.01)
                second = await put(client, BODY)
                assert (second.status_code, second.headers["retry-after"]) == (409, "1")
                assert second.json()["type"] == "urn:tinebook:problem:request-under-way"
            done = await first
            assert done.status_code == 200
            assert (await put(client, BODY)).content == done.content
            assert await connection.fetchval("select count(*) from tinebook.asset") == 1

    run(work())


def test_a_failure_keeps_neither_the_answer_nor_the_work(service: Started, dsn: str) -> None:
    """Where the answer can't be kept, nothing of the request stays: it is sent again and then done."""

    async def work() -> None:
        async with service() as client, database.owner(dsn) as connection:
            await connection.execute("revoke insert on tinebook.answer from tinebook_service")
            assert (await put(client, BODY)).status_code == 500
            assert await connection.fetchval("select count(*) from tinebook.asset") == 0
            await connection.execute("grant insert on tinebook.answer to tinebook_service")
            assert (await put(client, BODY)).json()["results"][0]["outcome"] == "created"

    run(work())


def test_old_answers_are_let_go(service: Started, dsn: str) -> None:
    """After the time that is promised a key may be used again."""

    async def work() -> None:
        async with service() as client, database.owner(dsn) as connection:
            await put(client, BODY)
            await put(client, BODY, '"younger"')
            assert idempotency.KEPT.days == 7
            older = (
                "update tinebook.answer set answered_at = answered_at - interval '7 days 1 second' where key like '8e%'"
            )
            await connection.execute(older)
            await put(client, BODY, '"newest"')
            kept = await connection.fetch("select key from tinebook.answer order by answered_at")
            assert [row["key"] for row in kept] == ["younger", "newest"]

    run(work())


def test_the_contract_says_so(service: Started) -> None:
    """Every operation that takes keyed requests names the header in the OpenAPI document, and refuses one that is none."""

    async def work() -> None:
        async with service() as client:
            document = (await client.get("/schema/openapi.json")).json()
            named = [
                (path, method)
                for path, methods in document["paths"].items()
                for method, shown in methods.items()
                if any(each["name"] == "Idempotency-Key" for each in shown.get("parameters", []))
            ]
            assert {("/v1/assets", "put"), ("/v1/positions", "put"), ("/v1/tools", "put"), ("/v1/usage", "put")} <= {
                *named
            }
            reply = await put(client, BODY, "unquoted")
            assert (reply.status_code, reply.json()["type"]) == (400, "urn:tinebook:problem:idempotency-key-unusable")
            twice = [("Idempotency-Key", '"a"'), ("Idempotency-Key", '"b"')]
            assert (await client.put("/v1/assets", json=BODY, headers=twice)).status_code == 400

    run(work())


def test_answers_are_nobodys_to_change(dsn: str) -> None:
    """The service's role may keep and forget answers, and not alter one."""

    async def work() -> None:
        async with await database.service_pool(dsn, 1) as pool, pool.acquire() as connection:
            with pytest.raises(asyncpg.InsufficientPrivilegeError):
                await connection.execute("update tinebook.answer set status = 200")

    run(work())
