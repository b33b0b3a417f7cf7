"""The page without a network: it opens, scans, answers and keeps; and afterwards everything is in the ledger, once, in order."""

import shutil
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import BrowserContext, Page
from playwright.sync_api import Error as PlaywrightError

import scanner_client
from scanner_client import page_files
from tests.browser import programs
from tests.browser.at_work import entry, keep, open_bench, send, standing
from tests.browser.conftest import MakeChromium
from tests.browser.cutting import Line
from tests.browser.programs import Chromium
from tests.browser.site import CAVITIES, Site
from tests.client import symbols

VERSIONS = "async () => (await caches.keys()).filter((each) => each.startsWith('tinebook-page-')).map((each) => each.slice(14))"
DECODED = """async (bytes) => {
  const photo = await import("/scan/photo.js");
  const {scans} = await photo.readPhoto(new Blob([new Uint8Array(bytes)], {type: "image/png"}));
  return scans.map((each) => [[...each.bytes], each.symbology]);
}"""


def kept_page(context: BrowserContext, address: str) -> Page:
    """The page, once all of it is kept in the browser for work without a network."""
    page = programs.tab(context, address)
    page.evaluate("async () => { await (await import('/keep/updates.js')).watchUpdates({}); }")
    programs.until(lambda: page.evaluate("() => navigator.serviceWorker.controller !== null"), "nothing keeps the page")
    return page


def heading(page: Page) -> str:
    """What the page is called: there if its document came."""
    return page.title()


def decoded(page: Page) -> list[Any]:
    """The symbols in a photo of a mark, as the page itself reads them."""
    image = symbols.encoded(symbols.page(symbols.symbol(symbols.MESSAGE.decode())))
    found: list[Any] = page.evaluate(DECODED, list(image))
    return found


def test_it_opens_and_reads_marks_with_the_server_stopped(device: BrowserContext, site: Site) -> None:
    """After one visit the page reloads, and its own decoder reads a mark, while nothing answers any more."""
    page = kept_page(device, site.address)
    (version,) = page.evaluate(VERSIONS)
    listing = msgspec.json.decode(page_files.shipped()[page_files.LISTING].plain.body, type=page_files.Listing)
    assert version == listing.version
    site.bench.stop()
    page.reload()
    assert heading(page) == "Tinebook bench"
    assert decoded(page) == [[list(symbols.MESSAGE), "]d1"]]
    for each in listing.files:
        assert page.evaluate("async (path) => (await fetch(path)).status", each.path) == 200, each.path
    gone = "(path) => fetch(path).then((answer) => answer.status, () => null)"
    for path in ("/v1/connectors?mark=EX-1", "/health/live", "/files.json"):
        assert page.evaluate(gone, path) is None, "an answer of the service is never kept"


def test_a_page_that_is_kept_still_has_its_policy(device: BrowserContext, site: Site) -> None:
    """What comes out of the browser's own store carries the same headers: no inline script runs without the server either."""
    page = kept_page(device, site.address)
    site.bench.stop()
    page.reload()
    headers = page.evaluate("async () => Object.fromEntries((await fetch('/')).headers)")
    assert "script-src 'self' 'wasm-unsafe-eval'" in headers["content-security-policy"]
    assert page.evaluate("""() => {
      const script = document.createElement("script");
      script.textContent = "window.ran = true";
      document.head.append(script);
      return window.ran ?? false;
    }""") is False  # fmt: skip


def test_the_browser_is_closed_and_opened_without_a_server(chromium: Chromium, site: Site) -> None:
    """Page, decoder and what waits are still there after the browser has been closed and opened with nothing to reach."""
    page = kept_page(chromium.context, site.address)
    keep(open_bench(page, site.token), entry(1, "EX-RESTART"))
    site.bench.stop()
    chromium.stop()
    chromium.start()
    page = open_bench(chromium.page(site.address), site.token)
    assert heading(page) == "Tinebook bench"
    assert decoded(page) == [[list(symbols.MESSAGE), "]d1"]]
    assert standing(page, "unsent") == [entry(1, "EX-RESTART")["id"]]


