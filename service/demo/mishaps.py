"""What goes wrong in the records of any shop: one act for each of the common discrepancies."""

from collections.abc import Callable
from datetime import datetime, timedelta
from uuid import UUID

from service.core.discrepancies import Code
from service.core.entries import Entry, Kind
from service.core.tooling import Half
from service.demo import operator
from service.demo.story import Story

SETTLED_SHARE = 0.45
"""Discrepancies that somebody looked into and resolved; the rest stays open."""


def befall(story: Story, at: datetime, code: Code, *, settle: bool) -> None:
    """Let it happen; resolved some days later where `settle` is true and chance will have it."""
    if not story.session(at, operator.TABLETS + operator.BENCHES):
        return
    story.apart()
    about = MISHAPS[code](story)
    if not settle or story.rng.random() >= SETTLED_SHARE:
        return
    if story.session(at + timedelta(days=story.rng.randint(2, 30)), operator.BENCHES):
        story.note(
            Kind.RESOLUTION,
            cavity=about.cavity,
            refers_to=about.id,
            code=code.value,
            note="asked the technician, compared with the work order, count stands",
            performed_by=story.rng.choice(operator.INSPECTORS),
        )


def _one(story: Story) -> str:
    return story.pick(1)[0]


def _inserted_while_occupied(story: Story) -> Entry:
    name = _one(story)
    entry = story.insert(name)
    story.test(name, held=True)
    story.together()
    return entry


def _removed_while_empty(story: Story) -> Entry:
    name = _one(story)
    story.remove(name)
    entry = story.remove(name)
    story.seat(name)
    story.together()
    return entry


def _worked_with_open_finding(story: Story) -> Entry:
    name = _one(story)
    story.note(Kind.FINDING, cavity=name, note="contact sits low, tine to be looked at", blocks=True)
    entry = story.remove(name)
    story.seat(name)
    story.together()
    return entry


def _second_seating_test(story: Story) -> Entry:
    name = _one(story)
    story.remove(name)
    story.seat(name)
    entry = story.test(name, held=True)
    story.together()
    return entry


def _seating_test_of_empty(story: Story) -> Entry:
    name = _one(story)
    story.remove(name)
    entry = story.test(name, held=True)
    story.seat(name)
    story.together()
    return entry


def _renewed_while_occupied(story: Story) -> Entry:
    name = _one(story)
    entry = story.renew(name)
    story.seat(name)
    story.together()
    return entry


def _work_after_retirement(story: Story) -> Entry:
    name = _one(story)
    story.retire()
    return story.remove(name, note="contact recovered")


def _closed_no_finding(story: Story) -> Entry:
    name = _one(story)
    finding = story.note(Kind.FINDING, cavity=name, note="debris in the cavity", blocks=True)
    story.note(Kind.FINDING_CLOSED, cavity=name, refers_to=finding.id, note="cleaned")
    entry = story.note(Kind.FINDING_CLOSED, cavity=name, refers_to=finding.id, note="cleaned, looked at again")
    story.together()
    return entry


def _mated_while_mated(story: Story) -> Entry:
    story.together()
    return story.note(Kind.MATING)


def _unmated_while_unmated(story: Story) -> Entry:
    entry = story.note(Kind.UNMATING)
    story.together()
    return entry


def _corrects_unknown(story: Story) -> Entry:
    story.together()
    lost = UUID(int=story.rng.getrandbits(128), version=4)
    return story.note(Kind.CORRECTION, corrects=lost, note="entered on the wrong connector")


def _no_reason(story: Story) -> Entry:
    twice = story.note(Kind.UNMATING)
    entry = story.note(Kind.CORRECTION, corrects=twice.id)
    story.together()
    return entry


def _inspected_own_work(story: Story) -> Entry:
    name = _one(story)
    story.remove(name)
    done = story.insert(name)
    story.test(name, held=True)
    story.together()
    return story.note(Kind.ACCEPTANCE, cavity=name, refers_to=done.id, accepted=True)


def _work_refused(story: Story) -> Entry:
    name = _one(story)
    story.remove(name)
    done = story.insert(name)
    story.test(name, held=True)
    inspector = story.rng.choice(operator.INSPECTORS)
    reason = "wire strained at the grommet"
    story.note(Kind.ACCEPTANCE, cavity=name, refers_to=done.id, accepted=False, performed_by=inspector, note=reason)
    return done


def _clock_ahead(story: Story) -> Entry:
    name = _one(story)
    off = timedelta(hours=1) if story.rng.random() < 0.7 else timedelta(days=366)
    story.remove(name)
    entry = story.insert(name, ahead=story.delay + off)
    story.test(name, held=True)
    story.together()
    return entry


def _unknown_person(story: Story) -> Entry:
    name = _one(story)
    entry = story.remove(name, performed_by=operator.STRANGER)
    story.insert(name, performed_by=operator.STRANGER)
    story.together()
    return entry


def _unknown_tool(story: Story) -> Entry:
    name = _one(story)
    story.remove(name)
    entry = story.insert(name, tool=operator.STRANGE_TOOL)
    story.test(name, held=True)
    story.together()
    return entry


def _wrong_tool(story: Story) -> Entry:
    name = _one(story)
    marks, size = story.item.kit.marks, story.cavities[name].size
    right = marks.get((Half.REMOVE, size), ())
    wrong = sorted({mark for found in marks.values() for mark in found if mark not in right})
    entry = story.remove(name, tool=story.rng.choice(wrong))
    story.seat(name)
    story.together()
    return entry


MISHAPS: dict[Code, Callable[[Story], Entry]] = {
    Code.INSERTED_WHILE_OCCUPIED: _inserted_while_occupied,
    Code.REMOVED_WHILE_EMPTY: _removed_while_empty,
    Code.WORKED_WITH_OPEN_FINDING: _worked_with_open_finding,
    Code.SECOND_SEATING_TEST: _second_seating_test,
    Code.SEATING_TEST_OF_EMPTY: _seating_test_of_empty,
    Code.RENEWED_WHILE_OCCUPIED: _renewed_while_occupied,
    Code.WORK_AFTER_RETIREMENT: _work_after_retirement,
    Code.CLOSED_NO_FINDING: _closed_no_finding,
    Code.MATED_WHILE_MATED: _mated_while_mated,
    Code.UNMATED_WHILE_UNMATED: _unmated_while_unmated,
    Code.CORRECTS_UNKNOWN: _corrects_unknown,
    Code.NO_REASON: _no_reason,
    Code.INSPECTED_OWN_WORK: _inspected_own_work,
    Code.WORK_REFUSED: _work_refused,
    Code.CLOCK_AHEAD: _clock_ahead,
    Code.UNKNOWN_PERSON: _unknown_person,
    Code.UNKNOWN_TOOL: _unknown_tool,
    Code.WRONG_TOOL: _wrong_tool,
}
"""Each expects a connector with contacts in, unmated, and returns the entry that the discrepancy is about."""

PROMISED = frozenset(MISHAPS) | {
    Code.OVER_RATING,
    Code.CARRY_IN_AFTER_ENTRIES,
    Code.CARRY_IN_TWICE,
    Code.CARRY_IN_WITHOUT_SOURCE,
}
"""What a fleet of any size shows, still open."""
