"""Before the work: choosing cavities, tool and contact, asking, and asking again when something of it changes. Pure."""

from msgspec import structs

from scanner_client import dialogue, phrases, shifts
from scanner_client.dialogue import Advice, Basis, Field, Phase, Say, State, Subject, Turn
from service.core.answers import Action
from service.messages import PlannedStep

LOOKED = "That the tool was looked over (tip straight, not chipped, clean) is recorded with the work."
NOT_LOOKED = "No look at the tool is recorded."


def plan(state: State, told: str) -> Turn:
    """Ask about steps; a word like `insert` alone is about the cavities that were chosen by their marks."""
    if state.subject is None:
        raise phrases.UnclearError("Scan the connector first.")
    if state.pending:
        return Turn(state, (Say(shifts.UNSETTLED, urgent=True),))
    words = phrases.words(told)
    steps = phrases.steps([*words, *state.chosen] if len(words) == 1 and words[0].lower() in phrases.ACTIONS else words)
    _known(state.subject, steps)
    return _asked(state, tuple(equipped(each, state.tool, state.contact) for each in steps))


def equipped(step: PlannedStep, tool: str | None, contact: str | None) -> PlannedStep:
    """A step with the tool and the contact at hand. A tool that it names itself stays."""
    return structs.replace(step, tool=step.tool or tool, contact=None if step.action is Action.REMOVE else contact)


def equip(state: State, field: Field, told: str | None) -> Turn:
    """Another tool or contact: what it changes of the answer must be seen before the work."""
    if state.subject is None:
        return Turn(structs.replace(state, expects=None), (Say("Scan the connector first.", urgent=True),))
    name = shifts.named(told, field.value) if told else None
    said = Say(f"The {field.value} is now {name}." if name else f"No {field.value} any more.")
    before, changed = state.tool, structs.replace(state, expects=None, **{field.value: name})
    if field is Field.TOOL:
        changed = structs.replace(changed, tool_looked_at=False)
    if not state.pending:
        return Turn(changed, (said,))
    steps = tuple(structs.replace(each, tool=None if each.tool == before else each.tool) for each in _pending(state))
    turn = asked_again(changed, steps)
    return Turn(turn.state, (said, *turn.effects))


def asked_again(state: State, steps: tuple[PlannedStep, ...]) -> Turn:
    """Ask about what is still open. It stays open while the answer is fetched: no failure may make it forgotten."""
    turn = _asked(state, tuple(equipped(each, state.tool, state.contact) for each in steps))
    return Turn(structs.replace(turn.state, pending=tuple(range(len(steps)))), turn.effects)


def taken_up(state: State) -> Turn:
    """The connector of what was left unsettled is at hand again: ask anew, or go on testing."""
    left = state.resume
    assert left is not None  # noqa: S101 - the caller has looked
    back = structs.replace(state, resume=None, tool=left.tool, contact=left.contact, to_test=left.to_test)
    return asked_again(back, left.steps) if left.steps else Turn(back.at_rest())


def answered(state: State, advice: Advice) -> Turn:
    """The answer has come."""
    if not state.steps:
        return Turn(state)
    every = tuple(range(len(state.steps)))
    return Turn(structs.replace(state, phase=Phase.ANSWERED, advice=advice, pending=every))


def failed(state: State, text: str) -> Turn:
    """Something could not be done. Steps that were open already stay so, without an answer; new ones are not asked."""
    said = (Say(text, urgent=True),)
    if state.advice is not None or not state.steps:
        return Turn(state, said)
    if not state.pending:
        return Turn(structs.replace(state, steps=()), said)
    nothing = Advice(plan=None, basis=Basis.NOTHING, remarks=(text,))
    return Turn(structs.replace(state, phase=Phase.ANSWERED, advice=nothing), said)


def looked(state: State, *, was: bool) -> Turn:
    """The look at the tool before it goes in."""
    if state.tool is None and all(each.tool is None for each in state.steps):
        raise phrases.UnclearError("Scan or type the tool first, like: tool M81969/14-02")
    return Turn(structs.replace(state, tool_looked_at=was), (Say(LOOKED if was else NOT_LOOKED),))


def drop(state: State, rest: str) -> Turn:
    """Leave steps out of the plan and ask about the others."""
    if not state.pending:
        raise phrases.UnclearError("Nothing is asked, so there is nothing to leave out.")
    if not rest:
        raise phrases.UnclearError("Say which step to leave out, like: drop 2")
    out = phrases.places(phrases.words(rest), len(state.steps))
    left = tuple(state.steps[each] for each in state.pending if each not in out)
    return asked_again(state, left) if left else not_done(state)


def not_done(state: State) -> Turn:
    """Another cavity or part instead: the question is withdrawn."""
    if state.phase is Phase.CHOOSING or state.resume is not None:
        return Turn(shifts.without(state).cleared(Phase.READY), (Say("Nothing more of it is recorded."),))
    if not state.pending:
        return Turn(structs.replace(state, chosen=()))
    return Turn(state.at_rest(), (Say("Nothing more of it is recorded."),))


def toggle(state: State, cavity: str) -> Turn:
    """Choose a cavity by its mark, or leave it out again."""
    if state.subject is None:
        return Turn(state, (Say("Scan the connector first.", urgent=True),))
    if state.pending:
        return Turn(state, (Say(shifts.UNSETTLED, urgent=True),))
    exists(state.subject, cavity)
    there = cavity in state.chosen
    chosen = tuple(each for each in state.chosen if each != cavity) if there else (*state.chosen, cavity)
    told = f"Chosen: {', '.join(chosen)}. Say insert, remove or replace." if chosen else "No cavity is chosen any more."
    return Turn(structs.replace(state, chosen=chosen), (Say(told),))


def exists(subject: Subject | None, cavity: str) -> None:
    """UnclearError for a cavity that this connector has not, where its cavities are known."""
    snapshot = subject.snapshot if subject else None
    reason = phrases.unknown_cavity(snapshot.definition, cavity) if snapshot else None
    if reason:
        raise phrases.UnclearError(reason)


def _known(subject: Subject, steps: tuple[PlannedStep, ...]) -> None:
    for each in steps:
        exists(subject, each.cavity)


def _asked(state: State, steps: tuple[PlannedStep, ...]) -> Turn:
    assert state.subject is not None  # noqa: S101 - the callers have looked
    asked = structs.replace(state, steps=steps, advice=None, chosen=())
    return Turn(asked, (dialogue.Ask(state.subject, steps),))


def _pending(state: State) -> tuple[PlannedStep, ...]:
    return tuple(state.steps[each] for each in state.pending)
