"""`tinebook outlook` and `tinebook import usage, visits`, as a planner's cron uses them."""

import asyncio
from pathlib import Path

import asyncpg
import pytest

from service.settings import Settings, SettingsError, read
from tests.conftest import Started, run
from tests.outlook.books import register
from tests.test_cli import Owner


@pytest.fixture
def owner(dsn: str, tmp_path: Path) -> Owner:
    """Somebody at a shell, with a database of his own."""
    return Owner(dsn, tmp_path)


def table(owner: Owner, text: str) -> str:
    """A table on disk."""
    path = owner.directory / "table.csv"
    path.write_text(text)
    return str(path)


def test_an_outlook_is_computed_and_told(owner: Owner, service: Started) -> None:
    """The command says how many connectors, of how many it is known, and on what it rests; a young one is enough."""

    async def made() -> None:
        async with service() as client:
            await register(client, "EX-1")
            await register(client, "EX-2", history="unknown", populated=None)

    run(made())
    done = owner.run("outlook", "--by", "cron")
    assert done.exit_code == 0, done.output
    assert "outlook 1 as of" in done.stdout
    assert "2 connectors, 1 of known history, 1 not known, 0 retired" in done.stdout
    assert "no usage is stated" in done.stdout
    again = owner.run("outlook", "--once-in-hours", "12")
    assert again.stdout == "the newest outlook is young enough; nothing was computed\n"
    assert "outlook 2" in owner.run("outlook", "--exposure", "days").stdout


def test_a_second_computation_is_refused(owner: Owner, dsn: str) -> None:
    """While another session computes, the command says so and ends with 1."""
    loop = asyncio.new_event_loop()
    try:
        other = loop.run_until_complete(asyncpg.connect(dsn))
        loop.run_until_complete(other.fetchval("select pg_advisory_lock(6016202611250005)"))
        refused = owner.run("outlook")
        assert refused.exit_code == 1
        assert "another session is computing" in refused.output
        loop.run_until_complete(other.close())
    finally:
        loop.close()


def test_usage_and_visits_are_imported_once(owner: Owner) -> None:
    """A table imported twice counts once; a dry run writes nothing; an empty day calls a visit off."""
    flown = table(owner, "asset;day;flight_hours;flight_cycles\nTN-1;2026-10-31;200.5;110\nTN-1;2026-11-24;180;\n")
    assert owner.run("import", "usage", flown, "--dry-run").stdout == "2 rows can be imported\n"
    assert owner.run("import", "usage", flown).stdout == "2 rows new or changed, 0 as they were\n"
    assert owner.run("import", "usage", flown).stdout == "0 rows new or changed, 2 as they were\n"
    planned = table(owner, "asset,name,starts_on\nTN-1,A check,2027-02-08\nTN-1,C check,\n")
    assert owner.run("import", "visits", planned).stdout == "2 rows new or changed, 0 as they were\n"


FLAWS = [
    # kind, table -> what is said
    ("usage", "asset,day,hours\nTN-1,2026-10-31,1\n", "row 1, column hours: there is no such column"),
    ("usage", "asset,flight_hours\nTN-1,1\n", "row 1, column day: is missing"),
    ("usage", "asset,day,flight_hours\nTN-1,31.10.2026,1\n", "row 2, column day:"),
    ("usage", "asset,day,flight_hours\nTN-1,2026-10-31,many\n", "row 2, column flight_hours: 'many': is a number"),
    ("usage", "asset,day,flight_hours\nTN-1,2026-10-31,-1\n", "row 2, column flight_hours: '-1'"),
    ("usage", "asset,day,flight_hours\nTN-1,2026-10-31,\n", "row 2, column flight_hours: state flight_hours"),
    ("usage", "asset,day,flight_hours\nTN-1,1912-10-31,1\n", "row 2, column day: must lie between 1950 and 2100"),
    ("usage", "asset,day,flight_hours\nT,2026-10-31,1\nT,2026-10-31,2\n", "row 3: is about the same as row 2"),
    ("visits", "asset,name,starts_on\n,A,2027-01-01\n", "row 2, column asset: is empty"),
    ("visits", "asset,name,starts_on\nT,A,2027-01-01\nT,A,2027-02-01\n", "row 3: is about the same as row 2"),
]


@pytest.mark.parametrize(("kind", "text", "said"), FLAWS)
def test_flaws_are_named_by_row_and_column(kind: str, text: str, said: str, owner: Owner) -> None:
    """What is wrong with a table is said by row and column, and nothing of it is written."""
    refused = owner.run("import", kind, table(owner, text))
    assert refused.exit_code == 1
    assert said in refused.output
    assert "nothing was imported" in refused.output


def test_the_hour_is_a_setting() -> None:
    """The hour of the daily outlook is read as a time of day, and nothing else is taken for one."""
    assert read({"TINEBOOK_OUTLOOK_AT": "02:30"}) == Settings(outlook_at="02:30")
    for wrong in ("2:30", "24:00", "night", "02:30\n"):
        with pytest.raises(SettingsError):
            read({"TINEBOOK_OUTLOOK_AT": wrong})
