"""A database that holds data is brought up to date with it."""

import uuid
from collections.abc import Iterator

import asyncpg
import pytest

from service.core import states
from service.core.states import ConnectorState, WholeState
from service.store import database, migrate
from tests import databases
from tests.conftest import run


@pytest.fixture
def empty(maintenance: str) -> Iterator[str]:
    """A database without a schema."""
    name = f"tinebook_test_{uuid.uuid4().hex[:8]}"
    run(database.ensure_database(maintenance, name))
    yield databases.named(maintenance, name)
    run(databases.drop(maintenance, databases.named(maintenance, name)))


async def _before_places(connection: asyncpg.Connection, heads: dict[str, bytes]) -> None:
    """The schema as it was before places stood in columns, with these states."""
    with pytest.MonkeyPatch.context() as patch:
        first = migrate.available()[:2]
        patch.setattr(migrate, "available", lambda: first)
        await migrate.migrate(connection)
    for serial, state in heads.items():
        connector = uuid.uuid4()
        insert = "insert into tinebook.connector (connector, serial, registered_at) values ($1, $2, now())"
        await connection.execute(insert, connector, serial)
        insert = "insert into tinebook.head (connector, entries, hash, definition, state) values ($1, 0, '', 1, $2)"
        await connection.execute(insert, connector, state)
    await connection.execute("insert into tinebook.tool (mark, part_number) values ('T-1', 'M81969/14-02')")


def _state(asset: str | None, zone: str | None, position: str | None) -> bytes:
    return states.encode(ConnectorState(whole=WholeState(asset=asset, zone=zone, position=position), cavities=()))


def test_places_are_taken_from_the_states_that_are_there(empty: str) -> None:
    """Each connector is found by the place in its state; one whose state can't be read waits for `tinebook rebuild`."""
    heads = {
        "EX-1": _state("TN-01", "410", 'P "1" ä'),
        "EX-2": _state(None, None, None),
        "EX-3": _state(None, "420", None),
        "EX-4": b"{broken",
        "EX-5": b"\xff",
    }
    wanted = dict.fromkeys(heads, (None, None, None)) | {
        "EX-1": ("TN-01", "410", 'P "1" ä'),
        "EX-3": (None, "420", None),
    }

    async def work() -> None:
        async with database.owner(empty) as connection:
            await _before_places(connection, heads)
            assert await migrate.migrate(connection) == len(migrate.available()) - 2
            rows = await connection.fetch(
                'select serial, asset, zone, "position", state from tinebook.head join tinebook.connector using (connector)'
            )
            assert {row["serial"]: (row["asset"], row["zone"], row["position"]) for row in rows} == wanted
            assert {row["serial"]: row["state"] for row in rows} == heads
            assert await connection.fetchval("select due_on from tinebook.tool") is None
            left = "select count(*) from pg_proc where pronamespace = 'tinebook'::regnamespace and proname = 'placed'"
            assert await connection.fetchval(left) == 0

    run(work())
