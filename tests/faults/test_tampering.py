"""Somebody with rights on the database changes what was recorded: `verify` says where, `rebuild` does not cover it up."""

import asyncio
import signal
from collections.abc import Iterator
from typing import Any

import asyncpg
import pytest
from click.testing import CliRunner, Result
from msgspec import Struct

from service.cli import main
from service.store import database, fleet
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run
from tests.faults import programs

_FORGED = "convert_to(replace(convert_from(body, 'UTF8'), 'badge 117', 'badge 118'), 'UTF8')"
_AT = "connector = '{connector}' and number ="


class Act(Struct, frozen=True):
    """What somebody does, the breaks that must be found (as they are printed), and whether `rebuild` may repair it."""

    name: str
    statements: tuple[str, ...]
    found: tuple[str, ...]
    repairable: bool = False


_HERE = "connector {connector}, "
ACTS = (
    Act(
        "a body is altered",
        (f"update tinebook.entry set body = {_FORGED} where {_AT} 3",),
        (f"{_HERE}entry 3: its hash does not cover it and what came before it",),
    ),
    Act(
        "a body is altered and its hash made to fit",
        (
            (
                f"update tinebook.entry as e set body = {_FORGED}, hash = sha256((select b.hash from tinebook.entry as b"
                f" where b.connector = e.connector and b.number = 2) || {_FORGED}) where {_AT} 3"
            ),
        ),
        (
            f"{_HERE}entry 3: its receipt is missing or is for something else",
            f"{_HERE}entry 4: its hash does not cover it and what came before it",
        ),
    ),
    Act(
        "an entry is deleted in the middle",
        (f"delete from tinebook.entry where {_AT} 3",),
        (
            f"{_HERE}entry 3: is missing; the next one there is 4",
            f"{_HERE}id {{ids[2]}}: was accepted, and its entry is gone",
        ),
    ),
    Act(
        "two entries are swapped",
        (
            f"update tinebook.entry set number = 99 where {_AT} 3",
            f"update tinebook.entry set number = 3 where {_AT} 4",
            f"update tinebook.entry set number = 4 where {_AT} 99",
        ),
        (
            f"{_HERE}entry 3: its hash does not cover it and what came before it",
            f"{_HERE}entry 3: the feed does not tell of it",
            f"{_HERE}entry 4: the feed does not tell of it",
        ),
    ),
    Act(
        "the last entry is deleted",
        (f"delete from tinebook.entry where {_AT} 6",),
        (
            f"{_HERE}entry 6: is missing; the head stands at entry 6",
            f"{_HERE}state: is not what the ledger gives",
            f"{_HERE}worn cavities: is not what the state gives",
            f"{_HERE}id {{ids[5]}}: was accepted, and its entry is gone",
        ),
    ),
    Act(
        "the last entry is deleted and the head moved back",
        (
            f"delete from tinebook.entry where {_AT} 6",
            (
                "update tinebook.head as h set entries = 5, hash = (select e.hash from tinebook.entry as e"
                " where e.connector = h.connector and e.number = 5) where connector = '{connector}'"
            ),
        ),
        (
            f"{_HERE}state: is not what the ledger gives",
            f"{_HERE}worn cavities: is not what the state gives",
            f"{_HERE}id {{ids[5]}}: was accepted, and its entry is gone",
        ),
    ),
    Act(
        "a column beside the body is altered",
        (f"update tinebook.entry set cavity = 'c' where {_AT} 2",),
        (f"{_HERE}entry 2: its column cavity differs from what was hashed",),
    ),
    Act(
        "a receipt is made to fit something else",
        ("update tinebook.receipt set digest = sha256('else') where id = '{ids[1]}'",),
        (f"{_HERE}entry 2: its receipt is missing or is for something else",),
    ),
    Act(
        "a receipt is deleted",
        ("delete from tinebook.receipt where id = '{ids[1]}'",),
        (f"{_HERE}entry 2: its receipt is missing or is for something else",),
    ),
    Act(
        "a rating is raised",
        (
            (
                "update tinebook.definition set body = convert_to(replace(convert_from(body, 'UTF8'),"
                " '\"value\":3', '\"value\":100'), 'UTF8') where connector = '{connector}'"
            ),
        ),
        (f"{_HERE}definition 1: its hash does not cover it and what came before it",),
    ),
    Act(
        "a definition is deleted",
        ("delete from tinebook.definition where connector = '{connector}'",),
        (f"{_HERE}definition 1: is missing",),
    ),
    Act(
        "a state is altered",
        ("update tinebook.head set state = convert_to('[[],[]]', 'UTF8') where connector = '{connector}'",),
        (f"{_HERE}state: is not what the ledger gives",),
        repairable=True,
    ),
    Act(
        "a connector is put elsewhere beside its state",
        ("update tinebook.head set zone = '410' where connector = '{connector}'",),
        (f"{_HERE}place: is not what the state gives",),
        repairable=True,
    ),
    Act(
        "a head is moved back",
        ("update tinebook.head set entries = 5 where connector = '{connector}'",),
        (f"{_HERE}head: stands at entry 5, the ledger ends at 6",),
        repairable=True,
    ),
    Act(
        "a head is deleted",
        ("delete from tinebook.head where connector = '{connector}'",),
        (f"{_HERE}head: is missing",),
        repairable=True,
    ),
    Act(
        "a line of the fleet's list is altered",
        ("update tinebook.limit_line set cycles_begun = 1 where connector = '{connector}'",),
        (f"{_HERE}limit line: is not what the state gives",),
        repairable=True,
    ),
    Act(
        "a line of the fleet's list is deleted",
        ("delete from tinebook.limit_line where connector = '{connector}'",),
        (f"{_HERE}limit line: is not what the state gives",),
        repairable=True,
    ),
    Act(
        "a worn cavity is taken off the fleet's list",
        ("delete from tinebook.worn_cavity where connector = '{connector}'",),
        (f"{_HERE}worn cavities: is not what the state gives",),
        repairable=True,
    ),
    Act(
        "a discrepancy is taken off the open list",
        ("delete from tinebook.open_discrepancy where connector = '{other}'",),
        ("connector {other}, open discrepancies: is not what the state gives",),
        repairable=True,
    ),
    Act(
        "another bench is said to have recorded last",
        ("update tinebook.head set bench = 'Bench 9' where connector = '{connector}'",),
        (f"{_HERE}bench: is not the one that recorded last",),
        repairable=True,
    ),
    Act(
        "a sum is altered",
        (
            """update tinebook.wear_sum set spent = spent + 1
            where dimension = 'fleet' and shard = (select max(shard) from tinebook.wear_sum where dimension = 'fleet')""",
        ),
        ("sum of the fleet: is not the sum of what the states give",),
        repairable=True,
    ),
    Act(
        "a mark is made to find another connector",
        ("update tinebook.mark set connector = '{other}' where key = 'EX-1'",),
        (
            f"{_HERE}marks: are not the ones that it has to be found by",
            "connector {other}, marks: are not the ones that it has to be found by",
        ),
        repairable=True,
    ),
    Act(
        "a connector is given another serial",
        ("update tinebook.connector set serial = 'EX-3' where connector = '{connector}'",),
        (f"{_HERE}identity: is not what its definition says",),
        repairable=True,
    ),
    Act(
        "a definition is dated back",
        (
            "update tinebook.definition set recorded_at = recorded_at - interval '1 year' where connector = '{connector}'",
        ),
        (f"{_HERE}definition 1: its columns differ from what was hashed",),
    ),
    Act(
        "a receipt is made to point elsewhere",
        ("update tinebook.receipt set connector = '{other}' where id = '{ids[1]}'",),
        (f"{_HERE}entry 2: its receipt is missing or is for something else",),
    ),
    Act(
        "an entry that waits is altered",
        (f"update tinebook.parked set body = {_FORGED}",),
        ("parked entry {waiting}: is not what was accepted under its id",),
    ),
    Act(
        "an entry that waits is made to wait for another connector",
        ("update tinebook.parked_mark set key = 'EX-8'",),
        ("parked entry {waiting}: does not wait under its own mark",),
        repairable=True,
    ),
)


