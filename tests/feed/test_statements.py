"""The feed's statements on a large feed: through their index, and touching no more than they give."""

from typing import Any

from service.store import database
from tests.conftest import run
from tests.store.test_statements import explained, walk

_FILLED = """
    alter table tinebook.entry disable trigger user;
    insert into tinebook.feed (position, id, topic, connector, number, recorded_at)
    select n, md5('f' || n)::uuid, case when n % 1000 = 0 then 'entry.renewal' else 'entry.mating' end,
           md5((n % 500)::text)::uuid, n / 500 + 1, now()
    from generate_series(1, 100000) as n;
    insert into tinebook.entry (connector, number, id, kind, performed_at, recorded_at, body, hash)
    select f.connector, f.number, f.id, 'mating', now(), now(), '{}', sha256('x') from tinebook.feed as f;
    insert into tinebook.connector (connector, serial, registered_at)
    select md5(n::text)::uuid, 'S' || n, now() from generate_series(0, 49999) as n;
    insert into tinebook.feed_arrival (id, topic, recorded_at) select md5('a' || n)::uuid, 'x', now()
    from generate_series(1, 20000) as n;
    insert into tinebook.webhook (webhook, url, types, state, position, due_at, created_at, created_by)
    select md5('w' || n)::uuid, 'https://records.example/' || n, '{}', 'active', 0, now(), now(), 'x'
    from generate_series(1, 30) as n;
    insert into tinebook.delivery (webhook, event, type, attempt, at, took_ms, outcome, detail)
    select md5('w' || n % 30 + 1)::uuid, md5('d' || n)::uuid, 'x', 1, now() - n * interval '1 minute', 1, 'delivered', 'x'
    from generate_series(1, 50000) as n;
    analyze tinebook.feed; analyze tinebook.entry; analyze tinebook.connector; analyze tinebook.feed_arrival;
    analyze tinebook.delivery; analyze tinebook.webhook;
"""
_AFTER, _UNTIL = 70_000, 90_000
HOT: dict[str, tuple[list[Any], str, int]] = {
    "feed_page": ([_AFTER, _UNTIL, None, None, 100], "feed_key", 400),
    "feed_end": ([], "feed_key", 2),
    "feed_id_at": ([_AFTER], "feed_key", 2),
    "any_arrivals": ([], "", 2),
    "number_arrivals": ([100], "feed_arrival_key", 700),
    "deliveries": (["{webhook}", None, 100], "delivery_key", 110),
    "webhooks_due": (["{now}"], "", 40),
    "drop_deliveries": (["{long ago}"], "delivery_by_time", 2),
}
"""Statement -> arguments, the index it must use, and how many rows it may touch."""


def test_hot_statements_use_their_index(dsn: str) -> None:
    """On a feed of 100 000 each hot statement goes through its index and touches few rows."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute(_FILLED)
            known = {
                "{webhook}": await connection.fetchval("select md5('w7')::uuid"),
                "{now}": await connection.fetchval("select now()"),
                "{long ago}": await connection.fetchval("select now() - interval '1000 days'"),
            }
            for name, (arguments, index, most) in HOT.items():
                filled = [known.get(each, each) if isinstance(each, str) else each for each in arguments]
                plan = await explained(connection, name, filled)
                used, touched = walk(plan["Plan"])
                assert not index or index in used, (name, used)
                assert touched <= most, (name, touched)
            rare = ["entry.renewal"]
            plan = await explained(connection, "feed_page", [_AFTER, _UNTIL, rare, None, 100])
            assert walk(plan["Plan"])[1] <= _UNTIL - _AFTER + 100, "a rare type costs one window at most"

    run(work())
