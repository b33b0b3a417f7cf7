"""The dialogue at the bench: (state, heard, moment) -> (state, effects). Pure.

Sign on, scan a connector, say what will be done, see the answer, do it, say that it was done, test what went in. An answer
stops nobody: what happened can always be recorded, and over a no_go with a reason. What is scanned is taken for what it is,
whatever is on the screen. The page's `core/talk.js` does the same, held to the same scenarios.
"""

from collections.abc import Callable
from typing import assert_never

from msgspec import structs

from scanner_client import acts, asking, dialogue, phrases, readings, recognition, seating, shifts
from scanner_client.dialogue import Field, Heard, Moment, Phase, Say, State, Subject, Turn, Unit
from scanner_client.drafts import MalformedError
from service.core import own_marks
from service.messages import ConnectorLine


def wants(state: State) -> int:
    """How many fresh ids the next thing heard may use at most."""
    return max(2 * len(state.steps), len(state.recent), acts.MOST_DONE) + 1


def step(state: State, heard: Heard, moment: Moment) -> Turn:
    """Take one thing heard: from the person, from the clock, or from what was wanted before."""
    awake = structs.replace(state, used_at=moment.at)
    match heard:
        case dialogue.Line(text):
            return _guarded(awake, _line, text, moment)
        case dialogue.Scanned(reading):
            return _scanned(awake, reading, moment)
        case dialogue.Stir():
            return Turn(awake)
        case dialogue.Tick():
            return shifts.tick(state, moment.at)
        case dialogue.Resume():
            return shifts.resumed(state)
        case _:
            # What comes back from what was wanted is no sign that a person is there.
            return _told(state, heard)


def _told(state: State, heard: dialogue.Told) -> Turn:
    """Take what came of something that was wanted."""
    match heard:
        case dialogue.Found(mark, connectors):
            return _found(state, mark, connectors)
        case dialogue.Missing(mark, why):
            subject = Subject(mark=mark, name=readings.typed(mark).shown, remarks=(why,))
            return _at(state, subject)
        case dialogue.Opened(subject):
            return _at(state, subject)
        case dialogue.Advised(advice):
            return asking.answered(state, advice)
        case dialogue.Failed(text):
            return asking.failed(state, text)
        case _:
            assert_never(heard)


def _guarded(state: State, taken: Callable[[State, str, Moment], Turn], text: str, moment: Moment) -> Turn:
    try:
        return taken(state, text, moment)
    except (phrases.UnclearError, MalformedError) as error:
        return Turn(state, (Say(str(error), urgent=True),))


def _line(state: State, text: str, moment: Moment) -> Turn:
    """A typed line: a reason or a field where one was asked for, else a command, else what the phase makes of it."""
    in_reasons = recognition.in_reasons(state)
    told = text.strip() if in_reasons else " ".join(text.split())
    if not told:
        return Turn(state)
    if in_reasons:
        if told.lower() in _COMMANDS.keys() - {"cancel"}:
            raise phrases.UnclearError(f"'{told}' is no reason. Type why, in your own words, or 'cancel'.")
        return acts.reasoned(state, told, moment)
    # A scanner without a suffix, or a pipe, may come as typing.
    if own_marks.is_meant(told):
        return recognition.taken(state, readings.typed(told))
    if state.expects is not None:
        if told.lower() == "cancel":
            return Turn(structs.replace(state, expects=None))
        return recognition.field(state, state.expects, None if told == "-" else told)
    word, _, rest = told.partition(" ")
    if state.phase is Phase.SIGN_ON and word.lower() not in _BEFORE_SIGNING_ON:
        return _stranger(state, told)
    command = _COMMANDS.get(word.lower())
    return command(state, rest, moment) if command else _no_command(state, told)


def _stranger(state: State, told: str) -> Turn:
    word = told.partition(" ")[0].partition(":")[0].lower()
    return Turn(state, (Say(shifts.NOBODY, urgent=True),)) if word in _COMMANDS else shifts.sign_on(state, told)


def _no_command(state: State, told: str) -> Turn:
    if told.partition(":")[0].lower() in phrases.ACTIONS:
        return asking.plan(state, told)
    if state.phase is Phase.CHOOSING:
        return _choose(state, told)
    if state.phase is Phase.READY:
        return recognition.find(state, readings.typed(told))
    if recognition.part_kind(told):
        return recognition.taken(state, readings.typed(told))
    return Turn(state, (Say(f"'{told}' is not understood here. Say 'help' to see what is.", urgent=True),))


def _scanned(state: State, reading: readings.Reading, moment: Moment) -> Turn:
    # A card with a command on it, for hands in gloves.
    if reading.text == "cancel" or (
        reading.text.partition(" ")[0] in COMMANDS and not recognition.in_reasons(state) and not state.expects
    ):
        return _guarded(state, _line, reading.text, moment)
    if recognition.in_reasons(state):
        return Turn(state, (Say("Type the reason first, or 'cancel'.", urgent=True),))
    return _guarded(state, lambda at, _text, _at: recognition.taken(at, reading), "", moment)


def _found(state: State, mark: str, connectors: tuple[ConnectorLine, ...]) -> Turn:
    if len(connectors) == 1:
        return Turn(state, (dialogue.Open(connectors[0].id, mark),))
    told = f"{len(connectors)} connectors carry this mark. Compare part numbers and say the number of yours."
    choosing = structs.replace(state.cleared(Phase.CHOOSING), choices=connectors, mark=mark)
    return Turn(choosing, (Say(told, urgent=True),))


