"""What stands behind the question mark of the fleet's reports."""

from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service import fleet_messages
from service.api.queries import Format, Limit, Shop
from service.core.cycles import Wear
from service.core.discrepancies import Code, Seriousness
from service.core.entries import EARLIEST, LATEST, Instant, Text


class CycleLimits(Shop, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Filters of the fleet's list; they combine, and `wear` may be given several times. `bench`: the one that recorded last."""

    of: Literal["connectors", "cavities"] = "connectors"
    as_of: Instant | None = None
    wear: tuple[Wear, ...] = ()
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"

    def __post_init__(self) -> None:
        """Refuse a moment that no entry can have: some overflow on the way to the database."""
        if self.as_of is not None and not EARLIEST <= self.as_of < LATEST:
            raise ValueError("`as_of` is out of range")


class WearBy(Shop, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """By what wear is counted together, and what it is narrowed down by."""

    by: fleet_messages.By
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"


class Cycles(Struct, frozen=True, forbid_unknown_fields=True):
    """Of which family."""

    family: Text | None = None


class Discrepancies(Shop, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Filters of the open list; they combine. `bench`: the one that recorded the entry."""

    code: Code | None = None
    seriousness: Seriousness | None = None
    connector: UUID | None = None
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=200)] = 50
    format: Format = "json"


class Merge(Struct, frozen=True, forbid_unknown_fields=True):
    """Into which connector, who proposes it, and why: the reason of each correction."""

    into: UUID
    by: Text
    reason: Text
    cursor: str | None = None
    limit: Limit = 100
