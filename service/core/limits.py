"""A connector's line on the fleet's list: where its limiting cavity stands. Connectors within their rating have none."""

from msgspec import Struct

from service.core import cycles, plans
from service.core.cycles import Limits, Standing, Wear
from service.core.entries import Definition, HouseRule
from service.core.states import ConnectorState

NOBODY_KNOWS = 2_147_483_647
"""Urgency where what remains is not known: after everything that is."""


_WORN = (Wear.SPENT, Wear.OVER)
"""Can't take a contact again."""


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
    asset: str | None
    zone: str | None
    position: str | None


def line(definition: Definition, state: ConnectorState, house: HouseRule) -> LimitLine | None:
    """The line of a connector; None if it is within its rating or retired."""
    figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
    return _line(definition, state, figures, [plans.standing(each, figures) for each in state.cavities])


def lines(
    definition: Definition, before: ConnectorState, after: ConnectorState, house: HouseRule
) -> tuple[LimitLine | None, LimitLine | None]:
    """The lines before and after entries. A cavity that they left alone is judged once: they rarely touch them all."""
    figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
    now = [plans.standing(each, figures) for each in after.cavities]
    then = [
        stands if old is new else plans.standing(old, figures)
        for old, new, stands in zip(before.cavities, after.cavities, now, strict=True)
    ]
    return _line(definition, before, figures, then), _line(definition, after, figures, now)


def _line(
    definition: Definition, state: ConnectorState, figures: Limits, standings: list[Standing]
) -> LimitLine | None:
    within = Wear.WITHIN
    if state.whole.retired or all(each.wear is within for each in standings):
        return None
    limiting = cycles.most_pressing(standings)
    if limiting is None:
        return None
    stands = standings[limiting]
    return LimitLine(
        rank=max(cycles.SEVERITY.values()) - cycles.SEVERITY[stands.wear],
        urgency=NOBODY_KNOWS if stands.left is None else stands.left,
        wear=stands.wear.value,
        limiting_cavity=state.cavities[limiting].id,
        cycles_begun=stands.begun,
        rating=figures.rating,
        rating_verified=definition.rating is not None and definition.rating.verified,
        remaining=stands.left,
        worn_cavities=sum(each.wear in _WORN for each in standings),
        asset=state.whole.asset,
        zone=state.whole.zone,
        position=state.whole.position,
    )
