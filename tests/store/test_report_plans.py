"""The fleet's reports read what they show and little more, whatever is filtered by: on 50 000 rows, by their plans."""

import uuid
from typing import Any

import asyncpg
import pytest

from service.core.cycles import Wear
from service.core.entries import HouseRule
from service.store import database, ledger
from service.workflow import discrepancies, fleet
from tests.conftest import run
from tests.store.test_statements import explained, walk

_FILLED = """
    insert into tinebook.connector (connector, serial, part_number, family, registered_at)
    select md5(n::text)::uuid, 'S' || n, 'PN-' || n % 400, 'F-' || n % 8, '2026-01-05Z' from generate_series(1, 50000) as n;
    insert into tinebook.head (connector, entries, hash, definition, state)
    select connector, 0, sha256('x'), 1, '[]' from tinebook.connector;
    insert into tinebook.limit_line (connector, rank, urgency, wear, limiting_cavity, cycles_begun, rating_verified, worn_cavities,
                                     unknown_cavities, asset, zone, "position", family, part_number, bench)
    select md5(n::text)::uuid, n % 4, hashtext('u' || n) & 15, 'nearing', 'A', 1, false, 0, (n % 10 = 0)::integer * 4,
           'TN-' || n / 250, 'Z' || n % 20, 'P' || n % 250, 'F-' || n % 8, 'PN-' || n % 400, 'Bench ' || n % 60
    from generate_series(1, 50000) as n;
    insert into tinebook.worn_cavity (connector, cavity, rank, urgency, retainer_life, cycles_begun, cycles_completed,
                                      rating_verified, asset, zone, "position", family, part_number, bench)
    select connector, 'A', rank, urgency, 1, 1, 1, false, asset, zone, "position", family, part_number, bench
    from tinebook.limit_line;
    insert into tinebook.entry (connector, number, id, kind, cavity, performed_at, recorded_at, body, hash)
    select md5(n::text)::uuid, m, md5(n || '/' || m)::uuid, 'insertion', 'A', timestamptz '2026-01-05Z' + n * interval '1 minute',
           now(), '{}', sha256('x')
    from generate_series(1, 50000) as n, generate_series(1, 4) as m;
    insert into tinebook.open_discrepancy (connector, number, code, cavity, entry, rank, performed_at, recorded_at, bench, asset,
                                           zone, "position", family, part_number)
    select e.connector, e.number, 'over_rating', 'A', e.id, hashtext(e.id::text) & 1, e.performed_at, e.performed_at, l.bench,
           l.asset, l.zone, l."position", l.family, l.part_number
    from tinebook.entry as e
    join tinebook.limit_line as l on l.connector = e.connector
    where e.number = 1;
    insert into tinebook.wear_sum (dimension, parent, name, shard, connectors, within, nearing, spent, over, unknown, discrepancies)
    select d, '', d || n, s, 1, 2, 3, 4, 5, 6, 7
    from unnest(array['asset', 'position', 'part_number']) as d, generate_series(1, 1000) as n, generate_series(0, 3) as s;
    insert into tinebook.wear_sum (dimension, parent, name, shard, connectors, within, nearing, spent, over, unknown, discrepancies)
    select 'zone of asset', 'TN-' || n, 'Z' || z, 0, 1, 2, 3, 4, 5, 6, 7
    from generate_series(1, 1000) as n, generate_series(1, 20) as z;
    insert into tinebook.bench (name, shop) select 'Bench ' || n, 'Shop ' || n % 6 from generate_series(1, 3000) as n;
    analyze;
"""

