"""The bench page in a browser, on a phone's screen: from signing on to a recorded entry."""

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from msgspec import structs
from playwright.sync_api import Page, expect, sync_playwright

from scanner_client import serve
from service.core.entries import Kind
from tests.client import fake, symbols
from tests.client.fake import Service
from tests.client.test_outbox import entry

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs chromium (Debian: apt install chromium)")


@pytest.fixture
def address(service: Service) -> Iterator[str]:
    """Where the page is served, with the stand-in behind it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    app = serve.build_app("http://service.test", transport=service.transport())
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", lifespan="on"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    deadline = time.monotonic() + 10
    while not server.started:
        assert time.monotonic() < deadline, "the server started"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture
def phone(address: str) -> Iterator[Page]:
    """The page on a phone, with every script error and every breach of the policy failing the test."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 360, "height": 740}, device_scale_factor=2)
        errors: list[str] = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda told: errors.append(told.text) if "Content Security Policy" in told.text else None)
        page.goto(address)
        yield page
        browser.close()
    assert errors == []


def sign_on(page: Page) -> None:
    """Enter token and badge."""
    page.get_by_label("Token of this bench").fill(fake.TOKEN)
    page.get_by_label("Your badge").fill("B-7")
    page.get_by_label("Work order").fill("WO-77")
    page.get_by_role("button", name="Sign on").click()
    expect(page.get_by_role("heading", name="Which connector?")).to_be_visible()


def find(page: Page, mark: str = "SN-1042") -> None:
    """Find a connector by typing."""
    page.get_by_label("or type its mark").fill(mark)
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("heading", name="SN-1042")).to_be_visible()


def ask(page: Page, action: str, cavity: str) -> None:
    """Choose an action and a cavity, and ask."""
    page.get_by_role("radio", name=action, exact=True).check()
    page.locator(f'input[name=cavity][value="{cavity}"]').check()
    page.get_by_role("button", name="Ask before the work").click()


def test_a_contact_is_inserted_tested_and_in_the_ledger(phone: Page, service: Service) -> None:
    """Ask, do, record, test the seating: each entry reaches the service once, with who, what order and which cavity."""
    sign_on(phone)
    find(phone)
    ask(phone, "Insert", "14")
    expect(phone.locator(".verdict.go")).to_have_text("GO")
    expect(phone.locator(".cautions").first).to_contain_text("WARNING: Power off")
    phone.get_by_text("3 CAUTIONS for this work").click()
    expect(phone.get_by_text("CAUTION: A tool of another size")).to_be_visible()
    phone.get_by_role("button", name="Done: record it").click()
    expect(phone.get_by_role("heading", name="Seating test of cavity 14")).to_be_visible()
    phone.get_by_label("Force in newtons").fill("66.7")
    phone.get_by_role("button", name="It held").click()
    expect(phone.locator("#said")).to_contain_text("1 entry recorded")
    told = [
        (each.entry.kind, each.entry.cavity, each.entry.performed_by, each.entry.work_order) for each in service.ledger
    ]
    assert told == [("insertion", "14", "B-7", "WO-77"), ("seating_test", "14", "B-7", "WO-77")]
    assert service.ledger[1].entry.force_n == 66.7
    assert service.ledger[1].entry.held is True


def test_a_no_go_is_recorded_only_with_a_reason(phone: Page, service: Service) -> None:
    """What happened against a no_go can be recorded, and the page insists on why."""
    sign_on(phone)
    find(phone)
    ask(phone, "Remove", "C")
    expect(phone.locator(".verdict.no_go")).to_have_text("NO GO")
    phone.get_by_role("button", name="Done: record it").click()
    assert service.ledger == []
    phone.get_by_label("Why was it done all the same?").fill("there was one")
    phone.get_by_role("button", name="Done: record it").click()
    expect(phone.locator("#said")).to_contain_text("1 entry recorded")
    assert [(each.entry.kind, each.entry.cavity, each.entry.note) for each in service.ledger] == [
        ("removal", "C", "there was one")
    ]


def test_a_photo_finds_the_connector(phone: Page, tmp_path: Path) -> None:
    """A photo of a mark opens the connector that carries it."""
    photo = tmp_path / "mark.png"
    photo.write_bytes(symbols.encoded(symbols.page(symbols.symbol("SN-1042"))))
    sign_on(phone)
    phone.locator("#photo").set_input_files(photo)
    expect(phone.get_by_role("heading", name="SN-1042")).to_be_visible()


