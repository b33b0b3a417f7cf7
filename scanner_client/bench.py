"""The dialogue at the bench: (state, heard, moment) -> (state, effects). Pure.

Scan a connector, say what will be done, see the answer, do it, say that it was done. An answer stops nobody: what
happened can always be recorded, and over a no_go with a reason.
"""

from collections.abc import Callable
from typing import assert_never

import msgspec
from msgspec import structs

from scanner_client import acts, dialogue, phrases, readings
from scanner_client.dialogue import Effect, Field, Heard, Moment, Phase, Say, State, Subject, Turn
from scanner_client.drafts import MalformedError
from service.core.answers import Answer
from service.core.entries import Entry, Text
from service.messages import ConnectorLine, PlannedStep

_REASONS = (Phase.REASON, Phase.UNDOING)
UNSETTLED = "First say what became of this: 'done' if you did it, 'not' if you did not."


def begin(shift: dialogue.Shift, recent: tuple[Entry, ...] = ()) -> State:
    """A new talk, with the shift that was remembered and the last act, which can still be taken back."""
    return State(shift=shift, recent=recent, expects=None if shift.badge else Field.BADGE)


def wants(state: State) -> int:
    """How many fresh ids the next thing heard may use at most."""
    return max(2 * len(state.steps), len(state.recent), acts.MOST_DONE) + 1


def step(state: State, heard: Heard, moment: Moment) -> Turn:
    """Take one thing heard: from the person, or from what was wanted before."""
    match heard:
        case dialogue.Line(text):
            return _guarded(state, text, moment)
        case dialogue.Scanned(reading):
            return _scanned(state, reading, moment)
        case dialogue.Failed(text):
            return Turn(state, (Say(text, urgent=True),))
        case _:
            return _told(state, heard)


def _told(state: State, heard: dialogue.Told) -> Turn:
    """Take what came of something that was wanted."""
    match heard:
        case dialogue.Found(mark, connectors):
            return _found(state, mark, connectors)
        case dialogue.Missing(mark, why):
            subject = Subject(mark=mark, name=readings.typed(mark).shown, remarks=(why,))
            return Turn(_at(state, subject), (Say(why, urgent=True),))
        case dialogue.Opened(subject):
            return Turn(_at(state, subject), tuple(Say(each, urgent=True) for each in subject.remarks))
        case dialogue.Advised(advice):
            every = tuple(range(len(state.steps)))
            return Turn(structs.replace(state, phase=Phase.ANSWERED, advice=advice, pending=every))
        case _:
            assert_never(heard)


def _guarded(state: State, text: str, moment: Moment) -> Turn:
    try:
        return _line(state, text, moment)
    except (phrases.UnclearError, MalformedError) as error:
        return Turn(state, (Say(str(error), urgent=True),))


def _line(state: State, text: str, moment: Moment) -> Turn:
    """A typed line: a reason or a field where one was asked for, else a command, else what the phase makes of it."""
    told = text.strip() if state.phase in _REASONS else " ".join(text.split())
    if not told:
        return Turn(state)
    if state.phase in _REASONS:
        if told.lower() in _COMMANDS.keys() - {"cancel"}:
            raise phrases.UnclearError(f"'{told}' is no reason. Type why, in your own words, or 'cancel'.")
        return acts.reasoned(state, told, moment)
    if state.expects is not None:
        return _field(state, state.expects, told)
    word, _, rest = told.partition(" ")
    command = _COMMANDS.get(word.lower())
    return command(state, rest, moment) if command else _no_command(state, told)


def _no_command(state: State, told: str) -> Turn:
    if told.partition(":")[0].lower() in phrases.ACTIONS:
        return _plan(state, told)
    if state.phase is Phase.CHOOSING:
        return _choose(state, told)
    if state.phase is Phase.READY:
        return _find(state, readings.typed(told))
    return Turn(state, (Say(f"'{told}' is not understood here. Say 'help' to see what is.", urgent=True),))


def _scanned(state: State, reading: readings.Reading, moment: Moment) -> Turn:
    if state.phase in _REASONS:
        return Turn(state, (Say("Type the reason first, or 'cancel'.", urgent=True),))
    # A whole ISO/IEC 15434 message names a thing, so it is nobody's badge.
    if state.expects is not None and not (
        state.expects is Field.BADGE and reading.data.startswith(readings.MESSAGE_START)
    ):
        return _field(state, state.expects, reading.text)
    # A card with a command on it, for hands in gloves.
    if reading.text.partition(" ")[0] in COMMANDS:
        return _guarded(state, reading.text, moment)
    return _find(state, reading)


def _find(state: State, reading: readings.Reading) -> Turn:
    reason = readings.fault(reading)
    if reason:
        return Turn(state, (Say(reason, urgent=True),))
    if state.pending:
        return Turn(state, (Say(UNSETTLED, urgent=True),))
    return Turn(state, (*_untested(state), dialogue.Find(reading)))


def _found(state: State, mark: str, connectors: tuple[ConnectorLine, ...]) -> Turn:
    if len(connectors) == 1:
        return Turn(state, (dialogue.Open(connectors[0].id, mark),))
    told = f"{len(connectors)} connectors carry this mark. Compare part numbers and say the number of yours."
    return Turn(_cleared(state, Phase.CHOOSING, choices=connectors, mark=mark), (Say(told, urgent=True),))


def _choose(state: State, word: str) -> Turn:
    place = phrases.places([word], len(state.choices))[0]
    return Turn(state, (dialogue.Open(state.choices[place].id, state.mark),))


def _at(state: State, subject: Subject) -> State:
    return _cleared(state, Phase.CONNECTOR, subject=subject)


