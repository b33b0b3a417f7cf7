"""Work orders: what is to be done, kept version by version; what was done of it follows from the ledger."""

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from service import problems
from service import record_messages as messages
from service.core.entries import EARLIEST, LATEST, Instant, Text
from service.core.records import progress
from service.core.records.orders import WorkOrder
from service.core.records.progress import Progress, State
from service.store import database
from service.store.database import Connection
from service.workflow import feeding, order_books
from service.workflow.order_books import Found, Means

TOPIC = "work_order.stated"


class Kept(Struct, frozen=True):
    """What came of stating a work order: the version that holds, and whether it is new, changed, or the same as before."""

    number: str
    version: int
    outcome: Literal["created", "changed", "unchanged"]


async def put(connection: Connection, number: str, body: WorkOrder, by: str, at: datetime) -> Kept:
    """Keep what a work order is from now on. The same again changes nothing; every version stays."""
    async with connection.transaction():
        await database.run(connection, "lock_work_order", number)
        before = await order_books.stated(connection, number)
        if before is not None and before.order == body:
            return Kept(number, before.version, "unchanged")
        version = 1 if before is None else before.version + 1
        reference = body.reference
        await database.run(
            connection,
            "put_work_order",
            number,
            version,
            body.title,
            body.description,
            body.asset,
            reference.document if reference else None,
            reference.revision if reference else None,
            reference.task if reference else None,
            body.inspection_required,
            msgspec.json.encode(body.steps).decode(),
            by,
            at,
        )
        told = {"number": number, "version": version, "order": body, "recorded_by": by}
        await feeding.tell(connection, TOPIC, told, at)
    return Kept(number, version, "created" if version == 1 else "changed")


async def find(connection: Connection, means: Means, number: str) -> Found:
    """A work order as it stands. Raises the problem for a number that neither the books nor any entry know."""
    found = (await order_books.read(connection, means, [number]))[number]
    known = found.order is not None or found.statement.connectors or found.statement.waiting_entries
    if not known:
        raise unknown(number)
    return found


def unknown(number: str) -> problems.ProblemRaised:
    """The refusal for a work order that nobody knows."""
    return problems.raised(
        problems.Type.UNKNOWN_WORK_ORDER,
        f"no work order {number!r} is on the books, and no entry names it; PUT /v1/work-orders/{{number}} states one",
    )


async def statement(connection: Connection, number: str, means: Means) -> dict[str, Any]:
    """What there is to sign of a work order, as JSON: what the screen shows. It depends on what is on the books alone."""
    found = await find(connection, means, number)
    told: dict[str, Any] = msgspec.to_builtins(found.statement)
    return told


async def view(connection: Connection, means: Means, number: str) -> messages.WorkOrderView:
    """A work order with its state, its statement and its records."""
    found = await find(connection, means, number)
    records = (await _records(connection, [number])).get(number, ())
    reached = progress.of(found.statement, found.signed)
    return messages.WorkOrderView(
        number=number,
        version=found.statement.version,
        state=reached.state,
        lacks=reached.lacks,
        order=found.order,
        recorded_by=found.recorded_by,
        recorded_at=found.recorded_at,
        statement=found.statement,
        records=records,
        record=standing(reached, records),
    )


def standing(reached: Progress, records: tuple[messages.RecordLine, ...]) -> int | None:
    """The record that stands for an order as it is now: the one of the approval that closed it."""
    if reached.state is not State.CLOSED:
        return None
    return next((each.number for each in records if each.approval == reached.approval), None)


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of work orders begins."""

    recorded_at: Instant
    number: Text

    def __post_init__(self) -> None:
        """Refuse a time that no order can have: some of them overflow on the way to the database."""
        if not EARLIEST <= self.recorded_at < LATEST:
            raise ValueError("out of range")


class Filters(Struct, frozen=True, kw_only=True):
    """Which work orders are wanted. `recorded`: whether any record was made of them."""

    asset: str | None = None
    recorded: bool | None = None


async def page(
    connection: Connection, means: Means, filters: Filters, after: Cursor | None, limit: int
) -> tuple[tuple[messages.WorkOrderLine, ...], Cursor | None]:
    """A page of the work orders on the books, and where the next begins."""
    start = (after.recorded_at, after.number) if after else (None, None)
    rows = await database.fetch(connection, "work_order_page", *start, limit + 1, filters.asset, filters.recorded)
    numbers = [row["number"] for row in rows[:limit]]
    found = await order_books.read(connection, means, numbers)
    records = await _records(connection, numbers)
    last = rows[limit - 1] if len(rows) > limit else None
    following = Cursor(last["recorded_at"], last["number"]) if last else None
    return tuple(_line(found[each], records.get(each, ())) for each in numbers), following


def _line(found: Found, records: tuple[messages.RecordLine, ...]) -> messages.WorkOrderLine:
    told, reached = found.statement, progress.of(found.statement, found.signed)
    return messages.WorkOrderLine(
        number=told.work_order,
        version=told.version,
        title=told.title,
        asset=told.asset,
        state=reached.state,
        lacks=reached.lacks,
        inspection_required=told.inspection_required,
        connectors=tuple(each.serial for each in told.connectors),
        entries=sum(each.counts for each in told.done),
        began_at=told.began_at,
        completed_at=told.completed_at,
        open=sum(each.of_this_work for each in told.discrepancies),
        record=standing(reached, records),
        records=len(records),
    )


async def _records(connection: Connection, numbers: list[str]) -> dict[str, tuple[messages.RecordLine, ...]]:
    found: dict[str, tuple[messages.RecordLine, ...]] = {}
    for row in await database.fetch(connection, "records_of", numbers):
        found[row["work_order"]] = (*found.get(row["work_order"], ()), record_line(row))
    return found


def record_line(row: Any) -> messages.RecordLine:
    """A row of the records as a list shows it."""
    return messages.RecordLine(
        number=row["number"],
        work_order=row["work_order"],
        corrects=row["corrects"],
        corrected_by=row["corrected_by"],
        sha256=row["sha256"].hex(),
        approval=row["approval"],
        made_by=row["made_by"],
        made_at=row["made_at"].astimezone(UTC),
    )


Limit = Annotated[int, Meta(ge=1, le=100)]
"""Each order of a page is worked out from its connectors' ledgers."""
