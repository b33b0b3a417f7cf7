"""Sessions of the pages: what a browser holds instead of a token. Only digests are kept.

A session that was begun with a token is looked up together with it at each request: a token that is revoked ends the session.
"""

import secrets
from collections.abc import Collection
from datetime import datetime, timedelta

from msgspec import Struct

from service import problems
from service.store import database
from service.store.database import Connection
from service.workflow import access
from service.workflow.access import Bearer, Scope

LONGEST = timedelta(hours=12)
"""A shift and what it takes to hand it over; whoever stays longer signs in again."""


class Session(Struct, frozen=True):
    """Who has signed in. `vouched`: an identity provider says who it is, else it is whoever has the token."""

    secret: str
    bearer: Bearer
    vouched: bool


async def begin(connection: Connection, token: str, now: datetime) -> str:
    """Sign in with a token; returns the session's secret. Raises the problem where the token opens nothing."""
    secret = _secret()
    await database.run(connection, "forget_sessions", now)
    row = await database.fetch_one(
        connection, "begin_session", access.digest(secret), access.digest(token), now, now + LONGEST
    )
    if row is None:
        text = "the token is not known, has expired or was revoked: ask for a new one"
        raise problems.raised(problems.Type.UNAUTHENTICATED, text)
    return secret


async def begin_vouched(connection: Connection, name: str, scopes: Collection[Scope], now: datetime) -> str:
    """Sign in somebody whom an identity provider vouches for; returns the session's secret."""
    secret = _secret()
    await database.run(connection, "forget_sessions", now)
    values = (access.digest(secret), name, sorted(scopes), now, now + LONGEST)
    await database.run(connection, "begin_vouched_session", *values)
    return secret


async def find(connection: Connection, secret: str, now: datetime) -> Session | None:
    """The session of this secret, if it holds at this moment."""
    row = await database.fetch_one(connection, "session_by_digest", access.digest(secret), now)
    if row is None:
        return None
    return Session(secret, Bearer(row["name"], frozenset(row["scopes"]), row["expires_at"], None), row["vouched"])


async def end(connection: Connection, secret: str) -> None:
    """Sign out."""
    await database.run(connection, "end_session", access.digest(secret))


def _secret() -> str:
    return secrets.token_urlsafe(32)