_NO = None
_MID = uuid.UUID("80000000-0000-4000-8000-000000000000")
PLANS: tuple[tuple[str, list[Any], str, int], ...] = (
    # statement, arguments, the index it must use, rows it may touch
    ("cycle_limits", [_NO, _NO, _NO, 50, *[_NO] * 7], "limit_line_worst_first", 150),
    ("cycle_limits", [1, 3, _MID, 50, *[_NO] * 7], "limit_line_worst_first", 150),
    ("cycle_limits", [_NO, _NO, _NO, 50, [1, 2], *[_NO] * 6], "limit_line_worst_first", 150),
    ("cycle_limits", [_NO, _NO, _NO, 50, _NO, "TN-7", *[_NO] * 5], "limit_line_by_asset", 350),
    ("cycle_limits", [_NO, _NO, _NO, 50, _NO, _NO, "Z7", *[_NO] * 4], "limit_line_by_zone", 150),
    ("cycle_limits", [_NO, _NO, _NO, 50, *[_NO] * 3, "P7", *[_NO] * 3], "limit_line_by_position", 300),
    ("cycle_limits", [_NO, _NO, _NO, 50, *[_NO] * 4, "F-7", *[_NO] * 2], "limit_line_by_family", 150),
    ("cycle_limits", [_NO, _NO, _NO, 50, *[_NO] * 5, "PN-7", _NO], "limit_line_by_part_number", 250),
    ("cycle_limits", [_NO, _NO, _NO, 50, *[_NO] * 6, "Bench 7"], "limit_line_by_bench", 150),
    ("cycle_limits", [_NO, _NO, _NO, 50, [1], "TN-7", *[_NO] * 3, "PN-7", _NO], "limit_line_by_", 350),
    ("worn_cavities", [_NO, _NO, _NO, _NO, 50, *[_NO] * 7], "worn_cavity_worst_first", 150),
    ("worn_cavities", [1, 3, _MID, "A", 50, *[_NO] * 7], "worn_cavity_worst_first", 150),
    ("worn_cavities", [_NO, _NO, _NO, _NO, 50, _NO, "TN-7", *[_NO] * 5], "worn_cavity_by_asset", 350),
    ("worn_cavities", [_NO, _NO, _NO, _NO, 50, _NO, _NO, "Z7", *[_NO] * 4], "worn_cavity_by_zone", 150),
    ("worn_cavities", [_NO, _NO, _NO, _NO, 50, *[_NO] * 3, "P7", *[_NO] * 3], "worn_cavity_by_position", 300),
    ("worn_cavities", [_NO, _NO, _NO, _NO, 50, *[_NO] * 4, "F-7", *[_NO] * 2], "worn_cavity_by_family", 150),
    ("worn_cavities", [_NO, _NO, _NO, _NO, 50, *[_NO] * 5, "PN-7", _NO], "worn_cavity_by_part_number", 250),
    ("worn_cavities", [_NO, _NO, _NO, _NO, 50, *[_NO] * 6, "Bench 7"], "worn_cavity_by_bench", 150),
    ("connectors_with_unknown", [_MID, 20, *[_NO] * 6], "limit_line_unknown", 80),
    ("connectors_with_unknown", [_MID, 20, "TN-7", *[_NO] * 5], "limit_line_by_asset", 400),
    ("wear_groups", ["asset", _NO, _NO, 50, *[_NO] * 4], "wear_sum_key", 4_000),
    ("wear_groups", ["zone of asset", "TN-7", _NO, 50, *[_NO] * 4], "wear_sum_key", 20),
    ("wear_groups", ["fleet", _NO, _NO, 1, *[_NO] * 4], "wear_sum_key", 16),
    ("benches_of", ["Shop 3"], "bench_by_shop", 510),
    ("discrepancy_page", [*[_NO] * 6, 50, *[_NO] * 9], "open_discrepancy_worst_first", 200),
    ("discrepancy_page", [*[_NO] * 6, 50, *[_NO] * 3, "TN-7", *[_NO] * 5], "open_discrepancy_by_asset", 450),
    ("discrepancy_page", [*[_NO] * 6, 50, *[_NO] * 7, "PN-7", _NO], "open_discrepancy_by_part_number", 450),
    ("discrepancy_page", [*[_NO] * 6, 50, *[_NO] * 8, "Bench 7"], "open_discrepancy_by_bench", 250),
    ("neighbours", [[0], [uuid.UUID("8f14e45f-ceea-167a-5a36-dedd4bea2543")], ["A"], ["{at}"], [2]], "entry_key", 20),
    ("doubles", [[uuid.UUID("8f14e45f-ceea-167a-5a36-dedd4bea2543")]], "connector_known_once", 10),
    ("past_page", [_MID, 200, "{at}", _NO, _NO], "connector_key", 210),
    ("unchanged_since", [[uuid.UUID("8f14e45f-ceea-167a-5a36-dedd4bea2543")], "{at}"], "entry_key", 20),
)


def test_report_statements_use_their_index(dsn: str) -> None:
    """Each report goes through the index of its filter and touches no more rows than a page of it needs."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute(_FILLED)
            at = await connection.fetchval("select now()")
            for name, arguments, index, most in PLANS:
                told = [at if each == "{at}" else [at] if each == ["{at}"] else each for each in arguments]
                plan = await explained(connection, name, told)
                used, touched = walk(plan["Plan"])
                assert any(each.startswith(index) for each in used), (name, arguments, used)
                assert touched <= most, (name, arguments, touched)

    run(work())


def test_a_plan_is_made_for_the_filters_that_are_set(dsn: str) -> None:
    """However often a list was read without a filter, the same statement with one goes through that filter's index."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute(_FILLED)
            for _ in range(12):
                await fleet.connectors(connection, fleet.Filters(), None, 50)
            before = await _read(connection)
            lines, _ = await fleet.connectors(
                connection, fleet.Filters(part_number="PN-7", wear=(Wear.UNKNOWN,)), None, 50
            )
            assert {each.part_number for each in lines} <= {"PN-7"}
            assert await _read(connection) - before <= 300

    run(work())


async def _read(connection: asyncpg.Connection) -> int:
    """Rows of the list read so far, by index or not."""
    await connection.execute("select pg_stat_force_next_flush()")
    found: int = await connection.fetchval(
        "select seq_tup_read + coalesce(idx_tup_fetch, 0) from pg_stat_all_tables where relname = 'limit_line'"
        " and schemaname = 'tinebook'"
    )
    return found


@pytest.mark.parametrize("filters", [fleet.Filters(), fleet.Filters(shop="Shop 3"), fleet.Filters(bench="nobody")])
def test_an_empty_book_gives_empty_reports(dsn: str, filters: fleet.Filters) -> None:
    """Where nothing is on the books every report is there and empty."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            known, house, now = ledger.Definitions(), HouseRule(), await connection.fetchval("select now()")
            assert await fleet.connectors(connection, filters, None, 5) == ((), None)
            assert await fleet.cavities(connection, known, house, filters, None, 5) == ((), None)
            assert await fleet.past_connectors(connection, house, filters, now, None, 5) == ((), None)
            report, following = await fleet.wear(connection, "bench", filters, None, 5)
            assert (report.groups, report.total.cavities, following) == ((), 0, None)
            opened, _ = await discrepancies.open_ones(connection, discrepancies.Filters(), None, 5, now)
            assert (opened.discrepancies, opened.open) == ((), 0)

    run(work())
