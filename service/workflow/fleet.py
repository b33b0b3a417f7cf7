"""The fleet's reports of wear: who is not within the rating, and how the wear is spread. Rows for API, page and export alike."""

from collections.abc import AsyncIterator
from datetime import datetime
from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct

from service import fleet_messages as messages
from service.core.cycles import Wear
from service.core.entries import CavityId, HouseRule, Text
from service.store import ledger
from service.store.database import Connection


class Filters(Struct, frozen=True, kw_only=True):
    """Which part of the fleet is wanted; what is said combines. `bench` is the one that recorded last at the connector."""

    wear: tuple[Wear, ...] = ()
    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None
    bench: str | None = None
    shop: str | None = None


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of the list of connectors begins."""

    rank: Annotated[int, Meta(ge=0, le=32_767)]
    urgency: Annotated[int, Meta(ge=0, le=2_147_483_647)]
    connector: UUID


class CavityCursor(Struct, frozen=True, array_like=True):
    """Where the next page of the list of cavities begins."""

    rank: Annotated[int, Meta(ge=0, le=32_767)]
    urgency: Annotated[int, Meta(ge=0, le=2_147_483_647)]
    connector: UUID
    cavity: CavityId


class PastCursor(Struct, frozen=True, array_like=True):
    """Where the next page as of a past moment begins: within a connector, after so many of its lines."""

    connector: UUID
    told: Annotated[int, Meta(ge=0, le=1000)]


class WearCursor(Struct, frozen=True, array_like=True):
    """Where the next page of groups begins."""

    over: Annotated[int, Meta(ge=0, le=2**62)]
    spent: Annotated[int, Meta(ge=0, le=2**62)]
    nearing: Annotated[int, Meta(ge=0, le=2**62)]
    name: str


async def connectors(
    connection: Connection, filters: Filters, after: Cursor | None, limit: int
) -> tuple[tuple[messages.CycleLimitLine, ...], Cursor | None]:
    """Connectors that are not within their rating, worst first, and the cursor of the next page."""
    raise NotImplementedError


async def cavities(
    connection: Connection,
    definitions: ledger.Definitions,
    house: HouseRule,
    filters: Filters,
    after: CavityCursor | None,
    limit: int,
) -> tuple[tuple[messages.CavityLimitLine, ...], CavityCursor | None]:
    """Cavities that are not within their rating, worst first, and the cursor of the next page."""
    raise NotImplementedError


async def past_connectors(
    connection: Connection, house: HouseRule, filters: Filters, at: datetime, after: PastCursor | None, limit: int
) -> tuple[tuple[messages.CycleLimitLine, ...], PastCursor | None]:
    """As `connectors`, of a past moment: what the ledger held then, in the order of the connectors' ids."""
    raise NotImplementedError


async def past_cavities(
    connection: Connection, house: HouseRule, filters: Filters, at: datetime, after: PastCursor | None, limit: int
) -> tuple[tuple[messages.CavityLimitLine, ...], PastCursor | None]:
    """As `cavities`, of a past moment: what the ledger held then, in the order of the connectors' ids."""
    raise NotImplementedError


async def wear(
    connection: Connection, by: messages.By, filters: Filters, after: WearCursor | None, limit: int
) -> tuple[messages.WearReport, WearCursor | None]:
    """Cavities per wear, counted together by something, the worst groups first. Its `next` is left to the caller."""
    raise NotImplementedError


async def cycles(connection: Connection, family: str | None) -> messages.CyclesReport:
    """How many cavities have begun how many cycles, by family and rating."""
    raise NotImplementedError


async def each_connector(
    connection: Connection, house: HouseRule, filters: Filters, as_of: datetime | None
) -> AsyncIterator[messages.CycleLimitLine]:
    """Every line of the list of connectors, page after page, for a stream."""
    raise NotImplementedError
    yield


async def each_cavity(
    connection: Connection,
    definitions: ledger.Definitions,
    house: HouseRule,
    filters: Filters,
    as_of: datetime | None,
) -> AsyncIterator[messages.CavityLimitLine]:
    """Every line of the list of cavities, page after page, for a stream."""
    raise NotImplementedError
    yield


class BenchCursor(Struct, frozen=True, array_like=True):
    """Where the next page of benches begins."""

    name: Text


async def put_bench(connection: Connection, name: str, shop: str) -> None:
    """Say to which shop a bench belongs."""
    raise NotImplementedError


async def benches(
    connection: Connection, after: BenchCursor | None, limit: int
) -> tuple[tuple[messages.BenchView, ...], BenchCursor | None]:
    """A page of the benches of which the shop is known, by name."""
    raise NotImplementedError
