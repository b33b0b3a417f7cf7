"""The page as a person uses it: by the names that are read aloud."""

import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.site import Site

PHONE = {"width": 360, "height": 740}
TABLET = {"width": 1280, "height": 800}


@contextmanager
def opened(device: BrowserContext, address: str, size: dict[str, int] | None = None) -> Iterator[Page]:
    """The page in a new tab; an error of a script or a breach of the policy fails the test."""
    page = device.new_page()
    page.set_viewport_size(size or PHONE)  # type: ignore[arg-type]
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda told: errors.append(told.text) if "Content Security Policy" in told.text else None)
    page.goto(address)
    yield page
    page.close()
    assert errors == []


def set_up(page: Page, token: str) -> None:
    """Give the device its bench's token."""
    page.get_by_label("Token of this bench").fill(token)
    page.get_by_role("button", name="Use it").click()
    expect(page.get_by_role("heading", name="Who works here?")).to_be_visible()


def sign_on(page: Page, badge: str = "117") -> None:
    """Type a badge."""
    page.get_by_label("Your badge").fill(badge)
    page.get_by_role("button", name="Sign on").click()
    expect(page.get_by_role("heading", name="Which connector?")).to_be_visible()


def find(page: Page, serial: str) -> None:
    """Find a connector by typing its serial."""
    page.get_by_label("or type its mark").fill(serial)
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("heading", name=serial)).to_be_visible()


def choose(page: Page, action: str, *cavities: str) -> None:
    """Say what will be done, and to which cavities, by their ids."""
    page.get_by_role("radio", name=action, exact=True).check(force=True)
    for each in cavities:
        page.get_by_label("Cavity by its id").fill(each)
        page.get_by_role("button", name="Choose", exact=True).click()


def ask(page: Page, action: str, *cavities: str) -> None:
    """Ask before the work."""
    choose(page, action, *cavities)
    page.get_by_role("button", name="Ask before the work").click()
    expect(page.locator(".verdict").first).to_be_visible()


def facts(site: Site, connector: str, count: int, *names: str) -> list[tuple[Any, ...]]:
    """Some fields of a connector's entries in the order of the work, once so many have arrived."""
    deadline = time.monotonic() + 20
    while len(lines := site.ledger(connector)) < count:
        assert time.monotonic() < deadline, f"{count} entries arrive, but {len(lines)} have"
        time.sleep(0.1)
    entries = sorted((each["entry"] for each in lines), key=lambda each: str(each["performed_at"]))
    return [tuple(each.get(name) for name in names) for each in entries]


def record(site: Site, connector: str, *acts: tuple[str, str]) -> None:
    """What was done to a connector before, an act a minute, the last an hour ago."""
    start = datetime.now(UTC) - timedelta(minutes=60 + len(acts))
    entries = [
        {
            "id": str(uuid.uuid4()),
            "connector": connector,
            "kind": kind,
            "cavity": cavity,
            "performed_at": (start + timedelta(minutes=at)).isoformat(),
            "performed_by": "204",
        }
        for at, (kind, cavity) in enumerate(acts)
    ]
    if entries:
        site.ask("POST", "/v1/entries", {"entries": entries})
