"""Signing by OpenID Connect: the provider is asked anew, and the signature is of whom its subject is, once.

OpenID Connect Core 1.0, 3.1.2.1 (`prompt`, `max_age`) and 2 (`auth_time`).
"""

import html
import re
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID, uuid4

import httpx
import pytest

from service.core.signing.authority import What
from service.pages import sign_form
from service.pages.door import Visitor
from service.store import database
from service.workflow import signing
from service.workflow.access import Scope
from tests.conftest import make_token, run
from tests.pages import issuer, visiting
from tests.pages.issuer import Issuer
from tests.pages.test_openid import configured
from tests.pages.visiting import words
from tests.signing import shop
from tests.signing.shop import CHEAP_SETTINGS, INSPECTOR, WORKER, Shop


@pytest.fixture
def provider() -> Iterator[Issuer]:
    """A provider of this test's own."""
    with issuer.running() as found:
        yield found


@asynccontextmanager
async def signed_in(dsn: str, provider: Issuer, folder: Path) -> AsyncIterator[tuple[httpx.AsyncClient, Shop, UUID]]:
    """A browser that has signed in to the pages with a token, and one insertion by the worker to be signed."""
    async with shop.opened(dsn) as opened:
        entry = await opened.work(cavity="A", order=None)
        token = await make_token(dsn, Scope.PLANNER)
        async with visiting.doors(dsn, **configured(provider, folder), **CHEAP_SETTINGS) as client:
            assert (await visiting.sign_in(client, token)).status_code == 303
            yield client, opened, entry


async def identified(opened: Shop, provider: Issuer, badge: str, subject: str = "7") -> None:
    """Somebody is known to the provider."""
    await opened.owner.execute(
        "insert into tinebook.person_identity (badge, issuer, subject, recorded_by, recorded_at)"
        " values ($1, $2, $3, 'office', now())",
        badge,
        provider.address,
        subject,
    )


async def form(client: httpx.AsyncClient, opened: Shop, entry: UUID, meaning: str = "inspected") -> dict[str, str]:
    """The fields of a form that shows the entry to be signed."""
    page = (await client.get("/discrepancies")).text
    token = re.search(r'name="form_token" value="([^"]+)"', page)
    assert token is not None
    statement = await signing.entries_statement(opened.service, str(entry))
    visitor = Visitor(session=Any, form_token=token[1])  # type: ignore[arg-type]
    request = type("Request", (), {"app": type("App", (), {"state": type("State", (), {"provider": None})})})
    shown = sign_form.form(
        request,  # type: ignore[arg-type]
        visitor,
        subject="entries",
        reference=str(entry),
        statement=statement,
        meanings=("performed", "inspected"),
        action="/discrepancies",
    )
    hidden = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', shown)
    return {name: html.unescape(value) for name, value in hidden} | {"meaning": meaning, "read": "yes"}


async def away_and_back(client: httpx.AsyncClient, told: dict[str, str]) -> tuple[httpx.Response, str]:
    """Press the button, agree at the provider, come back; the last answer, and the address by which the browser came back."""
    left = await client.post(sign_form.BY_PROVIDER, data=told)
    assert left.status_code == 200, words(left)
    target = re.search(r'content="0;url=([^"]+)"', left.text)
    assert target is not None, words(left)
    async with httpx.AsyncClient(trust_env=False) as elsewhere:
        agreed = await elsewhere.get(html.unescape(target[1]))
    back = urlsplit(agreed.headers["location"])
    address = f"{back.path}?{back.query}"
    return await client.get(address), address


async def signatures(opened: Shop) -> list[tuple[str, str, str]]:
    """What is signed."""
    rows = await opened.owner.fetch("select badge, meaning, method from tinebook.signature order by number")
    return [(row["badge"], row["meaning"], row["method"]) for row in rows]


