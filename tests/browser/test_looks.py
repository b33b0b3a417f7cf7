"""Every screen in every light and size: WCAG 2.2 AA, contrast for bad light, targets for gloves, text as long as German."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.browser import phone, walk
from tests.browser.site import Site

AXE = Axe()
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
GLOVED_PX = 72
"""19 mm of a gloved key (MIL-STD-1472E) at 96 px an inch."""
SMALLEST_PX = 44
READABLE = 7
"""WCAG 2.2, 1.4.6."""


LOOKS: dict[str, dict[str, Any]] = {
    "phone": {"viewport": phone.PHONE},
    "phone, dark": {"viewport": phone.PHONE, "color_scheme": "dark"},
    "tablet": {"viewport": phone.TABLET},
    "tablet, dark": {"viewport": phone.TABLET, "color_scheme": "dark"},
    "tablet, 200 % zoom": {"viewport": {"width": phone.TABLET["width"] // 2, "height": phone.TABLET["height"] // 2}},
}
SCRIPT = (Path(__file__).parent / "looks.js").read_text("utf-8")


def measured(page: Page, what: str) -> Any:
    """What one of the script's looks finds on the screen."""
    return page.evaluate(f"() => {{ {SCRIPT}; return looks.{what}(); }}")


_serials = iter(f"LK-{at:02}" for at in range(1, 100))


@pytest.fixture(params=LOOKS, ids=str)
def stops(request: pytest.FixtureRequest, browser: Browser, site: Site) -> Iterator[Iterator[tuple[str, Page]]]:
    """Every screen in one look, one after the other."""
    serial = next(_serials)
    walk.worn(site, serial)
    context = browser.new_context(reduced_motion="reduce", **LOOKS[request.param])
    with phone.opened(context, site.address, LOOKS[request.param]["viewport"]) as page:
        yield ((name, page) for name in walk.screens(page, site, serial))
    context.close()


def test_every_screen_in_every_look(stops: Iterator[tuple[str, Page]]) -> None:
    """No screen breaks a rule of WCAG 2.2 AA, has text under 7:1, a target too small, or anything off the side."""
    wrong: dict[str, Any] = {}
    seen = []
    for name, page in stops:
        seen.append(name)
        found = [
            (each["id"], each["nodes"][0]["html"][:160]) for each in AXE.run(page, options=RULES).response["violations"]
        ]
        sizes = measured(page, "sizes")
        small = [each for each in sizes if each[3] < (GLOVED_PX if each[1] else SMALLEST_PX) - 0.5]
        dim = [each for each in measured(page, "contrasts") if each[1] < READABLE]
        beyond = measured(page, "beyond")
        assert sizes
        if found or small or dim or beyond:
            wrong[name] = {"axe": found, "small": small, "dim": dim, "beyond": beyond}
    assert wrong == {}
    assert {
        "sign on",
        "scan",
        "connector",
        "answer go",
        "answer warn",
        "answer no_go",
        "no answer",
        "seating",
        "settings",
    } <= set(seen)


def test_text_as_long_as_german_fits(browser: Browser, site: Site) -> None:
    """Words longer by two fifths push nothing off a phone's screen and out of no button."""
    serial = next(_serials)
    walk.worn(site, serial)
    context = browser.new_context(viewport=phone.PHONE)  # type: ignore[arg-type]
    wrong = {}
    with phone.opened(context, site.address) as page:
        for name in walk.screens(page, site, serial):
            measured(page, "lengthen")
            beyond = measured(page, "beyond")
            if beyond:
                wrong[name] = beyond
            measured(page, "shorten")
    context.close()
    assert wrong == {}
