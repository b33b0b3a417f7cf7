"""The outbox of the page in a real browser: kept before it is sent, in order, once, and said clearly where it can't be."""

import time
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.browser import programs
from tests.browser.at_work import NEUTRAL, entry, keep, numbers, open_bench, standing
from tests.browser.cutting import Line
from tests.browser.site import Site

FAILED = """async (work) => {
  try { await work(); } catch (error) { return {name: error.name, code: error.code, text: error.message}; }
  return null;
}"""


def failed(page: Page, work: str, *told: Any) -> dict[str, Any] | None:
    """What the work of a tab throws, as a person would read it."""
    return page.evaluate(f"(told) => ({FAILED})(() => ({work})(...told))", list(told))  # type: ignore[no-any-return]


def test_entries_come_out_as_they_went_in(tab: Page) -> None:
    """Order is that of keeping, content is exact, and an act is found by who did it last."""
    made = [entry(3, "EX-1"), entry(1, "EX-1", note="GS \x1d and \u2300 and 'quotes'", force_n=66.7)]
    keep(tab, *made)
    keep(tab, entry(2, "EX-1", performed_by="badge 9"))
    assert numbers(tab) == [3, 1, 2]
    assert tab.evaluate("async () => (await bench.box.ofStatus('unsent', 2)).map((each) => each.entry)") == made
    assert tab.evaluate("() => bench.box.lastAct('badge 117')") == made
    assert tab.evaluate("() => bench.box.lastAct('nobody')") == []


def test_an_act_that_goes_on_is_one_act(tab: Page) -> None:
    """Entries kept later under the same act belong to it."""
    for number in (1, 2):
        tab.evaluate("(entry) => bench.box.keep([entry], 'an act')", entry(number, "EX-1"))
    assert [each["id"] for each in tab.evaluate("() => bench.box.lastAct('badge 117')")] == standing(tab, "unsent")


def test_the_same_entry_twice_is_one_and_another_content_is_an_error(tab: Page) -> None:
    """An id stands for one content, whatever the order of its fields; a clash leaves the whole act out."""
    keep(tab, entry(1, "EX-1"))
    keep(tab, dict(reversed(entry(1, "EX-1").items())), entry(2, "EX-1"))
    assert numbers(tab) == [1, 2]
    clash = failed(tab, "(...entries) => bench.box.keep(entries)", entry(3, "EX-1"), entry(2, "EX-1", cavity="c"))
    assert clash is not None
    assert clash["name"] == "ClashError"
    assert numbers(tab) == [1, 2]


@pytest.mark.parametrize(
    "wrong", [{"id": "7"}, {"id": entry(10, "EX-1")["id"].upper()}, {"connector": ""}, {"kind": None}]
)
def test_what_could_never_be_sent_is_not_kept(tab: Page, wrong: dict[str, Any]) -> None:
    """An entry without an id of its own would hold up all that wait behind it."""
    told = failed(tab, "(...entries) => bench.box.keep(entries)", entry(1, "EX-1"), entry(2, "EX-1") | wrong)
    assert told is not None
    assert told["name"] == "TypeError"
    assert numbers(tab) == []


