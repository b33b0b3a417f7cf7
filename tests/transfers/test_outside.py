"""Transfers, log cards and tags as they are reached from outside: over HTTP, at the shell, on the pages."""

import asyncio
import base64
import hashlib
import html
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, cast

import httpx
import pytest
from axe_playwright_python.sync_playwright import Axe
from click.testing import CliRunner, Result
from playwright.sync_api import sync_playwright

from service import app, cli, settings
from service.core.transfers import bundle
from service.store import database
from service.workflow.access import Scope
from tests import databases
from tests.api.test_recording import entry, post, registration
from tests.browser.modules import CHROMIUM, needs_chromium
from tests.conftest import Started, make_token, run
from tests.pages.visiting import visitor
from tests.records import shop as orders

PLAN = {"steps": [{"action": "insert", "cavity": "C"}]}


async def registered(client: httpx.AsyncClient) -> str:
    """A connector with some work on it; its id."""
    made = await client.post("/v1/connectors", json=registration("EX-1", cage="0CVA5"))
    await post(
        client, entry("placement", None, 1, asset="TN-7"), entry("insertion", minute=2), entry("removal", minute=3)
    )
    found: str = made.json()["id"]
    return found


@pytest.fixture
def other(maintenance: str, template: str) -> Iterator[str]:
    """A second installation's database."""
    found = asyncio.run(databases.clone(maintenance, template))

    async def named() -> None:
        async with database.owner(found) as connection:
            await connection.execute("update tinebook.installation set installation = gen_random_uuid()")

    asyncio.run(named())
    yield found
    asyncio.run(databases.drop(maintenance, found))


class Shell:
    """Somebody at a shell, with a database and a folder."""

    def __init__(self, dsn: str, folder: Path) -> None:
        self.dsn, self.folder = dsn, folder

    def run(self, *arguments: str, **environment: str) -> Result:
        """Run the command."""
        return CliRunner(env={"TINEBOOK_DSN": self.dsn, **environment}).invoke(cli.main, arguments)

    def does(self, *arguments: str, **environment: str) -> str:
        """Run the command, which has to do its work."""
        done = self.run(*arguments, **environment)
        assert done.exit_code == 0, done.output
        return done.stdout


def test_from_one_shell_to_another(service: Started, dsn: str, other: str, tmp_path: Path) -> None:
    """Keys are told, a connector goes and comes, and both sides verify; what is refused says why with status 1."""

    async def begun() -> str:
        async with service() as client:
            return await registered(client)

    connector = run(begun())
    here, there = Shell(dsn, tmp_path), Shell(other, tmp_path)
    file = str(tmp_path / "connector.zip")
    installation, key, _ = there.does("transfer", "keys", "own").splitlines()
    told = here.does(
        *("transfer", "out", "EX-1", "--to", "Example Air Repair", "--reason", "Sold", "--by", "R. Example"),
        *("--installation", installation.split()[1], "--output", file),
    )
    assert "EX-1 was handed over to Example Air Repair: 3 entries" in told
    checked = here.does("transfer", "check", file)
    assert "whole: EX-1" in checked
    refused = there.run("transfer", "in", file, "--by", "B. Example")
    assert refused.exit_code == 1
    assert "not known here" in refused.output
    own = here.does("transfer", "keys", "own").splitlines()[1]
    assert own in refused.output
    there.does("transfer", "keys", "trust", "Seller", own, "--reason", "By telephone", "--by", "B. Example")
    assert "trusted" in there.does("transfer", "keys", "list")
    assert "EX-1 is on the books: 3 entries from Seller" in there.does("transfer", "in", file, "--by", "B. Example")
    assert "was taken in before" in there.does("transfer", "in", file, "--by", "B. Example")
    again = str(tmp_path / "again.zip")
    number = here.does("transfer", "list").split()[0]
    here.does("transfer", "bundle", number, "--output", again)
    assert Path(again).read_bytes() == Path(file).read_bytes()
    for shell in (here, there):
        assert "everything is as it was recorded" in shell.does("verify")
    assert connector in there.does("transfer", "check", file)
    there.does("transfer", "keys", "distrust", "Seller", own, "--reason", "Stolen", "--by", "B. Example")
    assert "NOT trusted" in there.does("transfer", "keys", "list")
    assert (
        here.run("transfer", "out", "EX-1", "--to", "x", "--reason", "y", "--by", "z", "--output", file).exit_code == 1
    )
    Path(file).write_bytes(b"PK nothing")
    assert "no ZIP file" in there.run("transfer", "check", file).output
    assert key != own


