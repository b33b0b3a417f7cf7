"""A bench at work in the page: what it finds, answers and records, with the service, without it, and with half of it."""

from typing import Any

from playwright.sync_api import Page

from tests.browser.at_work import entry
from tests.browser.cutting import Line
from tests.browser.site import Site


def cut(line: Line, fate: str, *paths: bytes) -> None:
    """Cut what goes to these paths; all of the API if none is named."""
    line.shears = lambda path, _body: fate if path.startswith(paths or (b"/v1/",)) else "answer"


def mend(line: Line) -> None:
    """Let everything through."""
    line.shears = lambda _path, _body: "answer"


def find(page: Page, mark: str) -> dict[str, Any]:
    """What a typed mark means."""
    heard: dict[str, Any] = page.evaluate(
        "(mark) => { bench.link.wake(); return bench.station.find(bench.typed(mark)); }", mark
    )
    return heard


def advise(page: Page, connector: str | None, mark: str, *steps: dict[str, Any]) -> dict[str, Any]:
    """The answer to steps on a connector that was just opened."""
    asked = """async ([connector, mark, steps]) => {
      bench.link.wake();
      const nobody = {mark, connector: null, name: mark, part_number: null, snapshot: null, remarks: []};
      const about = connector === null ? nobody : await bench.station.openConnector(connector, mark);
      bench.link.wake();
      return bench.station.advise(about, steps);
    }"""
    advice: dict[str, Any] = page.evaluate(asked, [connector, mark, list(steps)])
    return advice


def record(page: Page, *entries: dict[str, Any]) -> dict[str, Any]:
    """Keep and send; `order` says what happened first."""
    done: dict[str, Any] = page.evaluate(
        """async (entries) => {
          bench.link.wake();
          const order = [];
          const done = await bench.station.record(entries, {kept: () => order.push("kept")});
          return {...done, order};
        }""",
        list(entries),
    )
    return done


INSERT = {"action": "insert", "cavity": "1"}


def test_with_the_service_every_answer_is_the_services(tab: Page, site: Site) -> None:
    """Found, answered and recorded there; and the state is fetched anew afterwards, to go on without it."""
    connector = site.register("EX-WITH")
    heard = find(tab, "EX-WITH")
    assert (heard["type"], heard["basis"], heard["connectors"][0]["id"]) == ("found", "service", connector)
    advice = advise(tab, connector, "EX-WITH", INSERT)
    assert (advice["basis"], advice["plan"]["answer"], advice["remarks"]) == ("service", "go", [])
    done = record(tab, entry(1, connector))
    assert (done["sent"]["recorded"], done["order"]) == (1, ["kept"])
    assert [each["status"] for each in done["kept"]] == ["sent"]
    cached = tab.evaluate("(id) => bench.box.snapshot(id)", connector)
    assert (cached["snapshot"]["entries"], cached["acknowledged"]) == (1, 1)


def test_without_the_service_it_answers_from_what_it_knows_and_what_waits(tab: Page, line: Line, site: Site) -> None:
    """Found and answered here, with the age of the state; own entries count, by whatever name they call the connector."""
    connector = site.register("EX-WITHOUT", rating=2)
    find(tab, "EX-WITHOUT")
    assert advise(tab, connector, "EX-WITHOUT", INSERT)["basis"] == "service"
    cut(line, "refuse")
    heard = find(tab, "EX-WITHOUT")
    assert (heard["basis"], heard["connectors"][0]["serial"]) == ("bench", "EX-WITHOUT")
    assert find(tab, connector)["connectors"][0]["id"] == connector
    done = record(tab, entry(10, connector), entry(11, "EX-WITHOUT", "removal"))
    assert [each["status"] for each in done["kept"]] == ["unsent", "unsent"]
    advice = advise(tab, connector, "EX-WITHOUT", INSERT)
    assert (advice["basis"], advice["plan"]["answer"], advice["plan"]["steps"][0]["cycle"]) == ("bench", "warn", 2)
    assert any("2 entries recorded here" in each for each in advice["remarks"])
    assert any("others may have worked" in each for each in advice["remarks"])
    shown = tab.evaluate(
        "(id) => bench.station.openConnector(id, 'x').then((about) => bench.station.standing(about))", connector
    )
    assert {each["id"]: each["cycles_begun"] for each in shown["cavities"]}["1"] == 1
    mend(line)
    assert tab.evaluate("() => bench.station.send()")["recorded"] == 2
    assert site.ids(connector) == [entry(10, connector)["id"], entry(11, connector)["id"]]


