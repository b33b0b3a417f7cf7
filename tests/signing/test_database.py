"""The database holds to the rules of signing by itself: each is tried past the service, as the service's own role.

Sources: 14 CFR 121.371(c); EASA 145.A.48 with its AMC for the exception; the rest from the shop's contract, no source.
"""

import asyncio
from collections.abc import Awaitable, Callable
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

import asyncpg
import pytest

from service.core.entries import Kind
from service.core.signing import rules
from service.core.signing.authority import What
from service.core.signing.rules import Rule
from service.store import database
from service.workflow import signing
from tests.conftest import run
from tests.signing import shop
from tests.signing.shop import APPROVER, INSPECTOR, NOW, ORDER, OTHER, WORKER, Shop

_INSERT = """
    insert into tinebook.signature (id, subject, reference, meaning, outcome, remark, badge, name, certificate_number,
        certificate_kind, method, exception_reason, canonical, sha256, seal, signed_at)
    values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, 'secret', $11, $12, coalesce($13, sha256($12)), sha256('seal'), $14)
"""


async def put(shop: Shop, meaning: str, badge: str, at: datetime = NOW, **changes: Any) -> None:
    """A signature past the service, otherwise as it would be."""
    told: dict[str, Any] = {
        "id": uuid4(),
        "subject": "work_order",
        "reference": ORDER,
        "meaning": meaning,
        "outcome": "accepted",
        "remark": None,
        "badge": badge,
        "name": f"Name of {badge}",
        "certificate_number": f"EX-{badge}",
        "certificate_kind": "repairman",
        "exception_reason": None,
        "canonical": b"{}",
        "sha256": None,
        "at": at,
    } | changes
    await shop.service.execute(_INSERT, *told.values())


async def own_work(shop: Shop) -> None:
    """The worker inspects."""
    await shop.person(WORKER, What.INSPECTS)
    await put(shop, "inspected", WORKER)


async def own_work_in_other_letters(shop: Shop) -> None:
    """A badge that the entry writes another way."""
    await shop.work(by=" b-7 ", cavity="A", kind=Kind.REMOVAL)
    await put(shop, "inspected", INSPECTOR)


async def own_work_in_error(shop: Shop) -> None:
    """The step was entered in error, and still is the inspector's."""
    entry = await shop.work(by=INSPECTOR, cavity="A")
    await shop.work(Kind.CORRECTION, by=OTHER, corrects=entry, note="wrong cavity", order=None)
    await put(shop, "inspected", INSPECTOR)


async def own_work_on_entries(shop: Shop) -> None:
    """The same where entries are named instead of a work order."""
    entry = await shop.work(by=INSPECTOR, cavity="A", order=None)
    await put(shop, "inspected", INSPECTOR, subject="entries", reference=str(entry))


async def signed_as_performed(shop: Shop) -> None:
    """Whoever signed that it was done did not stand beside it."""
    await shop.person(INSPECTOR, What.PERFORMS)
    await put(shop, "performed", INSPECTOR)
    await put(shop, "inspected", INSPECTOR)


async def exception_while_off(shop: Shop) -> None:
    """The exception is off by default."""
    await shop.person(WORKER, What.INSPECTS)
    await put(shop, "inspected", WORKER, exception_reason="alone on the line")


async def exception_switched_off_again(shop: Shop) -> None:
    """The last word on the switch holds."""
    await shop.allow(allowed=True)
    await shop.allow(allowed=False)
    await exception_while_off(shop)


async def exception_without_need(shop: Shop) -> None:
    """Whoever did none of the work needs none."""
    await shop.allow(allowed=True)
    await put(shop, "inspected", INSPECTOR, exception_reason="alone on the line")


async def exception_without_reason(shop: Shop) -> None:
    """It has a reason."""
    await shop.allow(allowed=True)
    await shop.person(WORKER, What.INSPECTS)
    await put(shop, "inspected", WORKER, exception_reason="")


async def exception_of_another_kind(shop: Shop) -> None:
    """It is one of inspections only."""
    await put(shop, "performed", WORKER, exception_reason="alone on the line")


async def before_the_work(shop: Shop) -> None:
    """A step was done after the time of the signature."""
    await put(shop, "inspected", INSPECTOR, NOW - timedelta(hours=3))


async def without_work(shop: Shop) -> None:
    """Nothing is recorded under the reference."""
    await put(shop, "inspected", INSPECTOR, reference="WO-2")


async def without_authority(shop: Shop) -> None:
    """A performer approves."""
    await put(shop, "approved", WORKER)


async def before_authority_begins(shop: Shop) -> None:
    """It begins tomorrow."""
    await shop.person("B-5", What.INSPECTS, from_on=date(2026, 11, 26))
    await put(shop, "inspected", "B-5")


