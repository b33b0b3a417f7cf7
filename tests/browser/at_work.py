"""A bench at work in a tab, driven from outside: the shipped modules of the page, with nothing of its screens."""

from typing import Any

from playwright.sync_api import Page

NEUTRAL = "/keep/store.js"
"""A document of the page's own origin that runs nothing: the test alone decides what happens in its tab."""

OPEN = """async ({token, patience}) => {
  const [store, {makeLink}, sending, station] = await Promise.all(
    ["store", "link", "sending", "station"].map((each) => import(`/keep/${each}.js`)));
  const box = await store.openStore();
  const link = makeLink({token, patience});
  window.bench = {box, link, sending, store, now: () => new Date(), typed: station.typed};
  window.bench.station = station.makeStation({box, link});
}"""

IMPATIENT = {
    "attempts": 2,
    "first_wait_ms": 1,
    "longest_wait_ms": 50,
    "first_rest_ms": 5,
    "longest_rest_ms": 20,
    "answer_ms": 250,
}
"""Patience of a test that has a thousand things to try."""
CALM = {"attempts": 1, "first_rest_ms": 5, "longest_rest_ms": 20, "answer_ms": 10_000}


def open_bench(page: Page, token: str | None, patience: dict[str, int] | None = None) -> Page:
    """Open the outbox in a tab; everything else is `window.bench` there."""
    page.evaluate(OPEN, {"token": token, "patience": patience or CALM})
    return page


def entry(number: int, connector: str, kind: str = "insertion", cavity: str = "1", **more: Any) -> dict[str, Any]:
    """An entry that a test can tell apart, and whose time is its place."""
    made = {
        "id": f"01890a5d-ac96-774b-bcce-{number:012x}",
        "connector": connector,
        "kind": kind,
        "performed_at": f"2026-11-25T08:{number // 60 % 60:02}:{number % 60:02}Z",
        "performed_by": "badge 117",
        "cavity": cavity,
    }
    return made | more


def keep(page: Page, *entries: dict[str, Any]) -> None:
    """Keep the entries of one act."""
    page.evaluate("(entries) => bench.box.keep(entries)", list(entries))


def send(page: Page) -> dict[str, Any]:
    """Try to send what waits."""
    done: dict[str, Any] = page.evaluate(
        "() => { bench.link.wake(); return bench.sending.send(bench.box, bench.link, bench.now); }"
    )
    return done


def standing(page: Page, status: str) -> list[str]:
    """The ids of the entries that stand so, in the order of the outbox."""
    found: list[str] = page.evaluate(
        "async (status) => (await bench.box.ofStatus(status)).map((each) => each.entry.id)", status
    )
    return found


def numbers(page: Page, status: str = "unsent") -> list[int]:
    """The entries that stand so, by their number."""
    return [int(each[-12:], 16) for each in standing(page, status)]
