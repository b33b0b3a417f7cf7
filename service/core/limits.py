"""Rows of the fleet's lists: a connector by its limiting cavity, and each retainer that is used up or nearly so."""

from collections.abc import Sequence

from msgspec import Struct

from service.core import cycles
from service.core.cycles import Standing, Wear
from service.core.entries import Definition
from service.core.states import CavityState, ConnectorState

NOBODY_KNOWS = 2_147_483_647
"""Urgency where what remains is not known: after everything that is."""
RANK = {wear: max(cycles.SEVERITY.values()) - severity for wear, severity in cycles.SEVERITY.items()}
"""The worst wear comes first, with 0."""


_SPENT = (Wear.SPENT, Wear.OVER)
"""Can't take a contact again."""
_WORN = (Wear.NEARING, Wear.SPENT, Wear.OVER)


class Whereabouts(Struct, frozen=True):
    """By what a connector is found in a report: its place, what it is, and the bench that recorded last."""

    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None
    bench: str | None = None


class LimitLine(Struct, frozen=True):
    """`rank` 0 is the worst wear; `remaining` is insertions still allowed in the limiting cavity, None where unknown."""

    rank: int
    urgency: int
    wear: str
    limiting_cavity: str
    cycles_begun: int
    rating: int | None
    rating_verified: bool
    remaining: int | None
    worn_cavities: int
    unknown_cavities: int
    asset: str | None
    zone: str | None
    position: str | None
    family: str | None
    part_number: str | None
    bench: str | None


class WornCavity(Struct, frozen=True):
    """A retainer that nears its rating, has reached it or is over it: known to be so, even where its whole count is not known."""

    cavity: str
    rank: int
    urgency: int
    retainer_life: int
    occupied: bool | None
    cycles_begun: int
    cycles_completed: int
    rating: int | None
    rating_verified: bool
    remaining: int | None


def line(
    definition: Definition, state: ConnectorState, standings: Sequence[Standing], where: Whereabouts
) -> LimitLine | None:
    """The line of a connector; None if it is within its rating or retired."""
    within = Wear.WITHIN
    if state.whole.retired or all(each.wear is within for each in standings):
        return None
    limiting = cycles.most_pressing(standings)
    if limiting is None:
        return None
    stands = standings[limiting]
    return LimitLine(
        rank=RANK[stands.wear],
        urgency=NOBODY_KNOWS if stands.left is None else stands.left,
        wear=stands.wear.value,
        limiting_cavity=state.cavities[limiting].id,
        cycles_begun=stands.begun,
        rating=None if definition.rating is None else definition.rating.value,
        rating_verified=definition.rating is not None and definition.rating.verified,
        remaining=stands.left,
        worn_cavities=sum(each.wear in _SPENT for each in standings),
        unknown_cavities=sum(each.wear is Wear.UNKNOWN for each in standings),
        asset=where.asset,
        zone=where.zone,
        position=where.position,
        family=where.family,
        part_number=where.part_number,
        bench=where.bench,
    )


def worn(definition: Definition, cavity: CavityState, stands: Standing) -> WornCavity | None:
    """The row of a worn retainer. One of which nothing is known has none: a fleet of them would be one row a cavity."""
    return judged(definition, cavity, stands) if stands.wear in _WORN else None


def judged(definition: Definition, cavity: CavityState, stands: Standing) -> WornCavity:
    """A retainer as the fleet's list shows it, whatever its wear."""
    return WornCavity(
        cavity=cavity.id,
        rank=RANK[stands.wear],
        urgency=NOBODY_KNOWS if stands.left is None else stands.left,
        retainer_life=cavity.life,
        occupied=cavity.occupied,
        cycles_begun=stands.begun,
        cycles_completed=stands.completed,
        rating=None if definition.rating is None else definition.rating.value,
        rating_verified=definition.rating is not None and definition.rating.verified,
        remaining=stands.left,
    )
