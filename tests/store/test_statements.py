"""Every named statement holds against the migrated schema, and hot ones use their index."""

import json
import re
import uuid
from typing import Any

import asyncpg
import pytest

from service.store import database, migrate, statements
from service.store.statements import SQL
from tests.conftest import run

_COLUMNS_NEVER = re.compile(r"select\s+\*", re.IGNORECASE)


@pytest.mark.parametrize("name", sorted(SQL))
def test_statement_holds(name: str, dsn: str) -> None:
    """A statement can be prepared as the service's role or the owner's, names its columns, and says what it answers."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            prepared = await connection.prepare(SQL[name])
            names = [each.name for each in prepared.get_attributes()]
            assert len(set(names)) == len(names)
            assert "?column?" not in names

    run(work())
    assert not _COLUMNS_NEVER.search(SQL[name])
    assert SQL[name].startswith("-- "), "a sentence says what it answers"


def test_statement_names_stand_once() -> None:
    """A name that stands twice is an error, not a silent choice."""
    with pytest.raises(ValueError, match="'a' stands twice"):
        statements.read("-- name: a\nselect 1;\n-- name: a\nselect 2;\n")


async def _filled(connection: asyncpg.Connection) -> uuid.UUID:
    """Fifty thousand connectors with lines on the fleet's list and a hundred entries on one of them."""
    await connection.execute("""
        insert into tinebook.connector (connector, serial, registered_at)
        select md5(n::text)::uuid, 'S' || n, now() from generate_series(1, 50000) as n;
        insert into tinebook.mark (key, connector) select serial, connector from tinebook.connector;
        insert into tinebook.head (connector, entries, hash, definition, state)
        select connector, 0, sha256('x'), 1, '[]' from tinebook.connector;
        insert into tinebook.limit_line (connector, rank, urgency, wear, limiting_cavity, cycles_begun, rating_verified,
                                         worn_cavities, asset)
        select connector, hashtext(serial) & 3, hashtext(serial) & 15, 'nearing', 'A', 1, false, 0,
               'TN-' || (hashtext(serial) & 63)
        from tinebook.connector;
        insert into tinebook.entry (connector, number, id, kind, performed_at, recorded_at, body, hash)
        select md5(c::text)::uuid, n, md5(c::text || '/' || n)::uuid, 'mating', now(), now(), '{}', sha256('x')
        from generate_series(1, 200) as c, generate_series(1, 100) as n;
        insert into tinebook.receipt (id, connector, digest) select id, connector, hash from tinebook.entry;
        insert into tinebook.parked (id, mark, reason, recorded_at, digest, body)
        select md5('p' || n)::uuid, 'M', 'r', now() - n * interval '1 minute', 'x', '{}' from generate_series(1, 20000) as n;
        insert into tinebook.parked_mark (key, id) select 'K' || n, md5('p' || n)::uuid from generate_series(1, 20000) as n;
        insert into tinebook.cavity_set (name, cavities, recorded_by, recorded_at)
        select 'L' || n % 2000, '[]', 'x', now() from generate_series(1, 20000) as n;
        insert into tinebook.coordinates (standard, arrangement, points, source, recorded_by, recorded_at)
        select 'MIL-STD-1560', 'L' || n % 2000, '[]', 'x', 'x', now() from generate_series(1, 20000) as n;
        analyze tinebook.cavity_set; analyze tinebook.coordinates;
        analyze tinebook.connector; analyze tinebook.mark; analyze tinebook.head; analyze tinebook.limit_line;
        analyze tinebook.entry; analyze tinebook.receipt; analyze tinebook.parked; analyze tinebook.parked_mark;
    """)
    found: uuid.UUID = await connection.fetchval("select md5('7')::uuid")
    return found


HOT: dict[str, tuple[list[Any], str, int]] = {
    "connectors_by_keys": ([["S7", "S8", "nothing"]], "mark_key", 10),
    "lock_heads": ([["{id}"]], "head_key", 10),
    "heads": ([["{id}"]], "head_key", 10),
    "receipts": ([["{id}"]], "receipt_once", 10),
    "history": (["{id}", ["A"]], "entry_key", 220),
    "entry_page": (["{id}", 0, 50], "entry_key", 120),
    "connector_page": (["S4", "{id}", 50, *[None] * 6], "connector_known_once", 120),
    "same_connectors": ([["S7", "S8", "nothing"], [None] * 3, [None] * 3], "connector_known_once", 10),
    "definition_numbers": ([["{id}"]], "head_key", 10),
    "waiting_keys": ([["K7", "K8", "nothing"]], "parked_mark_key", 10),
    "cavity_sets": ([["L7", "nothing"]], "cavity_set_newest", 10),
    "coordinates": (["MIL-STD-1560", "L7"], "coordinates_newest", 10),
    "parked_for": ([["K7"]], "parked_mark_key", 10),
    "waiting_for": (["{id}", 1000], "mark_by_connector", 20),
    "parked_page": ([None, None, 50], "parked_waiting", 120),
}
"""Statement -> arguments, the index it must use, and how many rows it may touch."""


