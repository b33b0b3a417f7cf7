"""A small shop of invented people with work on a connector, put straight into the database, so that a test is quick and exact."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import asyncpg

from service import signing_messages as messages
from service.core import chain
from service.core.chain import LedgerBody
from service.core.entries import Entry, Kind, Recorded
from service.core.signing.attempts import Cost
from service.core.signing.authority import What
from service.signing_messages import Signature
from service.store import database
from service.store.database import Connection
from service.workflow import people, signing
from service.workflow.access import Bearer, Scope
from service.workflow.signing import Act

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
ORDER = "WO-1"
WORKER, OTHER, INSPECTOR, APPROVER = "B-1", "B-2", "B-7", "B-9"
ADMIN = Bearer("office", frozenset({Scope.ADMIN}), NOW + timedelta(days=1), None)
CHEAP = Cost(passes=1, memory_kib=64, lanes=1)
CHEAP_SETTINGS: dict[str, Any] = {"argon2_passes": 1, "argon2_memory_kib": 64, "argon2_lanes": 1}
_KINDS = {WORKER: What.PERFORMS, OTHER: What.PERFORMS, INSPECTOR: What.INSPECTS, APPROVER: What.APPROVES}


class Shop:
    """The database as the service's own role sees it, and as its owner."""

    def __init__(self, service: asyncpg.Connection, owner: asyncpg.Connection) -> None:
        self.service, self.owner = service, owner
        self.connector = uuid4()
        self._numbers = 0

    async def work(
        self,
        kind: Kind = Kind.INSERTION,
        by: str = WORKER,
        at: datetime = NOW - timedelta(hours=2),
        order: str | None = ORDER,
        recorded_at: datetime | None = None,
        **more: Any,
    ) -> UUID:
        """Something that was recorded under the work order."""
        self._numbers += 1
        entry = Entry(
            id=uuid4(), connector="EX-1", kind=kind, performed_at=at, performed_by=by, work_order=order, **more
        )
        recorded_at = recorded_at or at + timedelta(seconds=1)
        recorded = Recorded(entry=entry, recorded_at=recorded_at, recorded_by="test")
        body = chain.canonical_body(LedgerBody(connector=self.connector, number=self._numbers, recorded=recorded))
        row = (self.connector, self._numbers, entry.id, kind, entry.cavity, at, recorded_at, body, chain.digest(body))
        await self.owner.execute(
            """insert into tinebook.entry (connector, number, id, kind, cavity, performed_at, recorded_at, body, hash)
               values ($1, $2, $3, $4, $5, $6, $7, $8, $9)""",
            *row,
        )
        receipt = "insert into tinebook.receipt (id, connector, digest) values ($1, $2, $3)"
        await self.owner.execute(receipt, entry.id, self.connector, chain.digest(body))
        return entry.id

    async def person(
        self,
        badge: str,
        *whats: What,
        scope: str = "all",
        from_on: date = date(2020, 1, 1),
        until_on: date | None = None,
    ) -> None:
        """Somebody with authority."""
        given = tuple(
            messages.AuthorityWord(what=each, from_on=from_on, until_on=until_on, scope=scope) for each in whats
        )
        asked = messages.PersonPut(
            name=f"Name of {badge}",
            authorities=given,
            certificate=messages.CertificateWord(from_on=date(2020, 1, 1), number=f"EX-{badge}", kind="repairman"),
        )
        await people.put(self.service, badge, asked, ADMIN, NOW - timedelta(days=9))

    async def withdraw(self, badge: str, at: datetime = NOW) -> None:
        """Take back all that somebody may."""
        for each in (await people.show(self.service, badge, NOW.date())).authorities:
            asked = messages.Withdrawal(authority=each.number, reason="left")
            await people.withdraw(self.service, badge, asked, "office", at)

    async def sign(self, meaning: str, badge: str, at: datetime = NOW, **more: Any) -> Signature:
        """Sign the work order."""
        told: dict[str, Any] = {"subject": "work_order", "reference": ORDER, "statement": {"number": ORDER}} | more
        return (
            await signing.sign(self.service, act(meaning, badge, **told), at, _as_shown(told["statement"]))
        ).signature

    async def allow(self, *, allowed: bool) -> None:
        """Turn the same-person exception on or off."""
        await signing.say(
            self.service, signing.SAME_PERSON, messages.RuleWord(allowed=allowed, reason="tried"), "office", NOW
        )


def act(meaning: str, badge: str, **more: Any) -> Act:
    """Something to sign."""
    told: dict[str, Any] = {"method": "secret", "meaning": meaning, "badge": badge} | more
    return Act(**told)


def _as_shown(statement: dict[str, Any]) -> signing.Statement:
    async def current(_: Connection, __: str) -> dict[str, Any]:
        return statement

    return current


@asynccontextmanager
async def opened(dsn: str) -> AsyncIterator[Shop]:
    """A shop with its people, and one insertion by the worker under the work order."""
    service = await database.service_connection(dsn)
    try:
        async with database.owner(dsn) as owner:
            shop = Shop(service, owner)
            await owner.execute(
                "insert into tinebook.connector (connector, serial, family, registered_at) values ($1, 'EX-1', '38999-III', $2)",
                shop.connector,
                NOW - timedelta(days=9),
            )
            for badge, what in _KINDS.items():
                await shop.person(badge, what)
            await shop.work(cavity="A")
            yield shop
    finally:
        await service.close()
