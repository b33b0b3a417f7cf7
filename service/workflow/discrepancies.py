"""What was recorded that ought not to have been possible, open until somebody resolves it, and the ways to do so."""

from collections.abc import AsyncIterator
from datetime import datetime
from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct

from service import fleet_messages as messages
from service.core.discrepancies import Code, Seriousness
from service.core.entries import EARLIEST, LATEST, Instant
from service.store import ledger
from service.store.database import Connection


class Filters(Struct, frozen=True, kw_only=True):
    """Which open discrepancies are wanted; what is said combines. `bench` is the one that recorded the entry."""

    code: Code | None = None
    seriousness: Seriousness | None = None
    connector: UUID | None = None
    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None
    bench: str | None = None
    shop: str | None = None


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of open discrepancies begins."""

    rank: Annotated[int, Meta(ge=0, le=32_767)]
    recorded_at: Instant
    connector: UUID
    number: Annotated[int, Meta(ge=0, le=2_147_483_647)]
    code: str
    cavity: str

    def __post_init__(self) -> None:
        """Refuse a time that no entry can have: some of them overflow on the way to the database."""
        if not EARLIEST <= self.recorded_at < LATEST:
            raise ValueError("out of range")


async def open_ones(
    connection: Connection, filters: Filters, after: Cursor | None, limit: int, now: datetime
) -> tuple[messages.DiscrepancyReport, Cursor | None]:
    """Open discrepancies, the most serious first and of those the oldest. Its `next` is left to the caller."""
    raise NotImplementedError


async def each(connection: Connection, filters: Filters, now: datetime) -> AsyncIterator[messages.DiscrepancyLine]:
    """Every open discrepancy, page after page, for a stream."""
    raise NotImplementedError
    yield


class MergeCursor(Struct, frozen=True, array_like=True):
    """Where the next page of a merge begins."""

    number: Annotated[int, Meta(ge=0, le=2_147_483_647)]


async def merge(
    connection: Connection,
    definitions: ledger.Definitions,
    doubled: UUID,
    into: UUID,
    by: str,
    reason: str,
    now: datetime,
    after: MergeCursor | None,
    limit: int,
) -> tuple[messages.MergeProposal, MergeCursor | None]:
    """What to record so that the doubled connector's facts count for the other. Records nothing itself."""
    raise NotImplementedError
