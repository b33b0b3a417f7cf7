"""Answers, as a table: the history before, the step, what is answered and why."""

import pytest

from service.core import answers, fold, plans, tooling
from service.core.answers import Action, Answer, Brought, ToolFit
from service.core.contacts import ContactFit
from service.core.entries import HouseRule, Rating, Recorded
from service.core.states import ConnectorState
from service.core.tooling import Face, Half, Release, Tool, Tooling
from tests import histories

CYCLES = "insertion A ->\nremoval A ->\n"

TABLE: list[tuple[str, str, str, dict[str, object]]] = [
    # step -> answer and reasons, the history before it, what else holds
    ("insert A", "go", "", {}),
    ("remove A", "no_go empty", "", {}),
    ("replace A", "no_go empty", "", {}),
    ("insert A", "no_go occupied", "insertion A ->", {}),
    ("remove A", "go", "insertion A ->", {}),
    ("replace A", "go", "insertion A ->", {}),
    ("insert A", "go", CYCLES * 6, {}),
    ("insert A", "warn nearing", CYCLES * 7, {}),
    ("remove A", "warn nearing", CYCLES * 6 + "insertion A ->", {}),
    ("insert A", "warn nearing", CYCLES * 9, {}),
    ("remove A", "warn last_removal", CYCLES * 9 + "insertion A ->", {}),
    ("replace A", "no_go spent", CYCLES * 9 + "insertion A ->", {}),
    ("insert A", "no_go spent", CYCLES * 10, {}),
    ("insert A", "no_go spent", CYCLES * 12, {}),
    ("insert A", "warn no_rating", "", {"rating": None}),
    ("insert A", "no_go no_rating", "", {"rating": None, "unknown": "no_go"}),
    ("remove A", "warn no_rating", "insertion A ->", {"rating": None, "unknown": "no_go"}),
    ("insert A", "warn history_unknown occupancy_unknown", "", {"history": "unknown"}),
    ("insert A", "no_go history_unknown occupancy_unknown", "", {"history": "unknown", "unknown": "no_go"}),
    ("remove A", "warn history_unknown occupancy_unknown", "", {"history": "unknown", "unknown": "no_go"}),
    ("insert A", "warn history_unknown", "removal A ->", {"history": "unknown"}),
    ("insert A", "no_go spent history_unknown", CYCLES * 10, {"history": "unknown"}),
    ("insert A", "go", "carry_in A insertions=3 removals=3 occupied=false source=card ->", {"history": "unknown"}),
    (
        "insert A",
        "warn history_unknown",
        "carry_in A tine_entries=1 occupied=false source=card ->",
        {"history": "unknown"},
    ),
    ("insert A", "go", "carry_in A removals=1 occupied=false source=card ->", {"history": "unknown"}),
    (
        "insert A",
        "warn history_unknown",
        "carry_in A insertions=3 removals=3 occupied=false ->",
        {"history": "unknown"},
    ),
    ("insert A", "no_go open_finding", "finding A ->", {}),
    ("insert A", "no_go open_finding", "finding ->", {}),
    ("insert C", "go", "finding A ->", {}),
    ("insert A", "go", "finding A blocks=false ->", {}),
    ("insert A", "go", "finding A #f ->\nfinding_closed A refers_to=f ->", {}),
    ("insert A", "go", "finding A #f ->\nfinding_closed refers_to=f ->", {}),
    ("insert A", "no_go open_finding", "finding A ->\nfinding ->\nfinding_closed ->", {}),
    ("insert A", "no_go open_finding", "finding A ->\nfinding ->\nfinding_closed A ->", {}),
    ("insert A", "no_go open_finding", "finding A ->\n@5 finding A ->\n@5 finding_closed A ->", {}),
    ("insert A", "no_go open_finding", "finding A ->\n@5 finding_closed A ->\n@5 finding A ->", {}),
    ("insert A", "go", "@5 finding A #f ->\n@5 finding_closed A refers_to=f ->", {}),
    ("insert A", "warn did_not_hold", "insertion A ->\nseating_test A held=false ->\nremoval A ->", {}),
    ("insert A", "go", "insertion A ->\nseating_test A held=false ->\nremoval A ->\nrenewal A ->", {}),
    ("insert A", "warn time_in_doubt", "tine_entry A noted=clock_ahead ->", {}),
    ("insert A", "warn time_in_doubt", "renewal noted=clock_behind ->", {}),
    ("insert C", "go", "tine_entry A noted=clock_ahead ->", {}),
    ("insert A", "go", "mating ->", {}),
    ("insert A", "warn entries_waiting", "", {"awaited": True}),
    ("remove A", "warn entries_waiting", "insertion A ->", {"awaited": True}),
    ("insert A", "no_go retired", "retirement ->", {}),
    ("insert A", "no_go wrong_tool", "", {"brought": Brought(tool=ToolFit.WRONG)}),
    ("insert A", "warn unknown_tool", "", {"brought": Brought(tool=ToolFit.UNKNOWN)}),
    ("insert A", "go", "", {"brought": Brought(tool=ToolFit.FITS)}),
    ("insert A", "warn tool_overdue", "", {"brought": Brought(ToolFit.FITS, tool_overdue=True)}),
    ("remove A", "warn tool_overdue", "insertion A ->", {"brought": Brought(tool_overdue=True)}),
    ("insert A", "no_go wrong_tool tool_overdue", "", {"brought": Brought(ToolFit.WRONG, tool_overdue=True)}),
    ("insert A", "go", "", {"brought": Brought(contact=ContactFit.FITS)}),
    ("insert A", "no_go wrong_contact", "", {"brought": Brought(contact=ContactFit.WRONG)}),
    ("insert A", "warn unknown_contact", "", {"brought": Brought(contact=ContactFit.UNKNOWN)}),
    ("replace A", "no_go wrong_contact", "insertion A ->", {"brought": Brought(contact=ContactFit.WRONG)}),
    ("remove A", "go", "insertion A ->", {"brought": Brought(contact=ContactFit.WRONG)}),
    ("insert A", "go", CYCLES * 11 + "renewal A ->", {}),
    ("remove A", "go", "", {"populated": True}),
    ("insert A", "warn nearing", CYCLES * 4, {"rating": Rating(value=10, basis="house", nearing_fraction=0.5)}),
]


