"""The statements of what is kept in step, on a large fleet's books: through their index, touching no more than they give."""

from typing import Any

from service.store import database
from tests.conftest import run
from tests.store.test_statements import explained, walk

_FILLED = """
    alter table tinebook.place disable trigger user; alter table tinebook.asset disable trigger user;
    insert into tinebook.place (asset, zone, "position", part_number, present, recorded_by, recorded_at)
    select 'TN-' || n % 100, n % 7, 'P' || n / 100, 'X', true, 'x', now()
    from generate_series(1, 100000) as n, generate_series(1, 2);
    insert into tinebook.asset (asset, type, recorded_by, recorded_at)
    select 'TN-' || n % 100, 'T' || n % 5, 'x', now() from generate_series(1, 1000) as n;
    insert into tinebook.connector (connector, serial, registered_at)
    select md5(n::text)::uuid, 'S' || n, now() from generate_series(1, 20000) as n;
    insert into tinebook.head (connector, entries, hash, definition, state, asset, zone, "position")
    select md5(n::text)::uuid, 0, sha256('x'), 1, '[]', 'TN-' || n % 100, n % 7, 'P' || n / 100
    from generate_series(1, 20000) as n;
    insert into tinebook.tool (mark, part_number) select 'T' || n, 'X' from generate_series(1, 20000) as n;
    insert into tinebook.answer (client, key, fingerprint, status, media_type, body, answered_at)
    select 'c', n::text, sha256('x'), 200, 'x', 'x', now() - n * interval '1 minute' from generate_series(1, 10000) as n;
    analyze tinebook.place; analyze tinebook.asset; analyze tinebook.connector; analyze tinebook.head; analyze tinebook.tool;
    analyze tinebook.answer;
"""
HOT: dict[str, tuple[list[Any], str, int]] = {
    "places_that_hold": ([["TN-7", "TN-8"], ["0", "1"], ["P7", "nothing"]], "place_key", 10),
    "assets_that_hold": ([["TN-7", "nothing"]], "asset_key", 10),
    "tools_that_hold": ([["T7", "nothing"]], "tool_key", 10),
    "place_page": ([None, None, None, None, None, 50], "place_key", 600),
    "answer_under": (["c", "7"], "answer_key", 2),
    "drop_answers": (["{long ago}"], "answer_by_time", 2),
}
"""Statement -> arguments, the index it must use, and how many rows it may touch."""
FURTHER: dict[str, tuple[list[Any], int]] = {
    "the next page": (["TN-7", "3", "P21", None, None, 50], 600),
    "an asset": ([None, None, None, "TN-7", None, 50], 4_000),
    "a zone of an asset": ([None, None, None, "TN-7", "4", 50], 1_000),
}
"""Other pages of positions: at worst all of the one asset is looked at."""


def test_hot_statements_use_their_index(dsn: str) -> None:
    """With 100 000 places each hot statement goes through its index and touches few rows."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute(_FILLED)
            long_ago = await connection.fetchval("select now() - interval '1000 days'")
            for name, (arguments, index, most) in HOT.items():
                plan = await explained(
                    connection, name, [long_ago if each == "{long ago}" else each for each in arguments]
                )
                used, touched = walk(plan["Plan"])
                assert index in used, (name, used)
                assert touched <= most, (name, touched)
            for name, (asked, most) in FURTHER.items():
                used, touched = walk((await explained(connection, "place_page", asked))["Plan"])
                assert {"place_key", "head_by_asset"} <= used, (name, used)
                assert touched <= most, (name, touched)

    run(work())
