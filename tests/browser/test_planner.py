"""The planner's pages in a real browser: signing in and out, and every page in every light and size by WCAG 2.2 AA."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser import programs
from tests.browser.programs import Program
from tests.browser.site import Site
from tests.browser.test_looks import READABLE, RULES, measured
from tests.pages import issuer

AXE = Axe()
TARGET_PX = 24
"""WCAG 2.2, 2.5.8."""
DESK = {"width": 1400, "height": 900}
LOOKS: dict[str, dict[str, Any]] = {
    "desk": {"viewport": DESK},
    "desk, dark": {"viewport": DESK, "color_scheme": "dark"},
    "desk, 200 % zoom": {"viewport": {"width": DESK["width"] // 2, "height": DESK["height"] // 2}},
    "phone": {"viewport": {"width": 360, "height": 780}},
    "phone, dark": {"viewport": {"width": 360, "height": 780}, "color_scheme": "dark"},
    "320 px": {"viewport": {"width": 320, "height": 640}},
}
SMALL = """() => [...document.querySelectorAll("button, input:not([type=hidden]), select, summary, nav a")]
  .filter((each) => each.checkVisibility())
  .map((each) => [each, (each.closest("label") ?? each).getBoundingClientRect()])
  .map(([each, box]) => [each.textContent.trim().slice(0, 30) || each.name, box.width, box.height])"""


@pytest.fixture(scope="module")
def fleet(site: Site) -> dict[str, str]:
    """Connectors over, spent, nearing, unknown and within, with what is open; their ids by serial."""
    found = {}
    for serial, insertions in (("OVER-1", 11), ("SPENT-1", 10), ("NEAR-1", 8), ("WITHIN-1", 2)):
        found[serial] = site.register(serial)
        acts: list[dict[str, Any]] = [{"kind": "placement", "asset": "TN-7", "zone": "Z410 nacelle", "position": "P1"}]
        for _ in range(insertions):
            acts.append({"kind": "insertion", "cavity": "C", "tool": "LT-1", "bench": "Bench 1"})
            acts.append({"kind": "removal", "cavity": "C", "tool": "LT-2", "bench": "Bench 1"})
        acts.append({"kind": "finding", "cavity": "2", "blocks": True, "note": "a tine is bent"})
        _record(site, found[serial], acts)
    found["UNKNOWN-1"] = site.register("UNKNOWN-1", rating=None, history="unknown", populated=None)
    return found


def _record(site: Site, connector: str, acts: list[dict[str, Any]]) -> None:
    entries = [
        {
            "id": f"{hash((connector, at)) % 16**8:08x}-0000-4000-8000-{at:012x}",
            "connector": connector,
            "performed_at": f"2026-11-02T{8 + at // 60:02}:{at % 60:02}:00Z",
            "performed_by": "badge 117",
        }
        | each
        for at, each in enumerate(acts)
    ]
    site.ask("POST", "/v1/entries", {"entries": entries})


def pages(fleet: dict[str, str]) -> tuple[str, ...]:
    """Every page, with something on it."""
    over = f"/connectors/{fleet['OVER-1']}"
    return (
        "/fleet",
        "/fleet?of=cavities&wear=over&asset=TN-7",
        "/fleet?by=part_number",
        over,
        f"{over}?cavity=C",
        f"/connectors/{fleet['UNKNOWN-1']}",
        "/assets/TN-7",
        "/discrepancies",
        "/outlook",
        "/stock",
        "/visits",
        "/what-if?asset=TN-7&reworks=3",
        "/signals",
        "/search?mark=nothing",
        "/fleet?wear=odd",
    )


@contextmanager
def tab(context: BrowserContext) -> Iterator[Page]:
    """A tab in which nothing may break the policy."""
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda told: wrong.append(told.text) if "Content Security Policy" in told.text else None)
    yield page
    assert wrong == []


def sign_in(page: Page, site: Site, path: str = "/fleet") -> None:
    """Sign in with the token that may do everything."""
    page.goto(f"{site.service.address}{path}")
    page.get_by_label("Token").fill(site.admin)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def wrong_with(page: Page) -> dict[str, Any]:
    """What of a page breaks a rule: axe's, the contrast's, a target's size, or the screen's edge."""
    found = AXE.run(page, options=RULES).response["violations"]
    told = {
        "axe": [(each["id"], each["nodes"][0]["html"][:160]) for each in found],
        "dim": [each for each in measured(page, "contrasts") if each[1] < READABLE],
        "small": [each for each in page.evaluate(SMALL) if each[2] < TARGET_PX - 0.5],
        "beyond": page.evaluate("() => document.documentElement.scrollWidth - document.documentElement.clientWidth"),
    }
    return {name: each for name, each in told.items() if each}


@pytest.mark.parametrize("look", LOOKS, ids=str)
def test_every_page_in_every_look(look: str, browser: Browser, site: Site, fleet: dict[str, str]) -> None:
    """No page breaks a rule of WCAG 2.2 AA, has text under 7:1, a target too small, or anything off the side; opened up neither."""
    context = browser.new_context(reduced_motion="reduce", **LOOKS[look])
    wrong: dict[str, Any] = {}
    with tab(context) as page:
        page.goto(f"{site.service.address}/sign-in")
        wrong["sign-in"] = wrong_with(page)
        sign_in(page, site)
        for path in pages(fleet):
            page.goto(f"{site.service.address}{path}")
            page.evaluate("() => document.querySelectorAll('details').forEach((each) => { each.open = true; })")
            wrong[path] = wrong_with(page)
    context.close()
    assert {path: each for path, each in wrong.items() if each} == {}


def test_a_shift_at_the_desk(browser: Browser, site: Site, fleet: dict[str, str]) -> None:
    """Signing in, the list, the connector, what is open there and its resolution, and out: with the keyboard alone."""
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        page.goto(f"{site.service.address}/fleet?wear=over")
        page.get_by_label("Token").focus()
        page.keyboard.insert_text(site.admin)
        page.keyboard.press("Enter")
        expect(page).to_have_url(f"{site.service.address}/fleet?wear=over")
        page.keyboard.press("Tab")
        expect(page.get_by_role("link", name="To the content")).to_be_focused()
        page.get_by_role("link", name="OVER-1").focus()
        page.keyboard.press("Enter")
        expect(page).to_have_url(f"{site.service.address}/connectors/{fleet['OVER-1']}")
        expect(page.get_by_role("img", name="Wire side")).to_be_visible()
        page.get_by_role("link", name="Resolve them").focus()
        page.keyboard.press("Enter")
        resolve = page.locator("summary", has_text="Resolve it here").first
        resolve.focus()
        page.keyboard.press("Enter")
        before = page.get_by_role("article").count()
        form = page.locator("article form").first
        form.get_by_role("textbox", name="Reason").fill("inspected, retainer to be renewed")
        form.get_by_label("Your badge").fill("badge 9")
        page.keyboard.press("Enter")
        expect(page.get_by_role("status")).to_contain_text("Recorded.")
        assert page.get_by_role("article").count() < before
        page.get_by_role("button", name="Sign out").focus()
        page.keyboard.press("Enter")
        # Leaving is a navigation of its own: another one in its way would be given up.
        expect(page.get_by_role("button", name="Sign out")).to_be_hidden()
        page.wait_for_load_state()
        page.goto(f"{site.service.address}/fleet")
        expect(page.get_by_label("Token")).to_be_visible()
    context.close()


def test_a_scanner_at_the_search(browser: Browser, site: Site, fleet: dict[str, str]) -> None:
    """A hand scanner types a mark into the search and ends with Enter: that is all it takes."""
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        sign_in(page, site)
        page.get_by_role("searchbox").focus()
        page.keyboard.type("SPENT-1\n")
        expect(page.get_by_role("heading", level=1)).to_contain_text("Connector SPENT-1")
        assert page.url.endswith(fleet["SPENT-1"])
    context.close()


def test_a_link_from_elsewhere_arrives(browser: Browser, site: Site, fleet: dict[str, str]) -> None:
    """Somebody who is signed in follows a link in another site's page and is where it leads, without signing in again."""
    del fleet
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        sign_in(page, site)
        page.route(
            "http://mail.example/**",
            lambda route: route.fulfill(
                content_type="text/html", body=f'<a href="{site.service.address}/fleet?wear=spent">the list</a>'
            ),
        )
        page.goto("http://mail.example/")
        page.get_by_role("link").click()
        expect(page.get_by_role("heading", name="Cycle limits")).to_be_visible()
        expect(page).to_have_url(f"{site.service.address}/fleet?wear=spent")
    context.close()