def state_of(table: str, **changes: object) -> tuple[ConnectorState, list[Recorded]]:
    """The state that a table's history gives."""
    history = [each.recorded for each in histories.read(table) if each.recorded]
    return fold.fold(histories.definition(**changes), history), history


@pytest.mark.parametrize(("step", "wanted", "before", "given"), TABLE)
def test_answer(step: str, wanted: str, before: str, given: dict[str, object]) -> None:
    """A step is answered as the table says, for the reasons that it says, the weightiest first."""
    house = HouseRule(given.get("unknown", "warn"))  # type: ignore[arg-type]
    changes = {key: value for key, value in given.items() if key not in ("unknown", "brought", "awaited")}
    state, _ = state_of(before, **changes)
    action, name = step.split()
    cavity = state.cavity(name)
    assert cavity is not None
    judged = answers.judge(
        histories.definition(**changes),
        house,
        state.whole,
        cavity,
        Action(action),
        given.get("brought", answers.NOTHING_STATED),  # type: ignore[arg-type]
        awaited="awaited" in given,
    )
    assert " ".join([judged.answer, *(each.code for each in judged.reasons)]) == wanted
    assert all(each.text and "{" not in each.text for each in judged.reasons)


def test_every_reason_is_reached() -> None:
    """No reason is listed that no answer gives."""
    assert {code for _, wanted, _, _ in TABLE for code in wanted.split()[1:]} == set(answers.SENTENCES)


def plan_of(steps: str, before: str = "", tools: Tooling | None = None, **changes: object) -> plans.Plan:
    """A plan for steps such as `remove A, insert C`."""
    state, _ = state_of(before, **changes)
    wanted = [
        plans.Step(Action(action), cavity, "20") for action, cavity in (each.split() for each in steps.split(", "))
    ]
    return plans.plan(histories.definition(**changes), HouseRule(), state, wanted, tools)


