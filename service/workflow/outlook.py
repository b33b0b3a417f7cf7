"""What the newest run of the outlook says: who runs out, what that asks of the shelf, what to renew in the next visit."""

from datetime import date
from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct

from service import outlook_messages as messages
from service.core.entries import Text
from service.store.database import Connection


class Filters(Struct, frozen=True, kw_only=True):
    """Which part of the fleet is wanted; what is said combines."""

    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of connectors begins: after one of this probability."""

    probability: Annotated[float, Meta(ge=0, le=1)]
    connector: UUID


class PartCursor(Struct, frozen=True, array_like=True):
    """Where the next page of part numbers begins."""

    number: Annotated[int, Meta(ge=0, le=2**31 - 1)]


class VisitCursor(Struct, frozen=True, array_like=True):
    """Where the next page of assets begins: after the one whose visit begins on this day."""

    starts_on: date
    asset: Text


async def rests_on(connection: Connection) -> messages.Rested | None:
    """What the newest run rests on; None where none was computed yet."""
    raise NotImplementedError


async def connectors(
    connection: Connection,
    filters: Filters,
    horizon_days: int,
    band: messages.Band,
    at_least: float,
    after: Cursor | None,
    limit: int,
) -> tuple[messages.OutlookReport, Cursor | None]:
    """Connectors by probability to run out within the horizon, those of at least `at_least`. Its `next` is left to the caller.

    Raises the problem for a horizon beyond the last that was kept.
    """
    raise NotImplementedError


async def demand(
    connection: Connection, filters: Filters, months: int, after: PartCursor | None, limit: int
) -> tuple[messages.DemandReport, PartCursor | None]:
    """Demand by part number and month. Of the filters only family and part number apply. Its `next` is left to the caller."""
    raise NotImplementedError


async def stock(
    connection: Connection,
    filters: Filters,
    service_level: float,
    horizon_days: int,
    after: PartCursor | None,
    limit: int,
) -> tuple[messages.StockReport, PartCursor | None]:
    """Shelf stock by part number. Of the filters only family and part number apply. Its `next` is left to the caller."""
    raise NotImplementedError


async def visits(
    connection: Connection, filters: Filters, risk: float, today: date, after: VisitCursor | None, limit: int
) -> tuple[messages.VisitReport, VisitCursor | None]:
    """What to renew in the next visit of each asset. Its `next` is left to the caller."""
    raise NotImplementedError
