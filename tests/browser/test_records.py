"""Work orders and records in a real browser: what the screen showed is what is signed, and every page by WCAG 2.2 AA."""

import os
import uuid
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.site import Site
from tests.browser.test_planner import DESK, LOOKS, sign_in, tab, wrong_with
from tests.records.shop import APPROVER, INSPECTOR, ORDER, PEOPLE, PLAN, SECRET, TECHNICIAN

_SECOND = "WO-2026-0413"
_LOOK_AT = os.environ.get("TINEBOOK_LOOK_AT")
"""A folder for pictures of the pages, for whoever wants to look at them."""


@pytest.fixture(scope="module")
def work(site: Site) -> str:
    """A connector that was worked on under two orders, one planned with an inspection; its id."""
    for badge, (name, certificate, roles) in PEOPLE.items():
        told: dict[str, Any] = {
            "name": name,
            "authorities": [{"what": each, "from_on": "2020-01-01"} for each in roles],
        }
        if certificate is not None:
            told["certificate"] = {"number": certificate[0], "kind": certificate[1], "from_on": "2020-01-01"}
        site.ask("PUT", f"/v1/people/{badge}", told)
        site.ask("POST", f"/v1/people/{badge}/secret", {"secret": "to be changed"})
        site.ask("PUT", f"/v1/people/{badge}/secret", {"old": "to be changed", "new": SECRET})
    site.ask("PUT", "/v1/tools/LT-1", {"part_number": "M81969/14-02", "due_on": "2026-10-01"})
    connector = site.register("EX-1", populated=True)
    steps = [
        {"act": "replace", "connector": "EX-1", "cavity": "C"},
        {"act": "insert", "connector": "EX-1", "cavity": "2"},
    ]
    site.ask("PUT", f"/v1/work-orders/{ORDER}", PLAN | {"steps": steps[:1]})
    site.ask("PUT", f"/v1/work-orders/{_SECOND}", PLAN | {"title": "A second look", "steps": steps})
    _do(site, connector, ORDER, "removal", "insertion", "seating_test")
    return connector


def _do(site: Site, connector: str, order: str, *kinds: str, hour: int = 8) -> None:
    entries = [
        {
            "id": str(uuid.uuid4()),
            "connector": connector,
            "kind": kind,
            "cavity": "C",
            "performed_at": f"2026-11-02T{hour:02}:{at:02}:00+01:00",
            "performed_by": TECHNICIAN,
            "work_order": order,
            **({"held": True, "force_n": 66.7} if kind == "seating_test" else {"tool": "LT-1"}),
        }
        for at, kind in enumerate(kinds)
    ]
    site.ask("POST", "/v1/entries", {"entries": entries})


def _sign(page: Page, meaning: str, badge: str) -> None:
    page.get_by_label(meaning).check()
    page.get_by_label("I have read what stands above").check()
    page.get_by_label("Your badge").fill(badge)
    page.get_by_label("Your secret").fill(SECRET)
    page.get_by_role("button", name="Sign", exact=True).click()


def _look(page: Page, name: str) -> None:
    if _LOOK_AT:
        page.screenshot(path=Path(_LOOK_AT) / f"{name}.png", full_page=True)


def test_from_inspection_to_record(browser: Browser, site: Site, work: str) -> None:
    """An inspector accepts, an approver signs what the page shows, the record is made; later work asks for one that corrects it."""
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        sign_in(page, site, f"/work-orders/{ORDER}")
        expect(page.get_by_role("heading", name=f"Work order {ORDER}")).to_be_visible()
        expect(page.locator("h1 + .flag")).to_have_text("worked")
        expect(page.get_by_label("Approved:")).to_have_count(0)
        _look(page, "worked")
        _sign(page, "Inspected:", INSPECTOR)
        expect(page.locator("h1 + .flag")).to_have_text("inspected")
        _look(page, "inspected")
        _sign(page, "Approved:", APPROVER)
        expect(page.get_by_role("heading", name="Record 1")).to_be_visible()
        _look(page, "record")
        with page.expect_download() as told:
            page.get_by_role("link", name="PDF/A", exact=True).click()
        assert told.value.suggested_filename == "record-1.pdf"
        page.goto(f"{site.service.address}/records/1/document?format=html&language=de")
        expect(page.get_by_role("heading", level=1)).to_contain_text("Maintenance record entry / Eintrag")
        _look(page, "document")
        _do(site, work, ORDER, "removal", "insertion", hour=9)
        page.goto(f"{site.service.address}/work-orders/{ORDER}")
        expect(page.locator("h1 + .flag")).to_have_text("worked")
        expect(page.get_by_text("it needs one that corrects it")).to_be_visible()
        _look(page, "reopened")
        _sign(page, "Inspected:", INSPECTOR)
        _sign(page, "Approved:", APPROVER)
        expect(page.locator("h1 + .flag")).to_have_text("closed")
        page.get_by_label("Why the last record has to be corrected").fill("One more contact was replaced")
        page.get_by_role("button", name="Make the record").click()
        expect(page.get_by_role("heading", name="Record 2")).to_be_visible()
        expect(page.get_by_text("One more contact was replaced")).to_be_visible()
        page.get_by_role("link", name="record 1", exact=True).click()
        expect(page.get_by_text("What holds now is")).to_be_visible()
    context.close()


def test_what_changed_meanwhile_is_not_signed(browser: Browser, site: Site, work: str) -> None:
    """A page that shows less than was done by now signs nothing, and says that one has to look again."""
    context = browser.new_context(viewport=DESK)  # type: ignore[arg-type]
    with tab(context) as page:
        _do(site, work, _SECOND, "removal", hour=10)
        sign_in(page, site, f"/work-orders/{_SECOND}")
        _do(site, work, _SECOND, "insertion", hour=11)
        _sign(page, "Performed:", TECHNICIAN)
        expect(page.get_by_role("alert")).to_contain_text("look again")
        assert site.ask("GET", f"/v1/signatures?subject=work_order&reference={_SECOND}")["signatures"] == []
    context.close()


@pytest.mark.parametrize("look", LOOKS, ids=str)
def test_every_page_in_every_look(look: str, browser: Browser, site: Site, work: str) -> None:
    """No page breaks a rule of WCAG 2.2 AA, has text under 7:1, a target too small, or anything off the side; opened up neither."""
    assert work
    context = browser.new_context(reduced_motion="reduce", **LOOKS[look])
    wrong: dict[str, Any] = {}
    with tab(context) as page:
        sign_in(page, site)
        for path in (
            "/work-orders",
            f"/work-orders/{ORDER}",
            f"/work-orders/{_SECOND}",
            "/records",
            "/records/1",
            "/records/2",
            "/records/1/document?format=html&language=de",
        ):
            page.goto(f"{site.service.address}{path}")
            page.evaluate("() => document.querySelectorAll('details').forEach((each) => { each.open = true; })")
            wrong[path] = wrong_with(page)
            _look(page, f"{look.replace(' ', '_').replace('%', '')}{path.partition('?')[0].replace('/', '-')}")
    context.close()
    assert {path: each for path, each in wrong.items() if each} == {}
