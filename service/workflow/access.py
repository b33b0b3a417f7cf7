"""Tokens: who may do what. Only digests are kept; a token is shown once, when it is made."""

import enum
import hashlib
import secrets
import time
from collections.abc import Callable, Collection
from datetime import datetime
from uuid import UUID, uuid4

import asyncpg
from msgspec import Struct

from service import problems
from service.store import database
from service.store.database import Connection

_FRESH_S = 1.0
_KEPT = 10_000


class Scope(enum.StrEnum):
    """What a token is for."""

    BENCH = "bench"
    PLANNER = "planner"
    RECORDS = "records"
    ADMIN = "admin"


class Bearer(Struct, frozen=True):
    """Who is asking."""

    name: str
    scopes: frozenset[str]
    expires_at: datetime
    revoked_at: datetime | None

    def allowed(self, scopes: Collection[Scope]) -> bool:
        """Admin may do everything; the others what their scopes say."""
        return Scope.ADMIN in self.scopes or any(each in self.scopes for each in scopes)


def digest(token: str) -> bytes:
    """What is kept of a token. It holds 256 random bits, so a plain hash can't be guessed back."""
    return hashlib.sha256(token.encode()).digest()


async def make(
    connection: Connection, name: str, scopes: Collection[Scope], now: datetime, expires_at: datetime
) -> str:
    """Make a token and return it: nobody can read it again."""
    token = f"tb_{secrets.token_urlsafe(32)}"
    await database.run(connection, "make_token", uuid4(), name, sorted(scopes), digest(token), now, expires_at)
    return token


async def revoke(connection: Connection, which: str, now: datetime) -> list[UUID]:
    """Shut every token of a name or an id; returns the ids shut."""
    rows = await database.fetch(connection, "revoke_tokens", which, now)
    return [row["token"] for row in rows]


class Doorkeeper:
    """Knows tokens as they were at most a second ago, so that not every request asks the database."""

    def __init__(
        self, pool: asyncpg.Pool, clock: Callable[[], datetime], clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._pool = pool
        self._clock = clock
        self._clock_s = clock_s
        self._kept: dict[bytes, tuple[float, Bearer | None]] = {}

    async def admit(self, authorization: str | None, scopes: Collection[Scope]) -> Bearer:
        """Who is asking, if the header names a valid token that opens this. Raises the problem if not."""
        if authorization is None or not authorization[:7].lower() == "bearer ":
            raise _refused("send the header Authorization: Bearer TOKEN")
        bearer = await self._bearer(digest(authorization[7:].strip(" ")))
        if bearer is None or bearer.revoked_at is not None:
            raise _refused("the token is not known or was revoked: ask for a new one")
        if bearer.expires_at <= self._clock():
            raise _refused(f"the token expired at {bearer.expires_at:%Y-%m-%dT%H:%M:%SZ}: ask for a new one")
        if not bearer.allowed(scopes):
            raise problems.raised(
                problems.Type.FORBIDDEN,
                f"this needs one of the scopes {', '.join(sorted({*scopes, Scope.ADMIN}))}; "
                f"the token has {', '.join(sorted(bearer.scopes))}",
            )
        return bearer

    async def _bearer(self, key: bytes) -> Bearer | None:
        now_s = self._clock_s()
        kept = self._kept.get(key)
        if kept is not None and now_s - kept[0] < _FRESH_S:
            return kept[1]
        async with self._pool.acquire() as connection:
            row = await database.fetch_one(connection, "token_by_digest", key)
        bearer = None
        if row is not None:
            bearer = Bearer(row["name"], frozenset(row["scopes"]), row["expires_at"], row["revoked_at"])
        if len(self._kept) >= _KEPT:
            self._kept.clear()
        self._kept[key] = (now_s, bearer)
        return bearer


def _refused(detail: str) -> problems.ProblemRaised:
    return problems.raised(
        problems.Type.UNAUTHENTICATED, detail, headers={"WWW-Authenticate": 'Bearer realm="tinebook"'}
    )
