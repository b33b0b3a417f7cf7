"""A connector that is on the books twice: what to record so that the facts of the double count for the other one."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID, uuid5

import msgspec
from msgspec import Meta, Struct

from service import fleet_messages as messages
from service import problems
from service.core import chain, entries, references
from service.core.entries import Entry, Kind
from service.messages import LedgerLine
from service.store import database, ledger
from service.store.database import Connection
from service.store.ledger import Head
from service.workflow import connectors
from service.workflow.discrepancies import ledger_line

_NAMES = UUID("6b0a1f5e-6f5d-5b7e-9a57-3c1f0d2a8e41")
"""Ids of proposed entries are made from this and from what they carry over: asked for again, they are the same."""
_LEFT = frozenset({Kind.CORRECTION, Kind.RESOLUTION, Kind.RETIREMENT})
"""What is about the double's own entries, or about the double itself."""
_NOTE_LENGTH = 4_000


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of a merge begins."""

    number: Annotated[int, Meta(ge=0, le=2_147_483_647)]


class Merge(Struct, frozen=True):
    """Which connector is a double of which, who proposes to merge them, when and why."""

    doubled: UUID
    into: UUID
    by: str
    reason: str
    at: datetime


async def propose(
    connection: Connection, definitions: ledger.Definitions, merge: Merge, after: Cursor | None, limit: int
) -> tuple[messages.MergeProposal, Cursor | None]:
    """What to record so that the double's facts count for the other; records nothing. Its `next` is left to the caller.

    Nothing is moved: each entry is corrected where it stands and recorded anew where it belongs, so both ledgers keep
    telling what happened. Entries that are void already are left alone.
    """
    if merge.doubled == merge.into:
        text = "a connector can't be merged with itself"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("?into", text))
    async with database.report(connection):
        heads = await connectors.many(connection, definitions, (merge.doubled, merge.into))
        for each in (merge.doubled, merge.into):
            if each not in heads:
                raise connectors.unknown(str(each))
        rows = await database.fetch(connection, "ledger_of", merge.doubled)
        waiting = _waiting(rows, after)
        there = await database.fetch(connection, "receipts", [_fact_id(each.id, merge.into) for each in waiting])
    known = {row["id"] for row in there}
    lines = {row["id"]: row for row in rows}
    steps = tuple(_step(ledger_line(lines[each.id]), merge, heads[merge.into], known) for each in waiting[:limit])
    following = Cursor(lines[waiting[limit - 1].id]["number"]) if len(waiting) > limit else None
    retirement = None if following is not None or heads[merge.doubled].state.whole.retired else _retirement(merge)
    proposal = messages.MergeProposal(
        doubled=merge.doubled, into=merge.into, steps=steps, retirement=retirement, next=None
    )
    return proposal, following


def _waiting(rows: Sequence[Any], after: Cursor | None) -> list[Entry]:
    """The entries of the double that still count there, in the order of the ledger."""
    history = [chain.decode_body(row["body"]).recorded for row in rows]
    void = references.read(history).void
    first = after.number if after else 0
    return [
        each.entry
        for row, each in zip(rows, history, strict=True)
        if row["number"] > first and each.entry.id not in void and each.entry.kind not in _LEFT
    ]


def _fact_id(entry: UUID, into: UUID) -> UUID:
    return uuid5(_NAMES, f"{entry} in {into}")


def _step(line: LedgerLine, merge: Merge, into: Head, known: set[UUID]) -> messages.MergeStep:
    entry = line.entry
    cavities = {each.id for each in into.definition.cavities}
    missing = [each for each in entries.cavities_of(entry) if each not in cavities]
    fact: Entry | None = None
    if missing:
        text = f"The other connector has no cavity {missing[0]!r}: correct the registration first, or leave the entry here."
        return messages.MergeStep(entry=line, correction=None, fact=None, text=text)
    if _fact_id(entry.id, merge.into) in known:
        text = "Recorded in the other's ledger before: corrected only."
    else:
        fact = _fact(line, merge)
        text = "Corrected here, recorded anew there."
        if entry.kind is Kind.CARRY_IN:
            text += " It is an opening count: take it over only if the other's does not include it."
    return messages.MergeStep(entry=line, correction=_correction(entry, merge), fact=fact, text=text)


def _fact(line: LedgerLine, merge: Merge) -> Entry:
    entry = line.entry
    origin = f"Carried over from entry {entry.id} of connector {merge.doubled}, a double of this one: {merge.reason}"
    if entry.performed_at > line.recorded_at:
        # It stood there where it was recorded. Dated as it was, a renewal would now come after work that followed it.
        origin += f" (dated {entry.performed_at.isoformat()} there, by a clock that was ahead)"
    note = f"{entry.note}\n{origin}" if entry.note else origin
    refers_to = entry.refers_to and _fact_id(entry.refers_to, merge.into)
    return msgspec.structs.replace(
        entry,
        id=_fact_id(entry.id, merge.into),
        connector=str(merge.into),
        performed_at=min(entry.performed_at, line.recorded_at),
        refers_to=refers_to,
        note=note[:_NOTE_LENGTH],
    )


def _correction(entry: Entry, merge: Merge) -> Entry:
    return Entry(
        id=uuid5(_NAMES, f"correction of {entry.id}"),
        connector=str(merge.doubled),
        kind=Kind.CORRECTION,
        performed_at=merge.at,
        performed_by=merge.by,
        corrects=entry.id,
        note=f"Belongs to connector {merge.into}, of which this one is a double: {merge.reason}",
    )


def _retirement(merge: Merge) -> Entry:
    return Entry(
        id=uuid5(_NAMES, f"retirement of {merge.doubled} for {merge.into}"),
        connector=str(merge.doubled),
        kind=Kind.RETIREMENT,
        performed_at=merge.at,
        performed_by=merge.by,
        note=f"A double of connector {merge.into}: {merge.reason}",
    )
