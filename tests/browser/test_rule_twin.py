"""The rule's twin in the page, in a browser, held to Python: the committed cases, fresh ones by chance, and what it can't know."""

import itertools
import json
from collections.abc import Callable, Iterator
from datetime import UTC
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Page

from service.core import cycles, entries, guide
from service.core.entries import HouseRule, Rating
from service.messages import Snapshot
from tests.browser import modules
from tests.client import chances, rule_vectors

pytestmark = modules.needs_chromium

ANSWER = """async (cases) => {
  const [offline, states] = await Promise.all([import("/core/offline.js"), import("/core/states.js")]);
  const advised = (each, cached) => {
    const parked = offline.meaning(each.parked, each.snapshot.definition, each.names);
    try { return offline.advise(cached, each.waiting, each.steps, each.now, { reached: each.reached, tools: each.tools, parked }); }
    catch (error) { if (error instanceof offline.UnclearError) return "unclear"; throw error; }
  };
  return cases.map((each) => {
    const cached = { snapshot: each.snapshot, fetched_at: each.fetched_at, acknowledged: 0 };
    const state = offline.state(cached, each.waiting);
    return { advice: advised(each, cached), state: states.encode(state), view: offline.view(each.snapshot, state) };
  });
}"""
CHUNK = 500
FRESH, FRESH_CASES = 39029, 4000


@pytest.fixture(scope="module")
def page() -> Iterator[Page]:
    """A browser in which the page's modules can be imported."""
    with modules.opened() as opened:
        yield opened


