"""The page at work, from signing on to the ledger, on the real service."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser import phone
from tests.browser.site import Site


@pytest.fixture
def page(device: BrowserContext, site: Site) -> Iterator[Page]:
    """A phone that is set up, with a person signed on."""
    with phone.opened(device, site.address) as page:
        phone.set_up(page, site.token)
        phone.sign_on(page)
        yield page


_count = iter(range(1, 1000))


def registered(site: Site, *done: tuple[str, str], **more: Any) -> tuple[str, str]:
    """A connector of its own for a test, with what was done to it: its serial and id."""
    serial = f"WK-{next(_count):03}"
    connector = site.register(serial, **more)
    phone.record(site, connector, *done)
    return serial, connector


def test_contacts_go_in_are_tested_and_stand_in_the_ledger(page: Page, site: Site) -> None:
    """Ask, do, record with one press, test each: every fact reaches the ledger once, with who, what order, which cavity."""
    serial, connector = registered(site)
    page.get_by_label("Work order").fill("WO-77")
    page.get_by_role("button", name="Set", exact=True).click()
    phone.find(page, serial)
    phone.ask(page, "Insert", "C", "2")
    expect(page.locator(".verdict").first).to_have_text("GO")
    expect(page.locator(".cautions").first).to_contain_text("WARNING:")
    page.get_by_role("button", name="All 2 done").click()
    expect(page.get_by_role("heading", name="Is the contact in C seated?")).to_be_visible()
    page.get_by_role("radio", name="Yes").check(force=True)
    page.get_by_label("Force in newtons").fill("66.7")
    page.get_by_role("button", name="It held").click()
    expect(page.get_by_role("heading", name="Is the contact in 2 seated?")).to_be_visible()
    page.get_by_role("button", name="Use lbf").click()
    page.get_by_label("Force in pounds-force").fill("15")
    page.get_by_role("button", name="It did not hold").click()
    expect(page.get_by_role("status").filter(has_text="2 is not seated")).to_be_visible()
    found = phone.facts(site, connector, 4, "kind", "cavity", "performed_by", "work_order", "held", "force_n", "level")
    assert found == [
        ("insertion", "C", "117", "WO-77", None, None, None),
        ("insertion", "2", "117", "WO-77", None, None, None),
        ("seating_test", "C", "117", "WO-77", True, 66.7, True),
        ("seating_test", "2", "117", "WO-77", False, 66.7, None),
    ]


def test_a_capital_is_another_cavity(page: Page, site: Site) -> None:
    """C and c are told apart on the drawing, in the list and in what is recorded."""
    serial, connector = registered(site)
    phone.find(page, serial)
    page.get_by_role("checkbox", name="Cavity small c,").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("checkbox", name="Cavity small c,")).to_be_checked()
    expect(page.get_by_role("checkbox", name="Cavity C,")).not_to_be_checked()
    phone.ask(page, "Insert")
    page.get_by_role("button", name="Done: c inserted").click()
    expect(page.get_by_role("heading", name="Is the contact in c seated?")).to_be_visible()
    assert phone.facts(site, connector, 1, "kind", "cavity") == [("insertion", "c")]


def test_a_no_go_is_recorded_only_with_a_reason(page: Page, site: Site) -> None:
    """What happened against a no_go can be recorded, the page insists on why, and what speaks against it does not stand out."""
    serial, connector = registered(site)
    phone.find(page, serial)
    phone.ask(page, "Remove", "C")
    expect(page.locator(".verdict").first).to_have_text("NO GO")
    expect(page.get_by_role("button", name="Not done")).to_have_class("primary")
    page.get_by_role("button", name="Done: C removed").click()
    expect(page.get_by_role("heading", name="why was it done all the same?")).to_be_visible()
    assert site.ledger(connector) == []
    page.get_by_label("Reason").fill("there was one")
    page.get_by_role("button", name="Record with this reason").click()
    expect(page.get_by_role("status").filter(has_text="removed while empty")).to_be_visible()
    assert phone.facts(site, connector, 1, "kind", "cavity", "note") == [("removal", "C", "there was one")]


def test_a_spent_cavity_is_no_dead_end(page: Page, site: Site) -> None:
    """Free cavities of the size, renewal and replacement are named, each only as far as the approved data allow."""
    worn = [(kind, "C") for _ in range(10) for kind in ("insertion", "removal")]
    serial, _ = registered(site, *worn)
    phone.find(page, serial)
    phone.ask(page, "Insert", "C")
    expect(page.locator(".verdict").first).to_have_text("NO GO")
    expect(page.locator(".answers")).to_contain_text("cycle 11 of 10")
    ways = page.locator(".ways")
    expect(ways).to_contain_text("If the approved data allow it")
    expect(ways.get_by_role("listitem").filter(has_text="drawing")).to_have_count(3)


def test_an_undo_is_a_correction_with_a_reason(page: Page, site: Site) -> None:
    """What was recorded last can be taken back at once; both stay in the ledger."""
    serial, connector = registered(site)
    phone.find(page, serial)
    phone.ask(page, "Insert", "1")
    page.get_by_role("button", name="Done: 1 inserted").click()
    page.get_by_role("button", name="No test now").click()
    page.get_by_role("button", name="Take back what was recorded last").click()
    page.get_by_label("Why was it entered in error?").fill("another connector")
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_role("status").filter(has_text="Taken back")).to_be_visible()
    expect(page.get_by_role("checkbox", name="Cavity 1, size 20, 0 of 10, empty, within")).to_be_visible()
    (insertion, correction) = phone.facts(site, connector, 2, "id", "kind", "corrects", "note")
    assert correction[1:] == ("correction", insertion[0], "another connector")


def test_only_the_removal_of_a_replacement(page: Page, site: Site) -> None:
    """A contact that came out and did not go in again is recorded as just that."""
    serial, connector = registered(site, ("insertion", "1"))
    phone.find(page, serial)
    phone.ask(page, "Replace", "1")
    page.get_by_role("button", name="Only the removal was done").click()
    expect(page.get_by_role("checkbox", name="Cavity 1, size 20, 1 of 10, empty")).to_be_visible()
    assert phone.facts(site, connector, 2, "kind") == [("insertion",), ("removal",)]


def test_a_wrong_tool_and_a_wrong_contact_are_no_go_with_why(page: Page, site: Site) -> None:
    """Tool and contact are judged before the work, and a look at the tool is recorded with it."""
    serial, connector = registered(site, part_number="MS3476L12-10S")
    phone.find(page, serial)
    phone.ask(page, "Insert", "1")
    for button, text, answer, why in (
        ("Scan the tool", "M81969/14-03", "NO GO", "tool is for another contact size"),
        ("Tool M81969/14-03", "M81969/14-11", "GO", ""),
    ):
        page.get_by_role("button", name=button).click()
        page.get_by_label("or type its mark or part number").fill(text)
        page.get_by_role("button", name="Use it").click()
        expect(page.locator(".verdict").first).to_have_text(answer)
        expect(page.locator(".answers")).to_contain_text(why)
    page.get_by_role("button", name="Scan the contact bag").click()
    page.get_by_label("or type its part number").fill("AS39029/5-118")
    page.get_by_role("button", name="Use it").click()
    expect(page.locator(".verdict").first).to_have_text("NO GO")
    page.get_by_role("button", name="Contact AS39029/5-118").click()
    page.get_by_label("or type its part number").fill("AS39029/5-115")
    page.get_by_role("button", name="Use it").click()
    expect(page.locator(".verdict").first).to_have_text("GO")
    page.get_by_label("I looked the tool over").check()
    page.get_by_role("button", name="Done: 1 inserted").click()
    expect(page.get_by_role("heading", name="Is the contact in 1 seated?")).to_be_visible()
    found = phone.facts(site, connector, 1, "kind", "tool", "contact", "tool_looked_at")
    assert found == [("insertion", "M81969/14-11", "AS39029/5-115", True)]


def test_a_finding_blocks_until_it_is_closed(page: Page, site: Site) -> None:
    """Something wrong is recorded in a few words and stands against the next work on that cavity."""
    serial, _ = registered(site)
    phone.find(page, serial)
    page.get_by_role("button", name="Something else happened").click()
    page.get_by_label("Cavity (empty").fill("2")
    page.get_by_label("What is wrong?").fill("tine bent")
    page.get_by_role("button", name="Record the finding").click()
    expect(page.get_by_role("checkbox", name="Cavity 2, size 20, 0 of 10, empty, within, blocked")).to_be_visible()
    phone.ask(page, "Insert", "2")
    expect(page.locator(".verdict").first).to_have_text("NO GO")


def test_an_unregistered_connector_can_be_worked_on(page: Page, site: Site) -> None:
    """There is no answer, and that is no go; what is done is kept under its mark until it is registered."""
    page.get_by_label("or type its mark").fill("NOBODY-KNOWS-1")
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_text("No connector is registered under this mark.").first).to_be_visible()
    phone.ask(page, "Insert", "7")
    expect(page.locator(".verdict").first).to_have_text("NO ANSWER")
    page.get_by_role("button", name="Done: 7 inserted").click()
    page.get_by_label("Reason").fill("no list at hand")
    page.get_by_role("button", name="Record with this reason").click()
    expect(page.get_by_role("heading", name="Is the contact in 7 seated?")).to_be_visible()
    connector = site.register("NOBODY-KNOWS-1", cavities=[{"id": "7", "contact_size": "20"}])
    assert phone.facts(site, connector, 1, "kind", "cavity", "note") == [("insertion", "7", "no list at hand")]


def test_nothing_of_another_person_stays_on_the_screen(page: Page, site: Site) -> None:
    """After signing off and on again, nothing that the first person saw or typed is on the page."""
    serial, _ = registered(site)
    page.get_by_label("Work order").fill("WO-SECRET")
    page.get_by_role("button", name="Set", exact=True).click()
    phone.find(page, serial)
    phone.choose(page, "Insert", "1")
    page.get_by_role("button", name="Sign off").click()
    expect(page.get_by_role("heading", name="Who works here?")).to_be_visible()
    for _ in range(2):
        shown = page.locator("body").inner_text()
        assert not any(each in shown for each in ("117", serial, "WO-SECRET"))
        if page.get_by_label("Your badge").count():
            phone.sign_on(page, "204")


def test_a_wrong_token_is_said_clearly(device: BrowserContext, site: Site) -> None:
    """An expired or mistyped token is named as the reason, not a lost connection."""
    with phone.opened(device, site.address) as page:
        page.get_by_label("Token of this bench").fill("old")
        page.get_by_role("button", name="Use it").click()
        expect(page.get_by_role("status").filter(has_text="does not accept this bench's token")).to_be_visible()


def test_work_goes_on_without_the_network(page: Page, site: Site) -> None:
    """The page opens again with its server stopped, answers on the last known state and says its age; all of it arrives later."""
    serial, connector = registered(site)
    phone.find(page, serial)
    page.get_by_role("button", name="Next connector").click()
    site.service.stop()
    site.bench.stop()
    page.reload()
    phone.find(page, serial)
    phone.ask(page, "Insert", "C")
    expect(page.locator(".verdict").first).to_have_text("GO")
    expect(page.locator(".remark").first).to_contain_text("the last known state")
    page.get_by_role("button", name="Done: C inserted").click()
    page.get_by_role("button", name="It held").click()
    expect(page.get_by_role("button", name="2 entries are kept here and not sent yet")).to_be_visible()
    site.up()
    page.get_by_role("button", name="2 entries are kept here and not sent yet").click()
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("Everything recorded here has reached the service.")).to_be_visible()
    assert phone.facts(site, connector, 2, "kind", "cavity") == [("insertion", "C"), ("seating_test", "C")]


FULL = """() => {
  const {add} = IDBObjectStore.prototype;
  IDBObjectStore.prototype.add = () => { throw new DOMException("full", "QuotaExceededError"); };
  window.freed = () => { IDBObjectStore.prototype.add = add; };
}"""


def test_what_could_not_be_kept_makes_every_answer_none(page: Page, site: Site) -> None:
    """A device without room: what is only on the screen counts nowhere, so until it is kept there is no answer, and no go."""
    serial, connector = registered(site)
    page.set_viewport_size(phone.TABLET)  # type: ignore[arg-type]
    phone.find(page, serial)
    page.evaluate(FULL)
    phone.ask(page, "Insert", "1")
    page.get_by_role("button", name="Done: 1 inserted").click()
    page.get_by_role("button", name="No test now").click()
    expect(page.get_by_role("alert").filter(has_text="NOT RECORDED YET")).to_be_visible()
    phone.ask(page, "Insert", "1")
    expect(page.locator(".verdict").first).to_have_text("NO ANSWER")
    expect(page.locator(".remark").first).to_contain_text("NOT RECORDED YET is in no count")
    page.get_by_role("button", name="Not done").click()
    page.evaluate("() => window.freed()")
    page.get_by_role("button", name="Try again").click()
    assert phone.facts(site, connector, 1, "kind", "cavity") == [("insertion", "1")]
    expect(page.get_by_role("alert")).to_have_count(0)
    page.get_by_role("button", name="Ask before the work").click()
    expect(page.locator(".verdict").first).to_have_text("NO GO")


def test_what_could_not_be_kept_is_asked_about_again_after_a_reload(page: Page, site: Site) -> None:
    """A page that is lost with entries on its screen alone still knows what was asked, and asks what became of it."""
    serial, connector = registered(site)
    page.set_viewport_size(phone.TABLET)  # type: ignore[arg-type]
    phone.find(page, serial)
    page.evaluate(FULL)
    phone.ask(page, "Insert", "1")
    page.get_by_role("button", name="Done: 1 inserted").click()
    page.get_by_role("button", name="No test now").click()
    expect(page.get_by_role("alert").filter(has_text="NOT RECORDED YET")).to_be_visible()
    page.get_by_role("button", name="Next connector").click()
    page.reload()
    expect(page.get_by_text("You left this unsettled here.")).to_be_visible()
    page.get_by_role("button", name="Done: 1 inserted").click()
    assert phone.facts(site, connector, 1, "kind", "cavity") == [("insertion", "1")]
