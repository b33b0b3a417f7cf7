"""The pages on people, as a browser fills them in: who may sign for what, who says so, and a secret of one's own."""

import html

import httpx

from service.workflow.access import Scope
from tests.conftest import run
from tests.pages.visiting import fields, visitor, words
from tests.signing.shop import CHEAP_SETTINGS

FIRST, OWN = "first secret of all", "my own secret"


def form(page: str, act: str) -> dict[str, str]:
    """The hidden fields of the form for an act."""
    at = page.index(f'name="act" value="{act}"')
    return fields(page[page.rindex("<form", 0, at) :])


async def send(client: httpx.AsyncClient, path: str, act: str, **told: str) -> httpx.Response:
    """Fill in a form of a page."""
    page = (await client.get(path)).text
    return await client.post(path, data=form(page, act) | told)


async def added(client: httpx.AsyncClient, badge: str = "B/7", name: str = "R. <Example>") -> str:
    """Somebody on the list; the address of their page."""
    done = await send(client, "/people", "person", badge=badge, name=name)
    assert done.status_code == 303, words(done)
    where: str = done.headers["location"]
    return where


def test_an_administrator_gives_and_takes_authority(dsn: str) -> None:
    """What somebody may sign for is given and taken back on their page, which keeps both with who said so and why."""

    async def work() -> None:
        async with visitor(dsn, Scope.ADMIN) as client:
            path = await added(client)
            assert path == "/people/B%2F7"
            shown = await client.get(path)
            assert "R. <Example>" in words(shown)
            assert "<Example>" not in shown.text
            given = {"what": "inspects", "scope": "family:38999-III", "from_on": "2026-01-01", "until_on": ""}
            assert (await send(client, path, "authority", **given)).status_code == 303
            told = {"number": "EX-1", "kind": "repairman", "from_on": "2026-01-01"}
            assert (await send(client, path, "certificate", **told)).status_code == 303
            told = {"issuer": "https://id.example", "subject": "7"}
            assert (await send(client, path, "identity", **told)).status_code == 303
            listed = words(await client.get("/people"))
            assert "inspecting work of others on connectors of 38999-III" in listed
            assert "EX-1, repairman" in listed
            assert (await send(client, path, "withdraw", reason="left the shop")).status_code == 303
            shown = await client.get(path)
            assert "by test: left the shop" in words(shown)
            assert "inspecting" not in words(await client.get("/people"))
            wrong = await send(client, path, "authority", what="inspects", scope="everything", from_on="2026-01-01")
            assert wrong.status_code == 422
            assert "scope" in words(wrong)

    run(work())


def test_a_secret_is_given_out_and_made_one_s_own(dsn: str) -> None:
    """The page says whose the secret is, never what it is; its owner changes it on a page that any token opens."""

    async def work() -> None:
        async with visitor(dsn, Scope.ADMIN, **CHEAP_SETTINGS) as client:
            path = await added(client, "B-7")
            assert (await send(client, path, "secret", secret=FIRST)).status_code == 303
            shown = await client.get(path)
            assert "initial: signs nothing yet" in words(shown)
            assert FIRST not in html.unescape(shown.text)
        async with visitor(dsn, Scope.BENCH, **CHEAP_SETTINGS) as client:
            page = fields((await client.get("/own-secret")).text, "Change your secret")
            told = {"badge": "B-7", "old": FIRST, "new": OWN, "again": OWN}
            unlike = await client.post("/own-secret", data=page | told | {"again": "other"})
            assert unlike.status_code == 422
            assert "not typed twice alike" in words(unlike)
            short = await client.post("/own-secret", data=page | told | {"new": "short", "again": "short"})
            assert short.status_code == 422
            done = await client.post("/own-secret", data=page | told)
            assert done.status_code == 200
            assert "Changed" in words(done)
            wrong = await client.post("/own-secret", data=page | told)
            assert wrong.status_code == 403
            assert OWN not in wrong.text
        async with visitor(dsn, Scope.PLANNER) as client:
            assert "their own" in words(await client.get("/people/B-7"))

    run(work())


def test_the_switch_stands_where_people_are(dsn: str) -> None:
    """Everybody who sees the list sees whether exceptions are allowed; an administrator turns the switch, with a reason."""

    async def work() -> None:
        async with visitor(dsn, Scope.ADMIN) as client:
            assert "There is no exception." in words(await client.get("/people"))
            assert (await send(client, "/people", "rule", reason="procedure 12")).status_code == 303
            shown = words(await client.get("/people"))
            assert "Exceptions are allowed." in shown
            assert "allowed by test: procedure 12" in shown
            assert (await send(client, "/people", "rule", reason="two on shift")).status_code == 303
            assert "There is no exception." in words(await client.get("/people"))

    run(work())


def test_others_see_no_form_that_is_not_theirs(dsn: str) -> None:
    """A planner adds somebody and gives no authority; who only reads adds nobody; a bench sees no list of people."""

    async def work() -> None:
        async with visitor(dsn, Scope.PLANNER) as client:
            path = await added(client, "B-7")
            shown = (await client.get(path)).text
            assert "For an administrator" not in shown
            page = (await client.get("/people")).text
            assert 'value="rule"' not in page
            token = form(page, "person")["form_token"]
            told = {
                "form_token": token,
                "act": "authority",
                "what": "inspects",
                "scope": "all",
                "from_on": "2026-01-01",
            }
            assert (await client.post(path, data=told)).status_code == 403
            told = {"form_token": token, "act": "rule", "allowed": "yes", "reason": "x"}
            assert (await client.post("/people", data=told)).status_code == 403
        async with visitor(dsn, Scope.RECORDS) as client:
            assert 'value="person"' not in (await client.get("/people")).text
        async with visitor(dsn, Scope.BENCH) as client:
            assert (await client.get("/people")).status_code == 403

    run(work())


def test_people_are_looked_for(dsn: str) -> None:
    """By a part of the badge or the name, letter case aside, and special characters are letters like others."""

    async def work() -> None:
        async with visitor(dsn, Scope.PLANNER) as client:
            await added(client, "B-1", "Ada Example")
            await added(client, "B_2", "Ben Sample")
            for like, wanted in (("ada", "B-1"), ("b_", "B_2"), ("SAMPLE", "B_2")):
                shown = words(await client.get("/people", params={"like": like}))
                other = {"B-1": "Ben Sample", "B_2": "Ada Example"}[wanted]
                assert wanted in shown
                assert other not in shown
            assert "Nobody is on the list" in words(await client.get("/people", params={"like": "%"}))

    run(work())
