"""Records of closed work orders: made once, numbered without gaps, frozen; a correction is a new one that points to the old."""

import hashlib
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

import msgspec
from msgspec import Struct

from service import problems
from service import record_messages as messages
from service.core import chain
from service.core.records import entry, progress
from service.core.records.content import MaintenanceRecord
from service.core.records.entry import Occasion
from service.core.records.progress import Progress, State
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow import feeding, order_books, signing, work_orders
from service.workflow.order_books import Found, Means

TOPIC = "record.made"
_DIGITS = 18
"""No record will ever have a longer number."""


class Made(Struct, frozen=True):
    """A record, and whether it is new: one approval is recorded once."""

    record: messages.RecordView
    new: bool


class Kept(Struct, frozen=True):
    """A record as it is kept: the bytes that every export is drawn from."""

    number: int
    canonical: bytes
    sha256: bytes
    content: MaintenanceRecord


async def make(connection: Connection, means: Means, asked: messages.RecordRequest, by: str, at: datetime) -> Made:
    """Make the record of a closed work order, or give the one that was made of its approval.

    Raises:
        ProblemRaised: the order is not closed, or an older record is there and no reason is given for another.
    """
    async with connection.transaction():
        await database.run(connection, "lock_records")
        found = await work_orders.find(connection, means, asked.work_order)
        reached = progress.of(found.statement, found.signed)
        if reached.state is not State.CLOSED:
            raise _not_closed(asked.work_order, reached)
        before = await database.fetch(connection, "records_of", [asked.work_order])
        same = next((row["number"] for row in before if row["approval"] == reached.approval), None)
        if same is not None:
            return Made(await show(connection, same), new=False)
        if before and not asked.reason:
            text = f"record {before[-1]['number']} of this order is there: a record that corrects it needs a reason"
            raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/reason", text))
        number = await _keep(connection, found, reached, before[-1]["number"] if before else None, asked, by, at)
        return Made(await show(connection, number), new=True)


async def _keep(
    connection: Connection,
    found: Found,
    reached: Progress,
    corrects: int | None,
    asked: messages.RecordRequest,
    by: str,
    at: datetime,
) -> int:
    number: int = await connection.fetchval(SQL["next_record"])
    approval = next(each for each in found.signatures if each.id == reached.approval)
    occasion = Occasion(
        number=number,
        id=uuid4(),
        installation=await connection.fetchval(SQL["installation"]),
        made_at=at.astimezone(UTC),
        made_by=by,
        corrects=corrects,
        reason=asked.reason if corrects is not None else None,
    )
    # What was approved is what is recorded: the statement that was signed, not the one with the approval in it.
    approved = msgspec.json.decode(approval.statement, type=type(found.statement))
    content = entry.make(approved, order_books.line(approval), occasion)
    canonical = chain.canonical(content)
    digest = chain.digest(canonical)
    await database.run(
        connection,
        "append_record",
        number,
        occasion.id,
        asked.work_order,
        corrects,
        approval.id,
        canonical,
        digest,
        by,
        at,
    )
    told = {"number": number, "sha256": digest.hex(), "content": msgspec.Raw(canonical)}
    await feeding.tell(connection, TOPIC, told, at, identity=occasion.id)
    return number


def _not_closed(number: str, reached: Progress) -> problems.ProblemRaised:
    lacks = ", ".join(each.value.replace("_", " ") for each in reached.lacks)
    text = f"work order {number!r} is {reached.state.value.replace('_', ' ')}, not closed; it lacks: {lacks}"
    return problems.raised(problems.Type.WORK_ORDER_NOT_CLOSED, text, ("#/work_order", text))


async def kept(connection: Connection, number: int) -> Kept:
    """A record's bytes and what they state. Raises the problem if there is none."""
    row = await database.fetch_one(connection, "record", number)
    if row is None:
        raise unknown(number)
    content = msgspec.json.decode(row["canonical"], type=MaintenanceRecord)
    return Kept(row["number"], row["canonical"], row["sha256"], content)


async def statement(connection: Connection, reference: str) -> dict[str, Any]:
    """What there is to sign of a record that is there already: all of it."""
    number = int(reference) if reference.isascii() and reference.isdigit() and len(reference) <= _DIGITS else 0
    told: dict[str, Any] = msgspec.json.decode((await kept(connection, number)).canonical)
    return told


async def show(connection: Connection, number: int) -> messages.RecordView:
    """One record with what became of it. Raises the problem if there is none."""
    row = await database.fetch_one(connection, "record", number)
    if row is None:
        raise unknown(number)
    whole = hashlib.sha256(row["canonical"]).digest() == row["sha256"]
    return messages.RecordView(
        number=number,
        sha256=row["sha256"].hex(),
        corrects=row["corrects"],
        corrected_by=row["corrected_by"],
        intact=whole and await _signed_so(connection, row["work_order"], row["approval"], row["canonical"]),
        record=msgspec.json.decode(row["canonical"], type=MaintenanceRecord),
    )


async def _signed_so(connection: Connection, order: str, approval: UUID, canonical: bytes) -> bool:
    """Whether what stands in a record is, letter by letter, what the approver signed."""
    stated = chain.canonical(msgspec.json.decode(canonical)["statement"])
    for each in await signing.of(connection, order_books.SUBJECT, order):
        if each.id == approval:
            return each.intact and each.statement.encode() == stated
    return False


async def page(
    connection: Connection, after: int | None, limit: int, work_order: str | None
) -> tuple[tuple[messages.RecordLine, ...], int | None]:
    """A page of the records, newest first, and where the next begins."""
    rows = await database.fetch(connection, "record_page", after, limit + 1, work_order)
    following = rows[limit - 1]["number"] if len(rows) > limit else None
    return tuple(work_orders.record_line(row) for row in rows[:limit]), following


def unknown(number: object) -> problems.ProblemRaised:
    """The refusal for a record that there is not."""
    return problems.raised(problems.Type.UNKNOWN_RECORD, f"there is no record {number}: GET /v1/records lists them")
