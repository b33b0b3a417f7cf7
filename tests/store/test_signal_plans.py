"""The signals read the stretch of time that is asked about and little more of the ledger: on 100 000 entries, by their plans."""

from datetime import UTC, datetime, timedelta
from typing import Any, get_args

from service import signal_messages as messages
from service.store import database
from service.workflow import signals
from tests.conftest import run
from tests.store.test_statements import explained, walk

UNTIL = datetime(2026, 11, 25, tzinfo=UTC)
SINCE = UNTIL - timedelta(days=60)

_FILLED = """
    insert into tinebook.connector (connector, serial, part_number, family, registered_at)
    select md5(n::text)::uuid, 'S' || n, 'PN-' || n % 40, 'F-' || n % 4, '2016-01-05Z' from generate_series(1, 5000) as n;
    insert into tinebook.definition (connector, number, recorded_at, body, hash)
    select connector, 1, registered_at,
           convert_to('{"definition":{"cavities":[{"contact_size":"20","id":"A"},{"contact_size":"22D","id":"B"}]}}', 'UTF8'),
           sha256('x')
    from tinebook.connector;
    insert into tinebook.head (connector, entries, hash, definition, state, asset, zone, "position")
    select md5(n::text)::uuid, 20, sha256('x'), 1, '[]', 'TN-' || n / 50, 'Z1', 'P' || n % 50 from generate_series(1, 5000) as n;
    insert into tinebook.entry (connector, number, id, kind, cavity, performed_at, recorded_at, body, hash)
    select md5((n / 5 % 5000 + 1)::text)::uuid, n / 25000 * 5 + n % 5 + 1, md5('e' || n)::uuid, k.kind,
           case when k.kind in ('placement', 'correction') then null else 'A' end, k.at, k.at,
           convert_to('{"connector":"x","number":1,"recorded":{"entry":{' || case k.kind
               when 'seating_test' then '"bench":"Bench 1","force_n":66.5,"held":' || (n % 700 > 5)
               when 'placement' then '"asset":"TN-1","position":"P1","zone":"Z1"'
               when 'correction' then '"corrects":"' || md5('e' || n - 1)::uuid || '","note":"why"'
               else '"contact":"C-1","performed_by":"badge","tool":"LT-' || n % 7 || '","work_order":"WO-' || n / 5 || '"' end
               || '}}}', 'UTF8'), sha256('x')
    from generate_series(0, 99999) as n
    cross join lateral (
        select (array['removal', 'insertion', 'seating_test', 'mating',
                      case n % 3000 when 4 then 'correction' when 9 then 'placement' else 'unmating' end])[n % 5 + 1] as kind,
               timestamptz '2016-12-01Z' + n * interval '3650 days' / 100000 as at
    ) as k
    order by n;
    analyze;
"""
_NO: list[Any] = [None] * 5
PLANS: dict[str, list[Any]] = {
    "signal_seatings": ["tool", *_NO],
    "signal_reworked": [*_NO, 3],
    "signal_exposed": _NO,
    "signal_places": [*_NO, 3, 7],
    "signal_readings": [*_NO, 2000],
}
"""Statement -> arguments after the stretch of time."""
MOST = 10_000
"""Entries that one may touch: 1 640 lie in 60 of the 3 650 days, and the summary by time tells stretches of 128 pages apart."""


def _entries(node: dict[str, Any]) -> int:
    """Entries that were read, those that were thrown away again included."""
    fields = ("Actual Rows", "Rows Removed by Filter", "Rows Removed by Index Recheck")
    own = (
        sum(node.get(each, 0) for each in fields) * node["Actual Loops"] if node.get("Relation Name") == "entry" else 0
    )
    return int(own) + sum(_entries(each) for each in node.get("Plans", ()))


def test_signals_read_the_stretch_of_time(dsn: str) -> None:
    """Each question finds its entries through the summary by time and what turns them through its index."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute(_FILLED)
            # What the server does by itself, some time after a stretch of the table is full.
            await connection.execute("select brin_summarize_new_values('tinebook.entry_by_time')")
            for name, arguments in PLANS.items():
                plan = await explained(connection, name, [SINCE, UNTIL, *arguments])
                used, _ = walk(plan["Plan"])
                if name != "signal_exposed":
                    assert "entry_by_time" in used, (name, used)
                assert "entry_turning" in used, (name, used)
                assert _entries(plan["Plan"]) <= MOST, (name, _entries(plan["Plan"]))

    run(work())


def test_every_question_is_answered_on_empty_books(dsn: str) -> None:
    """Where nothing is on the books nothing stands out, and it is said so."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            for about in get_args(messages.About):
                report, following = await signals.report(connection, about, signals.Filters(), UNTIL, None, 5)
                assert (report.units, report.shown, report.signals, following) == (0, 0, (), None)
                assert report.says.startswith("Nothing stands out, and there is nothing to compare.")

    run(work())
