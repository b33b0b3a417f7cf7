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


DRIVER = """
async ([shared, scenario]) => {
  const talk = await import("/core/talk.js");
  let count = 0;
  const kept = [];
  let asked = null;
  let state = { ...talk.begin({ shift: shared.shift }), used_at_ms: 1 };
  const hear = (heard) => {
    const ids = Array.from({ length: 50 }, () => `id-${count++}`);
    const [next, effects] = talk.step(state, heard, { at_ms: 1793610000000 + 1000 * count, ids });
    state = next;
    for (const each of effects) {
      if (each.type === "keep") kept.push(...each.entries);
      if (each.type === "ask") asked = each;
    }
  };
  const places = (cavities) => state.steps.map((each, at) => [each, at]).filter(([each]) => cavities.includes(each.cavity)).map(([, at]) => at);
  const advise = (answers) => hear({ type: "advised", advice: { remarks: [], plan: {
    answer: answers.includes("no_go") ? "no_go" : answers.includes("warn") ? "warn" : "go",
    steps: asked.steps.map((each, at) => ({ ...each, answer: answers[at], reasons: [] })), work: [], cautions: [] } } });
  const ACTS = {
    plan: (act) => {
      hear({ type: "action", action: act.plan });
      for (const cavity of act.cavities) hear({ type: "toggle", cavity });
      hear({ type: "ask" });
      advise(act.answers);
    },
    tool: (act) => hear({ type: "typed", field: "tool", text: act.tool }),
    contact: (act) => hear({ type: "typed", field: "contact", text: act.contact }),
    done: (act) => hear({ type: "done", places: places(act.done) }),
    not_done: () => hear({ type: "not_done" }),
    reason: (act) => hear({ type: "reason", text: act.reason }),
    cancel: () => hear({ type: "cancel" }),
    held: (act) => hear({ type: "seated", cavity: act.held, held: true, force_n: act.force_n }),
    failed: (act) => hear({ type: "seated", cavity: act.failed, held: false }),
    tine: (act) => hear({ type: "other", kind: "tine_entry", fields: { cavity: act.tine, tool: state.tool } }),
    finding: (act) => hear({ type: "other", kind: "finding", fields: { cavity: act.cavity, note: act.finding } }),
    remark: (act) => hear({ type: "other", kind: "finding", fields: { cavity: act.cavity, note: act.remark, blocks: false } }),
    mated: () => hear({ type: "other", kind: "mating", fields: {} }),
    unmated: () => hear({ type: "other", kind: "unmating", fields: {} }),
    undo: (act) => hear({ type: "undo", text: act.undo }),
  };
  const { id, serial, cavities } = shared.connector;
  const view = { cavities: cavities.map(([name, size]) => ({ id: name, contact_size: size })) };
  hear({ type: "opened", subject: { mark: serial, connector: id, name: serial, part_number: null, snapshot: null, remarks: [] }, view });
  for (const act of scenario.acts) ACTS[Object.keys(act)[0]](act);
  return { kept, phase: state.phase };
}
"""


def shown(kept: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Entries as the scenarios tell them."""
    places = {each["id"]: at for at, each in enumerate(kept)}
    shift, found = VECTORS["shift"], []
    for each in kept:
        assert (each["performed_by"], each["work_order"], each["bench"]) == tuple(shift.values())
        assert each["connector"] == VECTORS["connector"]["id"]
        told = {**each, "corrects": places[each["corrects"]]} if "corrects" in each else each
        common = ("id", "connector", "performed_at", "performed_by", "work_order", "bench")
        found.append({name: value for name, value in told.items() if name not in common})
    return found


@pytest.mark.parametrize("scenario", VECTORS["scenarios"], ids=lambda each: each["name"])
def test_the_page_records_what_the_scenario_says(module_page: Any, scenario: dict[str, Any]) -> None:
    """What is pressed leads to exactly the entries that the terminal's words lead to, in this order."""
    came = module_page.evaluate(DRIVER, [VECTORS, scenario])
    assert shown(came["kept"]) == scenario["entries"]
    times = [each["performed_at"] for each in came["kept"]]
    assert times == sorted(times)
    assert len(set(times)) == len(times)


TALK = """
async (script) => {
  const talk = await import("/core/talk.js");
  let state = talk.begin();
  const wanted = [];
  for (const [heard, at_ms] of script) {
    const [next, effects] = talk.step(state, heard, { at_ms, ids: ["a", "b", "c", "d"] });
    state = next;
    wanted.push(...effects);
  }
  return { state, wanted, memory: talk.memory(state), again: talk.begin(JSON.parse(JSON.stringify(talk.memory(state)))) };
}
"""
MINUTE_MS = 60_000
OPENED = {
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
    mark = {"meaning": meaning, "named": name, "identity": None, "faults": []}
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
    bag = {"meaning": "plain_serial", "identity": "AS39029/58-363", "faults": [], "named": None}
    scanned = {"type": "scanned", "mark": bag, "reading": {"text": "AS39029/58-363"}}
    contact = module_page.evaluate(TALK, [*ANSWERED, [scanned, 6]])
    assert contact["wanted"][-1]["steps"] == [{"action": "insert", "cavity": "14", "contact": "AS39029/58-363"}]
    cavity = module_page.evaluate(TALK, [*ASKED[:3], [named("cavity", "c"), 4]])["state"]
    assert cavity["chosen"] == ["c"]
    other = {"meaning": "plain_serial", "identity": "EX-2", "faults": [], "named": None}
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