def test_a_printed_page_is_the_list_alone(browser: Browser, site: Site, fleet: dict[str, str]) -> None:
    """On paper there is no form and no way to elsewhere, and who decides stands on it."""
    del fleet
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        sign_in(page, site)
        page.emulate_media(media="print")
        for hidden in ("header nav", ".find", ".out", ".filters"):
            expect(page.locator(hidden).first).to_be_hidden()
        expect(page.get_by_role("link", name="OVER-1")).to_be_visible()
        expect(page.get_by_text("licensed person decide")).to_be_visible()
    context.close()


@pytest.fixture
def known_here(site: Site, tmp_path: Path) -> Iterator[tuple[Program, issuer.Issuer]]:
    """A service that knows an identity provider on another host than itself."""
    with issuer.running() as provider:
        secret = tmp_path / "secret"
        secret.write_text(issuer.SECRET)
        (port,) = programs.free_ports(1)
        settings = {
            "TINEBOOK_OIDC_ISSUER": provider.address,
            "TINEBOOK_OIDC_CLIENT_ID": issuer.CLIENT,
            "TINEBOOK_OIDC_CLIENT_SECRET_FILE": str(secret),
        }
        started = programs.service(site.dsn, port, tmp_path / "service.log", settings)
        started.ready("/health/ready")
        yield started, provider
        started.stop()


def test_the_provider_s_way_in(browser: Browser, known_here: tuple[Program, issuer.Issuer]) -> None:
    """From another site's page back to ours, the strict cookie and all: signed in, where the link had led."""
    program, _ = known_here
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        # The provider is at 127.0.0.1, so that localhost is another site.
        page.goto(f"http://localhost:{program.port}/fleet?wear=over")
        page.get_by_role("link", name="Sign in with 127.0.0.1").click()
        expect(page).to_have_url(f"http://localhost:{program.port}/fleet?wear=over")
        expect(page.get_by_text("r.example")).to_be_visible()
    context.close()
