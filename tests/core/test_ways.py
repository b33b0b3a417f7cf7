"""The ways out, as a table: the cavity, the history before, what is offered in its order."""

import pytest

from service.core import answers, plans, ways
from service.core.answers import Action, Answer
from service.core.cycles import Wear
from service.core.entries import CavityDefinition, HouseRule, Rating
from tests import histories
from tests.core.test_answers import CYCLES, plan_of, state_of

SPENT = CYCLES * 10
MIXED: dict[str, object] = {
    "cavities": (CavityDefinition("A", "20"), CavityDefinition("C", "16"), CavityDefinition("c", "20"))
}
LINES = "renewal replacement"

TABLE: list[tuple[str, str, str, dict[str, object]]] = [
    # action and cavity -> ways; the history before, what else holds
    ("insert A", "", "", {}),
    ("insert A", "", CYCLES * 9, {}),
    ("insert A", "C/go/0 c/go/0 " + LINES, SPENT, {}),
    ("replace A", "C/go/0 c/go/0 " + LINES, CYCLES * 9 + "insertion A ->", {}),
    ("remove A", "", CYCLES * 9 + "insertion A ->", {}),
    ("insert A", "c/go/0 C/go/1 " + LINES, SPENT + "insertion C ->\nremoval C ->", {}),
    ("insert A", "c/go/0 " + LINES, SPENT + "insertion C ->", {}),
    ("insert A", "C/go/0 " + LINES, SPENT + "finding c ->", {}),
    ("insert A", "c/go/0 C/warn/8 " + LINES, SPENT + CYCLES.replace("A", "C") * 8, {}),
    ("insert A", "c/go/0 " + LINES, SPENT + CYCLES.replace("A", "C") * 10, {}),
    ("insert A", "C/warn/0 c/go/0 " + LINES, SPENT + "tine_entry C noted=clock_off ->\nrenewal C ->", {}),
    ("insert A", "c/go/0 " + LINES, SPENT, MIXED),
    ("insert A", "c/go/0 " + LINES, SPENT, {"taken": frozenset("C")}),
    ("insert A", "C/go/0 c/warn/0 " + LINES, SPENT, {"awaited": frozenset("c")}),
    ("insert A", LINES, SPENT, {"history": "unknown"}),
    ("insert A", "C/warn/0 c/warn/0 " + LINES, SPENT, {"history": "unknown", "populated": False}),
    ("insert A", LINES, SPENT, {"history": "unknown", "populated": False, "unknown": "no_go"}),
    ("insert A", "C/go/0 c/go/0 " + LINES, "finding A ->", {}),
    ("remove A", LINES, "insertion A ->\nfinding A ->", {}),
    ("insert A", LINES, "finding ->", {}),
    ("insert A", "replacement", "retirement ->", {}),
    ("insert A", "replacement", SPENT + "retirement ->", {}),
    ("remove A", "replacement", "insertion A ->\nretirement ->", {}),
    ("insert A", "", "insertion A ->", {}),
    ("insert A", "", "", {"rating": None, "unknown": "no_go"}),
    ("insert Z", "", SPENT, {}),
]


@pytest.mark.parametrize(("step", "wanted", "before", "given"), TABLE)
def test_ways_out(step: str, wanted: str, before: str, given: dict[str, object]) -> None:
    """Where a cavity is spent, blocked or retired the ways are named, the least worn free cavity first."""
    house = HouseRule(given.get("unknown", "warn"))  # type: ignore[arg-type]
    also = {key: given[key] for key in ("taken", "awaited") if key in given}
    changes = {key: value for key, value in given.items() if key not in ("unknown", *also)}
    state, _ = state_of(before, **changes)
    action, cavity = step.split()
    found = ways.out(histories.definition(**changes), house, state, cavity, Action(action), **also)  # type: ignore[arg-type]
    seen = [f"{each.cavity}/{each.answer}/{each.cycles}" if each.way == "free_cavity" else each.way for each in found]
    assert " ".join(seen) == wanted


def test_no_way_is_a_permission() -> None:
    """Every way says that the approved data have to allow it, and what it needs first."""
    state, _ = state_of(SPENT + "finding A ->")
    found = ways.out(histories.definition(), HouseRule(), state, "A")
    assert {each.way for each in found} == set(ways.Sort)
    for each in found:
        assert "if the approved data allow it" in each.text.lower()
        assert each.needs
        assert "{" not in each.text
    assert "finding has to be closed" in next(each.text for each in found if each.way == "renewal")


def test_at_most_a_handful_of_free_cavities_is_named() -> None:
    """An insert with many free cavities is offered as a choice of the best."""
    cavities = tuple(CavityDefinition(str(each), "20") for each in range(1, 129))
    state, _ = state_of("carry_in 1 insertions=10 removals=10 source=card ->", cavities=cavities)
    found = ways.out(histories.definition(cavities=cavities), HouseRule(), state, "1")
    assert [each.cavity for each in found if each.way == "free_cavity"] == ["2", "3", "4", "5", "6"]
    assert found[0].wear is Wear.WITHIN


def test_a_plan_names_the_ways_out_of_each_step_on_what_the_steps_before_leave() -> None:
    """Only a no_go for wear, a block or retirement has ways, and a cavity that any step is about is not free."""
    made = plan_of("insert A, insert C, remove C", SPENT)
    assert [[each.way for each in step.ways] for step in made.steps] == [
        ["free_cavity", "renewal", "replacement"],
        [],
        [],
    ]
    assert made.steps[0].ways[0].cavity == "c"
    assert not plan_of("insert C, insert C").steps[1].ways


def test_a_way_is_answered_as_a_plan_would_answer_it() -> None:
    """The answer to a free cavity is the answer to a plan that inserts there."""
    before = SPENT + CYCLES.replace("A", "C") * 7
    for way in plan_of("insert A", before).steps[0].ways:
        if way.cavity is not None and way.way == "free_cavity":
            assert plan_of(f"insert {way.cavity}", before).answer == way.answer
    state, _ = state_of(before, rating=Rating(value=10, basis="house"))
    wanted = [plans.Step(Action.INSERT, "A", "20")]
    awaited = plans.plan(histories.definition(), HouseRule(), state, wanted, awaited=frozenset("ACc"))
    assert [each.answer for each in awaited.steps[0].ways][:2] == [Answer.WARN, Answer.WARN]
    assert "entries_waiting" in {each.code for each in awaited.steps[0].judged.reasons}
    assert "entries_waiting" in answers.SENTENCES
