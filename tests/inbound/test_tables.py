"""`tinebook import` of what another system keeps in step here: checked first, written whole, as often as one likes."""

from pathlib import Path
from typing import Any

import pytest

from service import app, import_jobs
from service.workflow import inbound_tables
from service.workflow.access import Bearer, Scope
from service.workflow.sheets import Row
from tests.conftest import Started, run
from tests.imports.test_tables import counted, table
from tests.test_cli import Owner

TABLES: dict[str, tuple[tuple[str, ...], str, str]] = {
    # lines, one of them changed, the table of the database
    "assets": (
        ("asset,type,serial,withdrawn_on", "TN-1,Regional 70,70-0001,", "TN-2,,,2026-12-31"),
        "TN-1,Regional 90,70-0001,",
        "asset",
    ),
    "positions": (
        ("asset;zone;position;part_number;present", "TN-1;410;P1;D38999/26WE35SN;", "TN-1;;P1;;true"),
        "TN-1;410;P1;;false",
        "place",
    ),
    "tools": (
        ("mark\tpart_number\tdue_on", "T-1\tM81969/14-02\t2027-03-31", "T-2\tM81969/14-03\t"),
        "T-1\tM81969/14-02\t",
        "tool",
    ),
    "people": (
        (
            "badge,name,certificate_number,certificate_kind,certificate_from_on,authority,scope,from_on,until_on",
            "117,R. Example,EX-4711,repairman,2025-01-01,performs,,2025-01-01,",
            "118,S. Example,,,,,,,",
        ),
        "117,R. Sample,EX-4711,repairman,2025-01-01,inspects,family:38999-III,2025-02-01,2027-01-31",
        "person",
    ),
    "work-orders": (
        (
            "number,title,asset,document,revision,inspection_required,step,connector,cavity,step_note",
            "WO-1,Replace a contact,TN-1,Shop practice 7,C,true,replace,EX-1,C,",
            "WO-2,Look at it,,,,,,,,",
        ),
        "WO-1,Replace it,TN-1,Shop practice 7,C,true,other,,,Tie the harness",
        "work_order",
    ),
}


@pytest.fixture
def owner(dsn: str, tmp_path: Path) -> Owner:
    """Somebody at a shell, with a database of his own."""
    return Owner(dsn, tmp_path)


@pytest.mark.parametrize("name", TABLES)
def test_a_table_is_kept_once(owner: Owner, name: str) -> None:
    """A table is checked, then kept; again it changes nothing; with a row that says otherwise only that one is."""
    lines, other, kept = TABLES[name]
    path = table(owner, *lines)
    dry = owner.run("import", name, path, "--dry-run")
    assert (dry.exit_code, dry.stdout) == (0, f"2 {name.replace('-', ' ')} can be imported\n"), dry.stderr
    assert counted(owner, kept) == 0
    assert owner.run("import", name, path).stdout == "2 created, 0 changed, 0 unchanged\n"
    assert owner.run("import", name, path).stdout == "0 created, 0 changed, 2 unchanged\n"
    again = table(owner, lines[0], other, lines[2])
    assert owner.run("import", name, again).stdout == "0 created, 1 changed, 1 unchanged\n"
    assert owner.run("verify").exit_code == 0


def test_several_rows_make_one_person_or_order(owner: Owner, service: Started) -> None:
    """Each further row of a person is an authority, of a work order a step, wherever it stands in the table."""
    head, first, second = TABLES["people"][0]
    more = "117,R. Example,EX-4711,repairman,2025-01-01,inspects,family:38999-III,2025-02-01,"
    assert owner.run("import", "people", table(owner, head, first, second, more)).stdout.startswith("2 created")
    head, first, second = TABLES["work-orders"][0]
    more = "WO-1,Replace a contact,TN-1,Shop practice 7,C,true,other,,,Tie the harness"
    assert owner.run("import", "work-orders", table(owner, head, first, second, more)).stdout.startswith("2 created")

    async def work() -> tuple[dict[str, Any], dict[str, Any]]:
        async with service() as client:
            return (await client.get("/v1/people/117")).json(), (await client.get("/v1/work-orders/WO-1")).json()

    person, order = run(work())
    assert [(each["what"], each["scope"]) for each in person["authorities"]] == [
        ("performs", "all"),
        ("inspects", "family:38999-III"),
    ]
    assert person["certificate"]["number"] == "EX-4711"
    assert order["order"]["steps"] == [
        {"act": "replace", "connector": "EX-1", "cavity": "C"},
        {"act": "other", "note": "Tie the harness"},
    ]
    assert order["order"]["reference"] == {"document": "Shop practice 7", "revision": "C", "task": None}


