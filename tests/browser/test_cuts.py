"""A thousand cuts from one seed: lines, pages, browsers and servers die at any moment, and the ledger is whole, once, in order."""

import json
import random
import sys
import time
from collections import Counter
from typing import Any

from playwright.sync_api import Page

from tests.browser import cutting, programs
from tests.browser.at_work import IMPATIENT, NEUTRAL, open_bench, send
from tests.browser.cutting import Line
from tests.browser.programs import Chromium
from tests.browser.site import CAVITIES, Site

SEED = 117
CUTS = 1000
CLOSED_PAGES = 60
KILLED_BROWSERS = 16
KILLED_SERVERS = 8

WORK = """async ({token, patience, connectors, cavities, seed}) => {
  const files = ["store", "link", "sending"].map((each) => import(`/keep/${each}.js`));
  const [{openStore}, {makeLink}, {send}] = await Promise.all(files);
  const [box, link] = [await openStore(), makeLink({token, patience})];
  let state = seed;
  const chance = (below) => {
    state = (state * 48271) % 2147483647;
    return state % below;
  };
  const tell = async (what) => (await (await fetch("/told", {method: "POST", body: JSON.stringify(what)})).json()).more;
  for (let act = 0, more = true; more; act += 1) {
    const size = 1 + chance(4);
    const entries = Array.from({length: size}, (_, place) => ({
      id: crypto.randomUUID(), connector: connectors[chance(connectors.length)], kind: ["insertion", "removal"][chance(2)],
      cavity: cavities[chance(cavities.length)], performed_at: new Date().toISOString(), performed_by: "badge 117",
      work_order: `${seed}-${act}`, note: `${place + 1} of ${size}`}));
    await box.keep(entries);
    more = await tell(entries.map((each) => each.id));
    link.wake();
    await send(box, link, () => new Date(), 1 + chance(6));
  }
}"""

ALL = """async () => {
  const rows = await Promise.all(["unsent", "sent", "parked", "refused"].map((each) => bench.box.ofStatus(each)));
  return rows.flat().sort((one, two) => one.place - two.place);
}"""


class Shears:
    """Cuts three requests of four with entries in them, each in another way; and knows what the page said it had kept."""

    def __init__(self, chance: random.Random) -> None:
        self.more = True
        self.kept: set[str] = set()
        self._chance = chance

    def __call__(self, path: bytes, body: bytes) -> str:
        """What happens to a request."""
        if path != b"/v1/entries" or self._chance.random() < 0.25:
            return "answer"
        slow = self._chance.random() < 0.04
        usual = [each for each in cutting.FATES if each not in ("late", "swallow")]
        fate = self._chance.choice(("late", "swallow") if slow else usual)
        # One alone that is too large is a malformed one, which would rightly be set aside.
        return "answer" if fate == "too_large" and body.count(b'"performed_by"') < 2 else fate

    def told(self, body: bytes) -> bytes:
        """Hear what was kept, and say whether to go on."""
        self.kept.update(json.loads(body))
        return json.dumps({"more": self.more}).encode()


class Story:
    """The whole of it: who is cut when, by one seed."""

    def __init__(self, site: Site, line: Line, chromium: Chromium) -> None:
        self.site, self.line, self.chromium = site, line, chromium
        self.chance = random.Random(SEED)
        self.shears = Shears(random.Random(SEED + 1))
        line.shears, line.told = self.shears, self.shears.told
        self.connectors = [site.register(f"EX-CUT-{each}", rating=None) for each in range(3)]
        self.dealt: Counter[str] = Counter()
        self._seed = 0

    @property
    def cuts(self) -> Counter[str]:
        """How many of each kind so far."""
        return self.dealt + self.line.dealt

    def at_work(self) -> Page:
        """A tab in which somebody records without end."""
        self._seed += 1
        page = self.chromium.page(self.line.address + NEUTRAL)
        told = {"token": self.site.token, "patience": IMPATIENT, "connectors": self.connectors, "cavities": CAVITIES}
        page.evaluate(f"(told) => {{ ({WORK})(told); }}", told | {"seed": self._seed})
        return page

    def a_while(self, most_s: float) -> None:
        """Let it work, from not at all to this long."""
        time.sleep(self.chance.uniform(0, most_s))

    def close_page(self) -> None:
        """The tab is closed, or loaded with something else, in the middle of whatever it does."""
        page = self.at_work()
        self.a_while(0.3)
        if self.chance.random() < 0.5:
            page.goto("about:blank")
        page.close()
        self.dealt["page closed"] += 1

    def kill_browser(self, servers: tuple[str, ...]) -> None:
        """Browser, and perhaps a server, end as in a power cut."""
        self.at_work()
        self.a_while(0.4)
        for each in servers:
            getattr(self.site, each).kill()
            self.dealt[f"{each} killed"] += 1
            self.a_while(0.1)
        self.chromium.kill()
        self.dealt["browser killed"] += 1
        self.site.up()
        self.chromium.start()

    def rest(self) -> None:
        """Work on in one tab until a thousand cuts are reached, then to the end of what it has begun."""
        page = self.at_work()
        programs.until(lambda: self.cuts.total() >= CUTS, f"the cuts: {self.cuts}")
        self.shears.more = False
        page.close()


def test_a_thousand_cuts_lose_nothing_double_nothing_and_keep_the_order(site: Site, chromium: Chromium) -> None:
    """What the page said it had kept is in the ledger, once, in the order of the outbox, and no act is there by half."""
    with cutting.line(lambda: site.bench.port, programs.free_ports(1)[0]) as line:
        story = Story(site, line, chromium)
        for _ in range(CLOSED_PAGES):
            story.close_page()
        for number in range(KILLED_BROWSERS):
            every = KILLED_BROWSERS // KILLED_SERVERS
            servers = ("service",) if number % (2 * every) == 0 else ("bench",) if number % every == 0 else ()
            story.kill_browser(servers)
        story.rest()
        line.shears = lambda _path, _body: "answer"
        page = open_bench(chromium.page(line.address + NEUTRAL), site.token)
        assert send(page)["stopped"] is None
        kept = page.evaluate(ALL)
    _is_whole(story, kept)
    assert story.cuts.total() >= CUTS
    assert set(cutting.FATES) <= set(story.cuts), "each kind of cut was dealt"
    sys.stdout.write(f"{story.cuts.total()} cuts, {len(kept)} entries: {story.cuts}\n")


def _is_whole(story: Story, kept: list[dict[str, Any]]) -> None:
    ids = [each["entry"]["id"] for each in kept]
    assert len(set(ids)) == len(ids)
    assert story.shears.kept <= set(ids), "the page said that it had kept something that is gone"
    assert {each["status"] for each in kept} == {"sent"}
    acts = Counter(each["entry"]["work_order"] for each in kept)
    sizes = {each["entry"]["work_order"]: int(each["entry"]["note"].split(" of ")[1]) for each in kept}
    assert acts == sizes, "an act is kept whole or not at all"
    for connector in story.connectors:
        assert story.site.ids(connector) == [
            each["entry"]["id"] for each in kept if each["entry"]["connector"] == connector
        ]
