"""What a scan is taken for, whatever is on the screen: badge, order, tool, contact, cavity, bench, or a connector. Pure."""

import re

from msgspec import structs

from scanner_client import asking, dialogue, readings, shifts
from scanner_client.dialogue import Effect, Field, Phase, Say, State, Turn
from scanner_client.readings import Reading
from service.core import marks
from service.core.marks import Mark, Meaning

_CONTACT = re.compile("(?:M|AS)39029/")
_TOOL = re.compile("(?:M|AS)81969/")
SHARED = "Several connectors carry this mark, so it does not say whether this is the one at hand: compare part numbers."
_NOBODYS_BADGE = frozenset({Meaning.IUID, Meaning.CONNECTOR_ID, Meaning.GS1})
_EQUIPMENT = frozenset({Meaning.IUID, Meaning.PLAIN_SERIAL, Meaning.NO_IDENTITY})


def part_kind(text: str) -> Field | None:
    """What a part number alone says it is, in either spelling: AS39029 contacts, AS81969 tools."""
    if _CONTACT.match(text):
        return Field.CONTACT
    return Field.TOOL if _TOOL.match(text) else None


def taken(state: State, reading: Reading) -> Turn:
    """Take a scan for what it is."""
    mark = marks.read(reading.data, reading.symbology)
    reason = readings.fault(reading) or next((each.text for each in mark.faults), None)
    if reason:
        return Turn(state, (Say(reason, urgent=True),))
    if mark.named is not None:
        return _named(state, mark.meaning, mark.named)
    if state.shift.badge is None:
        return _signed_on(state, reading, mark)
    if state.expects is not None and (wanted := _wanted(state.expects, reading, mark)):
        return field(state, state.expects, wanted)
    kind = part_kind(_part(reading, mark)) if mark.cage is None else None
    if kind:
        return asking.equip(state, kind, _part(reading, mark))
    return find(state, reading)


def field(state: State, asked: Field, told: str | None) -> Turn:
    """Something that was asked for by itself, or told with its name; None for none."""
    match asked:
        case Field.BADGE:
            nobody = Turn(structs.replace(state, expects=None), (Say("Type or scan your badge.", urgent=True),))
            return shifts.sign_on(state, told) if told else nobody
        case Field.WORK_ORDER:
            return shifts.set_order(state, told)
        case Field.TOOL | Field.CONTACT:
            return asking.equip(state, asked, told)


def find(state: State, reading: Reading) -> Turn:
    """Look up the connector that a mark means, unless something at hand is not settled."""
    if state.shift.badge is None:
        return Turn(state, (Say(shifts.NOBODY, urgent=True),))
    reason = readings.fault(reading)
    if reason:
        return Turn(state, (Say(reason, urgent=True),))
    at_hand = state.subject.mark if state.subject else None
    if at_hand == reading.text and (state.pending or state.to_test):
        return Turn(state, (Say(SHARED, urgent=True) if state.shared else Say("Yes, this is the connector at hand."),))
    left = state.resume
    if state.pending or (left is not None and left.mark != reading.text):
        return Turn(state, (Say(shifts.UNSETTLED, urgent=True),))
    return Turn(structs.replace(state, expects=None), (*untested(state), dialogue.Find(reading)))


def untested(state: State) -> tuple[Effect, ...]:
    """Contacts that go without a seating test are named when their connector is left."""
    if not state.to_test:
        return ()
    return (Say(f"No seating test is recorded for {', '.join(state.to_test)}.", urgent=True),)


def _named(state: State, meaning: Meaning, name: str) -> Turn:
    """A mark of ours names what it is."""
    if meaning is Meaning.BADGE:
        return shifts.sign_on(state, name)
    if meaning is Meaning.BENCH:
        return shifts.rename(state, name)
    if state.shift.badge is None:
        return Turn(state, (Say(shifts.NOBODY, urgent=True),))
    if meaning is Meaning.WORK_ORDER:
        return shifts.set_order(state, name)
    if meaning is Meaning.TOOL:
        return asking.equip(state, Field.TOOL, name)
    return asking.toggle(state, name)


def _signed_on(state: State, reading: Reading, mark: Mark) -> Turn:
    # A card with any text may be a badge; a mark by a standard is some item's.
    if mark.meaning in _NOBODYS_BADGE:
        return Turn(state, (Say(shifts.NOBODY, urgent=True),))
    return shifts.sign_on(state, reading.text)


def _wanted(asked: Field, reading: Reading, mark: Mark) -> str | None:
    """What a scan gives for the field that was asked for; None if it can't be that."""
    if asked in (Field.TOOL, Field.CONTACT):
        number = mark.current_part_number or mark.part_number or mark.identity or reading.text
        return number if mark.meaning in _EQUIPMENT else None
    return reading.text if mark.meaning is Meaning.PLAIN_SERIAL else None


def _part(reading: Reading, mark: Mark) -> str:
    """The part number that a mark gives, where it gives no more than that."""
    number = mark.current_part_number or mark.part_number
    return number or (reading.text if mark.identity is None or mark.meaning is Meaning.PLAIN_SERIAL else "")


def in_reasons(state: State) -> bool:
    """Whether a reason is being asked for, so that nothing else is taken."""
    return state.phase in (Phase.REASON, Phase.UNDOING)
