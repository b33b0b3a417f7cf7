"""Entries from what somebody says was done. Ids and times come in; nothing here decides whether it was right."""

from collections.abc import Iterable, Sequence
from datetime import timedelta

import msgspec
from msgspec import Struct

from scanner_client.dialogue import Moment, Shift
from service.core import entries, plans
from service.core.entries import Entry, Kind
from service.messages import PlannedStep


class MalformedError(ValueError):
    """An entry that nobody could accept; the text says what to change."""


class Author(Struct, frozen=True):
    """What every entry of one act shares: the connector, who, where, on what order."""

    connector: str
    shift: Shift


def of_steps(
    author: Author, steps: Iterable[PlannedStep], moment: Moment, note: str | None = None, *, looked: bool = False
) -> tuple[Entry, ...]:
    """The half cycles that the steps leave behind, in order, a microsecond apart, so that the order stays told.

    `looked`: the tool was looked over before it went in.
    """
    halves = [(step, kind) for step in steps for kind in plans.halves(step.action)]
    drafts = []
    for place, (step, kind) in enumerate(halves):
        fields: dict[str, object] = {
            "cavity": step.cavity,
            "tool": step.tool,
            "contact": step.contact if kind is Kind.INSERTION else None,
            "note": note,
            "tool_looked_at": True if looked and step.tool else None,
        }
        drafts.append(entry(author, kind, _nth(moment, place, len(halves)), fields))
    return tuple(drafts)


def corrections(made: Sequence[Entry], shift: Shift, moment: Moment, reason: str) -> tuple[Entry, ...]:
    """What takes entries back: one correction each, with the reason. The entries stay in the ledger."""
    return tuple(
        entry(
            Author(each.connector, shift),
            Kind.CORRECTION,
            _nth(moment, place, len(made)),
            {"corrects": each.id, "note": reason},
        )
        for place, each in enumerate(made)
    )


def entry(author: Author, kind: Kind, moment: Moment, fields: dict[str, object]) -> Entry:
    """One entry, checked by the rules that the service checks it by, so that nothing malformed goes to the outbox."""
    shift = author.shift
    if not shift.badge:
        raise MalformedError("Nobody is signed on: scan or type your badge first.")
    told = {
        "id": moment.ids[0],
        "connector": author.connector,
        "kind": kind,
        "performed_at": moment.at,
        "performed_by": shift.badge,
        "work_order": shift.work_order,
        "bench": shift.bench,
        **fields,
    }
    return checked({name: value for name, value in told.items() if value is not None})


def checked(told: dict[str, object]) -> Entry:
    """An entry from its fields; MalformedError with the field and a sentence otherwise."""
    try:
        made = msgspec.convert(msgspec.to_builtins(told), Entry)
    except msgspec.ValidationError as error:
        raise MalformedError(f"This can't be recorded as it is: {error}.") from None
    found = entries.faults(made)
    if found:
        raise MalformedError("; ".join(f"{each.field}: {each.text}" for each in found))
    return made


def _nth(moment: Moment, place: int, count: int) -> Moment:
    return Moment(moment.at - timedelta(microseconds=count - 1 - place), moment.ids[place : place + 1])
