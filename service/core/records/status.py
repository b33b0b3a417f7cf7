"""A connector when the work on it ended: identity, place, mating cycles, and its life status where a limit is mandatory."""

from collections.abc import Iterator
from datetime import datetime

from service.core import identity, plans
from service.core.entries import Definition, HouseRule, Kind, Rating
from service.core.records import counts, lines
from service.core.records.content import ConnectorLine, LifeStatus, Limit
from service.core.records.scope import Work
from service.core.states import ConnectorState

MANDATORY = "mandatory"


def connector(work: Work) -> ConnectorLine:
    """The connector as the work left it; where nothing was done on it, as it is."""
    definition, after = work.ledger.definition, _after(work)
    before = counts.whole(work.ledger, counts.span(work)[0], before=True) if work.steps else after
    return ConnectorLine(
        connector=definition.connector,
        serial=definition.serial,
        cage=definition.cage,
        part_number=definition.part_number,
        uii=uii(definition),
        asset=after.whole.asset,
        zone=after.whole.zone,
        position=after.whole.position,
        retired=after.whole.retired,
        matings_before=_matings(before),
        matings_after=_matings(after),
        mating_limit=counts.limit(definition.mating_rating),
    )


def uii(definition: Definition) -> str | None:
    """The unique item identifier that its elements make (MIL-STD-130N w/Change 1, Table A-II), where they are legal."""
    if definition.cage is None:
        return None
    if definition.part_number is None:
        return identity.construct_1(definition.cage, definition.serial)
    return identity.construct_2(definition.cage, definition.part_number, definition.serial)


def _after(work: Work) -> ConnectorState:
    return counts.whole(work.ledger, counts.span(work)[1]) if work.steps else work.ledger.state


def _matings(state: ConnectorState) -> int:
    """The greater half count is the safe one, as where it is judged."""
    return max(state.whole.matings, state.whole.unmatings)


def life(work: Work, house: HouseRule) -> Iterator[LifeStatus]:
    """The status that 43.10 asks for, only where somebody stated the limit as mandatory."""
    if not work.steps:
        return
    definition, after, ended = work.ledger.definition, _after(work), counts.span(work)[1]
    rating, mating = definition.rating, definition.mating_rating
    if rating is not None and rating.basis == MANDATORY:
        limiting = plans.limiting(after.cavities, counts.figures(definition, house))
        if limiting is not None:
            state = next(each for each in after.cavities if each.id == limiting.cavity)
            yield _status(work, ended, rating, "retainers", limiting.cavity, limiting.standing.begun, known=state.known)
    if mating is not None and mating.basis == MANDATORY:
        yield _status(work, ended, mating, "mating", None, _matings(after), known=definition.history == "new")


def _status(
    work: Work, ended: datetime, rating: Rating, of: str, cavity: str | None, accumulated: int, *, known: bool
) -> LifeStatus:
    definition = work.ledger.definition
    limit = counts.limit(rating)
    if not isinstance(limit, Limit):
        raise TypeError(definition.serial)
    return LifeStatus(
        connector=definition.connector,
        serial=definition.serial,
        part_number=definition.part_number,
        of="mating" if of == "mating" else "retainers",
        cavity=cavity,
        limit=limit,
        accumulated=accumulated,
        # Nobody may count on what remains of a limit where an unknown part of it is used up already.
        remaining=max(rating.value - accumulated, 0) if known else None,
        history_known=known,
        as_of=lines.utc(ended),
        removals=sum(each.entry.kind is Kind.REMOVAL for each in work.steps),
    )