def test_what_the_service_has_not_got_is_counted_in_here(tab: Page, line: Line, site: Site) -> None:
    """While the service answers but does not take entries, its own answer would be too good: this bench answers instead."""
    connector = site.register("EX-HALF", rating=1)
    find(tab, "EX-HALF")
    cut(line, "busy", b"/v1/entries")
    tab.evaluate("() => Object.assign(bench.link.patience, {first_rest_ms: 0, longest_rest_ms: 0})")
    record(tab, entry(20, connector), entry(21, connector, "removal"))
    advice = advise(tab, connector, "EX-HALF", INSERT)
    assert (advice["basis"], advice["plan"]["answer"]) == ("bench", "no_go")
    assert any("has not got everything" in each for each in advice["remarks"])
    mend(line)
    assert advise(tab, connector, "EX-HALF", INSERT)["basis"] == "service"
    assert len(site.ids(connector)) == 2


def test_a_withdrawn_token_is_named_with_the_answer(tab: Page, line: Line, site: Site) -> None:
    """An answer that is the bench's own because the token does not hold any more says so first."""
    connector = site.register("EX-TOKEN")
    find(tab, "EX-TOKEN")
    advise(tab, connector, "EX-TOKEN", INSERT)
    cut(line, "denied")
    advice = advise(tab, connector, "EX-TOKEN", INSERT)
    assert advice["basis"] == "bench"
    assert "does not accept this bench's token" in advice["remarks"][0]
    assert "does not accept this bench's token" in find(tab, "EX-NEVER-SEEN")["why"]


def test_what_nobody_knows_has_no_answer_and_is_kept_all_the_same(tab: Page, line: Line, site: Site) -> None:
    """No answer is not a go. What is done goes out under the mark, and joins the connector once that is registered."""
    assert "No connector is registered" in find(tab, "EX-LATER")["why"]
    cut(line, "refuse")
    assert "that is not a go" in find(tab, "EX-LATER")["why"]
    advice = advise(tab, None, "EX-LATER", INSERT)
    assert (advice["plan"], advice["basis"]) == (None, "nothing")
    record(tab, entry(30, "EX-LATER"))
    mend(line)
    assert tab.evaluate("() => bench.station.send()")["parked"] == 1
    connector = site.register("EX-LATER")
    assert site.ids(connector) == [entry(30, "EX-LATER")["id"]]


def test_one_of_several_never_passes_for_the_only_one(tab: Page, line: Line, site: Site) -> None:
    """Two connectors with one serial are two, with the service and without it."""
    both = sorted(site.register("EX-TWIN", cage=each, part_number="EX-PN") for each in ("0CVA5", "1ABC2"))
    assert sorted(each["id"] for each in find(tab, "EX-TWIN")["connectors"]) == both
    tab.evaluate("(ids) => bench.station.takeAlongIds(ids)", both)
    cut(line, "refuse")
    assert sorted(each["id"] for each in find(tab, "EX-TWIN")["connectors"]) == both
    # By the keys of what was taken along, where the mark itself was never looked up here.
    tab.evaluate("() => bench.box.saveMark('|EX-TWIN', [])")
    assert sorted(each["id"] for each in find(tab, "EX-TWIN")["connectors"]) == both


def test_a_state_that_this_page_cant_read_is_as_good_as_none(tab: Page, line: Line, site: Site) -> None:
    """A kept state in another shape gives no answer, and no error that stops the work."""
    connector = site.register("EX-SHAPE")
    advise(tab, connector, "EX-SHAPE", INSERT)
    tab.evaluate("""async (id) => {
      const {snapshot, acknowledged} = await bench.box.snapshot(id);
      await bench.box.saveSnapshot({...snapshot, state: {another: "shape"}}, acknowledged);
    }""", connector)  # fmt: skip
    cut(line, "refuse")
    advice = advise(tab, connector, "EX-SHAPE", INSERT)
    assert (advice["plan"], advice["basis"]) == (None, "nothing")


def alone(page: Page, line: Line, connector: str, *cavities: str) -> list[tuple[str, list[str]]]:
    """The page's own answer to an insertion into each cavity, without the service: with the codes of its reasons."""
    cut(line, "refuse")
    advice = advise(page, connector, "EX-TWO", *({"action": "insert", "cavity": each} for each in cavities))
    mend(line)
    assert advice["basis"] == "bench"
    return [(each["answer"], [reason["code"] for reason in each["reasons"]]) for each in advice["plan"]["steps"]]


