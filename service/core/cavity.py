"""One cavity: what each kind of entry does to it, and what that says about the entry."""

from collections.abc import Callable, Iterable
from uuid import UUID

from msgspec import Struct

from service.core import cycles, entries
from service.core.discrepancies import Code
from service.core.entries import Definition, Entry, Kind, Recorded
from service.core.states import CavityState, Discrepancy, Finding, WholeState, including


class Rules(Struct, frozen=True):
    """What entries are measured by: the ratings of the connector, and the discrepancies somebody has settled."""

    rating: int | None
    mating_rating: int | None
    first_insertion_counts: bool
    settled: frozenset[tuple[UUID, str | None]]

    def note(self, state: CavityState | WholeState, entry: UUID, code: Code) -> None:
        """Put a discrepancy on the open list, unless it was settled."""
        if (entry, code) in self.settled or (entry, None) in self.settled:
            return
        state.discrepancies = including(state.discrepancies, Discrepancy(entry, code))


def rules(definition: Definition, settled: frozenset[tuple[UUID, str | None]] = frozenset()) -> Rules:
    """The rules that hold for a connector."""
    rating, mating = definition.rating, definition.mating_rating
    return Rules(
        rating=rating.value if rating else None,
        mating_rating=mating.value if mating else None,
        first_insertion_counts=rating.first_insertion_counts if rating else True,
        settled=settled,
    )


def rank(state: CavityState, entry: Entry) -> int:
    """Which of several entries of one instant comes first: the one that fits the state, so that a swap reads as one."""
    match entry.kind:
        case Kind.FINDING_CLOSED:
            return 0 if closed(entry, state.findings) else 7
        case Kind.SEATING_TEST:
            return 1 if state.occupied and not state.seating_tests else 7
        case Kind.REMOVAL:
            return 2 if state.occupied is not False else 8
        case Kind.RENEWAL:
            return 3
        case Kind.CARRY_IN:
            # After a renewal of the same day: taken the other way round, the count that was carried in would be gone.
            return 4
        case Kind.INSERTION:
            return 5 if state.occupied is False else 9
        case Kind.RETIREMENT:
            return 10
        case _:
            return 6


def apply(state: CavityState, recorded: Recorded, judged_by: Rules) -> None:
    """Let one entry act on the state of the cavity, in place."""
    entry = recorded.entry
    if entry.cavity is not None:
        for code in recorded.noted:
            judged_by.note(state, entry.id, Code(code))
    act = _ACTS.get(entry.kind)
    if act is not None:
        act(state, entry, judged_by)
    state.last_at = recorded.ordered_at


def _work(state: CavityState, entry: Entry, judged_by: Rules) -> None:
    """What holds for every entry of a tool or a contact into the cavity."""
    if state.retired:
        judged_by.note(state, entry.id, Code.WORK_AFTER_RETIREMENT)
    if state.blocked:
        judged_by.note(state, entry.id, Code.WORKED_WITH_OPEN_FINDING)


def _count(state: CavityState, entry: Entry, judged_by: Rules, counts: cycles.Counts) -> None:
    before = cycles.begun(state.counts, judged_by.first_insertion_counts)
    after = cycles.begun(counts, judged_by.first_insertion_counts)
    state.insertions, state.removals, state.tine_entries = counts.insertions, counts.removals, counts.tine_entries
    if judged_by.rating is not None and after > judged_by.rating and after > before:
        judged_by.note(state, entry.id, Code.OVER_RATING)


def _insertion(state: CavityState, entry: Entry, judged_by: Rules) -> None:
    _work(state, entry, judged_by)
    if state.occupied:
        judged_by.note(state, entry.id, Code.INSERTED_WHILE_OCCUPIED)
    counts = cycles.Counts(state.insertions + 1, state.removals, state.tine_entries)
    _count(state, entry, judged_by, counts)
    state.occupied, state.contact, state.seating_tests, state.held = True, entry.contact, 0, None


def _removal(state: CavityState, entry: Entry, judged_by: Rules) -> None:
    _work(state, entry, judged_by)
    if state.occupied is False:
        judged_by.note(state, entry.id, Code.REMOVED_WHILE_EMPTY)
    counts = cycles.Counts(state.insertions, state.removals + 1, state.tine_entries)
    _count(state, entry, judged_by, counts)
    state.occupied, state.contact, state.seating_tests, state.held = False, None, 0, None


def _tine_entry(state: CavityState, entry: Entry, judged_by: Rules) -> None:
    _work(state, entry, judged_by)
    counts = cycles.Counts(state.insertions, state.removals, state.tine_entries + 1)
    _count(state, entry, judged_by, counts)


