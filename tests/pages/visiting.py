"""A visitor of the pages: signs in as a browser does, with the form's own fields and the cookies that come back."""

import html
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, cast
from uuid import uuid4

import httpx

from service import app, settings
from service.workflow.access import Scope
from tests.conftest import make_token

ORIGIN = "http://tinebook"
_FIELDS = re.compile(r'<input type="hidden" name="([^"]+)" value="([^"]*)">')


@asynccontextmanager
async def doors(dsn: str, origin: str = ORIGIN, **changes: Any) -> AsyncIterator[httpx.AsyncClient]:
    """A service's pages and a browser that nobody has signed in with."""
    built = app.build_app(settings.Settings(dsn=dsn, **changes))
    async with built.lifespan():
        transport = httpx.ASGITransport(app=cast("Any", built), raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url=origin) as client:
            yield client


@asynccontextmanager
async def visitor(dsn: str, *scopes: Scope, **changes: Any) -> AsyncIterator[httpx.AsyncClient]:
    """Somebody who has signed in with a token for these scopes."""
    token = await make_token(dsn, *(scopes or (Scope.PLANNER,)))
    async with doors(dsn, **changes) as client:
        assert (await sign_in(client, token)).status_code == 303
        yield client


async def sign_in(client: httpx.AsyncClient, token: str, where: str = "/sign-in") -> httpx.Response:
    """Fill in the form."""
    shown = await client.get(where)
    return await client.post("/sign-in", data={**fields(shown.text), "token": token})


def fields(page: str, after: str = "") -> dict[str, str]:
    """The hidden fields of the first form after some words."""
    form = page[page.index(after) :]
    form = form[form.index("<form") if "<form" in form else 0 :]
    while 'method="post"' not in form[: form.index(">")]:
        form = form[form.index("<form", 1) :]
    return {name: html.unescape(value) for name, value in _FIELDS.findall(form[: form.index("</form>")])}


def words(reply: httpx.Response) -> str:
    """The words of a page without its elements."""
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", reply.text)))


async def worn(dsn: str, serial: str, insertions: int, **more: Any) -> str:
    """A connector of two cavities, of which one had so many insertions; its id."""
    token = await make_token(dsn, Scope.ADMIN)
    async with doors(dsn) as client:
        headers = {"Authorization": f"Bearer {token}"}
        told = {
            "serial": serial,
            "history": "new",
            "populated": False,
            "cavities": [{"id": each, "contact_size": "20"} for each in ("A", "a")],
            "rating": {"value": 10, "basis": "house"},
        } | more
        made = await client.post("/v1/connectors", json=told, headers=headers)
        assert made.status_code == 201, made.text
        connector: str = made.json()["id"]
        halves = [kind for _ in range(insertions) for kind in ("insertion", "removal")][:-1] if insertions else []
        acts = [
            {"kind": "placement", "asset": "TN-7", "zone": "410", "position": "P 1/2"},
            *({"kind": each, "cavity": "A", "bench": "Bench 1"} for each in halves),
        ]
        await record(client, headers, connector, acts)
        return connector


async def record(
    client: httpx.AsyncClient, headers: dict[str, str], connector: str, acts: list[dict[str, Any]]
) -> list[str]:
    """Record acts a minute apart; their ids."""
    entries = [
        {
            "id": str(uuid4()),
            "connector": connector,
            "performed_at": f"2026-11-02T{8 + at // 60:02}:{at % 60:02}:00Z",
            "performed_by": "badge 117",
        }
        | each
        for at, each in enumerate(acts)
    ]
    reply = await client.post("/v1/entries", json={"entries": entries}, headers=headers)
    assert reply.status_code == 200, reply.text
    assert {each["outcome"] for each in reply.json()["results"]} == {"recorded"}
    return [each["id"] for each in entries]
