"""The page's dialogue (core/talk.js) in the browser: against the scenarios shared with the terminal, and what is its own."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser import modules

VECTORS = json.loads((Path(__file__).parent.parent / "client" / "dialogue_vectors.json").read_text("utf-8"))

pytestmark = modules.needs_chromium


@pytest.fixture(scope="module")
def module_page() -> Iterator[Page]:
    """A browser in which the page's modules can be imported."""
    with modules.opened() as page:
        yield page


NAMES = {"performed_by": "badge", "work_order": "work_order", "bench": "bench"}
DRIVER = (Path(__file__).parent / "scenario.js").read_text("utf-8")


def shown(kept: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Entries as the scenarios tell them."""
    places = {each["id"]: at for at, each in enumerate(kept)}
    found = []
    for each in kept:
        shift = {name: each.get(told) for told, name in NAMES.items()}
        assert shift["bench"] == VECTORS["shift"]["bench"]
        assert each["connector"] == VECTORS["connector"]["id"]
        told = {**each, "corrects": places[each["corrects"]]} if "corrects" in each else each
        common = ("id", "connector", "performed_at", *NAMES)
        other = {told: shift[name] for told, name in NAMES.items() if shift[name] != VECTORS["shift"][name]}
        found.append({**{name: value for name, value in told.items() if name not in common}, **other})
    return found


@pytest.mark.parametrize("scenario", VECTORS["scenarios"], ids=lambda each: each["name"])
def test_the_page_records_what_the_scenario_says(module_page: Any, scenario: dict[str, Any]) -> None:
    """What is pressed leads to exactly the entries that the terminal's words lead to, in this order."""
    came = module_page.evaluate(DRIVER, [VECTORS, scenario])
    assert shown(came["kept"]) == scenario["entries"]
    assert "after" not in scenario or came["after"] == scenario["after"]
    times = [each["performed_at"] for each in came["kept"]]
    assert times == sorted(times)
    assert len(set(times)) == len(times)


TALK = """
async (script) => {
  const talk = await import("/core/talk.js");
  let state = talk.begin();
  const wanted = [];
  const asked = () => wanted.filter((each) => each.type === "ask").map((each) => each.steps);
  const hear = (heard, at_ms) => {
    const [next, effects] = talk.step(state, heard, { at_ms, ids: ["a", "b", "c", "d"] });
    state = next;
    wanted.push(...effects);
  };
  for (const [{ late, ...heard }, at_ms] of script) {
    // What comes back comes to the last thing that was wanted; `late`: to the one before.
    const text = heard.subject?.mark;
    if (heard.type === "opened" && !late) hear({ type: "typed", field: "mark", text, reading: { text } }, state.used_at_ms);
    const steps = asked().at(late ? -2 : -1);
    hear(["advised", "failed"].includes(heard.type) ? { ...heard, steps } : heard, at_ms);
  }
  return { state, wanted, memory: talk.memory(state), again: talk.begin(JSON.parse(JSON.stringify(talk.memory(state)))) };
}
"""
MINUTE_MS = 60_000
OPENED: dict[str, Any] = {
    "type": "opened",
    "subject": {"mark": "EX-1", "connector": "X", "name": "EX-1", "snapshot": None, "remarks": []},
    "view": {"cavities": [{"id": "14"}, {"id": "C"}, {"id": "c"}]},
}
ASKED = [
    [{"type": "typed", "field": "badge", "text": "117"}, 0],
    [OPENED, 1],
    [{"type": "action", "action": "insert"}, 2],
    [{"type": "toggle", "cavity": "14"}, 3],
    [{"type": "ask"}, 4],
]
ANSWERED = [*ASKED, [{"type": "advised", "advice": {"plan": {"steps": [{"answer": "go"}]}, "remarks": []}}, 5]]


def named(meaning: str, name: str) -> dict[str, Any]:
    """The scan of a mark of ours."""
    mark: dict[str, Any] = {"meaning": meaning, "named": name, "identity": None, "faults": []}
    return {"type": "scanned", "mark": mark, "reading": {"text": f"urn:tinebook:{meaning}:{name}"}}


def test_an_unattended_bench_signs_off_and_shows_nothing_of_the_one_before(module_page: Any) -> None:
    """After the time-out the screen is blank, and another person sees none of what was on it."""
    script = [*ASKED[:4], [{"type": "tick"}, 15 * MINUTE_MS + 4], [named("badge", "204"), 15 * MINUTE_MS + 5]]
    came = module_page.evaluate(TALK, script)["state"]
    assert came["shift"]["badge"] == "204"
    assert came["phase"] == "scan"
    assert (came["subject"], came["view"], came["chosen"], came["recent"], came["said"]) == (None, None, [], [], None)


def test_what_was_not_settled_is_asked_again_when_its_person_comes_back(module_page: Any) -> None:
    """The time-out clears the screen, never the question what became of work that was asked about."""
    late = 20 * MINUTE_MS
    script = [*ANSWERED, [{"type": "tick"}, late], [named("badge", "204"), late], [named("badge", "117"), late + 1]]
    came = module_page.evaluate(TALK, script)
    assert came["wanted"][-1] == {"type": "open", "connector": "X", "mark": "EX-1"}
    back = module_page.evaluate(TALK, [*script, [OPENED, late + 2]])
    assert back["wanted"][-1]["type"] == "ask"
    assert back["wanted"][-1]["steps"] == [{"action": "insert", "cavity": "14"}]


def test_a_reload_forgets_neither_shift_nor_unsettled_work(module_page: Any) -> None:
    """What a crash of the browser leaves on disk is enough to go on."""
    came = module_page.evaluate(TALK, ANSWERED)
    assert came["again"]["shift"]["badge"] == "117"
    assert came["again"]["open"]["117"]["steps"] == [{"action": "insert", "cavity": "14"}]


def test_nobody_takes_over_work_that_is_not_settled(module_page: Any) -> None:
    """Another badge, another connector or signing off waits until somebody says what became of the steps."""
    for heard in (named("badge", "204"), {"type": "sign_off"}, {"type": "next"}):
        came = module_page.evaluate(TALK, [*ANSWERED, [heard, 6]])["state"]
        assert came["shift"]["badge"] == "117"
        assert came["pending"] == [0]
        assert came["said"]["urgent"] is True


def test_a_scan_is_taken_for_what_it_is(module_page: Any) -> None:
    """A tool changes the question, a contact bag is no connector, a cavity mark chooses, a connector is looked up."""
    tool = module_page.evaluate(TALK, [*ANSWERED, [named("tool", "T-7"), 6]])
    assert tool["wanted"][-1]["steps"] == [{"action": "insert", "cavity": "14", "tool": "T-7"}]
    bag: dict[str, Any] = {"meaning": "plain_serial", "identity": "AS39029/58-363", "faults": [], "named": None}
    scanned = {"type": "scanned", "mark": bag, "reading": {"text": "AS39029/58-363"}}
    contact = module_page.evaluate(TALK, [*ANSWERED, [scanned, 6]])
    assert contact["wanted"][-1]["steps"] == [{"action": "insert", "cavity": "14", "contact": "AS39029/58-363"}]
    cavity = module_page.evaluate(TALK, [*ASKED[:3], [named("cavity", "c"), 4]])["state"]
    assert cavity["chosen"] == ["c"]
    other: dict[str, Any] = {"meaning": "plain_serial", "identity": "EX-2", "faults": [], "named": None}
    found = module_page.evaluate(
        TALK, [*ASKED[:2], [{"type": "scanned", "mark": other, "reading": {"text": "EX-2"}}, 3]]
    )
    assert found["wanted"][-1] == {"type": "find", "reading": {"text": "EX-2"}}


def test_a_cavity_of_the_wrong_case_is_refused_with_the_right_one(module_page: Any) -> None:
    """Capitals and small letters are different cavities, and the commonest slip is named."""
    view = {**OPENED, "view": {"cavities": [{"id": "D"}]}}
    came = module_page.evaluate(TALK, [ASKED[0], [view, 1], [{"type": "typed", "field": "cavity", "text": "d"}, 2]])
    assert came["state"]["chosen"] == []
    assert "There is D" in came["state"]["said"]["text"]


def test_what_comes_back_from_the_service_keeps_no_bench_awake(module_page: Any) -> None:
    """Only a person's act puts the time-out off."""
    came = module_page.evaluate(TALK, [*ASKED[:2], [{**OPENED, "type": "shown"}, 14 * MINUTE_MS]])
    assert came["state"]["used_at_ms"] == 0


def test_a_failed_question_is_no_answer_and_forgets_nothing(module_page: Any) -> None:
    """When asking fails the steps stay open, without an answer, and are recorded only with a reason."""
    came = module_page.evaluate(TALK, [*ASKED, [{"type": "failed", "text": "no"}, 6]])["state"]
    assert (came["phase"], came["pending"], came["advice"]["plan"]) == ("answered", [0], None)


def test_what_went_in_is_tested_even_if_the_rest_was_not_done(module_page: Any) -> None:
    """Two planned, one done, the other not: the one that went in is still up for its seating test."""
    advice = {"plan": {"steps": [{"answer": "go"}, {"answer": "go"}]}, "remarks": []}
    script = [
        *ASKED[:4],
        [{"type": "toggle", "cavity": "C"}, 4],
        [{"type": "ask"}, 5],
        [{"type": "advised", "advice": advice}, 6],
        [{"type": "done", "places": [0]}, 7],
        [{"type": "not_done"}, 8],
    ]
    came = module_page.evaluate(TALK, script)["state"]
    assert (came["phase"], came["to_test"]) == ("seating", ["14"])


def test_nobody_is_signed_on_by_the_mark_of_a_thing(module_page: Any) -> None:
    """A message that names a connector is no badge."""
    mark: dict[str, Any] = {"meaning": "iuid", "identity": "D0CVA51", "faults": [], "named": None}
    scan = {"type": "scanned", "mark": mark, "reading": {"text": "[)>"}}
    assert module_page.evaluate(TALK, [[scan, 1]])["state"]["shift"]["badge"] is None


def test_an_answer_that_comes_late_never_stands_for_another_question(module_page: Any) -> None:
    """A tool scanned while the answer is awaited is asked about, and the go to the question without it is dropped."""
    go = {"type": "advised", "advice": {"plan": {"steps": [{"answer": "go"}]}, "remarks": []}}
    asked_again = [*ASKED, [named("tool", "T-7"), 5]]
    came = module_page.evaluate(TALK, [*asked_again, [{**go, "late": True}, 6]])
    assert came["wanted"][-1]["steps"] == [{"action": "insert", "cavity": "14", "tool": "T-7"}]
    assert (came["state"]["phase"], came["state"]["advice"]) == ("asking", None)
    told = module_page.evaluate(TALK, [*asked_again, [{**go, "late": True}, 6], [go, 7]])["state"]
    assert (told["phase"], told["steps"]) == ("answered", [{"action": "insert", "cavity": "14", "tool": "T-7"}])


def test_a_connector_that_comes_late_is_shown_to_nobody_else(module_page: Any) -> None:
    """What was looked up for one scan takes the place of no later one, of no unsettled steps, and meets no other person."""
    late = {**OPENED, "late": True, "subject": {**OPENED["subject"], "mark": "EX-0", "connector": "Y"}}
    search: list[Any] = [{"type": "typed", "field": "mark", "text": "EX-0", "reading": {"text": "EX-0"}}, 0]
    over = module_page.evaluate(TALK, [ASKED[0], search, ASKED[1], [late, 2]])["state"]
    assert over["subject"]["connector"] == "X"
    asked = module_page.evaluate(TALK, [*ASKED[:2], search, *ASKED[2:], [late, 5]])["state"]
    assert (asked["subject"]["connector"], asked["pending"]) == ("X", [0])
    gone = module_page.evaluate(TALK, [ASKED[0], search, [{"type": "sign_off"}, 1], [late, 2]])["state"]
    assert (gone["phase"], gone["subject"]) == ("sign_on", None)
    other = module_page.evaluate(TALK, [ASKED[0], search, [named("badge", "204"), 1], [late, 2]])["state"]
    assert (other["phase"], other["subject"]) == ("scan", None)


def test_one_mark_may_be_two_connectors(module_page: Any) -> None:
    """A look at one of them never shows under the other."""
    other = {**OPENED, "type": "shown", "subject": {**OPENED["subject"], "connector": "Y"}, "view": None}
    came = module_page.evaluate(TALK, [*ASKED[:2], [other, 2]])["state"]
    assert (came["subject"]["connector"], came["view"]) == ("X", OPENED["view"])


def under_one_mark(*more: Any) -> list[Any]:
    """A mark that two connectors bear is scanned, and what is heard then."""
    search = {"type": "typed", "field": "mark", "text": "EX-1", "reading": {"text": "EX-1"}}
    found = {"type": "found", "mark": "EX-1", "connectors": [{"id": "X"}, {"id": "Y"}]}
    return [ASKED[0], *([each, place] for place, each in enumerate((search, found, *more), 1))]


BOTH = [{**OPENED, "late": True, "subject": {**OPENED["subject"], "connector": each}} for each in ("X", "Y")]


def test_of_two_under_one_mark_the_one_chosen_last_is_at_hand(module_page: Any) -> None:
    """Chosen by mistake and slow to come, the first one never takes the place of the second, in whichever order they come."""
    chosen = [{"type": "choose", "connector": each} for each in ("X", "Y")]
    for came in (BOTH, BOTH[::-1]):
        state = module_page.evaluate(TALK, under_one_mark(*chosen, *came))["state"]
        assert state["subject"]["connector"] == "Y"


def test_a_mark_of_several_never_says_that_this_is_the_one(module_page: Any) -> None:
    """To scan the mark again proves nothing where another connector bears it, too; a reload does not forget that."""
    heard = [each for each, _ in ASKED[2:]]
    again = {"type": "typed", "field": "mark", "text": "EX-1", "reading": {"text": "EX-1"}}
    script = under_one_mark({"type": "choose", "connector": "X"}, BOTH[0], *heard, again)
    came = module_page.evaluate(TALK, script)
    assert came["state"]["pending"] == [0]
    assert came["state"]["said"]["urgent"] is True
    assert "Several connectors carry this mark" in came["state"]["said"]["text"]
    assert came["again"]["resume"]["shared"] is True
    only = module_page.evaluate(TALK, [*ASKED, [again, 5]])["state"]
    assert only["said"] == {"text": "Yes, this is the connector at hand.", "urgent": False}


def test_a_question_while_another_connector_is_looked_up_says_which_one_it_is_about(module_page: Any) -> None:
    """Scanned and not there yet: the answer is about the one at hand, and says so before somebody takes it for the other."""
    search: list[Any] = [{"type": "typed", "field": "mark", "text": "EX-0", "reading": {"text": "EX-0"}}, 2]
    came = module_page.evaluate(TALK, [*ASKED[:2], search, *ASKED[2:]])["state"]
    assert came["said"] == {"text": "This is about EX-1: EX-0 was scanned, and is not at hand yet.", "urgent": True}
