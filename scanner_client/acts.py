"""What is recorded at the bench: words to entries. A fact is never refused, only what can't be understood."""

from msgspec import structs

from scanner_client import asking, dialogue, drafts, phrases
from scanner_client.dialogue import Moment, Phase, Say, State, Turn
from scanner_client.drafts import Author, MalformedError
from service.core.answers import Action, Answer
from service.core.entries import Entry, Kind
from service.messages import PlannedStep

MOST_DONE = 200
"""So many entries one typed line may make at most."""


def done(state: State, rest: str, moment: Moment) -> Turn:
    """Steps were done: all, some, or of a replacement only the removal. Over a no_go it takes a reason."""
    if not state.pending or state.advice is None:
        raise phrases.UnclearError("Nothing waits to be confirmed. Say what you will do first, like: insert 14")
    told = phrases.confirmed(phrases.words(rest), len(state.steps))
    meant = state.pending if told.places is None else told.places
    chosen = tuple(each for each in meant if each in state.pending)
    if not chosen:
        raise phrases.UnclearError("That step is recorded already.")
    if told.removal_only and any(state.steps[each].action is not Action.REPLACE for each in chosen):
        raise phrases.UnclearError(
            "Only of a replacement can the removal alone be done. Say its number: done 1 removal"
        )
    asked = structs.replace(state, removal_only=told.removal_only)
    stopped = [each for each in chosen if state.advice.step_answer(each) in (None, Answer.NO_GO)]
    return _reason_asked(asked, chosen, stopped) if stopped else _done(asked, chosen, moment, None)


def reasoned(state: State, told: str, moment: Moment) -> Turn:
    """The reason that was asked for, or `cancel`."""
    undoing = state.phase is Phase.UNDOING
    if told.lower() == "cancel":
        back = state.back if undoing else Phase.ANSWERED
        return Turn(structs.replace(state, phase=back, reasoned=()), (Say("Cancelled; nothing was recorded."),))
    if not undoing:
        return _done(state, state.reasoned, moment, told)
    made = drafts.corrections(state.recent, state.shift, moment, told)
    after = structs.replace(state, phase=state.back, recent=(), to_test=())
    if after.phase is Phase.TESTING:
        after = structs.replace(after, phase=Phase.CONNECTOR)
    said = Say("Taken back, with your reason. Both stay in the ledger.")
    return _asked_again(Turn(after, (dialogue.Keep(made), said)))


def did(state: State, rest: str, moment: Moment) -> Turn:
    """Something that has happened without being asked about: recorded as it is told."""
    author = _author(state)
    if state.pending:
        raise phrases.UnclearError("First say what became of the steps that were asked: 'done' or 'not'.")
    steps = tuple(asking.equipped(each, state.tool, state.contact) for each in phrases.steps(phrases.words(rest)))
    if 2 * len(steps) > MOST_DONE:
        raise phrases.UnclearError(f"Tell at most {MOST_DONE // 2} steps at a time.")
    for each in steps:
        asking.exists(state.subject, each.cavity)
    made = drafts.of_steps(author, steps, moment, looked=state.tool_looked_at)
    return _kept(structs.replace(state, to_test=_to_test(state.to_test, steps)).at_rest(), made)


def tine(state: State, rest: str, moment: Moment) -> Turn:
    """A removal tool went in and released nothing: it loaded the tines all the same."""
    looked = True if state.tool and state.tool_looked_at else None
    return kept(
        state, Kind.TINE_ENTRY, moment, {"cavity": _named(state, rest), "tool": state.tool, "tool_looked_at": looked}
    )


def finding(state: State, rest: str, moment: Moment) -> Turn:
    """Something is wrong with a cavity (`-`: the whole connector): it blocks work until it is closed."""
    return _noted(state, Kind.FINDING, rest, moment, "finding 14 tine bent")


def remark(state: State, rest: str, moment: Moment) -> Turn:
    """Something worth knowing that does not forbid work."""
    return _noted(state, Kind.FINDING, rest, moment, "remark 14 grommet swollen", {"blocks": False})


def closed(state: State, rest: str, moment: Moment) -> Turn:
    """A finding is dealt with, and how."""
    return _noted(state, Kind.FINDING_CLOSED, rest, moment, "closed 14 retainer renewed")


def renewed(state: State, rest: str, moment: Moment) -> Turn:
    """A new retainer was fitted (`-`: in every cavity): a new count begins."""
    return _noted(state, Kind.RENEWAL, rest, moment, "renewed 14 by the manual, para. 4")


