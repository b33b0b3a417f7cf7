"""What is recorded at the bench: words to entries. A fact is never refused, only what can't be understood."""

from msgspec import structs

from scanner_client import dialogue, drafts, phrases
from scanner_client.dialogue import Moment, Phase, Say, State, Turn
from scanner_client.drafts import Author, MalformedError
from service.core.answers import Action
from service.core.entries import Entry, Kind
from service.messages import PlannedStep

MOST_DONE = 200
"""So many entries one typed line may make at most."""


def signed_on(state: State) -> bool:
    """Whether somebody is signed on; MalformedError with what to do if not."""
    if not state.shift.badge:
        raise MalformedError("Nobody is signed on: scan or type your badge first.")
    return True


def done(state: State, chosen: tuple[int, ...], moment: Moment, note: str | None) -> Turn:
    """Record the chosen steps. When none is left, the contacts that went in are up for their seating test."""
    steps = tuple(state.steps[each] for each in chosen)
    made = drafts.of_steps(_author(state), steps, moment, note)
    left = tuple(each for each in state.pending if each not in chosen)
    to_test = _to_test(state.to_test, steps)
    after = structs.replace(state, pending=left, reasoned=(), to_test=to_test, phase=Phase.ANSWERED)
    if not left:
        phase = Phase.TESTING if to_test else Phase.CONNECTOR
        after = structs.replace(after, phase=phase, steps=(), advice=None)
    return _kept(after, made)


def reasoned(state: State, told: str, moment: Moment) -> Turn:
    """The reason that was asked for, or `cancel`."""
    undoing = state.phase is Phase.UNDOING
    if told.lower() == "cancel":
        back = state.back if undoing else Phase.ANSWERED
        return Turn(structs.replace(state, phase=back, reasoned=()), (Say("Cancelled; nothing was recorded."),))
    if not undoing:
        return done(state, state.reasoned, moment, told)
    made = drafts.corrections(state.recent, state.shift, moment, told)
    after = structs.replace(state, phase=state.back, recent=(), to_test=())
    if after.phase is Phase.TESTING:
        after = structs.replace(after, phase=Phase.CONNECTOR)
    return Turn(after, (dialogue.Keep(made), Say("Taken back, with your reason. Both stay in the ledger.")))


def did(state: State, rest: str, moment: Moment) -> Turn:
    """Something that has happened without being asked about: recorded as it is told."""
    author = _author(state)
    _settled(state)
    steps = phrases.steps(phrases.words(rest), state.shift.tool)
    if 2 * len(steps) > MOST_DONE:
        raise phrases.UnclearError(f"Tell at most {MOST_DONE // 2} steps at a time.")
    for each in steps:
        _exists(state, each.cavity)
    made = drafts.of_steps(author, steps, moment)
    to_test = _to_test((), steps)
    phase = Phase.TESTING if to_test else Phase.CONNECTOR
    return _kept(structs.replace(state, phase=phase, steps=(), advice=None, to_test=to_test), made)


def held(state: State, rest: str, moment: Moment) -> Turn:
    """A seating test that held."""
    return _seating(state, rest, moment, holds=True)


def failed(state: State, rest: str, moment: Moment) -> Turn:
    """A seating test that did not hold."""
    return _seating(state, rest, moment, holds=False)


def skip(state: State, rest: str, _: Moment) -> Turn:
    """No seating test of the cavity that is asked about (or `all`)."""
    left = () if rest == "all" else state.to_test[1:]
    phase = Phase.CONNECTOR if state.phase is Phase.TESTING and not left else state.phase
    return Turn(structs.replace(state, to_test=left, phase=phase))


def tine(state: State, rest: str, moment: Moment) -> Turn:
    """A removal tool went in and released nothing: it loaded the tines all the same."""
    cavity = _named(state, rest)
    fields: dict[str, object] = {"cavity": cavity, "tool": state.shift.tool}
    return _kept(state, (drafts.entry(_author(state), Kind.TINE_ENTRY, moment, fields),))


def finding(state: State, rest: str, moment: Moment) -> Turn:
    """Something is wrong with a cavity (`-`: the whole connector): it blocks work until it is closed."""
    return _finding(state, rest, moment, blocks=None)


def remark(state: State, rest: str, moment: Moment) -> Turn:
    """Something worth knowing that does not forbid work."""
    return _finding(state, rest, moment, blocks=False)


def mated(state: State, _rest: str, moment: Moment) -> Turn:
    """The connector was mated."""
    return _kept(state, (drafts.entry(_author(state), Kind.MATING, moment, {}),))


def unmated(state: State, _rest: str, moment: Moment) -> Turn:
    """The connector was unmated."""
    return _kept(state, (drafts.entry(_author(state), Kind.UNMATING, moment, {}),))


def undo(state: State, _rest: str, _moment: Moment) -> Turn:
    """Take back the last act at this bench: asks for the reason first."""
    signed_on(state)
    if not state.recent:
        raise phrases.UnclearError(
            "There is nothing here to take back. Correct an older entry by its id: see 'tinebook-bench record --help'."
        )
    listed = ", ".join(f"{each.kind.replace('_', ' ')} {each.cavity or ''}".strip() for each in state.recent)
    told = f"This will be taken back: {listed}. Type why it was entered in error, or 'cancel'."
    return Turn(structs.replace(state, phase=Phase.UNDOING, back=state.phase), (Say(told, urgent=True),))


def _seating(state: State, rest: str, moment: Moment, *, holds: bool) -> Turn:
    told = phrases.seating(rest.split())
    cavity = told.cavity or (state.to_test[0] if state.to_test else None)
    if cavity is None:
        raise phrases.UnclearError("Say which cavity, like: held 14 67N")
    _exists(state, cavity)
    fields: dict[str, object] = {"cavity": cavity, "held": holds, "force_n": told.force_n}
    made = drafts.entry(_author(state), Kind.SEATING_TEST, moment, fields)
    left = tuple(each for each in state.to_test if each != cavity)
    phase = Phase.CONNECTOR if state.phase is Phase.TESTING and not left else state.phase
    turn = _kept(structs.replace(state, to_test=left, phase=phase), (made,))
    if holds:
        return turn
    warned = f"It did not hold. That insertion has used a cycle. If the contact comes out again, say: remove {cavity}"
    return Turn(turn.state, (*turn.effects, Say(warned, urgent=True)))


def _finding(state: State, rest: str, moment: Moment, *, blocks: bool | None) -> Turn:
    name, _, note = rest.partition(" ")
    if not note:
        raise phrases.UnclearError(
            "Say the cavity ('-' for the whole connector) and what is wrong, like: finding 14 tine bent"
        )
    cavity = None if name == "-" else _named(state, name)
    made = drafts.entry(_author(state), Kind.FINDING, moment, {"cavity": cavity, "note": note, "blocks": blocks})
    return _kept(state, (made,))


def _named(state: State, cavity: str) -> str:
    if not cavity or " " in cavity:
        raise phrases.UnclearError("Say one cavity.")
    _exists(state, cavity)
    return cavity


def _exists(state: State, cavity: str) -> None:
    snapshot = state.subject.snapshot if state.subject else None
    reason = phrases.unknown_cavity(snapshot.definition, cavity) if snapshot else None
    if reason:
        raise phrases.UnclearError(reason)


def _author(state: State) -> Author:
    if state.subject is None:
        raise phrases.UnclearError("Scan the connector first.")
    signed_on(state)
    return Author(state.subject.reference, state.shift)


def _settled(state: State) -> None:
    if state.pending:
        raise phrases.UnclearError("First say what became of the steps that were asked: 'done' or 'not'.")


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