PAGES: dict[str, tuple[list[str | None], str, int]] = {
    # asset, zone, position, work order -> index, rows touched at most
    "an asset": (["TN-7", None, None, None], "head_by_asset", 250),
    "a zone of an asset": (["TN-7", "410", None, None], "head_by_asset", 20),
    "a place": (["TN-7", "410", "P1", None], "head_by_asset", 10),
    "a zone of the fleet": ([None, "410", "P1", None], "head_by_zone", 150),
    "a position": ([None, None, "P7 of TN-7", None], "head_by_position", 10),
    "a work order": ([None, None, None, "WO-7"], "entry_by_work_order", 150),
    "a work order of an asset": (["TN-7", None, None, "WO-7"], "entry_by_work_order", 150),
}
"""The filters of the page of connectors; each has its way in."""


def test_each_filter_of_the_connectors_has_its_index(dsn: str) -> None:
    """On 50 000 connectors a page for a place or a work order goes through its index and touches no more than it has to."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await _filled(connection)
            await connection.execute(_PLACED)
            for name, (filters, index, most) in PAGES.items():
                plan = await explained(connection, "connector_page", [None, None, 50, None, None, *filters])
                used, touched = walk(plan["Plan"])
                assert index in used, (name, used)
                assert touched <= most, (name, touched)

    run(work())


_PLACED = """
    update tinebook.head as h
    set asset = 'TN-' || n % 512, zone = 400 + n / 512, "position" = 'P' || n % 9
    from generate_series(1, 50000) as n
    where h.connector = md5(n::text)::uuid;
    update tinebook.head as h set "position" = 'P7 of TN-7' where h.connector = md5('7')::uuid;
    insert into tinebook.entry (connector, number, id, kind, performed_at, recorded_at, body, hash)
    select md5(n::text)::uuid, 1000, md5('w' || n)::uuid, 'mating', now(), now(),
           convert_to('{"recorded":{"entry":{"work_order":"WO-' || n / 40 || '"}}}', 'UTF8'), sha256('x')
    from generate_series(1, 20000) as n;
    analyze tinebook.head; analyze tinebook.entry;
"""


def test_hot_statements_use_their_index(dsn: str) -> None:
    """On 50 000 connectors each hot statement goes through its index and touches few rows."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            one = await _filled(connection)
            for name, (arguments, index, most) in HOT.items():
                plan = await explained(connection, name, [_filled_in(each, one) for each in arguments])
                used, touched = walk(plan["Plan"])
                assert index in used, (name, used)
                assert touched <= most, (name, touched)

    run(work())


def _filled_in(argument: Any, one: uuid.UUID) -> Any:
    if isinstance(argument, list):
        return [_filled_in(each, one) for each in argument]
    return one if argument == "{id}" else argument


async def explained(connection: asyncpg.Connection, name: str, arguments: list[Any]) -> dict[str, Any]:
    """The plan of a named statement as it was carried out."""
    transaction = connection.transaction()
    await transaction.start()
    try:
        text = await connection.fetchval(f"explain (analyze, format json, timing off) {SQL[name]}", *arguments)
    finally:
        await transaction.rollback()
    found: dict[str, Any] = json.loads(text)[0]
    return found


def walk(node: dict[str, Any]) -> tuple[set[str], int]:
    """The indexes that a plan goes through, and how many rows it touches."""
    used = {node["Index Name"]} if "Index Name" in node else set()
    touched = (node["Actual Rows"] + node.get("Rows Removed by Filter", 0)) * node["Actual Loops"]
    touched = touched if "Relation Name" in node else 0
    for child in node.get("Plans", ()):
        below, rows = walk(child)
        used, touched = used | below, touched + rows
    return used, int(touched)


def test_migrations_are_numbered_and_run_once(dsn: str) -> None:
    """Migrations are numbered without gaps, a second run does nothing, and an edited or unknown one is refused."""
    assert [each.number for each in migrate.available()] == list(range(1, len(migrate.available()) + 1))

    async def work() -> None:
        async with database.owner(dsn) as connection:
            assert await migrate.migrate(connection) == 0
            await migrate.check(connection)
            await connection.execute("update tinebook.migration set checksum = 'edited'")
            with pytest.raises(migrate.MigrationError, match="was edited"):
                await migrate.check(connection)
            await connection.execute("insert into tinebook.migration (number, name, checksum) values (999, 'x', 'y')")
            await connection.execute("delete from tinebook.migration where number < 999")
            with pytest.raises(migrate.MigrationError, match="0999"):
                await migrate.check(connection)
            await connection.execute("delete from tinebook.migration")
            with pytest.raises(migrate.MigrationError, match="tinebook migrate"):
                await migrate.check(connection)

    run(work())


def test_schema_dump_is_current(dsn: str) -> None:
    """The schema that readers see in schema.sql is the one that the migrations make."""
    from tests.store import schema  # noqa: PLC0415 - runs pg_dump

    kept = schema.KEPT.read_text()
    assert schema.dump(dsn) == kept, "run: python -m tests.store.schema"