def test_what_waited_is_sent_in_order_when_the_server_is_back(device: BrowserContext, site: Site) -> None:
    """Three connectors worked on without a server, 250 entries: each ledger has them in the order in which they were done."""
    connectors = [site.register(f"EX-ORDER-{each}", rating=None) for each in range(3)]
    page = open_bench(kept_page(device, site.address), site.token)
    site.bench.stop()
    made = [entry(1000 + each, connectors[each * 7 % 3], "removal" if each % 2 else "insertion") for each in range(250)]
    for each in made:
        keep(page, each)
    assert send(page)["stopped"] is not None
    page.reload()
    open_bench(page, site.token)
    assert standing(page, "unsent") == [each["id"] for each in made]
    site.bench.start()
    done = send(page)
    assert (done["recorded"], done["stopped"]) == (250, None)
    for connector in connectors:
        assert site.ids(connector) == [each["id"] for each in made if each["connector"] == connector]


def test_an_answer_that_was_lost_is_stored_once(device: BrowserContext, line: Line, site: Site) -> None:
    """The service had it, the answer was lost, the page was loaded anew: sent again, it is found recorded already."""
    connector = site.register("EX-LOST")
    page = open_bench(kept_page(device, line.address), site.token)
    keep(page, entry(2000, connector))
    line.shears = lambda path, _body: "lose" if path == b"/v1/entries" else "answer"
    assert send(page)["stopped"] is not None
    assert site.ids(connector) == [entry(2000, connector)["id"]]
    page.reload()
    open_bench(page, site.token)
    line.shears = lambda _path, _body: "answer"
    assert send(page)["already_recorded"] == 1
    assert len(site.ids(connector)) == 1


def test_a_killed_browser_loses_nothing(chromium: Chromium, site: Site) -> None:
    """After kill -9 of the browser, right after the outbox took an act, the act is there, and reaches the ledger once."""
    connector = site.register("EX-KILL-9")
    page = open_bench(kept_page(chromium.context, site.address), site.token)
    site.bench.stop()
    made = [entry(3000, connector), entry(3001, connector, "seating_test", held=True, force_n=66.7)]
    keep(page, *made)
    chromium.kill()
    chromium.start()
    page = open_bench(chromium.page(site.address), site.token)
    assert standing(page, "unsent") == [each["id"] for each in made]
    site.bench.start()
    assert send(page)["recorded"] == 2
    assert site.ids(connector) == [each["id"] for each in made]


@pytest.fixture
def newer(site: Site, tmp_path: Path) -> Path:
    """A folder with a copy of the scanning client whose page has another title."""
    del site
    copied = tmp_path / "newer"
    shutil.copytree(Path(scanner_client.__file__).parent, copied / "scanner_client")
    page = copied / "scanner_client" / "page" / "index.html"
    page.write_text(page.read_text().replace("<title>Tinebook bench</title>", "<title>Newer bench</title>"))
    return copied


def test_a_newer_page_waits_until_somebody_says_so(device: BrowserContext, site: Site, newer: Path) -> None:
    """The new version is fetched whole beside the old one, takes over when told, and what waits in the outbox stays."""
    page = open_bench(kept_page(device, site.address), site.token)
    keep(page, entry(4000, "EX-UPDATE"))
    (before,) = page.evaluate(VERSIONS)
    site.bench.stop()
    other = programs.bench(site.service.address, site.bench.port, site.folder / "newer.log", newer)
    try:
        other.ready()
        page.reload()
        assert heading(page) == "Tinebook bench", "nobody has said so yet"
        page.evaluate("""async () => {
          const {watchUpdates} = await import("/keep/updates.js");
          await watchUpdates({onWaiting: (take) => { window.take = take; }});
        }""")
        programs.until(lambda: page.evaluate("() => window.take !== undefined"), "the new version does not come")
        assert page.evaluate(VERSIONS) == [before, page.evaluate(VERSIONS)[-1]]
        assert heading(page) == "Tinebook bench"
        page.evaluate("() => window.take()")
    finally:
        other.stop()
    programs.until(lambda: _reloaded(page) == "Newer bench", "the new version does not take over")
    programs.until(lambda: before not in page.evaluate(VERSIONS), "the old version is not thrown away")
    assert standing(open_bench(page, site.token), "unsent") == [entry(4000, "EX-UPDATE")["id"]]