async def after_authority_ended(shop: Shop) -> None:
    """It ended yesterday."""
    await shop.person("B-5", What.INSPECTS, until_on=date(2026, 11, 24))
    await put(shop, "inspected", "B-5")


async def outside_the_scope(shop: Shop) -> None:
    """It is for another family."""
    await shop.person("B-5", What.INSPECTS, scope="family:other")
    await put(shop, "inspected", "B-5")


async def outside_the_shop(shop: Shop) -> None:
    """It is for a shop in which only one of two steps was done."""
    await shop.owner.execute("insert into tinebook.bench (name, shop) values ('Bench 1', 'Shop 1')")
    await shop.work(kind=Kind.REMOVAL, cavity="A", bench="Bench 1")
    await shop.person("B-5", What.INSPECTS, scope="shop:Shop 1")
    await put(shop, "inspected", "B-5")


async def after_withdrawal(shop: Shop) -> None:
    """It was taken back."""
    await shop.withdraw(INSPECTOR)
    await put(shop, "inspected", INSPECTOR)


async def dated_before_withdrawal(shop: Shop) -> None:
    """It was taken back, and the signature is dated before that."""
    await shop.withdraw(INSPECTOR)
    await put(shop, "inspected", INSPECTOR, NOW - timedelta(hours=1))


async def refused_then_inspected(shop: Shop) -> None:
    """No rework lies between."""
    await put(shop, "inspected", INSPECTOR, outcome="refused", remark="bent")
    await put(shop, "inspected", INSPECTOR, NOW + timedelta(hours=1))


async def refused_then_approved(shop: Shop) -> None:
    """Rework lies between, and no inspection of it."""
    await put(shop, "inspected", INSPECTOR, outcome="refused", remark="bent")
    await shop.work(kind=Kind.REMOVAL, cavity="A", at=NOW + timedelta(hours=1))
    await put(shop, "approved", APPROVER, NOW + timedelta(hours=2))


async def refused_then_rework_in_error(shop: Shop) -> None:
    """What lies between was entered in error, so it is no rework."""
    await put(shop, "inspected", INSPECTOR, outcome="refused", remark="bent")
    entry = await shop.work(kind=Kind.REMOVAL, cavity="A", at=NOW + timedelta(hours=1))
    await shop.work(Kind.CORRECTION, corrects=entry, note="not done", at=NOW + timedelta(hours=2))
    await put(shop, "inspected", INSPECTOR, NOW + timedelta(hours=3))


async def refused_without_words(shop: Shop) -> None:
    """A refusal says what was found."""
    await put(shop, "inspected", INSPECTOR, outcome="refused")


async def performance_refused(shop: Shop) -> None:
    """Only an inspection refuses."""
    await put(shop, "performed", WORKER, outcome="refused", remark="bent")


async def out_of_order(shop: Shop) -> None:
    """Dated before the one that is there."""
    await put(shop, "performed", WORKER)
    await put(shop, "inspected", INSPECTOR, NOW - timedelta(minutes=1))


async def another_name(shop: Shop) -> None:
    """Under the name of somebody else."""
    await put(shop, "inspected", INSPECTOR, name="Somebody Else")


async def another_certificate(shop: Shop) -> None:
    """With a certificate that is not the signer's."""
    await put(shop, "inspected", INSPECTOR, certificate_number="EX-B-9")


async def no_certificate(shop: Shop) -> None:
    """Without the certificate that the signer has."""
    await put(shop, "inspected", INSPECTOR, certificate_number=None, certificate_kind=None)


async def another_content(shop: Shop) -> None:
    """With a hash of something else."""
    await put(shop, "inspected", INSPECTOR, sha256=b"x" * 32)


async def a_record_inspected(shop: Shop) -> None:
    """A record is no work."""
    await put(shop, "inspected", INSPECTOR, subject="record", reference="1")


