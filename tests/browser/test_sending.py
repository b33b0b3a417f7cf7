"""Sending from the page: one tab at a time, in order, each fact once, whatever happens to the line."""

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.browser import cutting, programs
from tests.browser.at_work import NEUTRAL, entry, keep, numbers, open_bench, send, standing
from tests.browser.conftest import MakeChromium
from tests.browser.cutting import Line
from tests.browser.site import Site


def entries_cut(fate: str, *, over: int = 1) -> cutting.Shears:
    """Deal this fate to every request with at least `over` entries."""
    return lambda path, body: fate if path == b"/v1/entries" and body.count(b'"performed_by"') >= over else "answer"


LOCKLESS = "Object.defineProperty(Navigator.prototype, 'locks', {value: undefined})"


@pytest.mark.parametrize("locks", [True, False], ids=["locks", "leases"])
def test_two_tabs_send_one_after_the_other(device: BrowserContext, line: Line, site: Site, locks: bool) -> None:
    """Two tabs that record and send at the same time double nothing and keep the order, with or without locks."""
    connector = site.register(f"EX-TABS-{locks}", rating=None)
    tabs = [programs.tab(device, line.address + NEUTRAL) for _ in range(2)]
    for each in tabs:
        if not locks:
            each.evaluate(f"() => {{ {LOCKLESS}; }}")
        open_bench(each, site.token)
    work = """async ({connector, tab}) => {
      for (let act = 0; act < 25; act += 1) {
        await bench.box.keep([0, 1].map((each) => ({
          id: crypto.randomUUID(), connector, kind: "finding", cavity: "1", note: `${tab} ${act} ${each}`,
          performed_at: new Date().toISOString(), performed_by: "badge 117"})));
        bench.link.wake();
        await bench.sending.send(bench.box, bench.link, bench.now, 3);
      }
      window.done = true;
    }"""
    for number, each in enumerate(tabs):
        each.evaluate(f"(told) => {{ ({work})(told); }}", {"connector": connector, "tab": number})
    programs.until(lambda: all(each.evaluate("() => window.done === true") for each in tabs), "the tabs end")
    done = send(tabs[0])
    assert done["stopped"] is None
    assert len(standing(tabs[0], "sent")) == 100
    assert site.ids(connector) == standing(tabs[0], "sent")


LEASE = """async (later_ms) => {
  const {box} = bench;
  for (const each of ["a", "b"]) await box.leaveLease(each);
  box.clock = () => new Date(1e12);
  await box.takeLease("a", 30000);
  box.clock = () => new Date(1e12 + later_ms);
  return box.takeLease("b", 30000);
}"""


def test_a_tab_that_holds_the_right_is_waited_for(tab: Page, device: BrowserContext, line: Line, site: Site) -> None:
    """While one tab sends, another says so; a lease of a tab that died runs out, also over a clock that was set back."""
    connector = site.register("EX-RIGHT")
    keep(tab, entry(1, connector))
    other = open_bench(programs.tab(device, line.address + NEUTRAL), site.token)
    other.evaluate(
        "() => { navigator.locks.request('tinebook-sending', () => new Promise((done) => { window.let = done; })); }"
    )
    assert "Another tab" in send(tab)["stopped"]
    other.close()
    programs.until(lambda: send(tab)["recorded"] == 1, "the right of a closed tab stays away")
    keep(tab, entry(2, connector))
    tab.evaluate(f"() => {{ {LOCKLESS}; }}")
    for clock_ms, free in ((0, False), (30_001, True), (-1, True)):
        assert tab.evaluate(LEASE, clock_ms) is free
    tab.evaluate("""async () => {
      bench.box.clock = () => new Date();
      for (const each of ["a", "b"]) await bench.box.leaveLease(each);
      return bench.box.takeLease("dead tab", 30000);
    }""")
    assert "Another tab" in send(tab)["stopped"]
    tab.evaluate("() => bench.box.leaveLease('dead tab')")
    assert send(tab)["recorded"] == 1