def test_somebody_signs_by_the_provider(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """They are asked anew, need no secret, and the signature is theirs by the provider's subject; the page leads back."""

    async def work() -> None:
        async with signed_in(dsn, provider, tmp_path) as (client, opened, entry):
            await identified(opened, provider, INSPECTOR)
            done, address = await away_and_back(client, await form(client, opened, entry))
            assert done.status_code == 200, words(done)
            assert 'content="0;url=/discrepancies"' in done.text
            assert (provider.last_asked["prompt"], provider.last_asked["max_age"]) == ("login", "0")
            assert await signatures(opened) == [(INSPECTOR, "inspected", "openid")]
            (made,) = await signing.of(opened.service, "entries", str(entry))
            assert made.intact
            again = await client.get(address)
            assert again.status_code == 401
            assert len(await signatures(opened)) == 1

    run(work())


@pytest.mark.parametrize(
    "shown", [None, time.time() - 3600, "now", True], ids=["none", "an hour ago", "no number", "true"]
)
def test_who_was_not_asked_anew_does_not_sign(dsn: str, provider: Issuer, tmp_path: Path, shown: Any) -> None:
    """A provider that vouches by an old sign-in, or does not say when it asked, signs nothing."""

    async def work() -> None:
        async with signed_in(dsn, provider, tmp_path) as (client, opened, entry):
            await identified(opened, provider, INSPECTOR)
            provider.wrong = {"auth_time": int(shown) if isinstance(shown, float) else shown}
            done, _ = await away_and_back(client, await form(client, opened, entry))
            assert done.status_code == 401
            assert "did not ask anew" in words(done)
            assert await signatures(opened) == []

    run(work())


def test_the_rules_hold_here_too(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """A performer inspects nothing of their own, and a stranger to the shop's list signs nothing at all."""

    async def work() -> None:
        async with signed_in(dsn, provider, tmp_path) as (client, opened, entry):
            done, _ = await away_and_back(client, await form(client, opened, entry))
            assert done.status_code == 403
            assert "the shop's list does not" in words(done)
            await opened.person(WORKER, *What)
            await identified(opened, provider, WORKER)
            done, _ = await away_and_back(client, await form(client, opened, entry))
            assert done.status_code == 403
            assert "does not inspect it" in words(done)
            assert await signatures(opened) == []
            done, _ = await away_and_back(client, await form(client, opened, entry, "performed"))
            assert done.status_code == 200
            assert await signatures(opened) == [(WORKER, "performed", "openid")]

    run(work())


def test_an_identity_that_was_replaced_is_nobody_s(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """Only the newest identity of a badge signs; the one before it stays its own for good and signs nothing."""

    async def work() -> None:
        async with signed_in(dsn, provider, tmp_path) as (client, opened, entry):
            await identified(opened, provider, INSPECTOR)
            await identified(opened, provider, INSPECTOR, subject="8")
            done, _ = await away_and_back(client, await form(client, opened, entry))
            assert done.status_code == 403
            assert await signatures(opened) == []

    run(work())


def test_a_form_of_somebody_else_s_leads_nowhere(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """Without our token, or unread, nothing is kept and nobody is sent to the provider."""

    async def work() -> None:
        async with signed_in(dsn, provider, tmp_path) as (client, opened, entry):
            told = await form(client, opened, entry)
            assert (await client.post(sign_form.BY_PROVIDER, data=told | {"form_token": "x"})).status_code == 403
            unread = {name: value for name, value in told.items() if name != "read"}
            assert (await client.post(sign_form.BY_PROVIDER, data=unread)).status_code == 422
            assert await opened.owner.fetchval("select count(*) from tinebook.signing_attempt") == 0

    run(work())


def test_what_waits_is_no_longer_there_after_a_while(dsn: str, provider: Issuer, tmp_path: Path) -> None:
    """Whoever comes back too late signs nothing, and what nobody came back for is dropped."""

    async def work() -> None:
        async with signed_in(dsn, provider, tmp_path) as (client, opened, entry):
            await identified(opened, provider, INSPECTOR)
            told = await form(client, opened, entry)
            left = await client.post(sign_form.BY_PROVIDER, data=told)
            await opened.owner.execute("update tinebook.signing_attempt set expires_at = now()")
            target = re.search(r'content="0;url=([^"]+)"', left.text)
            assert target is not None
            async with httpx.AsyncClient(trust_env=False) as elsewhere:
                back = urlsplit((await elsewhere.get(html.unescape(target[1]))).headers["location"])
            late = await client.get(f"{back.path}?{back.query}")
            assert late.status_code == 401
            await client.post(sign_form.BY_PROVIDER, data=told | {"id": str(uuid4())})
            async with database.owner(dsn) as owner:
                assert await owner.fetchval("select count(*) from tinebook.signing_attempt") == 1
            assert await signatures(opened) == []

    run(work())
