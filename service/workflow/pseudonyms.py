"""People who left: from then on a pseudonym is shown in place of whatever they were known by.

Badges in entries are keys; names and certificates stand beside them, and there the pseudonym takes their place for good.
Entries, signatures and records stay as they were hashed and signed: the law has work recorded with the name of whoever did
and approved it (14 CFR 43.9(a), 145.219; EU 145.A.55). Of these only what is shown changes, except in the record itself.
"""

import asyncio
import secrets
import time
from calendar import monthrange
from collections.abc import Callable
from datetime import date, datetime
from typing import TypeVar

import asyncpg
import msgspec
from msgspec import Struct

from service import inbound_messages as messages
from service import problems
from service.core import veil
from service.core.veil import Veil
from service.messages import LedgerLine
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow import people

M = TypeVar("M", bound=Struct)

KEPT_MONTHS = 36
"""How long work is to be known with names after somebody's last day: M.A.305(e), 36 months, the longest of those that run out.

145.A.55 asks for three years as well, 145.219(c) for two.
"""
_FRESH_S = 1.0


async def veiling(connection: Connection) -> Veil:
    """What is shown in place of people who left, as of now."""
    rows = await database.fetch(connection, "veil")
    if not rows:
        return veil.NOTHING
    installation = await connection.fetchval(SQL["installation"])
    return Veil(installation, {row["digest"]: row["pseudonym"] for row in rows})


class Keeper:
    """Knows the veil as it was at most a second ago, so that not every reply asks the database."""

    def __init__(self, pool: asyncpg.Pool, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._pool = pool
        self._clock_s = clock_s
        self._read_at_s: float | None = None
        self._veil = veil.NOTHING
        self._reading = asyncio.Lock()

    async def veil(self) -> Veil:
        """What is shown in place of people who left."""
        async with self._reading:
            if self._read_at_s is None or self._clock_s() - self._read_at_s >= _FRESH_S:
                now_s = self._clock_s()
                async with self._pool.acquire() as connection:
                    self._veil = await veiling(connection)
                self._read_at_s = now_s
        return self._veil

    def forget(self) -> None:
        """Somebody left just now: the next who asks reads it again."""
        self._read_at_s = None


async def depart(
    connection: Connection, badge: str, asked: messages.Departure, by: str, at: datetime
) -> messages.Departed:
    """Let a pseudonym stand for somebody who left: the same badge again gets the same answer, and nothing is done twice.

    Raises:
        ProblemRaised: nobody has the badge, or the law still has their work known by name and no reason says otherwise.
    """
    async with connection.transaction():
        name = await connection.fetchval(SQL["lock_person"], badge)
        if name is None:
            raise people.unknown(badge)
        before = await database.fetch_one(connection, "pseudonym_of", badge)
        if before is not None:
            return await _departed(connection, badge)
        _check(asked, at.date())
        pseudonym = f"leaver {secrets.token_hex(4)}"
        known = [row["shown"] for row in await database.fetch(connection, "known_as", badge)]
        await database.run(connection, "withdraw_all_authority", badge, "left", by, at)
        await database.run(
            connection, "record_pseudonym", pseudonym, asked.left_on, asked.reason, asked.despite_retention, by, at
        )
        await database.run(connection, "veil_texts", pseudonym, [badge, *known, *asked.also_as])
        for each in ("blank_name", "blank_certificates", "blank_identities"):
            await database.run(connection, each, badge, pseudonym)
        return await _departed(connection, badge)


async def _departed(connection: Connection, badge: str) -> messages.Departed:
    row = await database.fetch_one(connection, "pseudonym_of", badge)
    if row is None:
        raise people.unknown(badge)
    signatures: int = await connection.fetchval(SQL["count_signatures"], badge)
    return messages.Departed(signatures=signatures, **row)


def _check(asked: messages.Departure, today: date) -> None:
    if asked.left_on > today:
        text = f"the last day, {asked.left_on}, is not over: take back authority now, and do this afterwards"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/left_on", text))
    until = _months_after(asked.left_on, KEPT_MONTHS)
    if today < until and asked.despite_retention is None:
        text = (
            f"until {until} work of this person may have to be shown with the name ({KEPT_MONTHS} months after the last day); "
            "where that is provided for otherwise, say how in despite_retention"
        )
        raise problems.raised(problems.Type.RECORDS_KEPT, text, ("#/despite_retention", text))


def _months_after(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def message(shown: M, through: Veil) -> M:
    """Any message as it is to be shown; the very one where it names nobody who left."""
    if not through:
        return shown
    told = msgspec.json.decode(msgspec.json.encode(shown))
    veiled = through.value(told)
    return shown if veiled == told else msgspec.convert(veiled, type(shown))


def line(shown: LedgerLine, through: Veil) -> LedgerLine:
    """An entry as it is to be shown."""
    if not through:
        return shown
    entry = msgspec.structs.replace(shown.entry, performed_by=through.shown(shown.entry.performed_by))
    return msgspec.structs.replace(
        shown,
        performed_by=through.shown(shown.performed_by),
        recorded_by=through.shown(shown.recorded_by),
        entry=entry,
    )
