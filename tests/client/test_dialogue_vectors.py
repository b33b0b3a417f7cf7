"""The terminal's dialogue against the scenarios that the page's is held to as well."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import msgspec
import pytest

from scanner_client import bench, dialogue
from scanner_client.dialogue import Advice, Basis, Line, Moment, Opened, Phase, Shift, State, Subject
from service.core.answers import Answer
from service.core.cycles import Wear
from service.messages import PlanView, ReasonView, StepView

VECTORS = json.loads((Path(__file__).parent / "dialogue_vectors.json").read_text("utf-8"))
START = datetime(2026, 11, 2, 9, tzinfo=UTC)


class Talk:
    """A talk that keeps what it wanted recorded."""

    def __init__(self) -> None:
        told = VECTORS["shift"]
        self.state: State = bench.begin(Shift(badge=told["badge"], work_order=told["work_order"], bench=told["bench"]))
        self.kept: list[Any] = []
        self.count = 0
        self.asked: dialogue.Ask | None = None

    def hear(self, heard: dialogue.Heard) -> None:
        """Take one thing and carry out what can be carried out here."""
        ids = tuple(UUID(int=self.count + at) for at in range(bench.wants(self.state)))
        self.count += len(ids)
        turn = bench.step(self.state, heard, Moment(START + timedelta(seconds=self.count), ids))
        self.state = turn.state
        for each in turn.effects:
            if isinstance(each, dialogue.Keep):
                self.kept.extend(each.entries)
            if isinstance(each, dialogue.Ask):
                self.asked = each

    def say(self, text: str) -> None:
        """Type a line."""
        self.hear(Line(text))


def act(talk: Talk, told: dict[str, Any]) -> None:
    """One act of a scenario in the terminal's words."""
    match told:
        case {"plan": action, "cavities": cavities, "answers": answers}:
            talk.say(f"{action} {' '.join(cavities)}")
            assert talk.asked is not None
            talk.hear(dialogue.Advised(advice(talk.asked, [Answer(each) for each in answers])))
        case {"done": cavities}:
            places = [at + 1 for at, each in enumerate(talk.state.steps) if each.cavity in cavities]
            talk.say(f"done {' '.join(map(str, places))}")
        case {"held": cavity, "force_n": force_n}:
            talk.say(f"held {cavity} {force_n}N")
        case {"finding": note, "cavity": cavity}:
            talk.say(f"finding {cavity or '-'} {note}")
        case {"remark": note, "cavity": cavity}:
            talk.say(f"remark {cavity or '-'} {note}")
        case {"undo": reason}:
            talk.say("undo")
            talk.say(reason)
        case {"reason": reason}:
            assert talk.state.phase is Phase.REASON
            talk.say(reason)
        case {"cancel": _}:
            talk.say("cancel")
        case {"not_done": _}:
            talk.say("not")
        case _:
            ((word, value),) = told.items()
            talk.say(word if value is True else f"{word} {value}")


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
    """Entries as the scenarios tell them: without ids and times, and what every one of a shift has."""
    places = {str(each.id): at for at, each in enumerate(kept)}
    shift, found = VECTORS["shift"], []
    for each in msgspec.to_builtins(kept):
        assert (each.pop("performed_by"), each.pop("work_order"), each.pop("bench")) == tuple(shift.values())
        assert each.pop("connector") == VECTORS["connector"]["id"]
        if "corrects" in each:
            each["corrects"] = places[each["corrects"]]
        found.append({name: value for name, value in each.items() if name not in ("id", "performed_at")})
    return found


@pytest.mark.parametrize("scenario", VECTORS["scenarios"], ids=lambda each: each["name"])
def test_the_terminal_records_what_the_scenario_says(scenario: dict[str, Any]) -> None:
    """What is said leads to exactly these entries, in this order."""
    told = VECTORS["connector"]
    talk = Talk()
    talk.hear(Opened(Subject(mark=told["serial"], connector=UUID(told["id"]), name=told["serial"])))
    for each in scenario["acts"]:
        act(talk, each)
    assert shown(talk.kept) == scenario["entries"]
    times = [each.performed_at for each in talk.kept]
    assert times == sorted(times)
    assert len(set(times)) == len(times)