def _choose(state: State, word: str) -> Turn:
    place = phrases.places([word], len(state.choices))[0]
    return Turn(state, (dialogue.Open(state.choices[place].id, state.mark),))


def _at(state: State, subject: Subject) -> Turn:
    """A connector is at hand; what was left unsettled of it is taken up."""
    chosen = state.mark == subject.mark and any(each.id == subject.connector for each in state.choices)
    shared = chosen or (state.resume is not None and state.resume.shared)
    at = structs.replace(state.cleared(Phase.CONNECTOR), subject=subject, shared=shared)
    said = tuple(Say(each, urgent=True) for each in subject.remarks)
    if at.resume is None:
        return Turn(at, said)
    turn = asking.taken_up(at)
    return Turn(turn.state, (*said, *turn.effects))


def _next(state: State, rest: str, _: Moment) -> Turn:
    if state.pending:
        return Turn(state, (Say(shifts.UNSETTLED, urgent=True),))
    if rest:
        return recognition.find(state, readings.typed(rest))
    return Turn(state.cleared(Phase.READY), recognition.untested(state))


def _field(field: Field) -> "_Command":
    def command(state: State, rest: str, _: Moment) -> Turn:
        if rest:
            return recognition.field(state, field, None if rest == "-" else rest)
        name = field.replace("_", " ")
        if field in (Field.TOOL, Field.CONTACT) and state.subject is None:
            raise phrases.UnclearError("Scan the connector first.")
        return Turn(structs.replace(state, expects=field), (Say(f"Scan or type the {name}; '-' for none."),))

    return command


def _not(state: State, rest: str, moment: Moment) -> Turn:
    """`not`: it was not done; `not level 14`; `not looked`."""
    word, _, more = rest.partition(" ")
    if word.lower() == "level":
        return seating.not_level(state, more, moment)
    if word.lower() == "looked":
        return asking.looked(state, was=False)
    if rest and rest.lower() != "done":
        raise phrases.UnclearError("Say 'not' if nothing more of it was done, or leave one step out, like: drop 2")
    return asking.not_done(state)


def _unit(state: State, rest: str, _: Moment) -> Turn:
    found = {each.lower(): each for each in Unit}.get(rest.lower())
    if found is None:
        raise phrases.UnclearError("Say 'unit N' or 'unit lbf'.")
    return Turn(structs.replace(state, unit=found), (Say(f"Forces are in {found.value} now."),))


def _again(state: State, rest: str, _: Moment) -> Turn:
    if not (rest.isascii() and rest.isdigit() and int(rest) > 0):
        raise phrases.UnclearError("Say the number of the refused entry as 'outbox' lists it, like: again 1")
    return Turn(state, (dialogue.Again(int(rest)),))


def _take(state: State, rest: str, _moment: Moment) -> Turn:
    word, _, asset = rest.partition(" ")
    if word.lower() == "asset" and asset:
        return Turn(state, (dialogue.Take(asset=asset),))
    if not rest:
        raise phrases.UnclearError("Say which connectors, by serial or mark, or an asset, like: take asset EX-101")
    return Turn(state, (dialogue.Take(marks=tuple(rest.split())),))


def _show(what: str) -> "_Command":
    def command(state: State, _rest: str, _moment: Moment) -> Turn:
        return Turn(state, (dialogue.Show(what),))

    return command


def _wanting(effect: dialogue.Effect) -> "_Command":
    """A command that goes as it is said."""

    def command(state: State, _rest: str, _moment: Moment) -> Turn:
        return Turn(state, (effect,))

    return command


def _quit(state: State, _rest: str, _moment: Moment) -> Turn:
    if state.pending:
        return Turn(state, (Say(shifts.UNSETTLED, urgent=True),))
    return Turn(state, (dialogue.Leave(),))


_Command = Callable[[State, str, Moment], Turn]

_COMMANDS: dict[str, _Command] = {
    "badge": _field(Field.BADGE),
    "order": _field(Field.WORK_ORDER),
    "tool": _field(Field.TOOL),
    "contact": _field(Field.CONTACT),
    "off": lambda state, _rest, _moment: shifts.sign_off(state),
    "connector": _next,
    "next": _next,
    "insert": lambda state, rest, _moment: asking.plan(state, f"insert {rest}"),
    "remove": lambda state, rest, _moment: asking.plan(state, f"remove {rest}"),
    "replace": lambda state, rest, _moment: asking.plan(state, f"replace {rest}"),
    "looked": lambda state, _rest, _moment: asking.looked(state, was=True),
    "done": acts.done,
    "drop": lambda state, rest, _moment: asking.drop(state, rest),
    "not": _not,
    "cancel": lambda state, _rest, _moment: asking.not_done(state),
    "did": acts.did,
    "held": seating.held,
    "failed": seating.failed,
    "level": seating.level,
    "skip": seating.skip,
    "tine": acts.tine,
    "finding": acts.finding,
    "remark": acts.remark,
    "closed": acts.closed,
    "renewed": acts.renewed,
    "mated": acts.mated,
    "unmated": acts.unmated,
    "undo": acts.undo,
    "list": _show("cavities"),
    "more": _show("answer"),
    "help": _show("help"),
    "?": _show("help"),
    "outbox": _show("outbox"),
    "send": _wanting(dialogue.Send()),
    "again": _again,
    "take": _take,
    "unit": _unit,
    "quit": _quit,
}
_BEFORE_SIGNING_ON = frozenset({"badge", "help", "?", "outbox", "send", "again", "take", "unit", "quit"})

COMMANDS = frozenset(_COMMANDS)