REFUSED: dict[Callable[[Shop], Awaitable[None]], str] = {
    own_work: Rule.NO_PERFORMER,
    own_work_in_other_letters: Rule.NO_PERFORMER,
    own_work_in_error: Rule.NO_PERFORMER,
    own_work_on_entries: Rule.NO_PERFORMER,
    signed_as_performed: Rule.NO_PERFORMER,
    exception_while_off: Rule.EXCEPTION_ALLOWED,
    exception_switched_off_again: Rule.EXCEPTION_ALLOWED,
    exception_without_need: Rule.EXCEPTION_NEEDED,
    exception_without_reason: "exception_is_of_an_inspection",
    exception_of_another_kind: "exception_is_of_an_inspection",
    before_the_work: Rule.NOT_BEFORE,
    without_work: Rule.SOME_WORK,
    without_authority: Rule.AUTHORITY,
    before_authority_begins: Rule.AUTHORITY,
    after_authority_ended: Rule.AUTHORITY,
    outside_the_scope: Rule.AUTHORITY,
    outside_the_shop: Rule.AUTHORITY,
    after_withdrawal: Rule.AUTHORITY,
    dated_before_withdrawal: Rule.AUTHORITY,
    refused_then_inspected: Rule.REWORK_FIRST,
    refused_then_approved: Rule.REWORK_FIRST,
    refused_then_rework_in_error: Rule.REWORK_FIRST,
    refused_without_words: "refusal_is_of_an_inspection",
    performance_refused: "refusal_is_of_an_inspection",
    out_of_order: Rule.IN_ORDER,
    another_name: Rule.AS_OF_THEN,
    another_certificate: Rule.AS_OF_THEN,
    no_certificate: Rule.AS_OF_THEN,
    another_content: "signature_of_what_was_shown",
    a_record_inspected: "inspection_is_of_work",
}


@pytest.mark.parametrize("attempt", REFUSED, ids=lambda each: each.__name__)
def test_the_database_refuses(dsn: str, attempt: Callable[[Shop], Awaitable[None]]) -> None:
    """Whatever writes the row, the database names the rule that it breaks and keeps nothing of it."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            with pytest.raises(asyncpg.CheckViolationError) as refused:
                await attempt(opened)
            assert refused.value.constraint_name == REFUSED[attempt]

    run(work())


def test_every_rule_is_tried() -> None:
    """No rule is without an attempt that breaks it."""
    assert set(Rule) <= set(REFUSED.values())


async def by_somebody_else(shop: Shop) -> None:
    """An inspector who did none of it."""
    await put(shop, "inspected", INSPECTOR)


async def own_words(shop: Shop) -> None:
    """Whoever has only recorded a finding or an acceptance is no performer."""
    entry = await shop.work(by=INSPECTOR, kind=Kind.FINDING, cavity="A", note="scratched")
    await shop.work(by=INSPECTOR, kind=Kind.ACCEPTANCE, refers_to=entry, accepted=True)
    await put(shop, "inspected", INSPECTOR)


async def as_an_exception(shop: Shop) -> None:
    """The same person, reasoned, where it is allowed."""
    await shop.allow(allowed=True)
    await shop.person(WORKER, What.INSPECTS)
    await put(shop, "inspected", WORKER, exception_reason="alone on the line, called away at noon")


async def after_rework(shop: Shop) -> None:
    """Refused, reworked, inspected anew, approved."""
    await put(shop, "inspected", INSPECTOR, outcome="refused", remark="bent")
    await shop.work(kind=Kind.REMOVAL, cavity="A", at=NOW + timedelta(hours=1))
    await put(shop, "inspected", INSPECTOR, NOW + timedelta(hours=2))
    await put(shop, "approved", APPROVER, NOW + timedelta(hours=3))


async def in_its_scope(shop: Shop) -> None:
    """Authority for the family that the work is on."""
    await shop.person("B-5", What.INSPECTS, scope="family:38999-III")
    await put(shop, "inspected", "B-5")


async def in_two_scopes(shop: Shop) -> None:
    """Authority for a shop covers what it must, and what is void need not be covered."""
    await shop.owner.execute("insert into tinebook.bench (name, shop) values ('Bench 1', 'Shop 1')")
    await shop.work(cavity="A", bench="Bench 1", order="WO-3")
    wrong = await shop.work(cavity="A", bench="Bench 2", order="WO-3")
    await shop.work(Kind.CORRECTION, corrects=wrong, note="twice", order=None)
    await shop.person("B-5", What.INSPECTS, scope="shop:Shop 1")
    await put(shop, "inspected", "B-5", reference="WO-3")


async def a_clock_ahead(shop: Shop) -> None:
    """A step dated after its recording was done when it was recorded."""
    await shop.work(cavity="A", at=NOW + timedelta(hours=5), recorded_at=NOW - timedelta(hours=1))
    await put(shop, "inspected", INSPECTOR)


async def odd_names(shop: Shop) -> None:
    """A work order whose number needs escapes is found whole, and none that only begins like it."""
    odd = 'WO "7"\\ä'
    await shop.work(cavity="A", order=odd, by=INSPECTOR)
    await shop.work(cavity="A", order='WO "8"', by=WORKER)
    await put(shop, "inspected", INSPECTOR, reference='WO "8"')
    with pytest.raises(asyncpg.CheckViolationError):
        await put(shop, "inspected", INSPECTOR, reference=odd)


MADE = (
    by_somebody_else,
    own_words,
    as_an_exception,
    after_rework,
    in_its_scope,
    in_two_scopes,
    a_clock_ahead,
    odd_names,
)


@pytest.mark.parametrize("attempt", MADE, ids=lambda each: each.__name__)
def test_the_database_lets_by(dsn: str, attempt: Callable[[Shop], Awaitable[None]]) -> None:
    """What breaks no rule is kept."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            await attempt(opened)
            assert await opened.service.fetchval("select count(*) from tinebook.signature") > 0

    run(work())