def test_what_is_parked_and_may_be_about_a_cavity_is_never_a_go_here(tab: Page, line: Line, site: Site) -> None:
    """Under a mark that two connectors bear: warn for its cavity at both, until the service has said whose it is."""
    both = [site.register("EX-TWO", cage=each) for each in ("0CVA5", "1ABC2")]
    mine, others = both
    waiting = [entry(40, "EX-TWO"), entry(41, "EX-TWO", "removal")]
    assert record(tab, *waiting)["sent"]["parked"] == 2
    for each in both:
        find(tab, each)
        assert advise(tab, each, each, INSERT)["plan"]["steps"][0]["reasons"][0]["code"] == "entries_waiting"
        assert alone(tab, line, each, "1", "2") == [("warn", ["entries_waiting"]), ("go", [])]
    cut(line, "busy", b"/v1/entries")
    tab.evaluate("() => Object.assign(bench.link.patience, {first_rest_ms: 0, longest_rest_ms: 0})")
    record(tab, entry(42, mine, cavity="2"))
    reached = advise(tab, mine, "EX-TWO", INSERT)
    assert (reached["basis"], reached["plan"]["answer"]) == ("bench", "warn")
    assert any("has not got everything" in each for each in reached["remarks"])
    mend(line)
    for parked in waiting:
        site.ask("POST", f"/v1/parked/{parked['id']}", {"connector": others})
    assert alone(tab, line, mine, "1") == [("warn", ["entries_waiting"])]
    tab.evaluate("() => bench.station.send()")
    assert advise(tab, others, "EX-TWO", INSERT)["basis"] == "service"
    counts = tab.evaluate("() => bench.box.counts()")
    assert (counts["parked"], counts["sent"], counts["unsent"]) == (0, 3, 0)
    cycles = """async (id) => {
      const about = await bench.station.openConnector(id, id);
      return (await bench.station.standing(about)).cavities.find((each) => each.id === "1").cycles_begun;
    }"""
    cut(line, "refuse")
    # The first one's state is still that from before, and does not take in what was assigned to the other.
    assert [tab.evaluate(cycles, each) for each in both] == [0, 1]
    mend(line)
    assert [alone(tab, line, each, "1") for each in both] == [[("go", [])]] * 2


def test_what_was_parked_before_its_connector_was_registered_is_sent_once_that_is_opened(
    tab: Page, line: Line, site: Site
) -> None:
    """Where the service can't be asked it stays parked; the mark it went under means the connector all the same."""
    record(tab, entry(50, "EX-SOON"))
    connector = site.register("EX-SOON")
    cut(line, "refuse", b"/v1/entries")
    tab.evaluate("(id) => bench.station.takeAlongIds([id])", connector)
    assert tab.evaluate("() => bench.box.counts()")["parked"] == 1
    mend(line)
    tab.evaluate("(id) => { bench.link.wake(); return bench.station.takeAlongIds([id]); }", connector)
    kept = tab.evaluate("async () => (await bench.box.ofStatus('sent')).map((each) => each.entry.connector)")
    assert (tab.evaluate("() => bench.box.counts()")["parked"], kept) == (0, ["EX-SOON"])
    assert tab.evaluate("(id) => bench.box.snapshot(id).then((each) => each.snapshot.entries)", connector) == 1


def test_what_goes_under_a_mark_that_only_the_service_reads_is_never_a_go_here(
    tab: Page, line: Line, site: Site
) -> None:
    """Recorded without the service under a Digital Link, it may be about the connector that is then opened by its serial."""
    serial = "4000001EX60"
    link = f"https://id.example.org/8004/{serial}"
    connector = site.register(serial, rating=1)
    advise(tab, connector, serial, INSERT)
    cut(line, "refuse")
    assert find(tab, link)["type"] == "missing"
    record(tab, entry(60, link), entry(61, link, "removal"))
    answered = alone(tab, line, connector, "1", "2")
    assert answered == [("warn", ["nearing", "entries_waiting"]), ("warn", ["nearing"])]
    # With the service it is sent first, and then counts there.
    advice = advise(tab, connector, serial, INSERT)
    assert (advice["basis"], advice["plan"]["answer"]) == ("service", "no_go")


def test_another_that_came_since_the_mark_was_looked_up_is_found_without_the_service(
    tab: Page, line: Line, site: Site
) -> None:
    """The mark meant one connector when it was looked up; a second one that was taken along since then bears it, too."""
    first = site.register("EX-SINCE", cage="0CVA5")
    assert [each["id"] for each in find(tab, "EX-SINCE")["connectors"]] == [first]
    second = site.register("EX-SINCE", cage="1ABC2")
    tab.evaluate("(ids) => bench.station.takeAlongIds(ids)", [first, second])
    cut(line, "refuse")
    assert sorted(each["id"] for each in find(tab, "EX-SINCE")["connectors"]) == sorted([first, second])
