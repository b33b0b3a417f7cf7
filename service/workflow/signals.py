"""What wears retainers faster than it should: questions to the ledger of a stretch of time, answered with how sure they are."""

from collections.abc import AsyncIterator
from datetime import datetime
from typing import Annotated

from msgspec import Meta, Struct

from service import signal_messages as messages
from service.store.database import Connection


class Filters(Struct, frozen=True, kw_only=True):
    """Which part of the fleet and of its history is asked about; what is said combines. Without `since`: the last 24 months."""

    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    verdict: messages.Verdict | None = None


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page begins: after the unit of this p-value (2: none) and name."""

    p_value: Annotated[float, Meta(ge=0, le=2)]
    name: str
    role: str


async def report(
    connection: Connection, about: messages.About, filters: Filters, now: datetime, after: Cursor | None, limit: int
) -> tuple[messages.SignalReport, Cursor | None]:
    """The answer to one question, the clearest units first. Its `next` is left to the caller.

    That `person` is only asked by who may (`Scope.ADMIN`) is for the caller to see to.
    """
    raise NotImplementedError


async def each(
    connection: Connection, about: messages.About, filters: Filters, now: datetime
) -> AsyncIterator[messages.SignalLine]:
    """Every unit of one question, the clearest first, for a stream."""
    raise NotImplementedError
    yield
