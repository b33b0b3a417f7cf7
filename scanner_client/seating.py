"""The test of what went in: a light pull, a look at the face, or both; once per insertion. Pure."""

from msgspec import structs

from scanner_client import acts, asking, phrases
from scanner_client.dialogue import Moment, Phase, Say, State, Turn
from scanner_client.phrases import Seating
from service.core.entries import Kind


def held(state: State, rest: str, moment: Moment) -> Turn:
    """A seating test that held."""
    return _tested(state, phrases.seating(rest.split(), state.unit), moment, holds=True)


def failed(state: State, rest: str, moment: Moment) -> Turn:
    """A seating test that did not hold."""
    return _tested(state, phrases.seating(rest.split(), state.unit), moment, holds=False)


def level(state: State, rest: str, moment: Moment) -> Turn:
    """A look without a pull: pins at one height, sockets flush."""
    return _looked(state, rest, moment, was=True)


def not_level(state: State, rest: str, moment: Moment) -> Turn:
    """A look that shows a contact out of line: it is not seated."""
    return _looked(state, rest, moment, was=False)


def skip(state: State, rest: str, _: Moment) -> Turn:
    """No seating test of the cavity that is asked about (or of the one named, or `all`)."""
    out = state.to_test if rest == "all" else (rest,) if rest else state.to_test[:1]
    named = [each for each in out if each in state.to_test]
    if not named:
        raise phrases.UnclearError("No seating test is asked for there.")
    after = state
    for each in named:
        after = _settled(after, each)
    return Turn(after, (Say(f"No seating test is recorded for {', '.join(named)}."),))


def _looked(state: State, rest: str, moment: Moment, *, was: bool) -> Turn:
    told = phrases.seating(rest.split(), state.unit)
    if told.force_n is not None:
        raise phrases.UnclearError("With a force say whether it held, like: held 14 67N level")
    return _tested(state, structs.replace(told, level=was), moment, holds=None)


def _tested(state: State, told: Seating, moment: Moment, *, holds: bool | None) -> Turn:
    cavity = _cavity(state, told)
    asking.exists(state.subject, cavity)
    fields: dict[str, object] = {"cavity": cavity, "held": holds, "force_n": told.force_n, "level": told.level}
    turn = acts.kept(_settled(state, cavity), Kind.SEATING_TEST, moment, fields)
    if holds is not False and told.level is not False:
        return turn
    warned = (
        f"{cavity} is not seated. That insertion has used a cycle. If the contact comes out again, say: remove {cavity}"
    )
    return Turn(turn.state, (*turn.effects, Say(warned, urgent=True)))


def _cavity(state: State, told: Seating) -> str:
    """The cavity that is meant: the one named, else the one that is asked about."""
    if told.cavity is None and not state.to_test:
        raise phrases.UnclearError("Say which cavity, like: held 14 67N")
    cavity = told.cavity or state.to_test[0]
    if state.to_test and cavity not in state.to_test and told.force_n is None and phrases.number(cavity):
        raise phrases.UnclearError(
            f"Is {cavity} a force? Then say its unit, like {cavity}N. A cavity that is not asked about: 'skip all' first."
        )
    return cavity


def _settled(state: State, cavity: str) -> State:
    left = tuple(each for each in state.to_test if each != cavity)
    phase = Phase.CONNECTOR if state.phase is Phase.TESTING and not left else state.phase
    return structs.replace(state, to_test=left, phase=phase)