def test_papers_at_the_shell(service: Started, dsn: str, tmp_path: Path) -> None:
    """Log card and tag as files; the same again is the same to the byte; a wrong ending is said."""

    async def begun() -> str:
        async with service() as client:
            return await registered(client)

    run(begun())
    shell = Shell(dsn, tmp_path)
    for name in ("card.pdf", "card.html", "card.json"):
        paths = [tmp_path / f"{each}-{name}" for each in "ab"]
        for path in paths:
            shell.does("log-card", "EX-1", "--output", str(path))
        assert paths[0].read_bytes() == paths[1].read_bytes()
    for name in ("tag.pdf", "tag.svg"):
        shell.does("tag", "EX-1", "--output", str(tmp_path / name), TINEBOOK_ADDRESS="https://records.example")
        assert (tmp_path / name).stat().st_size > 1000
    assert (tmp_path / "a-card.pdf").read_bytes().startswith(b"%PDF-1.7")
    assert shell.run("log-card", "EX-1", "--output", str(tmp_path / "card.docx")).exit_code == 2
    assert "no connector" in shell.run("tag", "EX-2", "--output", str(tmp_path / "x.pdf")).output


def test_over_http_a_connector_goes_and_is_taken_back(service: Started) -> None:
    """The bundle is given as it is kept; plans are no_go and facts wait until it is taken in again; the snapshot says retired."""

    async def work() -> None:
        async with service() as client:
            connector = await registered(client)
            path = f"/v1/connectors/{connector}"
            assert (await client.post(f"{path}/plan", json=PLAN)).json()["answer"] == "go"
            made = await client.post(f"{path}/transfer", json={"to": "Example Air Repair", "reason": "Sold"})
            assert made.status_code == 201, made.text
            transfer = made.json()
            planned = (await client.post(f"{path}/plan", json=PLAN)).json()
            assert planned["answer"] == "no_go"
            assert planned["steps"][0]["reasons"][0]["code"] == "handed_over"
            assert (await client.get(path)).json()["handed_over"] is True
            assert (await client.get(f"{path}/state")).json()["state"][0][3] is True
            late = entry("insertion", minute=9)
            assert (await post(client, late))[0]["outcome"] == "parked"
            assert (await client.post(f"/v1/parked/{late['id']}", json={"connector": connector})).status_code == 409
            data = (await client.get(f"/v1/transfers/{transfer['id']}/bundle")).content
            assert bundle.read(data).manifest.id.hex == transfer["id"].replace("-", "")
            sent = {"bundle_base64": base64.b64encode(data).decode()}
            taken = await client.post("/v1/transfers", json=sent)
            assert taken.status_code == 201, taken.text
            assert (await client.post("/v1/transfers", json=sent)).status_code == 200
            assert (await client.get(path)).json()["handed_over"] is False
            assert (await client.get(f"/v1/entries/{late['id']}")).json()["outcome"] == "recorded"
            listed = (await client.get(f"/v1/transfers?connector={connector}")).json()["transfers"]
            assert [each["direction"] for each in listed] == ["in", "out"]
            feed = (await client.get("/v1/feed?types=tinebook.connector.&limit=100")).json()["events"]
            assert [each["type"].rpartition(".")[2] for each in feed] == ["registered", "handed_over", "received"]

    run(work())


def test_what_is_wrong_is_said(service: Started) -> None:
    """No base64, no bundle, no such transfer or connector: each its own problem, with what to do."""

    async def work() -> None:
        async with service() as client:
            for body, kind in (
                ({"bundle_base64": "!"}, "invalid-request"),
                ({"bundle_base64": base64.b64encode(b"x").decode()}, "bundle-refused"),
            ):
                reply = await client.post("/v1/transfers", json=body)
                assert (reply.status_code, reply.json()["type"].rpartition(":")[2]) == (422, kind)
            nowhere = "00000000-0000-0000-0000-000000000000"
            assert (await client.get(f"/v1/transfers/{nowhere}")).status_code == 404
            assert (await client.get("/v1/transfers/x/bundle")).status_code == 404
            for part in ("log-card", "tag"):
                assert (await client.get(f"/v1/connectors/{nowhere}/{part}")).status_code == 404
            reply = await client.post(f"/v1/connectors/{nowhere}/transfer", json={"to": "x", "reason": "y"})
            assert reply.status_code == 404
            bad = {"public_key": "ed25519:AAAA", "name": "x", "trusted": True, "reason": "y"}
            assert (await client.post("/v1/transfer-keys", json=bad)).status_code == 422

    run(work())


