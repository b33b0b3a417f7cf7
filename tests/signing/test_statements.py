"""The statements of signing on a large ledger: through their index, and touching no more than they give."""

import json
from typing import Any

from service.store import database
from tests.conftest import run
from tests.store.test_statements import explained, walk

_FILLED = """
    alter table tinebook.entry disable trigger user;
    alter table tinebook.signature disable trigger user;
    alter table tinebook.person_authority disable trigger user;
    insert into tinebook.connector (connector, serial, registered_at)
    select md5(n::text)::uuid, 'S' || n, now() from generate_series(0, 4999) as n;
    insert into tinebook.entry (connector, number, id, kind, performed_at, recorded_at, body, hash)
    select md5((n % 5000)::text)::uuid, n, md5('e' || n)::uuid, 'insertion', now(), now(),
           convert_to('{"recorded":{"entry":{"performed_by":"B-' || n % 100 || '","work_order":"WO-' || n / 20 || '"}}}', 'UTF8'),
           sha256('x')
    from generate_series(1, 100000) as n;
    insert into tinebook.receipt (id, connector, digest) select e.id, e.connector, e.hash from tinebook.entry as e;
    insert into tinebook.person (badge, name) select 'B-' || n, 'Name ' || n from generate_series(1, 2000) as n;
    insert into tinebook.person_authority (badge, what, scope, from_on, recorded_by, recorded_at)
    select p.badge, w.what, 'all', '2020-01-01', 'x', now()
    from tinebook.person as p, unnest(array['performs', 'inspects', 'approves']) as w (what);
    insert into tinebook.person_certificate (badge, certificate_number, certificate_kind, from_on, recorded_by, recorded_at)
    select p.badge, 'EX-' || p.badge, 'repairman', '2020-01-01', 'x', now() from tinebook.person as p;
    insert into tinebook.person_identity (badge, issuer, subject, recorded_by, recorded_at)
    select p.badge, 'https://id.example', p.badge, 'x', now() from tinebook.person as p;
    insert into tinebook.signature (id, subject, reference, meaning, outcome, badge, name, method, canonical, sha256, seal,
                                    signed_at)
    select md5('s' || n)::uuid, 'work_order', 'WO-' || n / 3, 'performed', 'accepted', 'B-' || n % 2000 + 1, 'x', 'secret', '{}',
           sha256('{}'), sha256('x'), now()
    from generate_series(1, 50000) as n;
    analyze tinebook.connector; analyze tinebook.entry; analyze tinebook.receipt; analyze tinebook.person;
    analyze tinebook.person_authority; analyze tinebook.person_certificate; analyze tinebook.person_identity;
    analyze tinebook.signature;
"""
HOT: dict[str, tuple[list[Any], str, int]] = {
    "signatures": (["work_order", "WO-77"], "signature_by_subject", 6),
    "signature_subject": (["{signature}"], "signature_key", 2),
    "signatures_of_person": (["B-77", 20], "signature_by_badge", 40),
    "certificates": ([["B-77"], None], "person_certificate_newest", 4),
    "authorities": ([["B-77"]], "person_authority_by_badge", 10),
    "identities": ([["B-77"]], "person_identity_newest", 4),
    "badge_of_identity": (["https://id.example", "B-77"], "person_identity_is_of_one_person", 6),
    "people_page": (["B-5", 50, None, None], "person_key", 400),
}
"""Statement -> arguments, the index it must use, and how many rows it may touch."""
MOST_BLOCKS = 2_000
"""Blocks that the work of an order may take to find: a look through the whole ledger takes many times that."""


def test_hot_statements_use_their_index(dsn: str) -> None:
    """On 100 000 entries and 50 000 signatures each goes through its index; the work of an order is found without a look at all."""

    async def work() -> None:
        async with database.owner(dsn) as connection:
            await connection.execute(_FILLED)
            signature = await connection.fetchval("select md5('s7')::uuid")
            for name, (arguments, index, most) in HOT.items():
                filled = [signature if each == "{signature}" else each for each in arguments]
                plan = await explained(connection, name, filled)
                used, touched = walk(plan["Plan"])
                assert index in used, (name, used)
                assert touched <= most, (name, touched)
            text = "explain (analyze, buffers, format json) select count(*) from tinebook.signed_work('work_order', 'WO-77')"
            assert await connection.fetchval("select count(*) from tinebook.signed_work('work_order', 'WO-77')") == 20
            whole = await connection.fetchval("select pg_relation_size('tinebook.entry') / 8192")
            assert whole > MOST_BLOCKS, "else the figure says nothing"
            (plan,) = json.loads(await connection.fetchval(text))
            assert plan["Plan"]["Shared Hit Blocks"] + plan["Plan"]["Shared Read Blocks"] < MOST_BLOCKS

    run(work())