def test_what_was_settled_stays_settled(tab: Page) -> None:
    """Outcomes are written down once; refused ones keep the problem, and can be put back by a person."""
    keep(tab, *(entry(each, "EX-1") for each in (1, 2, 3, 4)))
    problem = {"type": "t", "title": "T", "status": 422, "detail": "no such cavity"}
    ids = standing(tab, "unsent")
    settled = [
        {"id": ids[0], "status": "sent", "discrepancies": ["over_rating"]},
        {"id": ids[1], "status": "parked"},
        {"id": ids[2], "status": "refused", "problem": problem},
        {"id": ids[0], "status": "refused", "problem": problem},
    ]
    tab.evaluate("(settled) => bench.box.settle(settled)", settled)
    assert [numbers(tab, each) for each in ("unsent", "sent", "parked", "refused")] == [[4], [1], [2], [3]]
    assert tab.evaluate("async () => (await bench.box.ofStatus('refused'))[0].problem") == problem
    assert tab.evaluate("async () => (await bench.box.ofStatus('sent'))[0].discrepancies") == ["over_rating"]
    assert tab.evaluate("(id) => bench.box.again(id)", ids[2]) is True
    assert tab.evaluate("(id) => bench.box.again(id)", ids[0]) is False
    assert numbers(tab) == [3, 4]
    counts = tab.evaluate("() => bench.box.counts()")
    assert {each: counts[each] for each in ("unsent", "sent", "parked", "refused")} == {
        "unsent": 2, "sent": 1, "parked": 1, "refused": 0,
    }  # fmt: skip
    assert counts["oldest_unsent_at"] is not None


def test_the_number_of_acknowledged_entries_never_falls(tab: Page) -> None:
    """A snapshot lacks what was acknowledged after it, even if a refused entry was put back in between."""
    keep(tab, entry(1, "EX-1"), entry(2, "EX-1"))
    one, two = standing(tab, "unsent")
    tab.evaluate("(id) => bench.box.settle([{id, status: 'refused'}])", one)
    before = tab.evaluate("() => bench.box.acknowledged()")
    tab.evaluate("(id) => bench.box.again(id)", one)
    tab.evaluate("(id) => bench.box.settle([{id, status: 'sent'}])", two)
    open_ = tab.evaluate(
        "async (before) => (await bench.box.since(['EX-1', 'x'], before)).map((each) => each.entry.id)", before
    )
    assert open_ == [one, two]
    assert tab.evaluate("(before) => bench.box.referred(before)", before) == ["EX-1"]


def test_of_two_states_that_overtook_each_other_the_later_one_stays(tab: Page) -> None:
    """A slow answer does not put an older state over a newer one; one of a restored service is believed."""

    def saved(entries: int, at: str) -> int:
        made = {"definition": {"connector": "x", "cavities": []}, "state": [], "entries": entries, "as_of": at}
        tab.evaluate("(made) => bench.box.saveSnapshot(made, 0)", made)
        found: int = tab.evaluate("async () => (await bench.box.snapshot('x')).snapshot.entries")
        return found

    assert saved(3, "2026-11-25T08:00:02Z") == 3
    assert saved(2, "2026-11-25T08:00:01Z") == 3
    assert saved(1, "2026-11-25T08:00:03Z") == 1


def test_an_act_cut_in_the_middle_of_its_writing_is_there_whole_or_not_at_all(
    device: BrowserContext, line: Line, site: Site
) -> None:
    """A tab that is closed while a large act is written leaves all of it or none; so does every act after it."""
    seen = []
    for number in range(12):
        page = open_bench(programs.tab(device, line.address + NEUTRAL), site.token)
        act = [entry(1000 * number + each, "EX-1") for each in range(300)]
        page.evaluate("(entries) => { bench.box.keep(entries); }", act)
        time.sleep(number * 0.01)
        page.close()
        page = open_bench(programs.tab(device, line.address + NEUTRAL), site.token)
        kept = numbers(page)
        page.close()
        seen.append(sum(1000 * number <= each < 1000 * (number + 1) for each in kept))
    assert set(seen) <= {0, 300}


def test_a_full_device_is_said_and_nothing_is_half_kept(tab: Page) -> None:
    """Where there is no room, the act is not kept at all, the text says that it is not, and it works once there is room."""
    session = tab.context.new_cdp_session(tab)
    origin = tab.evaluate("() => location.origin")
    session.send("Storage.overrideQuotaForOrigin", {"origin": origin, "quotaSize": 1_000_000})
    keep(tab, entry(1, "EX-1"))
    acts = [[entry(20 * act + each, "EX-1", note="x" * 4000) for each in range(20)] for act in range(1, 60)]
    kept = 0
    told = None
    while told is None:
        told = failed(tab, "(...entries) => bench.box.keep(entries)", *acts[kept])
        kept += told is None
    assert (told["name"], told["code"]) == ("UnusableError", "full")
    assert "NOT kept" in told["text"]
    assert len(numbers(tab)) == 1 + 20 * kept
    session.send("Storage.overrideQuotaForOrigin", {"origin": origin})
    keep(tab, *acts[kept])
    assert len(numbers(tab)) == 1 + 20 * (kept + 1)


