"""A walk through every screen of the page, stopping at each, for whoever wants to look: checks of it, and pictures."""

from collections.abc import Iterator

from playwright.sync_api import Page, expect

from tests.browser import phone
from tests.browser.site import Site

WORN = (
    *[(kind, "2") for _ in range(7) for kind in ("insertion", "removal")],
    *[(kind, "C") for _ in range(10) for kind in ("insertion", "removal")],
    *[(kind, "c") for _ in range(11) for kind in ("insertion", "removal")],
    ("insertion", "1"),
)
"""What makes cavity 1 within its rating, 2 nearing, C spent and c over it."""


def worn(site: Site, serial: str) -> str:
    """A connector in which every wear is to be seen, on an aircraft, of a type whose tools are known."""
    connector = site.register(serial, part_number="MS3476L12-10S")
    phone.record(site, connector, *WORN)
    return connector


def screens(page: Page, site: Site, serial: str) -> Iterator[str]:
    """Each screen in turn, by its name; what is on the page then is that screen. The device must be a fresh one."""
    expect(page.get_by_label("Token of this bench")).to_be_visible()
    yield "set up"
    phone.set_up(page, site.token)
    yield "sign on"
    phone.sign_on(page)
    yield "scan"
    phone.find(page, serial)
    yield "connector"
    page.get_by_role("button", name="As a list").click()
    yield "list"
    page.get_by_role("button", name="Show the insert").click()
    page.get_by_role("button", name="Something else happened").click()
    yield "other"
    page.get_by_role("button", name="Back", exact=True).click()
    yield from _answers(page)
    yield from _recording(page)
    yield from _settings(page)


def _answers(page: Page) -> Iterator[str]:
    for action, cavities, answer in (
        ("Insert", ("2",), "warn"),
        ("Insert", ("C", "2"), "no_go"),
        ("Replace", ("1",), "go"),
    ):
        phone.ask(page, action, *cavities)
        expect(page.locator(f".verdict.{answer}").first).to_be_visible()
        page.locator("summary").first.click()
        page.get_by_role("button", name="Show where").first.click()
        yield f"answer {answer}"
        page.get_by_role("button", name="Not done").click()
        _leave_out(page)


def _leave_out(page: Page) -> None:
    chosen = page.get_by_role("button", name="Leave out cavity")
    while chosen.count():
        chosen.first.click()


def _recording(page: Page) -> Iterator[str]:
    phone.ask(page, "Insert", "C")
    page.get_by_role("button", name="Scan the tool").click()
    yield "tool"
    page.get_by_role("button", name="Back", exact=True).click()
    page.get_by_role("button", name="Done: C inserted").click()
    expect(page.get_by_label("Reason")).to_be_visible()
    yield "reason"
    page.get_by_label("Reason").fill("told to by the lead")
    page.get_by_role("button", name="Record with this reason").click()
    expect(page.get_by_role("heading", name="Is the contact in C seated?")).to_be_visible()
    yield "seating"
    page.get_by_role("button", name="No test now").click()
    page.get_by_role("button", name="Take back what was recorded last").click()
    yield "undo"
    page.get_by_role("button", name="Back", exact=True).click()
    page.get_by_role("button", name="Next connector").click()
    phone_unknown(page)
    yield "unknown connector"
    phone.ask(page, "Remove", "9")
    yield "no answer"
    page.get_by_role("button", name="Not done").click()


def phone_unknown(page: Page) -> None:
    """A mark that nobody registered."""
    page.get_by_label("or type its mark").fill("NOT-REGISTERED-7")
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_text("No connector is registered").first).to_be_visible()


def _settings(page: Page) -> Iterator[str]:
    page.get_by_role("button", name="Set up this device").click()
    expect(page.get_by_role("heading", name="Set up this device")).to_be_visible()
    yield "settings"
    page.get_by_role("button", name="Back", exact=True).click()
