"""Proving who signs: one secret a badge, known by its argon2id hash, with attempts that are counted before they are judged.

Parameters: RFC 9106, section 4, second recommended option (64 MiB, three passes, four lanes), unless the settings say others.
"""

import asyncio
from datetime import datetime

from argon2 import PasswordHasher, Type
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from msgspec import Struct

from service import problems
from service import signing_messages as messages
from service.core.signing import attempts
from service.core.signing.attempts import Cost
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow import people

_SALT_BYTES, _TAG_BYTES = 16, 32
"""RFC 9106, section 4: a salt of 128 bits and a tag of 256."""
_AT_ONCE = 2
"""Hashes at one time in a process: each takes the memory that the settings say."""


class Prover:
    """Makes hashes of secrets and compares them, beside the loop and few at a time."""

    def __init__(self, cost: Cost) -> None:
        self._hasher = PasswordHasher(
            time_cost=cost.passes,
            memory_cost=cost.memory_kib,
            parallelism=cost.lanes,
            hash_len=_TAG_BYTES,
            salt_len=_SALT_BYTES,
            type=Type.ID,
        )
        self._few = asyncio.Semaphore(_AT_ONCE)

    async def hashed(self, secret: str) -> str:
        """What is kept of a secret."""
        async with self._few:
            return await asyncio.to_thread(self._hasher.hash, secret)

    async def fits(self, kept: str, secret: str) -> bool:
        """Whether a secret is the one of which this was kept."""
        async with self._few:
            return await asyncio.to_thread(self._fits, kept, secret)

    def is_outdated(self, kept: str) -> bool:
        """Whether it was made at another cost than is asked for now."""
        return self._hasher.check_needs_rehash(kept)

    def _fits(self, kept: str, secret: str) -> bool:
        try:
            return self._hasher.verify(kept, secret)
        except (VerifyMismatchError, InvalidHashError):
            return False


class _Kept(Struct, frozen=True):
    hash: str
    initial: bool


async def prove(connection: Connection, prover: Prover, badge: str, secret: str, at: datetime) -> None:
    """Make sure that a secret is a badge's own. Commits by itself, so that no failure after it takes back a counted attempt.

    Raises:
        ProblemRaised: the secret is wrong or initial, or too many were wrong lately.
    """
    kept = await _compare(connection, prover, badge, secret, at)
    if kept.initial:
        text = (
            "this secret was given out by somebody who knows it too, so it signs nothing: change it first, with "
            f"PUT /v1/people/{badge}/secret or on the page /own-secret"
        )
        raise problems.raised(problems.Type.SECRET_INITIAL, text, ("#/secret", text))
    if prover.is_outdated(kept.hash):
        await connection.fetchval(SQL["swap_secret"], badge, kept.hash, await prover.hashed(secret), at)


async def change(
    connection: Connection, prover: Prover, badge: str, asked: messages.SecretChange, at: datetime
) -> None:
    """Put a secret of one's own in the place of the old one, which is limited like any use of it."""
    _check(badge, asked.new, "#/new")
    if asked.new == asked.old:
        text = "the new secret is the old one: choose another"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/new", text))
    kept = await _compare(connection, prover, badge, asked.old, at)
    made = await prover.hashed(asked.new)
    if await connection.fetchval(SQL["swap_secret"], badge, kept.hash, made, at) is None:
        text = "the secret was changed at this moment by somebody else: if that was not you, tell an administrator"
        raise problems.raised(problems.Type.SECRET_WRONG, text, ("#/old", text))


async def issue(
    connection: Connection, prover: Prover, badge: str, asked: messages.SecretIssue, by: str, at: datetime
) -> None:
    """Give out an initial secret. In place of one that is there it needs a reason, which stays in the books."""
    _check(badge, asked.secret, "#/secret")
    made = await prover.hashed(asked.secret)
    async with connection.transaction():
        if await connection.fetchval(SQL["lock_person"], badge) is None:
            raise people.unknown(badge)
        if asked.reason is None and await database.fetch_one(connection, "secret_of", badge) is not None:
            text = "there is a secret already, and its owner changes it; say a reason where it was lost or became known"
            raise problems.raised(problems.Type.SECRET_SET, text, ("#/reason", text))
        await database.run(connection, "keep_secret", badge, made, True, at)
        await database.run(connection, "record_secret_issue", badge, asked.reason, by, at)
        await database.run(connection, "open_attempts", badge, at)
        await database.run(connection, "count_attempt", badge, 0, at)


async def _compare(connection: Connection, prover: Prover, badge: str, secret: str, at: datetime) -> _Kept:
    if connection.is_in_transaction():
        raise RuntimeError("attempts are counted in a transaction of their own")
    if await database.fetch_one(connection, "secret_of", badge) is None:
        text = f"no secret is kept for {badge!r}: is the badge right? An administrator gives out an initial secret"
        raise problems.raised(problems.Type.SECRET_WRONG, text, ("#/badge", text))
    failures = await _count(connection, badge, at)
    row = await database.fetch_one(connection, "secret_of", badge)
    if row is None or not await prover.fits(row["hash"], secret):
        raise _wrong(failures)
    await database.run(connection, "count_attempt", badge, 0, at)
    return _Kept(row["hash"], row["initial"])


async def _count(connection: Connection, badge: str, at: datetime) -> int:
    """Count an attempt as a failure before the secret is looked at; returns how many there are now.

    So of a burst that comes at once no more get through than of one that comes one by one, whichever process they reach.
    """
    async with connection.transaction():
        await database.run(connection, "open_attempts", badge, at)
        row = await database.fetch_one(connection, "lock_attempts", badge)
        failures, until = (0, at) if row is None else (row["failures"], row["blocked_until"])
        wait_s = attempts.wait_s(until, at) if attempts.delay_s(failures) else 0
        if wait_s:
            text = f"{failures} secrets in a row were wrong for this badge: the next is looked at in {wait_s} s"
            raise problems.raised(
                problems.Type.TOO_MANY_ATTEMPTS, text, ("#/secret", text), headers={"Retry-After": str(wait_s)}
            )
        failures = min(failures + 1, 2**31 - 1)
        await database.run(connection, "count_attempt", badge, failures, attempts.blocked_until(failures, at))
    return failures


def _wrong(failures: int) -> problems.ProblemRaised:
    delay_s = attempts.delay_s(failures)
    after = f"; the next is looked at in {delay_s} s" if delay_s else ""
    text = f"the secret is not the one of this badge ({failures} wrong in a row{after})"
    return problems.raised(problems.Type.SECRET_WRONG, text, ("#/secret", text))


def _check(badge: str, secret: str, pointer: str) -> None:
    if secret.strip().lower() == badge.strip().lower():
        text = "a secret that is the badge itself is none: choose another"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, (pointer, text))
