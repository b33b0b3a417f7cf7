"""A connector's ledger from its newest entry back, with what is voided by a correction, as a time line shows it."""

from datetime import UTC
from typing import Annotated, Any
from uuid import UUID

from msgspec import Meta, Struct

from service import messages
from service.core import chain, references
from service.store import database
from service.store.database import Connection
from service.store.ledger import Head
from service.workflow import pseudonyms


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page back begins."""

    number: Annotated[int, Meta(ge=0, le=2_147_483_647)]


class Page(Struct, frozen=True):
    """Entries, the newest recorded first. `voided`: those that a correction marks as entered in error, and its id."""

    lines: tuple[messages.LedgerLine, ...]
    voided: dict[UUID, UUID]


async def back(
    connection: Connection, head: Head, cavity: str | None, after: Cursor | None, limit: int
) -> tuple[Page, Cursor | None]:
    """A page of a connector's entries, all or those that concern a cavity, and the cursor of the page before it in time."""
    start = after.number if after else None
    rows = await database.fetch(connection, "history_back", head.connector, start, cavity, limit + 1)
    through = await pseudonyms.veiling(connection)
    lines = tuple(pseudonyms.line(_line(row), through) for row in rows[:limit])
    following = Cursor(rows[limit - 1]["number"]) if len(rows) > limit else None
    return Page(lines, await _voided(connection, head)), following


async def _voided(connection: Connection, head: Head) -> dict[UUID, UUID]:
    """By the fold's own rule, which needs all that refers to anything and what it refers to."""
    if not head.state.whole.referring:
        return {}
    rows = await database.fetch(connection, "history", head.connector, None)
    history = [chain.decode_body(row["body"]).recorded for row in rows]
    void = references.read(history).void
    entries = (each.entry for each in history)
    return {each.corrects: each.id for each in entries if each.corrects is not None and each.corrects in void}


def _line(row: Any) -> messages.LedgerLine:
    recorded = chain.decode_body(row["body"]).recorded
    entry = recorded.entry
    return messages.LedgerLine(
        number=row["number"],
        id=entry.id,
        kind=entry.kind.value,
        cavity=entry.cavity,
        performed_at=entry.performed_at.astimezone(UTC),
        performed_by=entry.performed_by,
        recorded_at=recorded.recorded_at,
        recorded_by=recorded.recorded_by,
        noted=recorded.noted,
        hash=row["hash"].hex(),
        entry=entry,
    )
