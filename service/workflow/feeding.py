"""The change feed: everything that is recorded, in an order into which nothing is ever put afterwards.

Whoever records leaves an arrival in the same transaction. One numberer at a time gives positions to arrivals that are
committed, so a position is given out only when every smaller one is there to be read.
"""

import base64
import binascii
from datetime import datetime
from uuid import UUID, uuid4

import msgspec
from msgspec import Struct

from service import problems
from service.core.veil import Veil
from service.feed import events
from service.feed.events import Item
from service.feed_messages import Start
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL

_AT_ONCE = 2_000
"""Arrivals that are numbered in one transaction: bounds the time that another numberer waits."""
_AS_MADE = ("record.made",)
_WINDOW = 20_000
"""Positions that are looked at for one page: bounds the time of a page whose filter lets little through."""


class Cursor(Struct, frozen=True, array_like=True):
    """How far somebody has read, and what stood there, so that a cursor of another history is noticed."""

    position: int
    id: UUID | None


BEGINNING = Cursor(0, None)


class Wanted(Struct, frozen=True):
    """Filters; they combine. No types means all."""

    types: tuple[str, ...] = ()
    connector: UUID | None = None


class Page(Struct, frozen=True):
    """Items after a position, the position from which to go on, and whether there is more already."""

    items: tuple[Item, ...]
    position: int
    more: bool


async def number(connection: Connection, rounds: int = 1_000) -> int:
    """Give positions to what is committed and has none; returns how many were given."""
    given = 0
    for _ in range(rounds):
        if not await connection.fetchval(SQL["any_arrivals"]):
            break
        async with connection.transaction():
            # The lock comes in a statement of its own: the next one must see what the numberer before us committed.
            await database.run(connection, "lock_numbering")
            now_given: int = await connection.fetchval(SQL["number_arrivals"], _AT_ONCE)
        given += now_given
        if now_given < _AT_ONCE:
            break
    return given


async def tell(
    connection: Connection,
    topic: str,
    body: object,
    at: datetime,
    *,
    identity: UUID | None = None,
    about: UUID | None = None,
) -> None:
    """Put something that is recorded in the caller's transaction into the feed; `about` is a connector. Its id never changes."""
    await database.run(connection, "tell", identity or uuid4(), topic, about, at, msgspec.json.encode(body))


async def end(connection: Connection) -> int:
    """The last position."""
    found: int = await connection.fetchval(SQL["feed_end"])
    return found


async def origin(connection: Connection) -> str:
    """The source of all events of this installation."""
    installation: UUID = await connection.fetchval(SQL["installation"])
    return events.source(installation)


async def page(connection: Connection, after: int, wanted: Wanted, limit: int) -> Page:
    """What stands after a position, oldest first. It may be empty although there is more: then the window held nothing wanted."""
    last = await end(connection)
    until = min(last, after + _WINDOW)
    rows = await database.fetch(
        connection, "feed_page", after, until, events.patterns(wanted.types), wanted.connector, limit
    )
    items = tuple(Item(**row) for row in rows)
    position = items[-1].position if len(items) == limit else max(until, after)
    return Page(items, position, position < last)


def shown(item: Item, through: Veil) -> Item:
    """An item as others may see it: what names somebody who left names a pseudonym, and no longer has the hash beside it.

    A record is told as it was made: it keeps the names that the law has it keep.
    """
    if item.topic in _AS_MADE:
        return item
    body = through.document(item.body)
    return item if body is item.body else msgspec.structs.replace(item, body=body, hash=None)


async def cursor(connection: Connection, position: int) -> str:
    """A position as an opaque text."""
    found = Cursor(position, await connection.fetchval(SQL["feed_id_at"], position))
    return base64.urlsafe_b64encode(msgspec.json.encode(found)).decode().rstrip("=")


async def position(connection: Connection, text: str | None, start: Start) -> int:
    """The position that a cursor means; without one the beginning or the end. Raises the problem for what is no cursor of ours."""
    if text is None:
        return 0 if start == "beginning" else await end(connection)
    try:
        found = msgspec.json.decode(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)), type=Cursor)
    except (msgspec.DecodeError, binascii.Error, ValueError, RecursionError) as error:
        detail = "this is not a cursor of the feed: leave it out to begin at the start"
        raise problems.raised(problems.Type.INVALID_REQUEST, detail, ("#/cursor", detail)) from error
    if found.position == 0:
        return 0
    known = found.id is not None and 0 < found.position < 2**63
    if not known or await connection.fetchval(SQL["feed_id_at"], found.position) != found.id:
        detail = (
            "this cursor does not belong to what is recorded here (was the database restored from an older backup?): "
            "begin anew, events that you have keep their ids"
        )
        raise problems.raised(problems.Type.INVALID_REQUEST, detail, ("#/cursor", detail))
    return found.position
