"""The connector as a whole: mating, placement, retirement, and what concerns no single cavity."""

from service.core import cavity
from service.core.discrepancies import Code
from service.core.entries import Entry, Kind, Recorded
from service.core.states import WholeState


def rank(state: WholeState, entry: Entry) -> int:
    """Which of several entries of one instant comes first: the one that fits the state."""
    match entry.kind:
        case Kind.FINDING_CLOSED:
            return 1 if cavity.closed(entry, state.findings) else 3
        case Kind.MATING:
            return 1 if state.mated is False else 3
        case Kind.UNMATING:
            return 1 if state.mated else 3
        case Kind.RETIREMENT:
            return 4
        case _:
            return 2


def apply(state: WholeState, recorded: Recorded, judged_by: cavity.Rules) -> None:
    """Let one entry that names no single cavity act on the whole, in place."""
    entry = recorded.entry
    for code in recorded.noted:
        judged_by.note(state, entry.id, Code(code))
    match entry.kind:
        case Kind.MATING:
            _mating(state, entry, judged_by)
        case Kind.UNMATING:
            if state.mated is False:
                judged_by.note(state, entry.id, Code.UNMATED_WHILE_UNMATED)
            state.unmatings += 1
            state.mated = False
        case Kind.PLACEMENT:
            state.asset, state.zone, state.position = entry.asset, entry.zone, entry.position
        case Kind.RETIREMENT:
            state.retired = True
        case Kind.FINDING:
            state.findings = (*state.findings, cavity.finding(entry))
        case Kind.FINDING_CLOSED:
            gone = cavity.closed(entry, state.findings)
            # One that refers to a finding may mean a cavity's.
            if not gone and entry.refers_to is None:
                judged_by.note(state, entry.id, Code.CLOSED_NO_FINDING)
            state.findings = tuple(each for each in state.findings if each not in gone)
        case _:
            pass
    state.last_at = recorded.ordered_at


def _mating(state: WholeState, entry: Entry, judged_by: cavity.Rules) -> None:
    if state.retired:
        judged_by.note(state, entry.id, Code.WORK_AFTER_RETIREMENT)
    if state.mated:
        judged_by.note(state, entry.id, Code.MATED_WHILE_MATED)
    state.matings += 1
    state.mated = True
    # EIA-364-09C counts one mating cycle as fully mated and fully unmated; the greater half count is the safe one.
    if judged_by.mating_rating is not None and max(state.matings, state.unmatings) > judged_by.mating_rating:
        judged_by.note(state, entry.id, Code.OVER_MATING_RATING)