def _reloaded(page: Page) -> str:
    """What the page is called once it is loaded anew; it may do that by itself just now."""
    try:
        page.reload()
        return heading(page)
    except PlaywrightError:
        return ""


def test_half_a_version_is_never_kept(device: BrowserContext, line: Line) -> None:
    """If one file of a version can't be had, none of it takes over; once it can, all of it does."""
    line.shears = lambda path, _body: "portal" if path == b"/scan/strips.js" else "answer"
    page = programs.tab(device, line.address + "/keep/store.js")
    page.evaluate("async () => { await (await import('/keep/updates.js')).watchUpdates({}); }")
    programs.until(lambda: line.dealt["portal"] > 0, "the file is not asked for")
    programs.until(
        lambda: page.evaluate("async () => !(await navigator.serviceWorker.getRegistration())?.installing"), "it ends"
    )
    assert page.evaluate("async () => (await import('/keep/updates.js')).isKept()") is False
    line.shears = lambda _path, _body: "answer"
    kept_page(device, line.address + "/keep/store.js")


def test_two_devices_work_on_one_connector_without_a_network(make_chromium: MakeChromium, site: Site) -> None:
    """Each answers by what it knows; both histories arrive, what can't both be so is said, and nothing is lost."""
    connector = site.register("EX-TWO")
    devices = [make_chromium(each) for each in ("first", "second")]
    pages = [open_bench(kept_page(each.context, site.address), site.token) for each in devices]
    for page in pages:
        (taken,) = page.evaluate("() => bench.station.takeAlong([bench.typed('EX-TWO')])")
        assert taken == {"mark": "EX-TWO", "taken": [connector], "why": None}
    site.bench.stop()
    for number, page in enumerate(pages):
        page.reload()
        open_bench(page, site.token)
        heard = page.evaluate("() => bench.station.find(bench.typed('EX-TWO'))")
        assert (heard["type"], heard["basis"], [each["id"] for each in heard["connectors"]]) == (
            "found", "bench", [connector],
        )  # fmt: skip
        advice = _advised(page, connector, "insert", "1")
        assert (advice["basis"], advice["plan"]["answer"]) == ("bench", "go")
        made = [
            entry(5000 + 10 * number, connector, performed_by=f"badge {number}"),
            entry(5001 + 10 * number, connector, "insertion", cavity="c", performed_by=f"badge {number}"),
            entry(5002 + 10 * number, connector, "removal", cavity="c", performed_by=f"badge {number}"),
        ]
        done = page.evaluate("(entries) => bench.station.record(entries)", made)
        assert [each["status"] for each in done["kept"]] == ["unsent"] * 3
        assert _advised(page, connector, "insert", "1")["plan"]["answer"] == "no_go", "this device knows its own work"
    site.bench.start()
    outcomes = [page.evaluate("() => bench.station.send()") for page in pages]
    assert [(each["recorded"], each["stopped"]) for each in outcomes] == [(3, None), (3, None)]
    ledger = site.ids(connector)
    for page in pages:
        own = standing(page, "sent")
        assert len(own) == 3
        assert [each for each in ledger if each in own] == own
    assert len(ledger) == 6
    found = [code for each in outcomes[1]["results"] for code in each["discrepancies"]]
    assert "inserted_while_occupied" in found
    view = site.ask("GET", f"/v1/connectors/{connector}")
    assert {each["code"] for each in view["discrepancies"]} >= {"inserted_while_occupied"}
    begun = {each["id"]: each["cycles_begun"] for each in view["cavities"]}
    assert begun == {**dict.fromkeys(CAVITIES, 0), "1": 2, "c": 2}


def _advised(page: Page, connector: str, action: str, cavity: str) -> dict[str, Any]:
    asked = """async ([connector, action, cavity]) => {
      bench.link.wake();
      const about = await bench.station.openConnector(connector, "EX-TWO");
      return bench.station.advise(about, [{action, cavity}]);
    }"""
    advice: dict[str, Any] = page.evaluate(asked, [connector, action, cavity])
    return advice