def test_one_that_spoils_its_request_is_set_aside_and_the_rest_goes_on(tab: Page, line: Line, site: Site) -> None:
    """A request refused as a whole is halved until the culprit stands alone; that one is kept with the reason."""
    connector = site.register("EX-HALVES", rating=None)
    made = [entry(100 + each, connector, "finding", note="poison" if each == 5 else "fine") for each in range(12)]
    keep(tab, *made)
    line.shears = lambda path, body: "too_large" if path == b"/v1/entries" and b"poison" in body else "answer"
    done = send(tab)
    assert (done["recorded"], done["refused"], done["stopped"]) == (11, 1, None)
    assert standing(tab, "refused") == [made[5]["id"]]
    assert tab.evaluate("async () => (await bench.box.ofStatus('refused'))[0].problem.detail") == "of the test"
    assert site.ids(connector) == [each["id"] for each in made if each is not made[5]]
    line.shears = lambda _path, _body: "answer"
    assert tab.evaluate("(id) => bench.box.again(id)", made[5]["id"]) is True
    assert send(tab)["recorded"] == 1


def test_what_the_service_keeps_aside_or_refuses_stays_for_a_person(tab: Page, site: Site) -> None:
    """Unknown connectors are parked; a malformed one and an id with other content are refused, each with its reason."""
    connector = site.register("EX-ASIDE")
    keep(
        tab, entry(200, connector), entry(201, "EX-NOBODY-HAS-THIS"), entry(202, connector, "renewal", "no such cavity")
    )
    keep(tab, entry(203, connector, "mating", cavity="1"))
    site.ask("POST", "/v1/entries", {"entries": [entry(204, connector, cavity="c")]})
    keep(tab, entry(204, connector, cavity="C"))
    done = send(tab)
    assert done["stopped"] is None
    assert numbers(tab, "unsent") == []
    assert numbers(tab, "parked") == [201]
    refused = tab.evaluate(
        "async () => (await bench.box.ofStatus('refused')).map((each) => [each.entry.id, each.problem.detail])"
    )
    assert [int(each[-12:], 16) for each, _ in refused] == [202, 203, 204][-len(refused) :]
    assert all(detail for _, detail in refused)
    assert {203, 204} <= {int(each[-12:], 16) for each, _ in refused}
    summary = tab.evaluate("() => bench.station.outboxSummary()")
    assert (len(summary["parked"]), len(summary["refused"]), summary["oldest"]) == (1, len(refused), None)


@pytest.mark.parametrize("fate", [each for each in cutting.FATES if each != "too_large"])
def test_whatever_happens_to_the_line_everything_waits_and_arrives_once(
    tab: Page, line: Line, site: Site, fate: str
) -> None:
    """Refused, lost, late, cut short, busy, broken, garbled, denied: nothing is dropped, and in the end it is there once."""
    connector = site.register(f"EX-LINE-{fate}")
    first = 300 + 10 * cutting.FATES.index(fate)
    keep(tab, entry(first, connector), entry(first + 1, connector, "removal"))
    tab.evaluate("(ms) => { bench.link.patience.answer_ms = ms; }", 250)
    line.shears = entries_cut(fate)
    done = send(tab)
    assert done["stopped"]
    assert done["denied"] is (fate == "denied")
    assert numbers(tab) == [first, first + 1]
    committed = fate in ("lose", "late", "truncate", "shorten", "broken")
    assert len(site.ids(connector)) == (2 if committed else 0)
    line.shears = lambda _path, _body: "answer"
    tab.evaluate("() => { bench.link.patience.answer_ms = 10000; }")
    done = send(tab)
    assert done["already_recorded" if committed else "recorded"] == 2
    assert site.ids(connector) == standing(tab, "sent")


WORLD = """async (told) => {
  const {makeLink} = await import("/keep/link.js");
  const world = {now_ms: 0, waited: [], calls: 0};
  const fetch = async () => {
    world.calls += 1;
    if (told.fail) throw new TypeError("no network");
    return new Response("{}", {status: told.status, headers: told.headers});
  };
  const means = {
    fetch,
    monotonic: () => world.now_ms, sleep: async (ms) => { world.waited.push(ms); world.now_ms += ms; }, chance: () => told.chance,
    now: () => Date.parse("2026-11-25T08:00:00Z")};
  const link = makeLink({token: null, means});
  const rests = [];
  for (let each = 0; each < told.times; each += 1) {
    link.wake();
    try { await link.ready(); } catch (error) { if (error.name !== "AwayError") throw error; }
    rests.push(link.rests_ms);
  }
  let resting = false;
  try { await link.ready(); } catch (error) { resting = error.message.includes("a moment ago"); }
  return {rests, waited: world.waited, calls: world.calls, resting};
}"""


