"""The fold: what a history of entries makes of a connector. One pure function for write, rebuild, verify and preview.

Each cavity is folded from just the entries that concern it, in the order in which the work happened, so that a late
entry costs a refold of its own cavity only.
"""

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from copy import copy
from datetime import datetime
from itertools import groupby
from operator import attrgetter
from typing import TypeVar
from uuid import UUID

from msgspec import Struct

from service.core import cavity, entries, references, whole
from service.core.entries import Definition, Entry, Kind, Recorded
from service.core.states import CavityState, ConnectorState, WholeState, blank, ordered

State = TypeVar("State", CavityState, WholeState)

_ordered_at = attrgetter("ordered_at")


def fold(definition: Definition, history: Sequence[Recorded]) -> ConnectorState:
    """The state that a whole history gives, whatever the order in which it arrived."""
    return refold(definition, blank(definition), history)


def refold(
    definition: Definition, state: ConnectorState, history: Iterable[Recorded], only: frozenset[str] | None = None
) -> ConnectorState:
    """Fold the connector as a whole, and the cavities in `only` (all if None), afresh; other cavities keep their state.

    `history` must hold every entry of those cavities and every one that does not name exactly one cavity; and simply
    every entry where the state is `referring`.
    """
    history = list(history)
    links = references.read(history)
    by_rules = cavity.rules(definition, links.settled)
    fresh = blank(definition)
    wide, per_cavity, passing = _sorted_out(fresh, (each for each in history if each.entry.id not in links.void))
    cavities = tuple(
        _cavity(new, per_cavity[new.id], passing, by_rules) if only is None or new.id in only else old
        for old, new in zip(state.cavities, fresh.cavities, strict=True)
    )
    overall = _run(fresh.whole, wide, whole.rank, whole.apply, by_rules)
    overall.referring, overall.pending = links.present, links.pending
    overall.discrepancies = ordered((*overall.discrepancies, *links.raised))
    return ConnectorState(whole=overall, cavities=cavities)


def extend(definition: Definition, state: ConnectorState, news: Sequence[Recorded]) -> ConnectorState | None:
    """The state after entries that come later than everything they touch; None where only a refold gives the truth."""
    latest = max((each.last_at for each in state.cavities if each.last_at is not None), default=None)
    if any(_needs_history(state, each, latest) for each in news):
        return None
    by_rules = cavity.rules(definition)
    wide, per_cavity, passing = _sorted_out(state, news)
    cavities = tuple(
        _cavity(copy(old), per_cavity[old.id], passing, by_rules) if per_cavity[old.id] or passing else old
        for old in state.cavities
    )
    overall = _run(copy(state.whole), wide, whole.rank, whole.apply, by_rules) if wide else state.whole
    return ConnectorState(whole=overall, cavities=cavities)


class Life(Struct, frozen=True):
    """A retainer life: how it stood when it ended, and the entry that ended it; None for the one that goes on."""

    state: CavityState
    ended_by: UUID | None


def lives(definition: Definition, history: Sequence[Recorded]) -> dict[str, list[Life]]:
    """Every retainer life of every cavity, oldest first, as a fold of the whole history passes through them."""
    links = references.read(history)
    by_rules = cavity.rules(definition, links.settled)
    fresh = blank(definition)
    _, per_cavity, _ = _sorted_out(fresh, (each for each in history if each.entry.id not in links.void))
    return {each.id: _lives(each, per_cavity[each.id], by_rules) for each in fresh.cavities}


def _lives(state: CavityState, history: list[Recorded], by_rules: cavity.Rules) -> list[Life]:
    ended: list[Life] = []

    def watched(now: CavityState, recorded: Recorded, judged_by: cavity.Rules) -> None:
        before = copy(now)
        cavity.apply(now, recorded, judged_by)
        if now.life != before.life:
            ended.append(Life(before, recorded.entry.id))

    last = _run(state, history, cavity.rank, watched, by_rules)
    return [*ended, Life(last, None)]


def touched(state: ConnectorState, news: Iterable[Recorded]) -> frozenset[str] | None:
    """The cavities that a refold for these entries must cover; None for all."""
    found: set[str] = set()
    for each in news:
        named = entries.cavities_of(each.entry)
        if not named or each.entry.kind in entries.REFERRING or each.entry.id in state.whole.pending:
            return None
        found.update(named)
    return frozenset(found)


def _needs_history(state: ConnectorState, news: Recorded, latest: datetime | None) -> bool:
    entry, at = news.entry, news.ordered_at
    if entry.kind in entries.REFERRING or entry.id in state.whole.pending:
        return True
    if entry.cavity is None and state.whole.last_at is not None and at <= state.whole.last_at:
        return True
    # After the last entry of any cavity: the usual case, and no cavity has to be asked.
    if latest is None or at > latest:
        return False
    return any(
        each.last_at is not None and at <= each.last_at and entries.concerns(entry, each.id) for each in state.cavities
    )


def _sorted_out(
    state: ConnectorState, history: Iterable[Recorded]
) -> tuple[list[Recorded], dict[str, list[Recorded]], datetime | None]:
    """Entries in the order of their work: those of the whole, and those of each cavity.

    Those of the whole that leave no trace in a cavity but their time are not handed to each: the last one's time says it.
    """
    wide: list[Recorded] = []
    passing: datetime | None = None
    per_cavity: dict[str, list[Recorded]] = {each.id: [] for each in state.cavities}
    for each in sorted(history, key=_place):
        if each.entry.cavity is not None:
            per_cavity[each.entry.cavity].append(each)
            continue
        wide.append(each)
        if each.entry.kind not in cavity.ACTING:
            passing = each.ordered_at
            continue
        for name in each.entry.cavities or per_cavity:
            per_cavity[name].append(each)
    return wide, per_cavity, passing


def _place(recorded: Recorded) -> tuple[datetime, int]:
    # The number of an id sorts as the id does, in a third of the time.
    return recorded.ordered_at, recorded.entry.id.int


def _cavity(
    state: CavityState, history: list[Recorded], passing: datetime | None, by_rules: cavity.Rules
) -> CavityState:
    after = _run(state, history, cavity.rank, cavity.apply, by_rules)
    if passing is not None and (after.last_at is None or passing > after.last_at):
        after.last_at = passing
    return after


def _run(
    state: State,
    history: list[Recorded],
    rank: Callable[[State, Entry], int],
    apply: Callable[[State, Recorded, cavity.Rules], None],
    by_rules: cavity.Rules,
) -> State:
    """Apply entries one after the other. Those of one instant go in the order that could have happened, ids last."""
    for _, group in groupby(history, key=_ordered_at):
        at_once = list(group)
        if len(at_once) == 1:
            apply(state, at_once[0], by_rules)
            continue
        # Of entries that rank alike only the first can be next: else a day's work under one time would cost its square.
        alike: dict[tuple[Kind, str | None, UUID | None], deque[Recorded]] = {}
        for each in at_once:
            alike.setdefault(_likeness(each.entry), deque()).append(each)
        while alike:
            likeliest = min(alike.values(), key=lambda queue: (rank(state, queue[0].entry), queue[0].entry.id))
            now = likeliest.popleft()
            apply(state, now, by_rules)
            if not likeliest:
                del alike[_likeness(now.entry)]
    return state


def _likeness(entry: Entry) -> tuple[Kind, str | None, UUID | None]:
    return entry.kind, entry.cavity, entry.refers_to
