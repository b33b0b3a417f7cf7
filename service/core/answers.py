"""The answer to a step that somebody is about to do: go, warn or no_go, with every reason that bears on it."""

import enum

from msgspec import Struct

from service.core import cycles, tooling
from service.core.contacts import ContactFit
from service.core.entries import Definition, HouseRule
from service.core.states import CavityState, WholeState


class Answer(enum.StrEnum):
    """What the system says to a step that somebody is about to do."""

    GO = "go"
    WARN = "warn"
    NO_GO = "no_go"


class Action(enum.StrEnum):
    """What somebody is about to do to a cavity. A replacement is a removal and then an insertion."""

    INSERT = "insert"
    REMOVE = "remove"
    REPLACE = "replace"


class ToolFit(enum.StrEnum):
    """What is known of the tool somebody means to use."""

    NOT_STATED = "not_stated"
    FITS = "fits"
    UNKNOWN = "unknown"
    WRONG = "wrong"


class Brought(Struct, frozen=True):
    """What somebody brings to a step, as far as it is stated: the tool, the contact, and whether the tool's check is overdue."""

    tool: ToolFit = ToolFit.NOT_STATED
    contact: ContactFit = ContactFit.NOT_STATED
    tool_overdue: bool = False


NOTHING_STATED = Brought()


class Reason(Struct, frozen=True):
    """Why an answer is not a plain go: a stable code, how far it pulls the answer, and a sentence to read aloud."""

    code: str
    answer: Answer
    text: str


class Judged(Struct, frozen=True):
    """A step with its answer, the reasons in falling weight, and where the retainer stands before it."""

    answer: Answer
    reasons: tuple[Reason, ...]
    standing: cycles.Standing


_WEIGHT = {Answer.GO: 0, Answer.WARN: 1, Answer.NO_GO: 2}

SENTENCES = {
    "nearing": "Cycle {next} of {rating}: this retainer is nearing its rating.",
    "spent": "This would be cycle {next} of a retainer rated {rating}. It can't take a contact again before it is renewed.",
    "last_removal": "The last thing that this cavity allows: it can't take a contact again before its retainer is renewed.",
    "no_rating": "No rating is recorded for this connector, so nothing says how many cycles the retainer may have.",
    "history_unknown": "The history of this retainer is not known: {begun} cycles are recorded, there may be more.",
    "occupied": "As recorded, a contact is in this cavity. Remove it first, or check the cavity id.",
    "empty": "As recorded, this cavity is empty: there is nothing to remove. Check the cavity id.",
    "occupancy_unknown": "It is not recorded whether a contact is in this cavity. Look before the tool goes in.",
    "open_finding": "An open finding forbids work on this cavity until it is closed.",
    "did_not_hold": "The last seating test in this cavity did not hold. Look at the retainer before another contact goes in.",
    "time_in_doubt": "An entry for this cavity has a time that can't be right, so its count may be wrong.",
    "entries_waiting": "Entries that may be about this cavity wait to be assigned to their connector: its count may be too low.",
    "retired": "This connector is retired.",
    "wrong_tool": "The tool is for another contact size or for the other half of the job.",
    "unknown_tool": "The tool is not one that Tinebook knows: check that it is the right size and kind.",
    "tool_overdue": "The tool was due for a check before today: let it be checked before it goes into a cavity.",
    "wrong_contact": "The contact is for another size of cavity, or for the other half: pin instead of socket.",
    "unknown_contact": "Tinebook can't judge this contact for this cavity: check its size, and whether pin or socket.",
}


def worst(answers: list[Answer]) -> Answer:
    """The answer to several steps is that of the worst one; go if there are none."""
    return max(answers, key=_WEIGHT.__getitem__, default=Answer.GO)