def test_a_newer_page_in_another_tab_takes_over(tab: Page, device: BrowserContext, line: Line, site: Site) -> None:
    """The old tab lets go at once, keeps nothing more, and says that it must be loaded anew; nothing is lost."""
    keep(tab, entry(1, "EX-1"))
    newer = programs.tab(device, line.address + NEUTRAL)
    opened = """() => new Promise((resolve, reject) => {
      const request = indexedDB.open("tinebook", 2);
      request.onsuccess = () => { request.result.close(); resolve(true); };
      request.onerror = () => reject(request.error);
    })"""
    assert newer.evaluate(opened) is True
    told = failed(tab, "(...entries) => bench.box.keep(entries)", entry(2, "EX-1"))
    assert told is not None
    assert told["code"] == "newer"
    older = programs.tab(device, line.address + NEUTRAL)
    told = failed(older, "async () => (await import('/keep/store.js')).openStore()")
    assert told is not None
    assert (told["code"], "Reload this tab" in told["text"]) == ("newer", True)
    del site


def test_a_tab_that_does_not_let_go_is_named(device: BrowserContext, line: Line) -> None:
    """An outbox that can't be opened because another tab holds it is an error in words, not a page that hangs."""
    holding = programs.tab(device, line.address + NEUTRAL)
    holding.evaluate("""() => new Promise((resolve) => {
      const request = indexedDB.open("tinebook", 1);
      request.onupgradeneeded = () => undefined;
      request.onsuccess = () => { window.held = request.result; indexedDB.deleteDatabase("tinebook"); resolve(true); };
    })""")
    waiting = programs.tab(device, line.address + NEUTRAL)
    told = failed(waiting, "async () => (await import('/keep/store.js')).openStore()")
    assert told is not None
    assert (told["code"], "Close the other tabs" in told["text"]) == ("blocked", True)


def test_a_browser_that_keeps_nothing_is_named(device: BrowserContext, line: Line) -> None:
    """Without the browser's database the page does not start as if it could keep something."""
    for put, code in (
        ("Object.defineProperty(window, 'indexedDB', {value: undefined})", "absent"),
        ("indexedDB.open = () => { throw new DOMException('denied', 'SecurityError'); }", "private"),
    ):
        page = programs.tab(device, line.address + NEUTRAL)
        page.evaluate(f"() => {{ {put}; }}")
        told = failed(page, "async () => (await import('/keep/store.js')).openStore()")
        assert told is not None
        assert (told["name"], told["code"]) == ("UnusableError", code)


def test_a_connection_that_the_browser_closed_is_opened_again(tab: Page) -> None:
    """A tablet that slept goes on keeping."""
    keep(tab, entry(1, "EX-1"))
    tab.evaluate("async () => (await bench.box.database.opened()).close()")
    keep(tab, entry(2, "EX-1"))
    assert numbers(tab) == [1, 2]


def test_other_tabs_are_told(tab: Page, device: BrowserContext, line: Line, site: Site) -> None:
    """What one tab keeps shows in the other."""
    other = open_bench(programs.tab(device, line.address + NEUTRAL), site.token)
    other.evaluate("() => { window.heard = 0; window.stop = bench.box.watch(() => { window.heard += 1; }); }")
    keep(tab, entry(1, "EX-1"))
    programs.until(lambda: other.evaluate("() => window.heard") == 1, "the other tab is not told")
    other.evaluate("() => window.stop()")
    assert numbers(other) == [1]
