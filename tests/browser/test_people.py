"""People and signing in a real browser: authority, a secret of one's own, the provider's way, every page by WCAG 2.2 AA."""

import os
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser import programs
from tests.browser.programs import Program
from tests.browser.site import Site
from tests.browser.test_planner import DESK, LOOKS, sign_in, tab, wrong_with
from tests.pages import issuer
from tests.pages.issuer import Issuer

_ORDER = "WO-2026-0777"
_LOOK_AT = os.environ.get("TINEBOOK_LOOK_AT")
"""A folder for pictures of the pages, for whoever wants to look at them."""


@pytest.fixture(scope="module")
def crew(site: Site) -> Site:
    """Somebody with authority that holds, that ended and that was taken back, who signed something; and somebody new."""
    told: dict[str, Any] = {
        "name": "Ingrid Example",
        "certificate": {"number": "EX-204", "kind": "repairman", "from_on": "2025-01-01"},
        "authorities": [
            {"what": "inspects", "from_on": "2025-01-01"},
            {"what": "approves", "scope": "family:38999-III", "from_on": "2020-01-01", "until_on": "2024-12-31"},
            {"what": "performs", "scope": "shop:Line 2", "from_on": "2025-01-01"},
        ],
        "identity": {"issuer": "https://id.example", "subject": "f3a9"},
    }
    site.ask("PUT", "/v1/people/P-204", told)
    withdrawn = site.ask("GET", "/v1/people/P-204")["authorities"][2]["number"]
    site.ask("POST", "/v1/people/P-204/withdrawals", {"authority": withdrawn, "reason": "moved to another line"})
    site.ask("PUT", "/v1/people/P-117", {"name": "Tom Sample"})
    word = {"allowed": False, "reason": "two people are on every shift"}
    site.ask("PUT", "/v1/signing-rules/same_person_inspection", word)
    site.register("EX-777")
    entry = {
        "id": str(uuid.uuid4()),
        "connector": "EX-777",
        "kind": "insertion",
        "cavity": "C",
        "performed_at": "2026-11-02T08:00:00Z",
        "performed_by": "P-117",
        "work_order": _ORDER,
        "tool": "LT-1",
    }
    site.ask("PUT", f"/v1/work-orders/{_ORDER}", {"title": "One contact", "inspection_required": True})
    site.ask("POST", "/v1/entries", {"entries": [entry]})
    return site


def _look(page: Page, name: str) -> None:
    if _LOOK_AT:
        page.screenshot(path=Path(_LOOK_AT) / f"{name}.png", full_page=True)


def _open(page: Page, words: str) -> None:
    page.locator("summary", has_text=words).click()


def test_somebody_is_made_an_inspector(browser: Browser, crew: Site) -> None:
    """Added, given authority and an initial secret; who changes it on their own page, and whose authority is taken back."""
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        sign_in(page, crew, "/people")
        _open(page, "Add somebody")
        page.get_by_label("Badge", exact=True).fill("P-300")
        page.get_by_label("Name", exact=True).fill("Nora Example")
        page.get_by_role("button", name="Add", exact=True).click()
        expect(page.get_by_role("heading", name="Nora Example")).to_be_visible()
        _open(page, "Give authority")
        page.locator("select[name=what]").select_option("inspects")
        page.get_by_label("From", exact=True).first.fill("2026-01-01")
        page.get_by_role("button", name="Give authority").click()
        expect(page.get_by_role("cell", name="holds")).to_be_visible()
        _open(page, "Give out an initial secret")
        page.get_by_label("Initial secret").fill("to be changed")
        page.get_by_role("button", name="Give out an initial secret").click()
        expect(page.get_by_text("initial: signs nothing yet")).to_be_visible()
        page.goto(f"{crew.service.address}/own-secret")
        page.get_by_label("Your badge").fill("P-300")
        page.get_by_label("The secret that you have").fill("to be changed")
        page.get_by_label("The new one", exact=True).fill("three plain words")
        page.get_by_label("The new one once more").fill("three plain words")
        page.get_by_role("button", name="Change it").click()
        expect(page.get_by_role("status")).to_contain_text("Changed.")
        page.goto(f"{crew.service.address}/people/P-300")
        _open(page, "Withdraw")
        page.get_by_label("Why it is taken back").fill("left")
        page.get_by_role("button", name="Withdraw").click()
        expect(page.get_by_text("by test: left").or_(page.get_by_text(": left"))).to_be_visible()
    context.close()


@pytest.fixture
def vouched(crew: Site, tmp_path: Path) -> Iterator[tuple[Program, Issuer]]:
    """A service that knows an identity provider on another host than itself, which knows the inspector."""
    with issuer.running() as provider:
        secret = tmp_path / "secret"
        secret.write_text(issuer.SECRET)
        (port,) = programs.free_ports(1)
        settings = {
            "TINEBOOK_OIDC_ISSUER": provider.address,
            "TINEBOOK_OIDC_CLIENT_ID": issuer.CLIENT,
            "TINEBOOK_OIDC_CLIENT_SECRET_FILE": str(secret),
        }
        crew.ask(
            "PUT",
            "/v1/people/P-204",
            {"name": "Ingrid Example", "identity": {"issuer": provider.address, "subject": "7"}},
        )
        started = programs.service(crew.dsn, port, tmp_path / "service.log", settings)
        started.ready("/health/ready")
        yield started, provider
        started.stop()


def test_somebody_signs_by_the_provider(browser: Browser, crew: Site, vouched: tuple[Program, Issuer]) -> None:
    """From the work order to another site and back, policy, strict cookie and all: the provider's subject has signed it."""
    program, provider = vouched
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        # The provider is at 127.0.0.1, so that localhost is another site.
        page.goto(f"http://localhost:{program.port}/work-orders/{_ORDER}")
        page.get_by_label("Token").fill(crew.admin)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.get_by_label("Inspected:").check()
        page.get_by_label("I have read what stands above").check()
        _look(page, "sign")
        page.get_by_role("button", name="Sign by 127.0.0.1").click()
        expect(page).to_have_url(f"http://localhost:{program.port}/work-orders/{_ORDER}")
        expect(page.get_by_role("cell", name="Ingrid Example")).to_be_visible()
        assert provider.last_asked["prompt"] == "login"
    context.close()
    (made,) = crew.ask("GET", f"/v1/signatures?subject=work_order&reference={_ORDER}")["signatures"]
    assert (made["badge"], made["method"], made["meaning"]) == ("P-204", "openid", "inspected")


@pytest.mark.parametrize("look", LOOKS, ids=str)
def test_every_page_in_every_look(look: str, browser: Browser, crew: Site) -> None:
    """No page breaks a rule of WCAG 2.2 AA, has text under 7:1, a target too small, or anything off the side; opened up neither."""
    context = browser.new_context(reduced_motion="reduce", **LOOKS[look])
    wrong: dict[str, Any] = {}
    with tab(context) as page:
        sign_in(page, crew)
        for path in ("/people", "/people/P-204", "/people/P-117", "/own-secret", "/people/nobody"):
            page.goto(f"{crew.service.address}{path}")
            _look(page, f"{look.replace(' ', '_').replace('%', '')}{path.replace('/', '-')}-shut")
            page.evaluate("() => document.querySelectorAll('details').forEach((each) => { each.open = true; })")
            wrong[path] = wrong_with(page)
            _look(page, f"{look.replace(' ', '_').replace('%', '')}{path.replace('/', '-')}")
    context.close()
    assert {path: each for path, each in wrong.items() if each} == {}
