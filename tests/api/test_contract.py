"""The published contract: the OpenAPI document, its examples, and who may do what."""

import asyncio
import base64
import json
import re
from typing import Any

import httpx
import jsonschema_rs
import openapi_spec_validator
import pytest

from service import problems
from service.api.contract import OPERATIONS, Operation
from service.store import database
from service.workflow import access
from service.workflow.access import Scope
from tests.api.test_recording import entry, registration
from tests.conftest import Started, make_token, run
from tests.records import shop


def test_openapi_document_is_valid_and_whole(service: Started) -> None:
    """The document is OpenAPI 3.1 by the reference validator, is readable without a token, and lists every operation."""

    async def work() -> dict[str, Any]:
        async with service() as client:
            reply = await client.get("/schema/openapi.json", headers={"Authorization": ""})
            assert reply.status_code == 200
            found: dict[str, Any] = reply.json()
            return found

    document = run(work())
    openapi_spec_validator.validate(document)
    assert document["openapi"].startswith("3.1")
    listed = {(method.upper(), path) for path, methods in document["paths"].items() for method in methods}
    assert {(each.method, each.path) for each in OPERATIONS} <= listed
    for operation in OPERATIONS:
        shown = document["paths"][operation.path][operation.method.lower()]
        assert shown["summary"]
        if operation.body is not None:
            assert shown["requestBody"]["content"]["application/json"]["examples"], operation.name


async def execute(client: httpx.AsyncClient, operation: Operation, places: dict[str, str]) -> httpx.Response:
    """Send an operation's example."""
    path = operation.path.format(**places)
    body = json.dumps(operation.example).replace("{connector}", places["connector"]) if operation.body else None
    body = body and body.replace("{bundle}", places.get("bundle", ""))
    query = operation.example_query.replace("{other}", places["other"])
    return await client.request(operation.method, f"{path}?{query}", content=body)


async def approved(client: httpx.AsyncClient) -> None:
    """What the examples recorded is inspected and approved by others than who did it."""
    others = shop.Shop(client)
    await others.hire(shop.INSPECTOR, shop.APPROVER)
    await others.close()


def test_every_example_does_what_it_says(service: Started) -> None:
    """Each operation's example is answered with a documented status and a reply that fits the published schema."""

    async def work() -> None:
        async with service() as client:
            document = (await client.get("/schema/openapi.json")).json()
            waiting = entry("insertion", serial="EX-0002")
            await client.post("/v1/entries", json={"entries": [waiting]})
            places = {"badge": "badge 117", "mark": "T-20-03", "connector": "", "entry": waiting["id"]}
            places |= {
                "standard": "MIL-STD-1560",
                "name": "17-35",
                "bench": "Bench 2",
                "rule": "same_person_inspection",
            }
            places["number"] = shop.ORDER
            places["other"] = (await client.post("/v1/connectors", json=registration("EX-0003"))).json()["id"]
            for operation in OPERATIONS:
                if operation.name == "assign_parked":
                    places["entry"] = waiting["id"]
                reply = await execute(client, operation, places)
                assert reply.status_code in operation.statuses, (operation.name, reply.text)
                schema = document["paths"][operation.path][operation.method.lower()]["responses"][
                    str(reply.status_code)
                ]
                assert reply.headers["content-type"].partition(";")[0] in schema["content"]
                if operation.name == "get_bundle":
                    places["bundle"] = base64.b64encode(reply.content).decode()
                if operation.reply is None:
                    assert reply.content, operation.name
                    continue
                wanted = schema["content"]["application/json"]["schema"]
                jsonschema_rs.Draft202012Validator({**wanted, "components": document["components"]}).validate(
                    reply.json()
                )
                if operation.name == "register_connector":
                    places["connector"] = reply.json()["id"]
                if operation.name == "make_signature":
                    places["signature"] = reply.json()["id"]
                if operation.name == "show_statement":
                    await approved(client)
                if operation.name == "make_record":
                    places["record"] = str(reply.json()["number"])
                if operation.name == "hand_over":
                    places["transfer"] = reply.json()["id"]
                if operation.name == "make_webhook":
                    places["webhook"] = reply.json()["webhook"]["id"]
                if operation.name == "record_entries":
                    assert reply.json()["results"][0]["outcome"] == "recorded"
                    places["entry"] = reply.json()["results"][0]["id"]
                if operation.name in ("read_scan", "find_connectors"):
                    assert [each["serial"] for each in reply.json()["connectors"]] == ["EX-0001"]

    run(work())


def test_nothing_is_readable_without_a_token(service: Started) -> None:
    """Every operation of the contract refuses a missing, malformed, unknown, expired or revoked token with 401."""

    async def work() -> None:
        async with service() as client:
            for operation in OPERATIONS:
                path = re.sub(r"{\w+}", "x", operation.path)
                for header in ("", "Bearer", "Bearer ", "Bearer tb_wrong", "Basic dXNlcjpwYXNz", "bearer \xff"):
                    headers = httpx.Headers({b"Authorization": header.encode("latin-1")})
                    reply = await client.request(operation.method, path, headers=headers)
                    assert reply.status_code == 401, (operation.name, header)
                    assert reply.json()["type"] == "urn:tinebook:problem:unauthenticated"
                    assert reply.headers["www-authenticate"].startswith("Bearer")
            for path in ("/health/live", "/health/ready"):
                assert (await client.get(path, headers={"Authorization": ""})).status_code == 200

    run(work())