def test_papers_over_http(service: Started) -> None:
    """A log card in each form with its type and policy, byte for byte the same; a tag whose link is the service's address."""

    async def work() -> None:
        async with service(address="https://records.example/shop") as client:
            connector = await registered(client)
            path = f"/v1/connectors/{connector}"
            for form, kind in (("pdf", "application/pdf"), ("html", "text/html"), ("json", "application/json")):
                first, second = [await client.get(f"{path}/log-card?format={form}") for _ in range(2)]
                assert first.status_code == 200, first.text
                assert first.headers["content-type"].partition(";")[0] == kind
                assert first.content == second.content
            page = (await client.get(f"{path}/log-card?format=html")).headers
            assert page["content-security-policy"].startswith("default-src 'none'")
            card = json.loads((await client.get(f"{path}/log-card?format=json")).content)
            assert (card["serial"], card["asset"], len(card["entries"])) == ("EX-1", "TN-7", 3)
            assert card["hash"] == (await client.get(path)).json()["chain_hash"]
            drawn = await client.get(f"{path}/tag?format=svg&record=R-17")
            assert drawn.headers["content-type"] == "image/svg+xml"
            assert "Record R-17" in drawn.text
            scanned = await client.post(
                "/v1/scans", json={"text": f"https://records.example/shop/connectors/{connector}"}
            )
            assert [each["id"] for each in scanned.json()["connectors"]] == [connector]

    run(work())


def test_the_page_leads_to_the_papers(service: Started, dsn: str) -> None:
    """Whoever may see a connector's page reaches its log card and tag from there; one that has left says so first."""

    async def work() -> None:
        async with service() as client:
            connector = await registered(client)
            async with visitor(dsn, Scope.RECORDS) as looking:
                page = (await looking.get(f"/connectors/{connector}")).text
                found = [html.unescape(each) for each in re.findall(rf'href="(/connectors/{connector}/[^"]+)"', page)]
                assert len(found) == 4
                kinds = [(await looking.get(each)).headers["content-type"].partition(";")[0] for each in found]
                assert kinds == ["text/html", "application/pdf", "application/pdf", "image/svg+xml"]
                assert "Owners" not in page
                await client.post(
                    f"/v1/connectors/{connector}/transfer", json={"to": "Buyer & <Sons>", "reason": "Sold"}
                )
                page = (await looking.get(f"/connectors/{connector}")).text
                assert "Handed over to Buyer &amp; &lt;Sons&gt;" in page
                assert (await looking.get("/connectors/x/tag")).status_code == 404

    run(work())


@needs_chromium
@pytest.mark.parametrize("path", ["", "/log-card"])
def test_the_pages_are_for_everybody(service: Started, dsn: str, path: str) -> None:
    """The page of a connector that has left, and its log card: axe finds nothing, also on a narrow screen."""
    pages: dict[str, Any] = {}

    async def work() -> None:
        async with service() as client:
            connector = await registered(client)
            await client.post(f"/v1/connectors/{connector}/transfer", json={"to": "Buyer", "reason": "Sold"})
            async with visitor(dsn, Scope.PLANNER) as looking:
                shown = await looking.get(f"/connectors/{connector}{path}")
                assert shown.status_code == 200
                pages["html"] = shown.text
                style = re.search(r'href="(/pages/planner.css[^"]*)"', pages["html"])
                if style is not None:
                    sheet = (await looking.get(style[1])).text
                    pages["html"] = pages["html"].replace("</head>", f"<style>{sheet}</style></head>")

    run(work())
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for width in (1280, 360):
            page = browser.new_page(viewport={"width": width, "height": 800})
            page.set_content(pages["html"])
            found = Axe().run(page)
            assert found.violations_count == 0, found.generate_report()
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        browser.close()


