"""Signing in with a token, and out: who comes in, for how long, and what a stranger's page can't do."""

from datetime import timedelta

import httpx
import pytest

from service import app
from service.pages import door
from service.store import database
from service.workflow import access, sessions
from service.workflow.access import Scope
from tests.conftest import make_token, run
from tests.pages import visiting
from tests.pages.visiting import doors, fields, sign_in, visitor, words

SHUT = ("/fleet", "/discrepancies", "/outlook", "/stock", "/visits", "/search?mark=x", "/assets/TN-7", "/connectors/7")


def session_cookie(reply: httpx.Response) -> str:
    """The line that sets the session's cookie."""
    found = [
        each
        for each in reply.headers.get_list("set-cookie")
        if each.split("=")[0].removeprefix("__Host-") == "tinebook"
    ]
    assert len(found) == 1
    return found[0]


def test_nothing_is_shown_to_whoever_has_not_signed_in(dsn: str) -> None:
    """Every page leads to the form, which leads back to just that page."""

    async def work() -> None:
        token = await make_token(dsn, Scope.PLANNER)
        async with doors(dsn) as client:
            for path in SHUT:
                asked = await client.get(path)
                assert asked.status_code == 303, path
                assert asked.headers["location"].startswith("/sign-in?next=")
            done = await sign_in(client, token, asked.headers["location"])
            assert (done.status_code, done.headers["location"]) == (303, "/connectors/7")

    run(work())


def test_the_session_is_no_token_and_no_script_s(dsn: str) -> None:
    """The cookie is httponly and strict, lasts as long as the browser, and neither it nor the database holds the token."""

    async def work() -> None:
        token = await make_token(dsn, Scope.PLANNER)
        async with doors(dsn) as client:
            cookie = session_cookie(await sign_in(client, token))
        assert token not in cookie
        attributes = {each.strip().lower() for each in cookie.split(";")[1:]}
        assert attributes == {"path=/", "httponly", "samesite=strict"}
        async with database.owner(dsn) as connection:
            (row,) = await connection.fetch("select digest, name from tinebook.session")
        secret = cookie.split("=")[1].split(";")[0]
        assert row["digest"] == access.digest(secret)

    run(work())


@pytest.mark.parametrize("how", ["https itself", "a proxy"])
def test_over_https_the_cookie_stays_there(dsn: str, how: str) -> None:
    """Over HTTPS, spoken by itself or by a proxy in front, the cookie is secure and bound to the host by its name."""

    async def work() -> None:
        token = await make_token(dsn, Scope.PLANNER)
        async with doors(dsn, "https://tinebook") as client:
            if how == "a proxy":
                client.headers["x-forwarded-proto"] = "https"
            cookie = session_cookie(await sign_in(client, token))
            assert cookie.startswith("__Host-tinebook=")
            assert "secure" in cookie.lower()
            assert (await client.get("/search")).status_code == 200

    run(work())


def test_a_token_that_is_revoked_ends_its_sessions_at_once(dsn: str) -> None:
    """The token is looked at with each request, so whoever loses it is out with the next click."""

    async def work() -> None:
        async with visitor(dsn) as client:
            assert (await client.get("/search")).status_code == 200
            async with database.owner(dsn) as connection:
                await access.revoke(connection, "test", app.now())
            assert (await client.get("/search")).status_code == 303

    run(work())


def test_a_session_ends_with_its_shift_or_its_token(dsn: str) -> None:
    """No session lasts longer than twelve hours or than the token that began it; what is over is forgotten."""

    async def work() -> None:
        now = app.now()
        async with database.owner(dsn) as connection:
            hour = await access.make(connection, "short", [Scope.PLANNER], now, now + timedelta(hours=1))
            year = await access.make(connection, "long", [Scope.PLANNER], now, now + timedelta(days=365))
            short, long = [await sessions.begin(connection, each, now) for each in (hour, year)]
            for secret, lasts in ((short, timedelta(hours=1)), (long, sessions.LONGEST)):
                assert await sessions.find(connection, secret, now + lasts - timedelta(seconds=1)) is not None
                assert await sessions.find(connection, secret, now + lasts) is None
            await sessions.begin(connection, year, now + timedelta(hours=13))
            assert await connection.fetchval("select count(*) from tinebook.session") == 1

    run(work())


