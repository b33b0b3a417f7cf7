"""What a scan is taken for, as a table: where the talk stands, what is scanned, what comes of it."""

import pytest

from scanner_client import dialogue, recognition, shifts
from scanner_client.dialogue import Field, Opened, Phase, Say, Scanned, Shift
from scanner_client.readings import Reading
from tests.client import fake
from tests.client.symbols import MESSAGE
from tests.client.test_bench import KNOWN, SHIFT, Talk, at_connector, begun, line

PARTS = [
    ("AS39029/58-363", Field.CONTACT),
    ("M39029/58-363", Field.CONTACT),
    ("AS81969/14-10", Field.TOOL),
    ("M81969/14-10", Field.TOOL),
    ("D38999/26FJ4PN", None),
    ("39029/58-363", None),
    ("XM39029/58", None),
    ("AS39029", None),
]


@pytest.mark.parametrize(("text", "kind"), PARTS)
def test_a_part_number_alone_says_what_it_is(text: str, kind: Field | None) -> None:
    """Contacts and tools of the two standards, in the present and in the older marking."""
    assert recognition.part_kind(text) is kind


def scan(talk: Talk, text: str) -> Talk:
    """Scan a symbol."""
    return talk.hear(Scanned(Reading(text.encode())))


def test_marks_that_need_a_connector_say_so() -> None:
    """A tool, a contact or a cavity belongs to a connector at hand."""
    for text in ("urn:tinebook:tool:T-7", "AS39029/58-363", "M81969/14-10", "urn:tinebook:cavity:14"):
        talk = scan(Talk(begun()), text)
        assert talk.effects == (Say("Scan the connector first.", urgent=True),)
        assert talk.state.phase is Phase.READY


def test_marks_of_ours_need_somebody_except_badge_and_bench() -> None:
    """Nothing is set by nobody."""
    for text in ("urn:tinebook:tool:T-7", "urn:tinebook:work_order:WO-1", "urn:tinebook:cavity:14"):
        assert scan(Talk(begun(Shift())), text).effects == (Say(shifts.NOBODY, urgent=True),)


def test_a_broken_mark_of_ours_is_no_connector() -> None:
    """What begins like one of ours and is none is refused with its reason, never looked up or taken for a badge."""
    for state in (begun(), begun(Shift())):
        talk = scan(Talk(state), "urn:tinebook:bagde:117")
        assert talk.state.shift.badge == state.shift.badge
        assert "must begin urn:tinebook:" in talk.said


def test_a_message_with_a_part_number_is_a_connector_unless_a_tool_was_asked_for() -> None:
    """An item's mark (ISO/IEC 15434) is looked up; after `tool` alone it is the tool."""
    talk = at_connector().hear(Scanned(Reading(MESSAGE, "]d1")))
    assert isinstance(talk.effects[-1], dialogue.Find)
    talk = at_connector().hear("tool", Scanned(Reading(MESSAGE, "]d1")))
    assert talk.state.tool == "1234"
    assert talk.state.expects is None


def test_a_badge_is_a_badge_even_where_a_tool_was_asked_for() -> None:
    """What a mark says of itself goes before what was expected."""
    talk = scan(at_connector().hear("tool"), "urn:tinebook:badge:204")
    assert talk.state.shift.badge == "204"
    assert talk.state.subject is None


def test_a_question_for_one_thing_can_be_left() -> None:
    """After `tool` alone, '-' is none and `cancel` changes nothing."""
    assert at_connector().hear("tool T-1", "tool", "-").state.tool is None
    assert at_connector().hear("tool T-1", "tool", "cancel").state.tool == "T-1"
    assert at_connector().hear("order", "WO-9").state.shift.work_order == "WO-9"
    assert at_connector().hear("order -").state.shift.work_order is None


def test_a_mark_of_ours_may_come_as_typing() -> None:
    """A pipe or a slow scanner gives lines: they mean the same, in every place where a line is no reason."""
    assert Talk(begun(Shift())).hear("urn:tinebook:badge:204").state.shift.badge == "204"
    assert at_connector().hear("urn:tinebook:cavity:C").state.chosen == ("C",)
    assert at_connector().hear("AS39029/58-363").state.contact == "AS39029/58-363"


def test_chosen_cavities_are_asked_about_in_their_order() -> None:
    """The word for the action is enough once cavities are chosen; other cavities named replace the choice."""
    talk = scan(scan(at_connector(), "urn:tinebook:cavity:C"), "urn:tinebook:cavity:14").hear("insert")
    (asked,) = talk.effects
    assert isinstance(asked, dialogue.Ask)
    assert [each.cavity for each in asked.steps] == ["C", "14"]
    assert "no cavity AA" in scan(at_connector(), "urn:tinebook:cavity:AA").said
    talk = scan(at_connector(), "urn:tinebook:cavity:C").hear("insert 1")
    assert [each.cavity for each in talk.state.steps] == ["1"]


def test_nothing_but_a_reason_is_taken_for_a_reason() -> None:
    """While a reason is asked for no scan counts, except a card that cancels."""
    talk = scan(at_connector().hear("remove 14").answered().hear("done"), "urn:tinebook:badge:204")
    assert talk.said == "Type the reason first, or 'cancel'."
    assert talk.state.shift == SHIFT
    assert scan(talk, "cancel").state.phase is Phase.ANSWERED


def test_the_connector_at_hand_scanned_again_changes_nothing() -> None:
    """Scanning it twice is the commonest thing to do at an answer."""
    talk = scan(at_connector().hear("insert 14").answered(), "SN-1042")
    assert talk.said == "Yes, this is the connector at hand."
    assert talk.state.pending == (0,)


def test_a_mark_of_several_never_says_that_this_is_the_one() -> None:
    """To scan it again proves nothing where another connector bears it, too; a restart does not forget that."""
    lines = (line(fake.CONNECTOR, "P-1"), line(fake.OTHER, "P-2"))
    chosen = Talk(begun()).hear(dialogue.Found("SN-1042", lines), "1", Opened(KNOWN), "insert 14").answered()
    talk = scan(chosen, "SN-1042")
    assert isinstance(talk.effects[0], Say)
    assert talk.effects[0].urgent
    assert "Several connectors carry this mark" in talk.said
    assert talk.state.pending == (0,)
    back = Talk(shifts.begin(shifts.memory(talk.state))).hear(dialogue.Resume(), Opened(KNOWN)).answered()
    assert "Several connectors carry this mark" in scan(back, "SN-1042").said