def mated(state: State, _rest: str, moment: Moment) -> Turn:
    """The connector was mated."""
    return kept(state, Kind.MATING, moment, {})


def unmated(state: State, _rest: str, moment: Moment) -> Turn:
    """The connector was unmated."""
    return kept(state, Kind.UNMATING, moment, {})


def undo(state: State, _rest: str, _moment: Moment) -> Turn:
    """Take back the last act at this bench: asks for the reason first."""
    if not state.recent:
        raise phrases.UnclearError(
            "There is nothing here to take back. Correct an older entry by its id: see 'tinebook-bench record --help'."
        )
    listed = ", ".join(f"{each.kind.replace('_', ' ')} {each.cavity or ''}".strip() for each in state.recent)
    told = f"This will be taken back: {listed}. Type why it was entered in error, or 'cancel'."
    return Turn(structs.replace(state, phase=Phase.UNDOING, back=state.phase), (Say(told, urgent=True),))


def kept(state: State, kind: Kind, moment: Moment, fields: dict[str, object]) -> Turn:
    """One entry of this shift about the connector at hand."""
    return _asked_again(_kept(state, (drafts.entry(_author(state), kind, moment, fields),)))


def _asked_again(turn: Turn) -> Turn:
    """What was recorded may change the answer to steps that are still open."""
    if not turn.state.pending:
        return turn
    again = asking.asked_again(turn.state, tuple(turn.state.steps[each] for each in turn.state.pending))
    return Turn(again.state, (*turn.effects, *again.effects))


def _reason_asked(state: State, chosen: tuple[int, ...], stopped: list[int]) -> Turn:
    numbers = ", ".join(str(each + 1) for each in stopped)
    some = state.advice is not None and state.advice.answer is not None
    answered = f"The answer to step {numbers} was no go" if some else "There was no answer"
    told = f"{answered}. If it was done all the same, type why. Else 'cancel'."
    return Turn(structs.replace(state, phase=Phase.REASON, reasoned=chosen), (Say(told, urgent=True),))


def _done(state: State, chosen: tuple[int, ...], moment: Moment, note: str | None) -> Turn:
    """Record the chosen steps. When none is left, the contacts that went in are up for their seating test."""
    steps = tuple(_as_done(state.steps[each], removal_only=state.removal_only) for each in chosen)
    made = drafts.of_steps(_author(state), steps, moment, note, looked=state.tool_looked_at)
    left = tuple(each for each in state.pending if each not in chosen)
    after = structs.replace(state, to_test=_to_test(state.to_test, steps))
    if left:
        return _kept(structs.replace(after, pending=left, reasoned=(), phase=Phase.ANSWERED), made)
    return _kept(after.at_rest(), made)


def _as_done(step: PlannedStep, *, removal_only: bool) -> PlannedStep:
    return structs.replace(step, action=Action.REMOVE, contact=None) if removal_only else step


def _noted(
    state: State, kind: Kind, rest: str, moment: Moment, like: str, more: dict[str, object] | None = None
) -> Turn:
    name, _, note = rest.partition(" ")
    if not note:
        raise phrases.UnclearError(
            f"Say the cavity ('-' for the whole connector), and then what is wrong or was done, like: {like}"
        )
    cavity = None if name == "-" else _named(state, name)
    return kept(state, kind, moment, {"cavity": cavity, "note": note, **(more or {})})


def _named(state: State, cavity: str) -> str:
    if not cavity or " " in cavity:
        raise phrases.UnclearError("Say one cavity.")
    asking.exists(state.subject, cavity)
    return cavity


def _author(state: State) -> Author:
    if state.subject is None:
        raise phrases.UnclearError("Scan the connector first.")
    if not state.shift.badge:
        raise MalformedError("Nobody is signed on: scan or type your badge first.")
    return Author(state.subject.reference, state.shift)


def _to_test(waiting: tuple[str, ...], steps: tuple[PlannedStep, ...]) -> tuple[str, ...]:
    """The cavities that hold a new contact now, in the order of the work."""
    found = list(waiting)
    for each in steps:
        found = [cavity for cavity in found if cavity != each.cavity]
        if each.action is not Action.REMOVE:
            found.append(each.cavity)
    return tuple(found)


def _kept(state: State, made: tuple[Entry, ...]) -> Turn:
    return Turn(structs.replace(state, recent=made), (dialogue.Keep(made),))