def test_scopes_open_what_they_should(service: Started, dsn: str) -> None:
    """A token opens exactly the operations whose scopes name it; admin opens all."""

    async def work() -> None:
        tokens = {scope: await make_token(dsn, scope) for scope in Scope}
        async with service() as client:
            for operation in OPERATIONS:
                path = re.sub(r"{\w+}", "x", operation.path)
                for scope, token in tokens.items():
                    headers = {"Authorization": f"Bearer {token}"}
                    reply = await client.request(operation.method, path, headers=headers, content=b"{")
                    opened = scope is Scope.ADMIN or scope in operation.scopes
                    assert (reply.status_code != 403) == opened, (operation.name, scope)

    run(work())


def test_tokens_expire_and_are_revoked(service: Started, dsn: str) -> None:
    """A revoked token is refused within two seconds; only digests are kept."""

    async def work() -> None:
        async with service() as client:
            token = await make_token(dsn, Scope.BENCH)
            headers = {"Authorization": f"Bearer {token}"}
            assert (await client.get("/v1/connectors", headers=headers)).status_code == 200
            async with database.owner(dsn) as connection:
                kept = await connection.fetch("select t::text as row from tinebook.token as t")
                assert not any(token in each["row"] for each in kept)
                from service import app  # noqa: PLC0415 - its clock

                assert await access.revoke(connection, "test", app.now())
            await asyncio.sleep(1.2)
            assert (await client.get("/v1/connectors", headers=headers)).status_code == 401

    run(work())


def test_an_expired_token_is_refused(service: Started, dsn: str) -> None:
    """A token stops at its time."""

    async def work() -> None:
        from datetime import timedelta  # noqa: PLC0415

        from service import app  # noqa: PLC0415

        async with database.owner(dsn) as connection:
            now = app.now()
            token = await access.make(connection, "old", [Scope.ADMIN], now, now - timedelta(seconds=1))
        async with service() as client:
            reply = await client.get("/v1/connectors", headers={"Authorization": f"Bearer {token}"})
            assert reply.status_code == 401
            assert "expired" in reply.json()["detail"]

    run(work())


def test_problem_types_are_distinct() -> None:
    """Problem types are stable names, each with its own title."""
    assert (
        len({each.uri for each in problems.Type})
        == len({each.value[2] for each in problems.Type})
        == len(problems.Type)
    )


def test_pages_hold_everything_once(service: Started) -> None:
    """Following `next` shows every connector, entry and line of the fleet's list once and in order."""

    async def work() -> None:
        async with service() as client:
            for number in range(23):
                rating = {"rating": {"value": 3, "basis": "house"}} if number % 3 else {"rating": None}
                asked = {
                    key: value for key, value in registration(f"S-{number:02}", **rating).items() if value is not None
                }
                await client.post("/v1/connectors", json=asked)
                made = [entry("tine_entry", minute=n, serial=f"S-{number:02}") for n in range(number % 9)]
                if made:
                    await client.post("/v1/entries", json={"entries": made})
            serials = [each["serial"] for each in await pages(client, "/v1/connectors", "connectors")]
            assert serials == [f"S-{number:02}" for number in range(23)]
            lines = await pages(client, "/v1/reports/cycle-limits", "connectors")
            order = {"over": 0, "spent": 1, "nearing": 2, "unknown": 3}
            keys = [(order[each["wear"]], 99 if each["left"] is None else each["left"]) for each in lines]
            assert keys == sorted(keys)
            assert len({each["connector"] for each in lines}) == len(lines)
            over = await pages(client, "/v1/reports/cycle-limits?wear=over", "connectors")
            assert [each for each in lines if each["wear"] == "over"] == over

    run(work())


async def pages(client: httpx.AsyncClient, url: str, name: str) -> list[dict[str, Any]]:
    """All items of a list, five at a time."""
    found: list[dict[str, Any]] = []
    cursor = None
    while True:
        joined = f"{url}{'&' if '?' in url else '?'}limit=5" + (f"&cursor={cursor}" if cursor else "")
        page = (await client.get(joined)).json()
        found.extend(page[name])
        cursor = page["next"]
        if cursor is None:
            return found


@pytest.mark.parametrize("unknown", ["warn", "no_go"])
def test_house_rule_where_nothing_is_known(service: Started, unknown: str) -> None:
    """Without a rating or a history the answer is what the house rule says, and never a go."""

    async def work() -> None:
        async with service(unknown_answer=unknown) as client:
            bare = {key: value for key, value in registration(history="unknown").items() if key != "rating"}
            made = (await client.post("/v1/connectors", json=bare)).json()
            assert {each["wear"] for each in made["cavities"]} == {"unknown"}
            assert {each["occupied"] for each in made["cavities"]} == {None}
            url = f"/v1/connectors/{made['id']}/plan"
            steps = [{"action": action, "cavity": "C"} for action in ("insert", "remove", "replace")]
            answers = [(await client.post(url, json={"steps": [each]})).json()["answer"] for each in steps]
            assert answers == [unknown, "warn", unknown]

    run(work())
