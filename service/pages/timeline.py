"""A connector's history as a time line: days from the newest back, each with what was done and by whom.

A day is the day of the work. What was recorded much later says so, and what a correction voids stays to be read, struck out.
"""

from collections.abc import Iterable
from datetime import timedelta
from itertools import groupby
from uuid import UUID

from service.core.markup import EMPTY, Markup, element, joined, text
from service.messages import LedgerLine
from service.pages import sentences, wording
from service.workflow.history import Page

LATE = timedelta(hours=12)
"""From so long after the work on, the moment of recording is told."""


def shown(page: Page) -> Markup:
    """The entries of a page, by day and work order."""
    ordered = sorted(page.lines, key=lambda each: (each.performed_at, each.number), reverse=True)
    days = groupby(ordered, key=lambda each: (each.performed_at.date(), each.entry.work_order))
    shown_days = (_day(f"{day}", order, list(found), page.voided) for (day, order), found in days)
    return element("ol", *shown_days, class_="line")


def entry_id(entry: UUID) -> str:
    """What an entry is called within a page."""
    return f"entry-{entry}"


def _day(day: str, order: str | None, lines: list[LedgerLine], voided: dict[UUID, UUID]) -> Markup:
    people = dict.fromkeys(each.performed_by for each in lines)
    where = dict.fromkeys(each.entry.bench for each in lines if each.entry.bench)
    beside = "; ".join(each for each in (order and f"work order {order}", ", ".join(people), ", ".join(where)) if each)
    alone = len(people) == 1
    items = (_line(each, voided, named=not alone) for each in lines)
    heading = element("h3", text(day), text(" "), element("span", text(beside), class_="note"))
    return element("li", heading, element("ul", *items))


def _line(line: LedgerLine, voided: dict[UUID, UUID], *, named: bool) -> Markup:
    void = voided.get(line.id)
    said = joined(sentences.told(line.entry), text(f", by {line.performed_by}") if named else EMPTY)
    return element(
        "li",
        element("span", text(f"{line.performed_at:%H:%M}"), class_="when"),
        element("span", said, class_="void") if void else said,
        *(element("span", each, class_="under") for each in _under(line, void)),
        id=entry_id(line.id),
    )


def _under(line: LedgerLine, void: UUID | None) -> Iterable[Markup]:
    entry = line.entry
    if void is not None:
        yield joined(text("Entered in error: "), element("a", text("see the correction"), href=f"#{entry_id(void)}"))
    if entry.note:
        yield text(f"“{entry.note}”")
    if entry.source:
        yield text(f"Count from: {entry.source}")
    pointed = entry.corrects or entry.refers_to
    if pointed is not None:
        yield joined(text("About "), element("a", text("this entry"), href=f"#{entry_id(pointed)}"))
    late = line.recorded_at - line.performed_at
    if late >= LATE:
        words = f"Recorded {wording.days(late / timedelta(days=1))} later, "
        yield joined(text(words), wording.moment(line.recorded_at), text(f", through {line.recorded_by}"))
    for each in sentences.noted(line.noted):
        yield element("b", text(each))
