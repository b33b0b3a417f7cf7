"""Reports as files over HTTP and at the shell: all rows, the same in every form, and clear words where there can be none."""

import csv
import io
import json
import os
from pathlib import Path
from typing import Any, cast

import httpx
import openpyxl
import pytest
from click.testing import CliRunner
from msgspec import structs

from service import app, cli
from service.api import exports, fleet_queries
from service.api.handlers import Call
from service.reports.forms import FORMS
from service.workflow.access import Bearer, Scope
from tests.api.test_contract import pages
from tests.api.test_fleet import fleet
from tests.conftest import Started, make_token, run
from tests.outlook import books
from tests.outlook.test_runs import fleet_on

ASKED = {
    "cycle-limits": ("reports/cycle-limits?of=connectors", "connectors"),
    "cycle-limits of cavities": ("reports/cycle-limits?of=cavities&wear=over&wear=unknown&asset=TN-1", "cavities"),
    "wear": ("reports/wear?by=part_number", "groups"),
    "discrepancies": ("discrepancies?seriousness=hold", "discrepancies"),
    "outlook": ("reports/outlook?horizon_days=365", "connectors"),
    "demand": ("reports/demand?months=3", "lines"),
    "stock": ("reports/stock?service_level=0.9", "lines"),
    "visits": ("reports/visits?risk=0.5", "assets"),
    "signals": ("reports/signals?about=connector&until=2026-11-25T00:00:00Z", "signals"),
}
"""Report -> where it is, and the field of its rows."""
_VISITS = [
    {"asset": "TN-1", "name": "A check 1", "starts_on": "2027-03-01"},
    {"asset": "TN-1", "name": "A check 2", "starts_on": "2027-12-01"},
]


async def filled(client: httpx.AsyncClient, dsn: str) -> None:
    """Two fleets with something in every report."""
    await fleet(client)
    await fleet_on(client)
    await client.put("/v1/visits", json={"rows": _VISITS})
    await books.compute(dsn)


async def file(client: httpx.AsyncClient, address: str, form: str) -> bytes:
    """A report as a file."""
    reply = await client.get(f"/v1/{address}&format={form}")
    assert reply.status_code == 200, reply.text
    assert reply.headers["content-type"].startswith(FORMS[form].media_type)  # type: ignore[index]
    assert reply.headers["content-disposition"].startswith('attachment; filename="tinebook-')
    assert reply.headers["content-disposition"].endswith(f'.{form}"')
    return reply.content