@pytest.fixture(autouse=True)
def _signals() -> Iterator[None]:
    """The commands handle TERM in their own way; the tests want it back."""
    before = signal.getsignal(signal.SIGTERM)
    yield
    signal.signal(signal.SIGTERM, before)


@pytest.mark.parametrize("act", ACTS, ids=lambda act: act.name)
def test_verify_names_the_place(service: Started, dsn: str, act: Act) -> None:
    """Whatever is altered, `verify` ends with status 1 and prints exactly the place; `rebuild` repairs the state only."""
    made = run(_recorded(service))
    before = run(_kept(dsn))
    assert _command(dsn, "verify").exit_code == 0
    run(_done(dsn, [each.format(**made) for each in act.statements]))
    altered = run(_kept(dsn))
    assert altered != before
    verified = _command(dsn, "verify")
    assert verified.exit_code == 1
    places = [line.strip() for line in verified.output.splitlines() if line.startswith("  ")]
    assert sorted(places) == sorted(each.format(**made) for each in act.found)
    rebuilt = _command(dsn, "rebuild")
    assert rebuilt.exit_code == (0 if act.repairable else 1), rebuilt.output
    assert _command(dsn, "verify").exit_code == rebuilt.exit_code
    assert run(_kept(dsn)) == (before if act.repairable else altered)


