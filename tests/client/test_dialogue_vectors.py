"""The terminal's dialogue against the scenarios that the page's is held to as well."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import msgspec
import pytest

from scanner_client import bench, dialogue, readings, shifts
from scanner_client.dialogue import Advice, Basis, Line, Moment, Opened, Phase, Shift, State, Subject
from service.core.answers import Answer
from service.core.cycles import Wear
from service.messages import PlanView, ReasonView, StepView

VECTORS = json.loads((Path(__file__).parent / "dialogue_vectors.json").read_text("utf-8"))
START = datetime(2026, 11, 2, 9, tzinfo=UTC)
SERIAL = VECTORS["connector"]["serial"]
CONNECTOR = Subject(mark=SERIAL, connector=UUID(VECTORS["connector"]["id"]), name=SERIAL)
NAMES = {"performed_by": "badge", "work_order": "work_order", "bench": "bench"}


class Talk:
    """A talk that keeps what it wanted recorded, and is given the connector that it wants opened."""

    def __init__(self) -> None:
        told = VECTORS["shift"]
        shift = Shift(badge=told["badge"], work_order=told["work_order"], bench=told["bench"])
        self.state: State = shifts.begin(dialogue.Memory(shift=shift, used_at=START))
        self.kept: list[Any] = []
        self.count = 0
        self.waited = timedelta(0)
        self.asked: dialogue.Ask | None = None

    def hear(self, heard: dialogue.Heard) -> None:
        """Take one thing and carry out what can be carried out here."""
        ids = tuple(UUID(int=self.count + at) for at in range(bench.wants(self.state)))
        self.count += len(ids)
        moment = Moment(START + self.waited + timedelta(milliseconds=self.count), ids)
        turn = bench.step(self.state, heard, moment)
        self.state = turn.state
        for each in turn.effects:
            if isinstance(each, dialogue.Keep):
                self.kept.extend(each.entries)
            if isinstance(each, dialogue.Ask):
                self.asked = each
            if isinstance(each, dialogue.Open) or (isinstance(each, dialogue.Find) and each.reading.text == SERIAL):
                self.hear(Opened(CONNECTOR))

    def say(self, text: str) -> None:
        """Type a line."""
        self.hear(Line(text))

    def wait(self, minutes: int) -> None:
        """Let time pass."""
        self.waited += timedelta(minutes=minutes)
        self.hear(dialogue.Tick())

    def restart(self, minutes: int) -> None:
        """Begin anew with what was remembered, some time later."""
        self.state = shifts.begin(shifts.memory(self.state))
        self.wait(minutes)
        self.hear(dialogue.Resume())


def act(talk: Talk, told: dict[str, Any]) -> None:
    """One act of a scenario, and the answer to what is asked because of it."""
    talk.asked = None
    if "idle_min" in told:
        talk.wait(told["idle_min"])
    elif "restart" in told:
        talk.restart(told.get("after_min", 0))
    else:
        say(talk, told)
    assert (talk.asked is not None) == ("answers" in told)
    if talk.asked is not None:
        talk.hear(dialogue.Advised(advice(talk.asked, [Answer(each) for each in told["answers"]])))


def say(talk: Talk, told: dict[str, Any]) -> None:
    """One act in the terminal's words."""
    match told:
        case {"plan": action, "cavities": cavities}:
            talk.say(f"{action} {' '.join(cavities)}")
        case {"scan": text}:
            talk.hear(dialogue.Scanned(readings.Reading(text.encode())))
        case {"done": cavities, **more}:
            talk.say(f"done {numbers(talk, cavities)} {more.get('only', '')}")
        case {"drop": cavity}:
            talk.say(f"drop {numbers(talk, [cavity])}")
        case {"held": cavity, "force_n": force_n, **more}:
            talk.say(f"held {cavity} {force_n}N {'level' if more.get('level') else ''}")
        case {"not_level": cavity}:
            talk.say(f"not level {cavity}")
        case {"undo": reason}:
            talk.say("undo")
            talk.say(reason)
        case {"reason": reason}:
            assert talk.state.phase is Phase.REASON
            talk.say(reason)
        case {"not_done": _}:
            talk.say("not")
        case {"cavity": cavity, **rest}:
            ((word, note),) = rest.items()
            talk.say(f"{word} {cavity or '-'} {note}")
        case _:
            ((word, value),) = told.items()
            talk.say(word if value is True else f"{word} {value}")


def numbers(talk: Talk, cavities: list[str]) -> str:
    """The numbers of the steps at cavities."""
    return " ".join(str(at + 1) for at, each in enumerate(talk.state.steps) if each.cavity in cavities)


def advice(asked: dialogue.Ask, answers: list[Answer]) -> Advice:
    """What the service would say."""
    steps = tuple(
        StepView(
            action=step.action,
            cavity=step.cavity,
            contact_size="20",
            answer=answer,
            reasons=(ReasonView(code="spent", answer=answer, text="-"),),
            cycle=1,
            left_after=1,
            wear_after=Wear.WITHIN,
        )
        for step, answer in zip(asked.steps, answers, strict=True)
    )
    worst = max(answers, key=list(Answer).index)
    plan = PlanView(answer=worst, steps=steps, work=(), limiting=None, rating=None, cautions=())
    return Advice(plan=plan, basis=Basis.SERVICE)


def shown(kept: list[Any]) -> list[dict[str, Any]]:
    """Entries as the scenarios tell them: without ids and times, and what every one of the shift has."""
    places = {str(each.id): at for at, each in enumerate(kept)}
    found = []
    for each in msgspec.to_builtins(kept):
        shift = {name: each.pop(told, None) for told, name in NAMES.items()}
        assert shift["bench"] == VECTORS["shift"]["bench"]
        assert each.pop("connector") == VECTORS["connector"]["id"]
        if "corrects" in each:
            each["corrects"] = places[each["corrects"]]
        other = {told: shift[name] for told, name in NAMES.items() if shift[name] != VECTORS["shift"][name]}
        found.append({**{name: value for name, value in each.items() if name not in ("id", "performed_at")}, **other})
    return found


def after(talk: Talk) -> dict[str, Any]:
    """How the talk stands, as the scenarios tell it."""
    state = talk.state
    return {
        "badge": state.shift.badge,
        "at_hand": state.subject is not None,
        "open": [state.steps[each].cavity for each in state.pending],
        "to_test": list(state.to_test),
    }


@pytest.mark.parametrize("scenario", VECTORS["scenarios"], ids=lambda each: each["name"])
def test_the_terminal_records_what_the_scenario_says(scenario: dict[str, Any]) -> None:
    """What is said leads to exactly these entries, in this order."""
    talk = Talk()
    talk.hear(Opened(CONNECTOR))
    for each in scenario["acts"]:
        act(talk, each)
    assert shown(talk.kept) == scenario["entries"]
    assert "after" not in scenario or after(talk) == scenario["after"]
    times = [each.performed_at for each in talk.kept]
    assert times == sorted(times)
    assert len(set(times)) == len(times)