def aged(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows without the one field that goes on changing."""
    return [{key: value for key, value in each.items() if key != "age_days"} for each in rows]


def table(data: bytes) -> list[dict[str, Any]]:
    """The rows of CSV."""
    return list(csv.DictReader(io.StringIO(data.decode(), newline="")))


def test_every_form_has_all_rows(service: Started, dsn: str, tmp_path: Path) -> None:
    """NDJSON has the rows of all pages, the others as many; the command line writes what the API sends."""
    sent: dict[str, dict[str, bytes]] = {}

    async def work() -> None:
        async with service() as client:
            await filled(client, dsn)
            for name, (address, rows) in ASKED.items():
                sent[name] = {form: await file(client, address, form) for form in FORMS}
                listed = await pages(client, f"/v1/{address}", rows)
                whole = [json.loads(each) for each in sent[name]["ndjson"].splitlines()]
                if name == "visits":
                    assert [each["serial"] for each in whole] == [each["serial"] for each in listed[0]["renew"]]
                    assert {each["next_name"] for each in whole} == {"A check 1"}
                else:
                    assert aged(whole) == aged(listed), name
                assert whole, name
                assert len(table(sent[name]["csv"])) == len(whole), name
                sheet = openpyxl.load_workbook(io.BytesIO(sent[name]["xlsx"]))["Report"]
                assert sheet.max_row == len(whole) + 1, name
                assert sent[name]["pdf"].startswith(b"%PDF-"), name

    run(work())
    runner = CliRunner(env={"TINEBOOK_DSN": dsn})
    for name, (address, _) in ASKED.items():
        told = [part for each in address.partition("?")[2].split("&") for part in ("--filter", each)]
        for form in ("csv", "ndjson"):
            output = tmp_path / f"report.{form}"
            command = ["report", name.partition(" ")[0], "--format", form, "--output", str(output), *told]
            done = runner.invoke(cli.main, command)
            assert (done.exit_code, done.stdout) == (0, ""), done.output
            if name == "discrepancies":
                assert len(output.read_bytes().splitlines()) == len(sent[name][form].splitlines())
            else:
                assert output.read_bytes() == sent[name][form], (name, form)


def test_a_past_moment_gives_the_same_bytes_again(service: Started, dsn: str, tmp_path: Path) -> None:
    """What the ledger held at a moment is the same file in every form whenever, by whom and however it is asked for."""
    address = "reports/cycle-limits?of=cavities&as_of=2099-01-01T00:00:00Z"
    sent: dict[str, bytes] = {}

    async def work() -> None:
        async with service() as client:
            await fleet(client)
            for form in FORMS:
                sent[form] = await file(client, address, form)
                assert await file(client, address, form) == sent[form]

    run(work())
    output = tmp_path / "report"
    for form, data in sent.items():
        told = ["--filter", "of=cavities", "--filter", "as_of=2099-01-01T00:00:00Z", "--format", form]
        command = ["report", "cycle-limits", *told, "--output", str(output)]
        done = CliRunner(env={"TINEBOOK_DSN": dsn}).invoke(cli.main, command)
        assert done.exit_code == 0, done.output
        assert output.read_bytes() == data, form


def test_what_a_form_does_not_hold_is_said(service: Started, monkeypatch: pytest.MonkeyPatch) -> None:
    """More rows than a form holds are refused with a hint to CSV, which has them all; just as many are written."""

    async def work() -> None:
        async with service() as client:
            await fleet(client)
            address = "reports/cycle-limits?of=cavities"
            rows = len(table(await file(client, address, "csv")))
            for form in ("xlsx", "pdf"):
                monkeypatch.setitem(FORMS, form, structs.replace(FORMS[form], most_rows=rows))
                await file(client, address, form)
                monkeypatch.setitem(FORMS, form, structs.replace(FORMS[form], most_rows=rows - 1))
                reply = await client.get(f"/v1/{address}&format={form}")
                assert reply.status_code == 422
                assert f"at most {rows - 1} rows" in reply.json()["detail"]
                assert "csv" in reply.json()["detail"]
                assert reply.json()["errors"][0]["pointer"] == "?format"

    run(work())


def test_wrong_questions_are_problems_in_every_form(service: Started, dsn: str) -> None:
    """A file is refused as a page is: wrong form, wrong filter, a cursor, people for a planner, a stretch that ends too early."""

    async def work() -> None:
        async with service() as client:
            wrong = (
                "reports/wear?by=asset&format=html",
                "reports/wear?by=asset&family=F-A&format=csv",
                "reports/cycle-limits?format=ndjson&cursor=WzEsMV0",
                "reports/signals?about=tool&since=2026-10-02T00:00:00Z&until=2026-10-01T00:00:00Z&format=pdf",
            )
            for each in wrong:
                reply = await client.get(f"/v1/{each}")
                assert reply.status_code == 422, each
                assert reply.headers["content-type"] == "application/problem+json"
            planner = {"Authorization": f"Bearer {await make_token(dsn, Scope.PLANNER)}"}
            asked = "/v1/reports/signals?about=person&format=csv"
            assert (await client.get(asked, headers=planner)).status_code == 403
            assert (await client.get(asked)).status_code == 200

    run(work())


def test_nothing_to_report_is_a_file_too(service: Started) -> None:
    """Without rows a table has its header, and paper and workbook say so; without an outlook they say that there is none."""

    async def work() -> None:
        async with service() as client:
            assert (await file(client, "reports/cycle-limits?of=cavities", "ndjson")) == b""
            assert (await file(client, "reports/cycle-limits?of=cavities", "csv")).startswith(b"connector,serial,")
            book = openpyxl.load_workbook(io.BytesIO(await file(client, "reports/outlook?band=known", "xlsx")))
            assert any("No outlook was computed" in str(row[1]) for row in book["About"].iter_rows(values_only=True))
            assert (await file(client, "reports/visits?risk=0.5", "pdf")).startswith(b"%PDF-")

    run(work())


def test_files_leave_room_for_others(service: Started) -> None:
    """When as many files are written as there is room for, the next is told to wait; one that nobody reads on gives room again."""

    async def work() -> None:
        async with service(pool_size=2) as client:
            await fleet(client)
            services = cast("Any", client)._transport.app.state.services  # noqa: SLF001 - as a server would be asked twice at once
            bearer = Bearer("test", frozenset({Scope.ADMIN}), app.now(), None)
            asked = fleet_queries.CycleLimits(format="csv")
            reply = await exports.reply(services, Call(bearer, {}, asked, None), "cycle-limits")
            assert (await anext(reply.message)).startswith(b"connector,")
            busy = await client.get("/v1/reports/cycle-limits?format=csv")
            assert (busy.status_code, busy.headers["retry-after"]) == (503, "10")
            assert (await client.get("/v1/reports/cycle-limits")).status_code == 200
            await reply.message.aclose()
            assert (await client.get("/v1/reports/cycle-limits?format=csv")).status_code == 200

    run(work())


def test_a_file_is_whole_or_as_it_was(
    service: Started, dsn: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused or cut off, the command ends with status 1, keeps the older file and leaves nothing beside it."""

    async def work() -> None:
        async with service() as client:
            await fleet(client)

    run(work())
    runner = CliRunner(env={"TINEBOOK_DSN": dsn})
    output = tmp_path / "limits.csv"
    output.write_text("yesterday's")
    refused = runner.invoke(
        cli.main, ["report", "wear", "--filter", "by=asset", "--filter", "zone=4", "--output", str(output)]
    )
    assert refused.exit_code == 1
    assert "not by zone" in refused.stderr

    async def cut_off(*_: object) -> Any:
        yield b"half"
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(exports, "written", cut_off)
        stopped = runner.invoke(cli.main, ["report", "cycle-limits", "--output", str(output)])
    assert stopped.exit_code == 1
    assert "stopped" in stopped.stderr
    assert (os.listdir(tmp_path), output.read_text()) == (["limits.csv"], "yesterday's")  # noqa: PTH208 - names are wanted
    assert runner.invoke(cli.main, ["report", "cycle-limits", "--output", str(output)]).exit_code == 0
    assert output.read_text().startswith("connector,")
    shown = runner.invoke(cli.main, ["report", "cycle-limits"])
    assert shown.stdout_bytes == output.read_bytes()


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (["report", "cycle-limits", "--filter", "asset"], "is no filter"),
        (["report", "cycle-limits", "--filter", "limit=3"], "is no filter"),
        (["report", "cycle-limits", "--filter", "colour=red"], "colour"),
        (["report", "signals"], "about"),
        (["report", "cycle-limits", "--output", "/nowhere/at/all.csv"], "can't be written"),
    ],
)
def test_wrong_commands_say_what_is_wrong(dsn: str, told: list[str], words: str) -> None:
    """A filter that there is not, one that is missing and a file that can't be written are named."""
    done = CliRunner(env={"TINEBOOK_DSN": dsn}).invoke(cli.main, told)
    assert done.exit_code != 0
    assert words in done.stderr