def answered(page: Page, cases: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What the twin answers."""
    asked = [{name: value for name, value in each.items() if name != "expected"} for each in cases]
    chunks = (asked[at : at + CHUNK] for at in range(0, len(asked), CHUNK))
    # As text, so that every number and every missing field arrives as it was.
    texts = (
        page.evaluate(f"async (text) => JSON.stringify(await ({ANSWER})(JSON.parse(text)))", json.dumps(each))
        for each in chunks
    )
    return [each for text in texts for each in json.loads(text)]


def disagreements(page: Page, cases: list[dict[str, Any]]) -> list[str]:
    """Where the twin and Python differ."""
    pairs = zip(cases, answered(page, cases), strict=True)
    return [
        f"{number}{found}"
        for number, (each, got) in enumerate(pairs)
        for found in rule_vectors.disagreements(each["expected"], got)
    ]


def test_the_twin_answers_the_committed_cases_as_python_does(page: Page) -> None:
    """Plan, reasons, ways, remarks, state and view of every case are the same, to the letter."""
    assert disagreements(page, rule_vectors.read()) == []


def test_the_twin_answers_fresh_cases_as_python_does(page: Page) -> None:
    """Thousands of other cases, compared live."""
    cases = list(rule_vectors.cases(FRESH, FRESH_CASES))
    assert len(cases) == FRESH_CASES
    assert disagreements(page, cases) == []


@pytest.mark.parametrize(
    ("place", "wrong"),
    [
        (("advice", "plan", "answer"), "no_go"),
        (("advice", "plan", "steps", 0, "cycle"), 77),
        (("advice", "plan", "steps", 0, "reasons"), [{"code": "nearing", "answer": "warn", "text": "?"}]),
        (("view", "cavities", 0, "history_known"), 1),
        (("view", "cavities", 0, "wear"), "over"),
        (("state", 1, 0, 4), 77),
    ],
)
def test_a_wrong_answer_would_be_seen(page: Page, place: tuple[str | int, ...], wrong: object) -> None:
    """One expected value made wrong in one case of many is found, and nothing else is."""
    cases = list(rule_vectors.cases(FRESH, 60))
    spoilt = next(number for number, each in enumerate(cases) if _is_plain_go(each))
    inner: Any = cases[spoilt]["expected"]
    for step in place[:-1]:
        inner = inner[step]
    assert inner[place[-1]] != wrong or isinstance(wrong, int)
    inner[place[-1]] = wrong
    found = disagreements(page, cases)
    assert len(found) == 1
    assert found[0].startswith(f"{spoilt}/{place[0]}")


def _is_plain_go(case: dict[str, Any]) -> bool:
    advice = case["expected"]["advice"]
    known = all(each["history_known"] for each in case["expected"]["view"]["cavities"])
    return advice != "unclear" and advice["plan"]["answer"] == "go" and known


@pytest.fixture(scope="module")
def gos() -> str:
    """Cases with waiting entries that are answered with a go, so that anything milder than it ought to be would show; as text."""
    found = [each for each in rule_vectors.cases(FRESH, 800) if _is_plain_go(each) and each["waiting"]]
    assert len(found) > 20
    return json.dumps(found)


def _listed(case: dict[str, Any]) -> dict[str, Any]:
    """A tool on the shop's list of a case."""
    case["tools"] = [{"mark": "T-9", "part_number": "M81969/14-10", "due_on": None, "serves": []}]
    found: dict[str, Any] = case["tools"][0]
    return found


STRANGE: dict[str, Callable[[dict[str, Any]], object]] = {
    "a field of the snapshot": lambda each: each["snapshot"].update(hold=True),
    "a field of the definition": lambda each: each["snapshot"]["definition"].update(limit="x"),
    "a field of a cavity": lambda each: each["snapshot"]["definition"]["cavities"][0].update(seal="x"),
    "a field of the rating": lambda each: each["snapshot"]["definition"]["rating"].update(per="flight"),
    "a rating that is no number": lambda each: each["snapshot"]["definition"]["rating"].update(value="100"),
    "a fraction over one": lambda each: each["snapshot"]["definition"]["rating"].update(nearing_fraction=2),
    "a fraction that is no number": lambda each: each["snapshot"]["definition"]["rating"].update(
        nearing_fraction="0.8"
    ),
    "a field of the house": lambda each: each["snapshot"]["house"].update(stop=True),
    "a house rule": lambda each: each["snapshot"]["house"].update(unknown="ask"),
    "a longer whole": lambda each: each["snapshot"]["state"][0].append(True),
    "a longer cavity": lambda each: each["snapshot"]["state"][1][-1].append(True),
    "a longer state": lambda each: each["snapshot"]["state"].append([]),
    "a code": lambda each: each["snapshot"]["state"][1][0][15].append([str(chances.CONNECTOR), "tine_bent"]),
    "a longer finding": lambda each: each["snapshot"]["state"][1][0][14].append(
        [str(chances.CONNECTOR), False, False, True]
    ),
    "a count that is text": lambda each: each["snapshot"]["state"][1][0].__setitem__(4, "1"),
    "a time that is none": lambda each: each["snapshot"]["state"][1][0].__setitem__(16, "yesterday"),
    "an order of cavities": lambda each: each["snapshot"]["state"][1].append(each["snapshot"]["state"][1][0]),
    "a kind": lambda each: each["waiting"][0]["entry"].update(kind="cleaning"),
    "a field of an entry": lambda each: each["waiting"][0]["entry"].update(times=3),
    "a count of an entry": lambda each: each["waiting"][0]["entry"].update(insertions=-1),
    "a time of an entry": lambda each: each["waiting"][0]["entry"].update(performed_at="2026-02-30T08:00:00Z"),
    "a time of keeping": lambda each: each["waiting"][0].update(kept_at=None),
    "a field of a step": lambda each: each["steps"][0].update(half=True),
    "a field of a tool": lambda each: (_listed(each).update(withdrawn=True), each["steps"][0].update(tool="T-9")),
    "a day of a check": lambda each: (_listed(each).update(due_on="soon"), each["steps"][0].update(tool="T-9")),
}


@pytest.mark.parametrize("strange", STRANGE)
def test_what_the_twin_does_not_know_is_never_a_go(page: Page, gos: str, strange: str) -> None:
    """Something that a newer service may say makes of every go a warn with its reason, in every step, and of none an error."""
    cases = json.loads(gos)
    for each in cases:
        STRANGE[strange](each)
    for got in answered(page, cases):
        plan = got["advice"]["plan"]
        assert plan["answer"] in ("warn", "no_go")
        for step in plan["steps"]:
            assert step["answer"] != "go"
            assert {"not_understood", "order_uncertain"} & {reason["code"] for reason in step["reasons"]}


@pytest.mark.parametrize(
    ("mark", "change"),
    [
        ("]d20108012345678909", {}),
        ("https://id.example/01/00801234567895/21/EX-7", {}),
        (chances.SERIAL, {"kind": "cleaning"}),
        (chances.SERIAL, {"cavity": "Z", "side": "left"}),
    ],
)
def test_what_a_parked_entry_says_in_words_unknown_here_is_never_a_go(
    page: Page, gos: str, mark: str, change: dict[str, str]
) -> None:
    """A mark that only the service reads may mean this connector, and an entry that is not understood any of its cavities."""
    cases = json.loads(gos)
    for each in cases:
        entry = {**each["waiting"][0]["entry"], "connector": mark, **change}
        each["parked"] = [{"place": 1, "entry": entry, "kept_at": each["now"], "status": "parked"}]
        if not change:
            each["steps"] = [{**step, "cavity": entry.get("cavity", step["cavity"])} for step in each["steps"]]
    for got in answered(page, cases):
        for step in got["advice"]["plan"]["steps"]:
            assert step["answer"] != "go"
            assert "entries_waiting" in {reason["code"] for reason in step["reasons"]}


def test_a_state_that_cannot_be_read_is_no_answer(page: Page, gos: str) -> None:
    """Nothing known is an error that says so, not an answer."""
    unreadable: tuple[Any, ...] = (None, {}, [], [[]], [[], {}], [[], [None]])
    for state in unreadable:
        case = json.loads(gos)[0]
        case["snapshot"]["state"] = state
        with pytest.raises(Exception, match="can't be read"):
            answered(page, [case])


def test_figures_are_decimal(page: Page) -> None:
    """Nearing begins at fraction x rating, rounded up, by the figures as written: 0.8 x 35 is 28, for every fraction and rating."""
    fractions = [each / 100 for each in range(1, 101)] + [1 / 3, 0.1 + 0.2, 5e-05, 1e-07, 0.30000000000000004]
    ratings = [*range(1, 121), 365, 99_999, 100_000]
    pairs = list(itertools.product(fractions, ratings))
    got = page.evaluate(
        """async (pairs) => {
          const cycles = await import("/core/cycles.js");
          const rating = (value) => ({ value, first_insertion_counts: true, nearing_fraction: null });
          return pairs.map(([fraction, value]) => cycles.limits(rating(value), null, { nearing_fraction: fraction }).nearing_from);
        }""",
        pairs,
    )
    house = [cycles.limits(Rating(value=value, basis="house"), None, HouseRule("warn", each)) for each, value in pairs]
    assert got == [each.nearing_from for each in house]
    assert got[pairs.index((0.8, 35))] == 28


def test_times_are_read_to_the_microsecond(page: Page) -> None:
    """RFC 3339 times are the same moments as in Python, or no times in both; a Date alone would lose three digits."""
    days = ("2026-11-25", "2024-02-29", "2026-02-29", "1969-12-31", "0001-01-02", "9999-12-30", "2026-13-01")
    times = ("T08:00:00", "t23:59:59", " 00:00:00", "T24:00:00", "T08:00:60", "T08:00", "T08:61:00")
    fractions = ("", ".1", ".123456", ".1234564", ".1234565", ".9999999", ".", ",5", ".000001")
    zones = ("Z", "z", "+02:00", "-02:30", "+0200", "-00:00", "+23:59", "+24:00", "+02", "", "+02:60")
    texts = ["".join(each) for each in itertools.product(days, times, fractions, zones)]
    got = page.evaluate(
        """async (texts) => {
          const instants = await import("/core/instants.js");
          return texts.map((each) => { const at = instants.micros(each); return at === null ? null : instants.text(at); });
        }""",
        texts,
    )
    assert got == [_moment(each) for each in texts]
    assert sum(each is not None for each in got) > 500


def _moment(text: str) -> str | None:
    """A time in UTC as msgspec writes it; None where it reads none."""
    try:
        read = msgspec.json.decode(json.dumps(text), type=entries.Instant)
    except msgspec.ValidationError:
        return None
    written: str = rule_vectors.plain(read.astimezone(UTC))
    return written


def test_counting_to_a_cavity_is_told_as_python_tells_it(page: Page) -> None:
    """Ring, holes on and words are the same for every numbered insert, and none is told for others."""
    inserts = [[str(each) for each in range(1, size + 1)] for size in (3, 9, 10, 11, 37, 128)]
    inserts += [
        ["1", "2", *[str(each) for each in range(4, 14)]],
        [*map(str, range(12))],
        ["A"] * 12,
        ["01", *map(str, range(2, 12))],
    ]
    asked = [(ids, cavity) for ids in inserts for cavity in (*ids, "0", "129", "x")]
    got = page.evaluate(
        """async (asked) => {
          const guide = await import("/core/guide.js");
          return asked.map(([ids, cavity]) => guide.count(ids, cavity));
        }""",
        asked,
    )
    assert got == [rule_vectors.plain(guide.count(ids, cavity)) for ids, cavity in asked]


FULL_ENTRY = {
    "id": str(chances.CONNECTOR), "connector": "SN-1", "kind": "insertion", "performed_at": "2026-11-25T08:00:00+02:00",
    "performed_by": "amy", "cavity": "A", "cavities": ["A"], "tool": "T", "work_order": "W", "contact": "C", "force_n": 66.7,
    "held": True, "level": True, "tool_looked_at": True, "note": "N", "bench": "B", "corrects": str(chances.CONNECTOR),
    "refers_to": str(chances.CONNECTOR), "code": "over_rating", "accepted": True, "blocks": False, "asset": "XX-ABC",
    "zone": "210", "position": "P1", "insertions": 1, "removals": 0, "tine_entries": 2, "occupied": True, "source": "card",
}  # fmt: skip
FULL_RATING = {
    "value": 10, "basis": "house", "document": "D", "revision": "1", "paragraph": "2", "verified_by": "amy",
    "verified_on": "2026-01-31", "first_insertion_counts": False, "nearing_fraction": 0.5,
}  # fmt: skip
FULL_DEFINITION = {
    "connector": str(chances.CONNECTOR), "serial": "EX-1", "cavities": [{"id": "A", "contact_size": "20"}], "history": "unknown",
    "cage": "0CVA5", "part_number": "P", "family": "F", "cavity_ids": "derived", "rating": FULL_RATING,
    "mating_rating": FULL_RATING, "populated": True, "nearing_fraction": 0.5,
}  # fmt: skip


def test_everything_that_the_service_may_say_is_understood(page: Page, gos: str) -> None:
    """No field of an entry, a rating, a definition or a snapshot makes the twin doubt: else every answer would be a warn."""
    assert set(FULL_ENTRY) == set(entries.Entry.__struct_fields__)
    assert set(FULL_RATING) == set(Rating.__struct_fields__)
    assert set(FULL_DEFINITION) == set(entries.Definition.__struct_fields__)
    snapshot = json.loads(gos)[0]["snapshot"]
    assert set(snapshot) == set(Snapshot.__struct_fields__)
    definition = {**snapshot["definition"], **FULL_DEFINITION, "cavities": snapshot["definition"]["cavities"]}
    doubts = page.evaluate(
        """async ([entry, snapshot]) => {
          const [entries, snapshots] = await Promise.all([import("/core/entries.js"), import("/core/snapshots.js")]);
          return [...entries.doubts(entry), ...snapshots.read(snapshot).doubts];
        }""",
        [FULL_ENTRY, {**snapshot, "definition": definition}],
    )
    assert doubts == []
