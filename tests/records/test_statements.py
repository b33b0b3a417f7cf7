"""The statements on large tables: through their index, and touching no more than they give."""

from typing import Any

import pytest

from service.store import database
from tests.conftest import run
from tests.store.test_statements import explained, walk

_FILLED = """
    alter table tinebook.entry disable trigger user;
    alter table tinebook.record disable trigger user;
    alter table tinebook.parked disable trigger user;
    insert into tinebook.entry (connector, number, id, kind, performed_at, recorded_at, body, hash)
    select md5((n % 5000)::text)::uuid, n / 5000 + 1, md5('e' || n)::uuid, 'mating', now(), now(),
           convert_to('{"recorded":{"entry":{"work_order":"WO-' || n / 10 || '"}}}', 'UTF8'), sha256('x')
    from generate_series(1, 100000) as n;
    insert into tinebook.parked (id, mark, reason, recorded_at, digest, body)
    select md5('p' || n)::uuid, 'M', 'r', now(), 'x', convert_to('{"entry":{"work_order":"WO-' || n / 10 || '"}}', 'UTF8')
    from generate_series(1, 20000) as n;
    insert into tinebook.work_order (number, version, title, asset, inspection_required, steps, recorded_by, recorded_at)
    select 'WO-' || n, v, 'x', 'TN-' || n % 100, false, '[]', 'x', now() - n * interval '1 minute'
    from generate_series(1, 10000) as n, generate_series(1, 3) as v;
    insert into tinebook.record (number, id, work_order, corrects, approval, canonical, sha256, made_by, made_at)
    select n, md5('r' || n)::uuid, 'WO-' || n / 2, case when n % 2 = 1 and n > 1 then n - 1 end, md5('a' || n)::uuid, 'x',
           sha256('x'), 'x', now()
    from generate_series(1, 20000) as n;
    insert into tinebook.tool (mark, part_number) select 'T-' || n, 'x' from generate_series(1, 20000) as n;
    insert into tinebook.person (badge, name) select 'B-' || n, 'x' from generate_series(1, 20000) as n;
    analyze tinebook.entry; analyze tinebook.parked; analyze tinebook.work_order; analyze tinebook.record;
    analyze tinebook.tool; analyze tinebook.person;
"""
_NUMBERS = [f"WO-{each}" for each in range(100, 125)]
HOT: dict[str, tuple[list[Any], str, int]] = {
    "work_orders": ([_NUMBERS], "work_order_key", 30),
    "work_order_page": ([None, None, 26, None, None], "work_order_first_ones", 120),
    "worked_on": ([_NUMBERS], "entry_by_work_order", 260),
    "waiting_work": ([_NUMBERS], "parked_by_work_order", 260),
    "tools_named": ([["T-7", "T-8"]], "tool_key", 3),
    "people_named": ([["B-7", "B-8"]], "person_key", 3),
    "records_of": ([_NUMBERS], "record_by_work_order", 130),
    "record": ([7777], "record_key", 4),
    "record_page": ([7777, 101, None], "record_key", 320),
    "next_record": ([], "record_key", 2),
}
"""Statement -> arguments, the index it must use, and how many rows it may touch."""


@pytest.mark.parametrize("prepared", [False, True], ids=["for these", "for any"])
def test_hot_statements_use_their_index(dsn: str, *, prepared: bool) -> None:
    """Among 100 000 entries, 10 000 orders and 20 000 records each goes through its index and touches few rows."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute(_FILLED)
            if prepared:
                await connection.execute("set plan_cache_mode = force_generic_plan")
            for name, (arguments, index, most) in HOT.items():
                plan = await explained(connection, name, arguments)
                used, touched = walk(plan["Plan"])
                assert index in used, (name, used)
                assert touched <= most, (name, touched)

    run(work())
