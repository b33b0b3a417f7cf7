"""The fleet's list of cycle limits."""

from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct

from service import messages
from service.core.cycles import Wear
from service.store import database
from service.store.database import Connection


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of the list begins."""

    rank: Annotated[int, Meta(ge=0, le=32_767)]
    urgency: Annotated[int, Meta(ge=0, le=2_147_483_647)]
    connector: UUID


class Wanted(Struct, frozen=True, kw_only=True):
    """Which lines are wanted; filters combine."""

    wear: Wear | None = None
    asset: str | None = None
    zone: str | None = None
    part_number: str | None = None
    family: str | None = None


async def cycle_limits(
    connection: Connection, wanted: Wanted, after: Cursor | None, limit: int
) -> tuple[tuple[messages.CycleLimitLine, ...], Cursor | None]:
    """Connectors that are not within their rating, worst first, and the cursor of the next page."""
    rows = await database.fetch(
        connection,
        "cycle_limits",
        *((after.rank, after.urgency, after.connector) if after else (None, None, None)),
        limit + 1,
        wanted.wear.value if wanted.wear else None,
        wanted.asset,
        wanted.zone,
        wanted.part_number,
        wanted.family,
    )
    lines = tuple(
        messages.CycleLimitLine(
            connector=row["connector"],
            serial=row["serial"],
            part_number=row["part_number"],
            family=row["family"],
            place=messages.PlaceView(asset=row["asset"], zone=row["zone"], position=row["position"]),
            wear=Wear(row["wear"]),
            limiting_cavity=row["limiting_cavity"],
            cycles_begun=row["cycles_begun"],
            rating=row["rating"],
            rating_verified=row["rating_verified"],
            left=row["remaining"],
            worn_cavities=row["worn_cavities"],
        )
        for row in rows[:limit]
    )
    if len(rows) <= limit:
        return lines, None
    last = rows[limit - 1]
    return lines, Cursor(last["rank"], last["urgency"], last["connector"])
