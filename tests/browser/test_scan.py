"""Scanning with the page, on the real service: the camera's film to the connector, the photo, the scanner that types."""

import base64
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, Page, Playwright, expect

from tests.browser import films, phone
from tests.browser.conftest import CHROMIUM
from tests.browser.films import Film
from tests.browser.site import Site
from tests.client import symbols

SERIAL = "SC-001"


@pytest.fixture(scope="module")
def connector(site: Site) -> str:
    """A connector to scan."""
    return site.register(SERIAL)


def test_a_photo_finds_the_connector(device: BrowserContext, site: Site, connector: str, tmp_path: Path) -> None:
    """A photo of a mark opens the connector that carries it."""
    photo = tmp_path / "mark.png"
    photo.write_bytes(symbols.encoded(symbols.page(symbols.symbol(SERIAL))))
    with phone.opened(device, site.address) as page:
        phone.set_up(page, site.token)
        phone.sign_on(page)
        page.locator(".file input").set_input_files(photo)
        expect(page.get_by_role("heading", name=SERIAL)).to_be_visible(timeout=20_000)
    assert connector


def test_a_picture_without_a_symbol_says_what_to_do(device: BrowserContext, site: Site, tmp_path: Path) -> None:
    """Nothing found, and no image at all, are said clearly, after the server's decoder has tried as well."""
    empty, broken = tmp_path / "empty.png", tmp_path / "broken.png"
    empty.write_bytes(symbols.encoded(Image.new("L", (640, 480), 200)))
    broken.write_bytes(b"no image at all")
    with phone.opened(device, site.address) as page:
        phone.set_up(page, site.token)
        phone.sign_on(page)
        page.locator(".file input").set_input_files(empty)
        expect(page.locator(".said")).to_contain_text("The photo: no Data Matrix", timeout=20_000)
        page.locator(".file input").set_input_files(broken)
        expect(page.locator(".said")).to_contain_text("image", timeout=20_000)


def keys(page: Page, text: str) -> None:
    """What a scanner types, quickly, with its suffix."""
    page.evaluate(
        """(text) => { for (const key of [...text, "Enter"]) {
          const told = { key, bubbles: true, cancelable: true };
          document.activeElement.dispatchEvent(new KeyboardEvent("keydown", told));
        } }""",
        text,
    )


def test_a_scanner_that_types_is_no_person(device: BrowserContext, site: Site, connector: str) -> None:
    """A plain serial typed by a scanner finds its connector wherever the focus is, and leaves nothing in a field."""
    with phone.opened(device, site.address) as page:
        phone.set_up(page, site.token)
        phone.sign_on(page)
        page.get_by_label("Work order").focus()
        keys(page, SERIAL)
        expect(page.get_by_role("heading", name=SERIAL)).to_be_visible()
        page.get_by_role("button", name="Next connector").click()
        expect(page.get_by_label("Work order")).to_have_value("")
    assert connector


def test_separators_are_refused_until_the_scanner_is_proven(device: BrowserContext, site: Site) -> None:
    """A message whose separators arrive as anything but themselves is refused with what to do."""
    with phone.opened(device, site.address) as page:
        phone.set_up(page, site.token)
        phone.sign_on(page)
        keys(page, "[)>06S1234")
        expect(page.locator(".said")).to_contain_text("check symbol")


LIVE = ("Data Matrix, clean", "Data Matrix, dot peen", "Code 128")


@pytest.mark.parametrize("film", [each for each in films.FILMS if each.name in LIVE], ids=lambda each: each.name)
def test_the_camera_leads_to_the_connector(play: Playwright, site: Site, film: Film, tmp_path: Path) -> None:
    """A label held before the camera opens its connector without another touch, asks for nothing else, and answers."""
    ((data, symbology),) = film.told
    told = {"bytes_base64": base64.b64encode(data).decode(), "symbology": symbology}
    cavities = [{"id": "1", "contact_size": "20"}]
    known = site.ask("POST", "/v1/connectors", {**told, "history": "new", "cavities": cavities})
    path = films.written(film, tmp_path, empty_s=1, shown_s=1000 / films.RATE)
    flags = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    browser = play.chromium.launch(
        executable_path=CHROMIUM, args=["--no-sandbox", *flags, f"--use-file-for-fake-video-capture={path}"]
    )
    with phone.opened(browser.new_context(), site.address) as page:
        phone.set_up(page, site.token)
        page.get_by_label("Your badge").fill("117")
        page.get_by_role("button", name="Sign on").click()
        expect(page.get_by_role("heading", name=known["serial"])).to_be_visible(timeout=60_000)
        phone.ask(page, "Insert", "1")
        expect(page.locator(".verdict").first).to_have_text("WARN")
        expect(page.locator(".answers")).to_contain_text("No rating is recorded")
    browser.close()