def test_rights(service: Started, dsn: str) -> None:
    """Handing over and taking in are the planner's; whom to trust is the administrator's alone."""

    async def work() -> None:
        async with service() as client:
            connector = await registered(client)
            statement = {"public_key": "ed25519:" + "A" * 43 + "=", "name": "x", "trusted": True, "reason": "y"}
            for scope, handing, trusting in (
                (Scope.BENCH, 403, 403),
                (Scope.RECORDS, 403, 403),
                (Scope.PLANNER, 422, 403),
            ):
                headers = {"Authorization": f"Bearer {await make_token(dsn, scope)}"}
                reply = await client.post(f"/v1/connectors/{connector}/transfer", json={}, headers=headers)
                assert reply.status_code == handing
                assert (await client.post("/v1/transfer-keys", json=statement, headers=headers)).status_code == trusting

    run(work())


def test_records_and_signatures_go_with_it(service: Started) -> None:
    """The bundle holds the records of its work orders as they were hashed, and every signature on them, intact."""

    async def work() -> None:
        async with orders.opened(service) as shop:
            await shop.do("removal", "insertion")
            await shop.close()
            record = await shop.record()
            connector = (await shop.client.get("/v1/connectors?mark=EX-1")).json()["connectors"][0]["id"]
            made = await shop.client.post(
                f"/v1/connectors/{connector}/transfer", json={"to": "Buyer", "reason": "Sold"}
            )
            data = (await shop.client.get(f"/v1/transfers/{made.json()['id']}/bundle")).content
            held = bundle.read(data)
            (told,) = json.loads(held.files[bundle.RECORDS])["records"]
            assert (told["number"], told["sha256"]) == (record["number"], record["sha256"])
            assert hashlib.sha256(told["canonical"].encode()).hexdigest() == told["sha256"]
            signed = json.loads(held.files[bundle.SIGNATURES])["signatures"]
            assert [(each["meaning"], each["badge"], each["intact"]) for each in signed] == [
                ("inspected", orders.INSPECTOR, True),
                ("approved", orders.APPROVER, True),
            ]
            assert all(hashlib.sha256(each["statement"].encode()).hexdigest() == each["sha256"] for each in signed)
            assert orders.SECRET.encode() not in data

    run(work())


def test_another_owners_work_order_is_none_of_ours(service: Started, dsn: str, other: str, tmp_path: Path) -> None:
    """A work order here that happens to have the number of one over there has none of its entries, people or records."""

    async def begun() -> None:
        async with orders.opened(service) as shop:
            await shop.do("removal", "insertion")
            await shop.close()
            await shop.record()

    run(begun())
    here, there, file = Shell(dsn, tmp_path), Shell(other, tmp_path), str(tmp_path / "one.zip")
    key = here.does("transfer", "keys", "own").splitlines()[1]
    here.does("transfer", "out", "EX-1", "--to", "Buyer", "--reason", "Sold", "--by", "x", "--output", file)
    there.does("transfer", "keys", "trust", "Seller", key, "--reason", "By telephone", "--by", "B. Example")
    there.does("transfer", "in", file, "--by", "B. Example")

    async def at_the_buyers() -> None:
        token = await make_token(other, Scope.ADMIN)
        built = app.build_app(settings.Settings(dsn=other, **orders.CHEAP))
        async with built.lifespan():
            transport = httpx.ASGITransport(app=cast("Any", built))
            headers = {"Authorization": f"Bearer {token}"}
            async with httpx.AsyncClient(transport=transport, base_url="http://tinebook", headers=headers) as client:
                shop = orders.Shop(client)
                await shop.hire()
                await shop.plan()
                assert await shop.state() == "planned"
                reply = await shop.try_sign("approved", orders.APPROVER)
                assert not reply.is_success
                await shop.do("removal", "insertion", minute=60 * 24)
                assert await shop.state() == "worked"
                await shop.close()
                assert (await shop.record())["number"] == 1
                connector = (await client.get("/v1/connectors?mark=EX-1")).json()["connectors"][0]["id"]
                told = {"to": "Third", "reason": "Sold on"}
                made = await client.post(f"/v1/connectors/{connector}/transfer", json=told)
                data = (await client.get(f"/v1/transfers/{made.json()['id']}/bundle")).content
                held = bundle.read(data)
                assert [each["number"] for each in json.loads(held.files[bundle.RECORDS])["records"]] == [1]
                assert len(json.loads(held.files[bundle.SIGNATURES])["signatures"]) == 2
                assert bundle.read(held.files[bundle.EARLIER]).manifest.recipient.name == "Buyer"

    run(at_the_buyers())