def test_a_wrong_token_says_so_and_begins_nothing(dsn: str) -> None:
    """An unknown token answers 401 with the form, and sets no session."""

    async def work() -> None:
        async with doors(dsn) as client:
            refused = await sign_in(client, "tb_wrong")
            assert refused.status_code == 401
            assert "not known" in words(refused)
            assert not [each for each in refused.headers.get_list("set-cookie") if each.startswith("tinebook=")]
            assert (await client.get("/fleet")).status_code == 303

    run(work())


def test_signing_out_ends_the_session_here_too(dsn: str) -> None:
    """A cookie that somebody kept a copy of opens nothing after signing out."""

    async def work() -> None:
        async with visitor(dsn) as client:
            shown = await client.get("/search")
            kept = dict(client.cookies)
            done = await client.post("/sign-out", data=fields(shown.text))
            assert (done.status_code, done.headers["location"]) == (303, "/sign-in")
            assert "tinebook" not in client.cookies
            client.cookies.update(kept)
            assert (await client.get("/search")).status_code == 303

    run(work())


@pytest.mark.parametrize("path", ["/sign-in", "/sign-out", "/discrepancies"])
@pytest.mark.parametrize("proof", [None, "", "0" * 64])
def test_no_form_is_taken_that_was_not_ours(dsn: str, path: str, proof: str | None) -> None:
    """Each form needs what was shown with it: without it nothing is begun, ended or recorded."""

    async def work() -> None:
        token = await make_token(dsn, Scope.PLANNER)
        async with visitor(dsn) as client:
            data = {"token": token, "kind": "resolution"} | ({} if proof is None else {door.FIELD: proof})
            assert (await client.post(path, data=data)).status_code == 403
            assert (await client.get("/search")).status_code == 200

    run(work())


def test_a_scope_opens_what_it_is_for(dsn: str) -> None:
    """A bench's token looks a connector up and sees no report; a records clerk reads and resolves nothing; both are told so."""

    async def work() -> None:
        async with visitor(dsn, Scope.BENCH) as client:
            found = await client.get("/search")
            assert found.status_code == 200
            assert "Discrepancies" not in words(found)
            refused = await client.get("/fleet")
            assert refused.status_code == 403
            assert "this token" in words(refused).lower()
        async with visitor(dsn, Scope.RECORDS) as client:
            shown = await client.get("/search")
            assert (await client.post("/discrepancies", data=fields(shown.text))).status_code == 403

    run(work())


@pytest.mark.parametrize(
    ("target", "goes"),
    [
        ("/fleet?asset=TN-7&wear=over", "/fleet?asset=TN-7&wear=over"),
        ("https://elsewhere.example/", "/fleet"),
        ("//elsewhere.example/", "/fleet"),
        ("/\\elsewhere.example", "/fleet"),
        ("/\t/elsewhere.example", "/fleet"),
        ("javascript:alert(1)", "/fleet"),
        ("", "/fleet"),
    ],
)
def test_signing_in_leads_nowhere_else(target: str, goes: str) -> None:
    """After signing in somebody lands on a page of ours, whatever a link asked for."""
    assert door.local(target) == goes


def test_a_link_in_a_mail_keeps_the_session(dsn: str) -> None:
    """A strict cookie stays behind where another site leads here: the page leads on by itself, and then it comes along."""

    async def work() -> None:
        async with visitor(dsn) as client:
            kept = dict(client.cookies)
            client.cookies.clear()
            led = await client.get("/search?mark=a%26b", headers={"sec-fetch-site": "cross-site"})
            assert led.status_code == 200
            assert 'content="0;url=/search?mark=a%26b"' in led.text
            client.cookies.update(kept)
            assert (
                await client.get("/search?mark=a%26b", headers={"sec-fetch-site": "same-origin"})
            ).status_code == 200

    run(work())


def test_the_pages_let_nothing_run(dsn: str) -> None:
    """The policy allows our style and our forms; no page has a script, a handler or a style of its own."""

    async def work() -> None:
        connector = await visiting.worn(dsn, "S-1", 2)
        async with visitor(dsn) as client:
            for path in (f"/connectors/{connector}", "/search?mark=nothing", "/sign-in"):
                shown = await client.get(path)
                policy = shown.headers["content-security-policy"]
                for each in ("default-src 'none'", "style-src 'self'", "form-action 'self'", "frame-ancestors 'none'"):
                    assert each in policy
                assert "unsafe" not in policy
                assert shown.headers["cache-control"] == "no-store"
                for each in ("<script", "<style", " style=", " onclick=", "javascript:"):
                    assert each not in shown.text

    run(work())