def _cleared(state: State, phase: Phase, **fields: object) -> State:
    """The same shift and the same last act, with nothing else at hand."""
    return State(phase=phase, shift=state.shift, expects=state.expects, recent=state.recent, **fields)  # type: ignore[arg-type]


def _field(state: State, field: Field, told: str) -> Turn:
    name = field.replace("_", " ")
    try:
        value = None if told == "-" else msgspec.convert(told, Text)
    except msgspec.ValidationError:
        raise phrases.UnclearError(f"That can't be a {name}: it needs 1 to 200 printable characters.") from None
    shift = structs.replace(state.shift, **{field.value: value})
    # Nothing can be recorded by nobody, so an empty badge is asked for again.
    expects = Field.BADGE if shift.badge is None else None
    said = f"The {name} is now {value}." if value else f"No {name} any more."
    return Turn(structs.replace(state, shift=shift, expects=expects), (dialogue.Remember(shift), Say(said)))


def _set(field: Field) -> "_Command":
    def command(state: State, rest: str, _: Moment) -> Turn:
        if rest:
            return _field(state, field, rest)
        return Turn(
            structs.replace(state, expects=field), (Say(f"Scan or type the {field.replace('_', ' ')}; '-' for none."),)
        )

    return command


def _plan(state: State, told: str) -> Turn:
    if state.subject is None:
        raise phrases.UnclearError("Scan the connector first.")
    if state.pending:
        return Turn(state, (Say(UNSETTLED, urgent=True),))
    steps = phrases.steps(phrases.words(told), state.shift.tool)
    _known(state.subject, steps)
    asked = structs.replace(state, steps=steps, advice=None, to_test=())
    return Turn(asked, (dialogue.Ask(state.subject, steps),))


def _known(subject: Subject, steps: tuple[PlannedStep, ...]) -> None:
    if subject.snapshot is None:
        return
    for each in steps:
        reason = phrases.unknown_cavity(subject.snapshot.definition, each.cavity)
        if reason:
            raise phrases.UnclearError(reason)


def _done(state: State, rest: str, moment: Moment) -> Turn:
    if not state.pending or state.advice is None:
        raise phrases.UnclearError("Nothing waits to be confirmed. Say what you will do first, like: insert 14")
    meant = phrases.places(phrases.words(rest), len(state.steps)) if rest else state.pending
    chosen = tuple(each for each in meant if each in state.pending)
    if not chosen:
        raise phrases.UnclearError("That step is recorded already.")
    stopped = [each for each in chosen if state.advice.step_answer(each) in (None, Answer.NO_GO)]
    if stopped and acts.signed_on(state):
        numbers = ", ".join(str(each + 1) for each in stopped)
        answered = f"The answer to step {numbers} was no go" if state.advice.answer else "There was no answer"
        told = f"{answered}. If it was done all the same, type why. Else 'cancel'."
        return Turn(structs.replace(state, phase=Phase.REASON, reasoned=chosen), (Say(told, urgent=True),))
    return acts.done(state, chosen, moment, None)


def _not_done(state: State, _rest: str, _moment: Moment) -> Turn:
    if state.phase is Phase.CHOOSING:
        return Turn(_cleared(state, Phase.READY))
    if not state.pending:
        return Turn(state)
    left = structs.replace(state, phase=Phase.CONNECTOR, steps=(), advice=None, pending=())
    return Turn(left, (Say("Nothing more of it is recorded."),))


def _next(state: State, rest: str, _: Moment) -> Turn:
    if state.pending:
        return Turn(state, (Say(UNSETTLED, urgent=True),))
    if rest:
        return _find(state, readings.typed(rest))
    return Turn(_cleared(state, Phase.READY), _untested(state))


def _untested(state: State) -> tuple[Effect, ...]:
    if not state.to_test:
        return ()
    return (Say(f"No seating test is recorded for {', '.join(state.to_test)}."),)


def _show(what: str) -> "_Command":
    def command(state: State, _rest: str, _moment: Moment) -> Turn:
        return Turn(state, (dialogue.Show(what),))

    return command


def _send(state: State, _rest: str, _moment: Moment) -> Turn:
    return Turn(state, (dialogue.Send(),))


def _quit(state: State, _rest: str, _moment: Moment) -> Turn:
    if state.pending:
        return Turn(state, (Say(UNSETTLED, urgent=True),))
    return Turn(state, (dialogue.Leave(),))


_Command = Callable[[State, str, Moment], Turn]

_COMMANDS: dict[str, _Command] = {
    "badge": _set(Field.BADGE),
    "order": _set(Field.WORK_ORDER),
    "tool": _set(Field.TOOL),
    "contact": _set(Field.CONTACT),
    "connector": _next,
    "next": _next,
    "insert": lambda state, rest, _: _plan(state, f"insert {rest}"),
    "remove": lambda state, rest, _: _plan(state, f"remove {rest}"),
    "replace": lambda state, rest, _: _plan(state, f"replace {rest}"),
    "done": _done,
    "not": _not_done,
    "cancel": _not_done,
    "did": acts.did,
    "held": acts.held,
    "failed": acts.failed,
    "skip": acts.skip,
    "tine": acts.tine,
    "finding": acts.finding,
    "remark": acts.remark,
    "mated": acts.mated,
    "unmated": acts.unmated,
    "undo": acts.undo,
    "list": _show("cavities"),
    "more": _show("answer"),
    "help": _show("help"),
    "?": _show("help"),
    "send": _send,
    "outbox": _show("outbox"),
    "quit": _quit,
}

COMMANDS = frozenset(_COMMANDS)