def test_a_link_rests_longer_after_each_failure_and_never_in_step_with_others(tab: Page) -> None:
    """Rests double up to a minute, spread by chance over half to one and a half times; while it rests nothing is asked."""
    low, high = (
        tab.evaluate(WORLD, {"fail": True, "times": 7, "chance": each, "status": 0, "headers": {}}) for each in (0, 1)
    )
    assert low["rests"] == [1000, 2000, 4000, 8000, 16_000, 30_000, 30_000]
    assert high["rests"] == [3000, 6000, 12_000, 24_000, 48_000, 90_000, 90_000]
    assert low["waited"] == [150] * 7
    assert (low["calls"], low["resting"]) == (14, True)


@pytest.mark.parametrize(
    ("told", "rest_ms", "waited"),
    [("1", 2000, [1000]), ("30", 30_000, []), ("Wed, 25 Nov 2026 08:00:30 GMT", 30_000, []), ("soon", 2000, [300])],
)
def test_a_busy_service_says_how_long(tab: Page, told: str, rest_ms: int, waited: list[int]) -> None:
    """Retry-After in seconds or as a date is kept to (RFC 9110, 10.2.3); anything else is not believed."""
    asked = {"fail": False, "times": 1, "chance": 0.5, "status": 503, "headers": {"Retry-After": told}}
    seen = tab.evaluate(WORLD, asked)
    assert (seen["rests"], seen["waited"]) == ([rest_ms], waited)


def test_a_question_is_given_up_sooner_than_what_is_sent_by_itself(tab: Page) -> None:
    """Whoever stands there and asks waits once for a dead line, and not for as long as sending does, which tries again."""
    asked = """async () => {
      const {makeLink} = await import("/keep/link.js");
      const means = {fetch: (_, {signal}) => new Promise((_, reject) => signal.addEventListener("abort", () => {
        lines += 1;
        reject(signal.reason);
      }))};
      let lines = 0;
      const link = makeLink({token: null, patience: {question_ms: 10, answer_ms: 30, first_wait_ms: 1}, means});
      const counts = [];
      for (const call of [() => link.plan("x", [{}]), () => link.snapshot("x"), () => link.entries([{}], "")]) {
        link.wake();
        lines = 0;
        const why = await call().catch((error) => error.message);
        counts.push([lines, why]);
      }
      return counts;
    }"""
    late = "The service does not answer in time."
    assert tab.evaluate(asked) == [[1, late], [1, late], [2, late]]


def test_the_device_saying_that_it_is_offline_is_only_a_hint(tab: Page, site: Site) -> None:
    """A browser that believes to be offline is not believed: what waits is sent if the service answers."""
    connector = site.register("EX-HINT")
    keep(tab, entry(600, connector))
    tab.evaluate("() => Object.defineProperty(Navigator.prototype, 'onLine', {get: () => false})")
    assert send(tab)["recorded"] == 1


def test_it_works_on_a_plain_name_without_a_secure_context(make_chromium: MakeChromium, site: Site) -> None:
    """On plain HTTP there are no locks, no service worker and no randomUUID: keeping and sending work all the same."""
    connector = site.register("EX-PLAIN")
    device = make_chromium("plain", "--host-resolver-rules=MAP bench.test 127.0.0.1")
    page = device.page(f"http://bench.test:{site.bench.port}{NEUTRAL}")
    assert page.evaluate("() => [isSecureContext, 'locks' in navigator, 'serviceWorker' in navigator]") == [False] * 3
    open_bench(page, site.token)
    assert page.evaluate("async () => (await import('/keep/updates.js')).watchUpdates({})") is None
    keep(page, entry(700, connector))
    assert send(page)["recorded"] == 1
    assert page.evaluate("() => bench.store.askToStay()")["persisted"] is None