def judge(
    definition: Definition,
    house: HouseRule,
    whole: WholeState,
    state: CavityState,
    action: Action,
    brought: Brought = NOTHING_STATED,
    *,
    awaited: bool = False,
) -> Judged:
    """Answer one step on the state that it meets. Design 3: everything is judged on `next`, at the removal already.

    `awaited`: entries that were accepted may be about this cavity and are in no ledger yet.
    """
    figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
    stands = cycles.standing(state.counts, state.occupied, state.known, figures)
    found = [
        *_wear(stands, state, action, figures, house),
        *_occupancy(state, action),
        *_circumstances(whole, state),
        *([("entries_waiting", Answer.WARN)] if awaited else []),
        *_tool(brought),
        *(_contact(brought.contact) if action is not Action.REMOVE else []),
    ]
    reasons = tuple(
        Reason(code, answer, SENTENCES[code].format(next=stands.next, rating=figures.rating, begun=stands.begun))
        for code, answer in sorted(found, key=lambda each: -_WEIGHT[each[1]])
    )
    return Judged(worst([each.answer for each in reasons]), reasons, stands)


def _wear(
    stands: cycles.Standing, state: CavityState, action: Action, figures: cycles.Limits, house: HouseRule
) -> list[tuple[str, Answer]]:
    found = []
    if figures.rating is not None and stands.next > figures.rating:
        last = action is Action.REMOVE
        found.append(("last_removal", Answer.WARN) if last else ("spent", Answer.NO_GO))
    elif figures.rating is not None and stands.next >= figures.nearing_from:
        found.append(("nearing", Answer.WARN))
    unknown = Answer.NO_GO if house.unknown == "no_go" and action is not Action.REMOVE else Answer.WARN
    if figures.rating is None:
        found.append(("no_rating", unknown))
    if not state.known:
        found.append(("history_unknown", unknown))
    return found


def _occupancy(state: CavityState, action: Action) -> list[tuple[str, Answer]]:
    if state.occupied is None:
        return [("occupancy_unknown", Answer.WARN)]
    if state.occupied and action is Action.INSERT:
        return [("occupied", Answer.NO_GO)]
    if not state.occupied and action is not Action.INSERT:
        return [("empty", Answer.NO_GO)]
    return []


def _circumstances(whole: WholeState, state: CavityState) -> list[tuple[str, Answer]]:
    found = []
    if state.blocked:
        found.append(("open_finding", Answer.NO_GO))
    if whole.retired or state.retired:
        found.append(("retired", Answer.NO_GO))
    if state.did_not_hold:
        found.append(("did_not_hold", Answer.WARN))
    if state.time_in_doubt or whole.time_in_doubt:
        found.append(("time_in_doubt", Answer.WARN))
    return found


def _tool(brought: Brought) -> list[tuple[str, Answer]]:
    found = []
    if brought.tool is ToolFit.WRONG:
        found.append(("wrong_tool", Answer.NO_GO))
    if brought.tool is ToolFit.UNKNOWN:
        found.append(("unknown_tool", Answer.WARN))
    if brought.tool_overdue:
        found.append(("tool_overdue", Answer.WARN))
    return found


def _contact(fit: ContactFit) -> list[tuple[str, Answer]]:
    match fit:
        case ContactFit.WRONG:
            return [("wrong_contact", Answer.NO_GO)]
        case ContactFit.UNKNOWN:
            return [("unknown_contact", Answer.WARN)]
        case _:
            return []


def tool_fit(tools: tooling.Tooling | None, part_number: str | None, contact_size: str, action: Action) -> ToolFit:
    """Whether a tool of that part number serves the step. For a replacement one half is enough: the other takes another tool."""
    if part_number is None:
        return ToolFit.NOT_STATED
    same = [] if tools is None else [each for each in tools.tools if each.part_number == part_number]
    if not same:
        return ToolFit.UNKNOWN
    half = _HALVES.get(action)
    serves = any(each.contact_size == contact_size and half in (None, each.half) for each in same)
    return ToolFit.FITS if serves else ToolFit.WRONG


_HALVES = {Action.INSERT: tooling.Half.INSERT, Action.REMOVE: tooling.Half.REMOVE}
"""The half of the job that a step is; a replacement is both."""
