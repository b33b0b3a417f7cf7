"""Counts before and after the work, by the one fold: of the history up to the first step, and up to the last."""

from datetime import datetime

from msgspec import Struct

from service.core import cavity, cycles, entries, fold, plans, states
from service.core.cycles import Limits
from service.core.entries import Definition, Entry, HouseRule, Kind, Rating
from service.core.records.content import Count, Limit
from service.core.records.scope import Ledger, Line, Work
from service.core.states import CavityState, ConnectorState

_ALL_CAVITIES = frozenset({Kind.RENEWAL, Kind.CARRY_IN})
"""Kinds that change the count of every cavity where they name none."""


class Change(Struct, frozen=True):
    """A cavity that the work touched: its state before the first step and after the last, and how much else fell in between."""

    cavity: str
    before: CavityState
    after: CavityState
    others: int


def touched(work: Work) -> tuple[str, ...]:
    """The cavities that the work was in, in the order of the insert."""
    return tuple(
        each.id for each in work.ledger.definition.cavities if any(_touches(line.entry, each.id) for line in work.steps)
    )


def _touches(entry: Entry, name: str) -> bool:
    named = entries.cavities_of(entry)
    return name in named if named else entry.kind in _ALL_CAVITIES


def change(work: Work, name: str) -> Change:
    """One cavity before and after. Entries of one instant can't be told apart, so all of them are in the count after."""
    mine = [each for each in work.steps if _touches(each.entry, name)]
    first, last = _instants(mine)
    ids = {each.entry.id for each in mine}
    others = sum(
        each.entry.id not in ids
        and first <= each.recorded.ordered_at <= last
        and each.entry.kind in cavity.ACTING
        and _touches(each.entry, name)
        for each in work.ledger.lines
    )
    return Change(name, at(work.ledger, name, first, before=True), at(work.ledger, name, last), others)


def at(ledger: Ledger, name: str, moment: datetime, *, before: bool = False) -> CavityState:
    """A cavity as all that was done until a moment left it, or all before it."""
    found = _until(ledger, moment, before=before, only=name).cavity(name)
    if found is None:
        raise KeyError(name)
    return found


def whole(ledger: Ledger, moment: datetime, *, before: bool = False) -> ConnectorState:
    """The whole connector as all that was done until a moment left it, or all before it."""
    return _until(ledger, moment, before=before, only=None)


def _until(ledger: Ledger, moment: datetime, *, before: bool, only: str | None) -> ConnectorState:
    # What is said about entries holds whenever it was said: a correction of today takes out an entry of last week.
    reached = [
        each.recorded
        for each in ledger.lines
        if each.entry.kind in entries.REFERRING
        or (
            (each.recorded.ordered_at < moment or (not before and each.recorded.ordered_at == moment))
            and (only is None or entries.concerns(each.entry, only))
        )
    ]
    blank = states.blank(ledger.definition)
    return fold.refold(ledger.definition, blank, reached, None if only is None else frozenset({only}))


def span(work: Work) -> tuple[datetime, datetime]:
    """When the first and the last step of the work on a connector stand in its history."""
    return _instants(work.steps)


def _instants(lines: list[Line] | tuple[Line, ...]) -> tuple[datetime, datetime]:
    instants = [each.recorded.ordered_at for each in lines]
    return min(instants), max(instants)


def figures(definition: Definition, house: HouseRule) -> Limits:
    """What the retainers of a connector are judged by."""
    return cycles.limits(definition.rating, definition.nearing_fraction, house)


def count(state: CavityState, judged_by: Limits) -> Count:
    """A state as it is stated."""
    stands = plans.standing(state, judged_by)
    return Count(
        retainer_life=state.life,
        history_known=state.known,
        insertions=state.insertions,
        removals=state.removals,
        tine_entries=state.tine_entries,
        cycles_begun=stands.begun,
        cycles_completed=stands.completed,
        remaining=stands.left,
        wear=stands.wear,
        occupied=state.occupied,
    )


def limit(rating: Rating | None) -> Limit | None:
    """A rating as it is stated."""
    if rating is None:
        return None
    return Limit(
        value=rating.value,
        basis=rating.basis,
        document=rating.document,
        revision=rating.revision,
        paragraph=rating.paragraph,
        verified_by=rating.verified_by,
        verified_on=rating.verified_on,
        verified=rating.verified,
    )