def _seating_test(state: CavityState, entry: Entry, judged_by: Rules) -> None:
    if state.occupied is False:
        judged_by.note(state, entry.id, Code.SEATING_TEST_OF_EMPTY)
    if entries.is_pull(entry):
        state.seating_tests += 1
        if state.seating_tests > 1:
            judged_by.note(state, entry.id, Code.SECOND_SEATING_TEST)
    if entry.level is False:
        # A contact that stands out of line is not seated, whatever the pull said.
        state.held, state.did_not_hold = False, True
    elif entry.held is not None:
        state.held, state.did_not_hold = entry.held, not entry.held


def finding(entry: Entry) -> Finding:
    """The finding that an entry opens."""
    return Finding(entry.id, entry.blocks is not False, wide=entry.cavity is None)


def closed(entry: Entry, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings that a closing means: the one it refers to, else all raised where it is recorded itself.

    One that names nothing must not reach further: to clean a connector does not straighten the bent tine of a cavity.
    """
    if entry.refers_to is not None:
        return tuple(each for each in findings if each.entry == entry.refers_to)
    return tuple(each for each in findings if each.wide is (entry.cavity is None))


def _finding(state: CavityState, entry: Entry, _: Rules) -> None:
    state.findings = (*state.findings, finding(entry))


def _finding_closed(state: CavityState, entry: Entry, judged_by: Rules) -> None:
    gone = closed(entry, state.findings)
    # A closing of the whole connector's may mean a finding of another cavity, so only one that names this cavity can miss.
    if not gone and entry.cavity is not None:
        judged_by.note(state, entry.id, Code.CLOSED_NO_FINDING)
    state.findings = tuple(each for each in state.findings if each not in gone)


def _renewal(state: CavityState, entry: Entry, judged_by: Rules) -> None:
    if state.retired:
        judged_by.note(state, entry.id, Code.WORK_AFTER_RETIREMENT)
    if state.occupied:
        judged_by.note(state, entry.id, Code.RENEWED_WHILE_OCCUPIED)
    state.life += 1
    # A retainer can only be fitted to a cavity without a contact; the contact's insertion counts in the new life.
    state.occupied, state.known, state.carried, state.opening = False, True, False, (0, 0, 0)
    state.insertions = state.removals = state.tine_entries = state.seating_tests = 0
    state.contact, state.held, state.did_not_hold = None, None, False


def _carry_in(state: CavityState, entry: Entry, judged_by: Rules) -> None:
    had = (
        state.insertions - state.opening[0],
        state.removals - state.opening[1],
        state.tine_entries - state.opening[2],
    )
    if state.carried:
        judged_by.note(state, entry.id, Code.CARRY_IN_TWICE)
    elif any(had):
        judged_by.note(state, entry.id, Code.CARRY_IN_AFTER_ENTRIES)
    insertions, removals = entry.insertions or 0, entry.removals or 0
    if entry.occupied and insertions <= removals:
        # A contact that is in went in once more often than one came out: the greater count is the safe one.
        judged_by.note(state, entry.id, Code.CARRY_IN_CONTRADICTS)
        insertions = removals + 1
    sourced = bool(entry.source or entry.note)
    if not sourced:
        judged_by.note(state, entry.id, Code.CARRY_IN_WITHOUT_SOURCE)
    stated = (insertions, removals, entry.tine_entries or 0)
    opening = (max(stated[0], state.opening[0]), max(stated[1], state.opening[1]), max(stated[2], state.opening[2]))
    state.opening, state.carried = opening, True
    # Slips of a tool alone don't say how often a contact went in, and a figure from nowhere is no history.
    state.known = state.known or (sourced and (entry.insertions is not None or entry.removals is not None))
    _count(state, entry, judged_by, cycles.Counts(had[0] + opening[0], had[1] + opening[1], had[2] + opening[2]))
    if entry.occupied is not None:
        state.occupied = entry.occupied


def _retirement(state: CavityState, _entry: Entry, _rules: Rules) -> None:
    state.retired = True


_ACTS: dict[Kind, Callable[[CavityState, Entry, Rules], None]] = {
    Kind.INSERTION: _insertion,
    Kind.REMOVAL: _removal,
    Kind.TINE_ENTRY: _tine_entry,
    Kind.SEATING_TEST: _seating_test,
    Kind.FINDING: _finding,
    Kind.FINDING_CLOSED: _finding_closed,
    Kind.RENEWAL: _renewal,
    Kind.CARRY_IN: _carry_in,
    Kind.RETIREMENT: _retirement,
}
ACTING = frozenset(_ACTS)
"""Kinds that change a cavity. An entry of another kind that names none passes it by: it leaves its time."""