async def _recorded(service: Started) -> dict[str, Any]:
    """Two connectors, one worked to its rating, one that nobody will touch."""
    async with service() as client:
        rating = {"value": 3, "basis": "house"}
        made = (await client.post("/v1/connectors", json=registration(rating=rating))).json()
        other = (await client.post("/v1/connectors", json=registration("EX-2"))).json()
        (waiting,) = await post(client, entry("insertion", serial="EX-9"))
        facts = [entry(kind, minute=minute) for minute, kind in enumerate(["insertion", "removal"] * 3)]
        await post(client, *facts, entry("insertion", serial="EX-2"), entry("insertion", serial="EX-2", minute=1))
        return {
            "connector": made["id"],
            "other": other["id"],
            "waiting": waiting["id"],
            "ids": [each["id"] for each in facts],
        }


async def _done(dsn: str, statements: list[str]) -> None:
    async with database.owner(dsn) as connection, connection.transaction():
        for table in ("entry", "definition", "receipt"):
            await connection.execute(f"alter table tinebook.{table} disable trigger user")
        for statement in statements:
            assert (await connection.execute(statement)).endswith(" 1"), statement
        for table in ("entry", "definition", "receipt"):
            await connection.execute(f"alter table tinebook.{table} enable trigger user")


async def _kept(dsn: str) -> dict[str, list[tuple[Any, ...]]]:
    """Everything that the ledger and its state consist of."""
    async with database.owner(dsn) as connection:
        tables = (
            *("entry", "definition", "receipt", "head", "limit_line", "connector", "mark", "parked", "parked_mark"),
            *("worn_cavity", "open_discrepancy"),
        )
        rows = {
            each: sorted(map(tuple, await connection.fetch(f"select t::text from tinebook.{each} as t")))
            for each in tables
        }
        sums = await fleet.summed(connection)
        return rows | {"sums": [*sorted(sums.groups.items()), *sorted(sums.steps.items())]}


def _command(dsn: str, *arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), env={"TINEBOOK_DSN": dsn, "TINEBOOK_OWNER_DSN": dsn})


LEDGER = ("entry", "definition", "receipt")
CHANGES = ("update tinebook.{} set connector = connector", "delete from tinebook.{}", "truncate tinebook.{}")


@pytest.mark.parametrize("table", LEDGER)
@pytest.mark.parametrize("change", CHANGES)
def test_the_service_may_not_change_the_ledger(service: Started, dsn: str, table: str, change: str) -> None:
    """The role that the service works under has no right to UPDATE, DELETE or TRUNCATE what was recorded."""
    run(_recorded(service))

    async def work() -> None:
        connection = await database.service_connection(dsn)
        try:
            with pytest.raises(asyncpg.InsufficientPrivilegeError):
                await connection.execute(change.format(table))
        finally:
            await connection.close()

    run(work())


@pytest.mark.parametrize("table", LEDGER)
@pytest.mark.parametrize("change", CHANGES)
def test_nobody_changes_the_ledger_unawares(service: Started, dsn: str, table: str, change: str) -> None:
    """Even the owner's UPDATE, DELETE and TRUNCATE are refused, with SQLSTATE 23001 (restrict_violation)."""
    run(_recorded(service))

    async def work() -> None:
        async with database.owner(dsn) as connection:
            with pytest.raises(asyncpg.RestrictViolationError, match="the ledger is append-only"):
                await connection.execute(change.format(table))

    run(work())


def test_rebuild_works_beside_a_running_service(service: Started, dsn: str) -> None:
    """While others record, `rebuild` waits for its turn at each connector and finds nothing to write anew."""
    settings: Any = {"TINEBOOK_DSN": dsn, "TINEBOOK_OWNER_DSN": dsn}

    async def work() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration())
            stop = asyncio.Event()

            async def record() -> None:
                while not stop.is_set():
                    await post(client, *(entry("tine_entry") for _ in range(5)))

            recording = asyncio.create_task(record())
            for _ in range(3):
                done = await asyncio.to_thread(programs.run, "tinebook", "rebuild", **settings)
                assert (done.returncode, done.stdout) == (0, "0 states written anew, 0 breaks\n"), done.stderr
            stop.set()
            await recording

    run(work())