KEPT_FOR_GOOD = (
    "signature",
    "person_certificate",
    "person_authority",
    "authority_withdrawal",
    "person_identity",
    "secret_issue",
    "signing_rule",
)


@pytest.mark.parametrize("table", KEPT_FOR_GOOD)
def test_nothing_of_it_is_changed_or_deleted(dsn: str, table: str) -> None:
    """The service's role may not, and triggers refuse the owner too (SQLSTATE 23001)."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            await opened.sign("performed", WORKER)
            await opened.allow(allowed=True)
            await opened.service.execute(
                "insert into tinebook.person_identity (badge, issuer, subject, recorded_by, recorded_at)"
                " values ('B-1', 'i', 's', 'x', now())"
            )
            await opened.service.execute(
                "insert into tinebook.secret_issue (badge, issued_by, issued_at) values ('B-1', 'x', now())"
            )
            await opened.withdraw(INSPECTOR)
            column = await opened.owner.fetchval(
                "select column_name from information_schema.columns where table_schema = 'tinebook' and table_name = $1"
                " and is_identity = 'NO' order by ordinal_position limit 1",
                table,
            )
            for statement in (
                f"update tinebook.{table} set {column} = {column}",
                f"delete from tinebook.{table}",
                f"truncate tinebook.{table} cascade",
            ):
                with pytest.raises(asyncpg.InsufficientPrivilegeError):
                    await opened.service.execute(statement)
                with pytest.raises(asyncpg.RestrictViolationError, match="append-only"):
                    await opened.owner.execute(statement)

    run(work())


def test_withdrawn_authority_leaves_what_was_signed(dsn: str) -> None:
    """Signatures that were made before stand, whole and intact, and no new one is made."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            made = await opened.sign("inspected", INSPECTOR)
            await opened.withdraw(INSPECTOR, NOW + timedelta(minutes=1))
            (kept,) = await signing.of(opened.service, "work_order", ORDER)
            assert kept == made
            assert kept.intact
            with pytest.raises(asyncpg.CheckViolationError):
                await put(opened, "inspected", INSPECTOR, NOW + timedelta(minutes=2))

    run(work())


def test_a_withdrawal_and_a_signature_wait_for_each_other(dsn: str) -> None:
    """A signature that meets a withdrawal that isn't committed yet waits for it, and is then refused."""

    async def work() -> None:
        async with shop.opened(dsn) as opened, database.owner(dsn) as watcher:
            other = await database.service_connection(dsn)
            try:
                waiting = other.transaction()
                await waiting.start()
                authority = await other.fetchval(
                    "select number from tinebook.person_authority where badge = $1", INSPECTOR
                )
                await other.execute(
                    "insert into tinebook.authority_withdrawal values ($1, 'left', 'office', $2)", authority, NOW
                )
                trying = asyncio.ensure_future(put(opened, "inspected", INSPECTOR))
                await _until_somebody_waits(watcher)
                await waiting.commit()
                with pytest.raises(asyncpg.CheckViolationError) as refused:
                    await trying
                assert refused.value.constraint_name == Rule.AUTHORITY
            finally:
                await other.close()

    run(work())


async def _until_somebody_waits(watcher: asyncpg.Connection) -> None:
    async with asyncio.timeout(30):
        while not await watcher.fetchval(  # noqa: ASYNC110 - another session's doing
            "select exists (select from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock')"
        ):
            await asyncio.sleep(0.01)


def test_python_and_the_database_judge_alike(dsn: str) -> None:
    """What the service reads of a situation is what the database's own functions say of it."""

    async def work() -> None:
        async with shop.opened(dsn) as opened:
            entry = await opened.work(by=OTHER, cavity="A")
            await opened.work(Kind.CORRECTION, corrects=entry, note="twice", order=None)
            await opened.work(by="B-6", kind=Kind.FINDING, cavity="A", note="scratched")
            found = await signing.situation(opened.service, "work_order", ORDER)
            assert [each.void for each in found.steps].count(True) == 1
            for badge in (WORKER, OTHER, INSPECTOR, "b-1", "B-6"):
                told = await opened.service.fetchval("select tinebook.is_performer($1, 'work_order', $2)", badge, ORDER)
                assert told == rules.is_performer(badge, found.steps, found.earlier), badge

    run(work())
