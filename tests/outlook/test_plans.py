"""The statements of the outlook use their index, and touch few rows, on fifty thousand connectors."""

from typing import Any

from service.store import database
from tests.conftest import run
from tests.store.test_statements import explained, walk

_FILL = """
    insert into tinebook.connector (connector, serial, part_number, family, registered_at)
    select md5(n::text)::uuid, 'S' || n, 'P' || n % 400, 'F' || n % 5, now() from generate_series(1, 50000) as n;
    insert into tinebook.head (connector, entries, hash, definition, state, asset, zone, "position")
    select md5(n::text)::uuid, 0, sha256('x'), 1, '[]', 'TN-' || n % 500, 400 + n % 8, 'P ' || n
    from generate_series(1, 50000) as n;
    insert into tinebook.outlook_run (run, as_of, computed_at, computed_by, body)
    select n, now(), now(), 'x', '{}' from generate_series(1, 3000) as n;
    insert into tinebook.outlook_line (connector, run, number, entries, band, due, probability, rating_verified, events, units)
    select md5(n::text)::uuid, r, 0, 0, case n % 20 when 0 then 1 when 1 then 2 else 0 end, false,
           (select array_agg((abs(hashint4(n)) % 1000) * (abs(hashint4(n)) % 1000) * h / 16e6) from generate_series(1, 16) as h),
           false, 0, 0
    from generate_series(1, 50000) as n, generate_series(1, 2) as r;
    insert into tinebook.outlook_group (run, number, body) select 2, n, '{}' from generate_series(1, 3000) as n;
    insert into tinebook.outlook_part (run, number, part_number, family, body)
    select r, n, 'P' || n, 'F' || n % 5, '{}' from generate_series(1, 5000) as n, generate_series(1, 2) as r;
    insert into tinebook.asset_usage (asset, day, flight_hours, recorded_by, recorded_at)
    select 'TN-' || a, date '2024-01-01' + d, 8, 'x', now() from generate_series(1, 500) as a, generate_series(0, 99) as d;
    insert into tinebook.visit (asset, name, starts_on, recorded_by, recorded_at)
    select 'TN-' || a, 'A ' || v, date '2027-01-01' + v, 'x', now() from generate_series(1, 500) as a, generate_series(1, 40) as v;
    analyze;
"""

_NOBODY = "00000000-0000-0000-0000-000000000000"
HOT: dict[str, tuple[str, list[Any], str, int]] = {
    # what -> statement, arguments, the index it must use, how many rows it may touch
    "within a month": ("outlook_within", [2, 1, 0, 0.01, None, None, 51, *[None] * 5], "outlook_line_within_1", 400),
    "within a year": ("outlook_within", [2, 12, 0, 0.05, None, None, 51, *[None] * 5], "outlook_line_within_12", 400),
    "a page further on": (
        "outlook_within",
        [2, 16, 0, 0.01, 0.5, _NOBODY, 51, *[None] * 5],
        "outlook_line_within_24",
        400,
    ),
    "on an asset": ("outlook_within", [2, 12, 0, 0.01, None, None, 51, "TN-7", *[None] * 4], "head_by_asset", 700),
    "not known": ("outlook_not_known", [2, None, 51, *[None] * 5], "outlook_line_not_known", 800),
    "of an asset": ("outlook_of_asset", [2, "TN-7", *[None] * 4], "head_by_asset", 400),
    "parts": ("outlook_parts", [2, 100, 51, None, None], "outlook_part_key", 60),
    "groups": ("outlook_groups", [2, [1, 2]], "outlook_group_key", 10),
    "the newest run": ("newest_outlook_run", [], "outlook_run_key", 3),
    "usage page": ("usage_page", ["TN-7", None, None, 51], "asset_usage_key", 120),
    "usage held": ("usage_that_holds", [["TN-7", "TN-8"], [None, None]], "asset_usage_key", 10),
    "visits held": ("visits_that_hold", [["TN-7"], ["A 3"]], "visit_key", 10),
    "visits of an asset": ("visit_list", ["TN-7", None], "visit_key", 50),
    "on a position": ("connectors_meant", [None, None, None, "P 7", None, None, 100], "head_by_position", 10),
}


def test_statements_of_the_outlook_use_their_index(dsn: str) -> None:
    """Each goes through its index and touches no more rows than a page has."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute(_FILL)
            for what, (statement, arguments, index, most) in HOT.items():
                plan = await explained(connection, statement, arguments)
                used, touched = walk(plan["Plan"])
                assert index in used, (what, used)
                assert touched <= most, (what, touched)

    run(work())