PLANS = [
    # steps -> answers, the history before
    ("insert A, remove A, insert A", "go go go", ""),
    ("insert A, insert A", "go no_go", ""),
    ("remove A, insert C", "go go", "insertion A ->"),
    ("remove A, remove C, insert A, insert C", "go go go go", "insertion A ->\ninsertion C ->"),
    ("remove A, insert C, remove C, insert A", "go no_go go go", "insertion A ->\ninsertion C ->"),
    ("replace A, replace A", "warn warn", CYCLES * 6 + "insertion A ->"),
    ("replace A, replace A", "warn no_go", CYCLES * 8 + "insertion A ->"),
    ("insert C, insert c", "go go", ""),
]


@pytest.mark.parametrize(("steps", "wanted", "before"), PLANS)
def test_steps_are_judged_on_what_the_ones_before_leave(steps: str, wanted: str, before: str) -> None:
    """Each step meets the state that the earlier ones leave; a swap of two contacts works."""
    made = plan_of(steps, before)
    assert " ".join(each.judged.answer for each in made.steps) == wanted
    assert made.answer == answers.worst([Answer(each) for each in wanted.split()])


def test_a_plan_says_what_will_be_left_and_which_cavity_runs_out_first() -> None:
    """Each step says what it leaves, and the plan names the limiting cavity afterwards."""
    made = plan_of("replace A, insert C", CYCLES * 6 + "insertion A ->")
    assert [each.after.left for each in made.steps] == [2, 9]
    assert made.limiting is not None
    assert (made.limiting.cavity, made.limiting.standing.left, made.limiting.standing.wear) == ("A", 2, "nearing")


def tools_for(release: Release) -> Tooling:
    """An invented set of tools for one family."""
    pair = [("T-R20", "20", Half.REMOVE), ("T-I20", "20", Half.INSERT), ("T-R16", "16", Half.REMOVE)]
    return Tooling(
        release, "invented", tuple(Tool(name, size, half, "", "invented", "test") for name, size, half in pair)
    )


@pytest.mark.parametrize(("release", "face"), [(Release.REAR, Face.WIRE_SIDE), (Release.FRONT, Face.MATING_FACE)])
def test_the_work_is_laid_out_in_order_with_tool_and_face(release: Release, face: Face) -> None:
    """A replacement is a removal, from the face that the release asks for, and then an insertion from the wire side."""
    work = plan_of("replace A", "insertion A ->", tools_for(release)).work
    assert [(each.half, each.tool_face, each.contact_face) for each in work] == [
        (Half.REMOVE, face, Face.WIRE_SIDE),
        (Half.INSERT, Face.WIRE_SIDE, Face.WIRE_SIDE),
    ]
    assert [[tool.part_number for tool in each.tools] for each in work] == [["T-R20"], ["T-I20"]]


@pytest.mark.parametrize(
    ("part_number", "action", "fit"),
    [
        ("T-R20", Action.REMOVE, ToolFit.FITS),
        ("T-R20", Action.INSERT, ToolFit.WRONG),
        ("T-R20", Action.REPLACE, ToolFit.FITS),
        ("T-R16", Action.REMOVE, ToolFit.WRONG),
        ("T-R16", Action.REPLACE, ToolFit.WRONG),
        ("T-X", Action.REMOVE, ToolFit.UNKNOWN),
        (None, Action.REMOVE, ToolFit.NOT_STATED),
    ],
)
def test_a_tool_fits_or_not(part_number: str | None, action: Action, fit: ToolFit) -> None:
    """A tool for another size or the other half is wrong; one that no table lists is unknown."""
    assert answers.tool_fit(tools_for(Release.REAR), part_number, "20", action) is fit
    assert tooling.tool_face(Release.REAR, Half.REMOVE) is Face.WIRE_SIDE