def test_an_answer_that_was_lost_is_sent_again_and_stored_once(phone: Page, service: Service) -> None:
    """An entry whose acknowledgement was lost stays in the browser, and sending it again doubles nothing."""
    sign_on(phone)
    find(phone)
    ask(phone, "Insert", "1")
    service.cut = lambda request: "lose" if request.url.path == "/v1/entries" else "answer"
    phone.get_by_role("button", name="Done: record it").click()
    expect(phone.locator("#waiting")).to_contain_text("1 entry is not acknowledged yet")
    assert len(service.ledger) == 1
    service.cut = lambda _: "answer"
    phone.reload()
    phone.get_by_role("button", name="Send again").click()
    expect(phone.locator("#waiting")).to_be_hidden()
    assert len(service.ledger) == 1


def test_a_token_that_is_no_longer_valid_is_said_clearly(phone: Page, service: Service) -> None:
    """An expired token is named as the reason, not a lost connection."""
    service.cut = lambda _: "denied"
    phone.get_by_label("Token of this bench").fill("old")
    phone.get_by_label("Your badge").fill("B-7")
    phone.get_by_role("button", name="Sign on").click()
    expect(phone.get_by_role("alert")).to_contain_text("does not accept this token")


def test_it_says_that_it_needs_the_network(phone: Page) -> None:
    """The page does not let anybody believe that it works offline."""
    expect(phone.locator("#offline-note")).to_contain_text("does not work without the network yet")


def test_primary_targets_are_large_enough_for_gloves(phone: Page) -> None:
    """Primary actions are 72 CSS px high or more (MIL-STD-1472E: 19 mm for gloved keys); nothing runs off the side."""
    sign_on(phone)
    find(phone)
    for each in phone.locator(".primary:visible, .actions span, .cavities .cell").all():
        box = each.bounding_box()
        assert box is not None
        assert box["height"] >= 72
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360


CONTRASTS = """() => {
  const channel = (value) => { const part = value / 255; return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4; };
  const light = ([red, green, blue]) => 0.2126 * channel(red) + 0.7152 * channel(green) + 0.0722 * channel(blue);
  const parts = (colour) => colour.match(/[0-9.]+/g).map(Number);
  const behind = (each) => {
    for (let at = each; at; at = at.parentElement) {
      const found = parts(getComputedStyle(at).backgroundColor);
      if (found.length < 4 || found[3] > 0) return found;
    }
    return [255, 255, 255];
  };
  return [...document.querySelectorAll("body *")].filter((each) => each.checkVisibility() && [...each.childNodes].some(
    (child) => child.nodeType === 3 && child.textContent.trim())).map((each) => {
    const [one, two] = [light(parts(getComputedStyle(each).color)), light(behind(each))];
    return [each.textContent.trim().slice(0, 30), (Math.max(one, two) + 0.05) / (Math.min(one, two) + 0.05)];
  });
}"""


def test_text_is_readable_in_bad_light(phone: Page, service: Service) -> None:
    """Every piece of text has a contrast of 7:1 or more (WCAG 2.2, 1.4.6), in every wear and every answer."""
    for cavity, times in (("1", 7), ("14", 10), ("C", 11)):
        for number in range(2 * times):
            kind = Kind.REMOVAL if number % 2 else Kind.INSERTION
            made = structs.replace(entry(len(service.ledger) + 1, cavity, kind), performed_at=service.clock.go())
            assert service.one(made).outcome == "recorded"
    seen = phone.evaluate(CONTRASTS)
    sign_on(phone)
    find(phone)
    assert {"within", "nearing", "spent", "over"} <= set(
        phone.locator(".cell .facts span:last-child").all_inner_texts()
    )
    for action, cavity, answer in (("Insert", "c", "go"), ("Insert", "1", "warn"), ("Insert", "14", "no_go")):
        seen += phone.evaluate(CONTRASTS)
        ask(phone, action, cavity)
        expect(phone.locator(f".verdict.{answer}")).to_be_visible()
        seen += phone.evaluate(CONTRASTS)
        phone.get_by_role("button", name="Not done").click()
    assert len(seen) > 50
    assert [each for each in seen if each[1] < 7] == []