FLAWED: list[tuple[str, tuple[str, ...], list[str]]] = [
    # table, its further lines (rows 4 and on), row and column of each flaw
    (
        "assets",
        ("TN-3,,,31.12.2026", ",Regional 70,,", "TN-1,Regional 70,70-0001,", "TN-4,,,1812-01-01"),
        ["row 4, column withdrawn_on", "row 5, column asset", "row 6", "row 7, column withdrawn_on"],
    ),
    (
        "positions",
        ("TN-1;410;;X;", "TN-1;410;P3;X;maybe", "TN-1;410;P1;X;"),
        ["row 4, column position", "row 5, column present", "row 6"],
    ),
    ("tools", ("T-3\t\t",), ["row 4, column part_number"]),
    (
        "people",
        (
            "119,T. Example,EX-1,,,,,,",
            "120,U. Example,,,,flies,,2025-01-01,",
            "121,V. Example,,,,performs,,,",
            "117,R. Sample,EX-4711,repairman,2025-01-01,,,,",
            "122,W. Example,,,,,all,,",
            "123,X. Example,,,,performs,everything,2025-01-01,",
            "124,Y. Example,,,,performs,,2025-02-01,2025-01-01",
        ),
        [
            "row 4, column certificate_kind",
            "row 4, column certificate_from_on",
            "row 5, column authority",
            "row 6, column from_on",
            "row 7, column name",
            "row 8, column scope",
            "row 9, column scope",
            "row 10, column until_on",
        ],
    ),
    (
        "work-orders",
        ("WO-3,,,,,,,,,", "WO-4,T,,,C,,,,,", "WO-5,T,,,,,,EX-1,C,", "WO-1,Otherwise,TN-1,Shop practice 7,C,true,,,,"),
        [
            "row 4, column title",
            "row 5, column revision",
            "row 6, column connector",
            "row 6, column cavity",
            "row 7, column title",
        ],
    ),
]


@pytest.mark.parametrize(("name", "lines", "wanted"), FLAWED)
def test_a_flaw_anywhere_keeps_everything_out(
    owner: Owner, name: str, lines: tuple[str, ...], wanted: list[str]
) -> None:
    """Every flaw is named by row and column, and nothing is written."""
    path = table(owner, *TABLES[name][0], *lines)
    failed = owner.run("import", name, path)
    assert failed.exit_code == 1
    said = [each.removeprefix(f"{path}: ") for each in failed.stderr.splitlines() if each.startswith(path)]
    assert [each.split(": ")[0] for each in said] == wanted, failed.stderr
    assert "nothing was imported" in failed.stderr
    assert counted(owner, TABLES[name][2]) == 0


def test_what_the_books_refuse_is_a_flaw(owner: Owner, service: Started) -> None:
    """A person who left keeps the whole table out, also when it is only checked."""

    async def leave() -> None:
        async with service() as client:
            await client.put("/v1/people/119", json={"name": "T. Example"})
            left = {"left_on": "2022-06-30", "reason": "Left"}
            assert (await client.put("/v1/people/119/pseudonym", json=left)).status_code == 200

    run(leave())
    lines = ("119,T. Example,,,,,,,", "120,U. Example,,,,,,,")
    failed = owner.run("import", "people", table(owner, *TABLES["people"][0], *lines), "--dry-run")
    assert failed.exit_code == 1
    assert "row 4: this badge is of somebody who left" in failed.stderr
    assert counted(owner, "person") == 1


def test_a_table_that_was_cut_off_goes_on(owner: Owner) -> None:
    """Stopped after some thousand rows, what was written stays whole; the same table again writes the rest."""
    lines = ("asset,zone,position,part_number", *(f"TN-{each % 7},410,P{each},X" for each in range(12_000)))
    path = Path(table(owner, *lines))
    kept = inbound_tables.TABLES["positions"]
    rows = [each for each in kept.read(path) if isinstance(each, Row)]
    bearer = Bearer("import", frozenset({Scope.ADMIN}), app.now(), None)

    def stop(_: int) -> None:
        raise KeyboardInterrupt

    async def work() -> None:
        async with import_jobs.connected(owner.dsn) as connection:
            with pytest.raises(KeyboardInterrupt):
                await inbound_tables.record(connection, kept, rows, bearer, app.now, stop)

    run(work())
    assert counted(owner, "place") == 5_000
    assert owner.run("import", "positions", str(path)).stdout == "7000 created, 0 changed, 5000 unchanged\n"
    assert counted(owner, "place") == 12_000
