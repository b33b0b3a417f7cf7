"""One function per operation on work orders and on the records that are made of them."""

import asyncio
from typing import Any

import msgspec
from litestar import Response, get

from service import messages as wire
from service import problems
from service import record_messages as messages
from service.api import handlers, reading
from service.api import records_queries as queries
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.records import forms, hypertext
from service.store import database
from service.workflow import records, work_orders
from service.workflow.order_books import Means
from service.workflow.work_orders import Cursor, Filters


def means(services: Services) -> Means:
    """What work orders are read by."""
    return Means(services.scribe.definitions, services.house)


async def put_order(services: Services, call: Call) -> Reply:
    """State a work order, or a new version of one."""
    number = handlers.key(call.path["number"])
    async with services.pool.acquire() as connection:
        kept = await work_orders.put(connection, number, call.body, call.bearer.name, services.clock())
        view = await work_orders.view(connection, means(services), number)
    return Reply(201 if kept.outcome == "created" else 200, view)


async def list_orders(services: Services, call: Call) -> Reply:
    """A page of the work orders on the books."""
    asked: queries.WorkOrders = call.query
    after = reading.cursor(asked.cursor, Cursor)
    async with services.pool.acquire() as connection, database.report(connection):
        filters = Filters(asset=asked.asset, recorded=asked.recorded)
        lines, following = await work_orders.page(connection, means(services), filters, after, asked.limit)
    return Reply(200, messages.WorkOrderList(work_orders=lines, next=reading.encode_cursor(following)))


async def show_order(services: Services, call: Call) -> Reply:
    """One work order as it stands."""
    async with (
        services.pool.acquire() as connection,
        connection.transaction(isolation="repeatable_read", readonly=True),
    ):
        return Reply(200, await work_orders.view(connection, means(services), handlers.key(call.path["number"])))


async def show_statement(services: Services, call: Call) -> Reply:
    """What there is to sign of a work order."""
    async with (
        services.pool.acquire() as connection,
        connection.transaction(isolation="repeatable_read", readonly=True),
    ):
        found = await work_orders.find(connection, means(services), handlers.key(call.path["number"]))
    return Reply(200, found.statement)


async def make(services: Services, call: Call) -> Reply:
    """Make the record of a closed work order."""
    async with services.pool.acquire() as connection:
        done = await records.make(connection, means(services), call.body, call.bearer.name, services.clock())
    return Reply(201 if done.new else 200, done.record)


async def list_records(services: Services, call: Call) -> Reply:
    """A page of the records."""
    asked: queries.Records = call.query
    after = reading.cursor(asked.cursor, queries.RecordCursor)
    async with services.pool.acquire() as connection:
        lines, following = await records.page(
            connection, after.number if after else None, asked.limit, asked.work_order
        )
    cursor = reading.encode_cursor(queries.RecordCursor(following) if following is not None else None)
    return Reply(200, messages.RecordList(records=lines, next=cursor))


async def show_record(services: Services, call: Call) -> Reply:
    """One record, and what became of it."""
    async with services.pool.acquire() as connection:
        return Reply(200, await records.show(connection, number(call.path["record"])))


async def document(services: Services, call: Call) -> Reply:
    """A record as a file: the same bytes at every export. Drawing takes a while, so it is done beside the loop."""
    asked: queries.Document = call.query
    async with services.pool.acquire() as connection:
        kept = await records.kept(connection, number(call.path["record"]))
    return await drawn(kept, asked)


async def drawn(kept: records.Kept, asked: queries.Document) -> Reply:
    """A record in a form, with its name and the hash of its content."""
    body = await asyncio.to_thread(
        forms.drawn, kept.canonical, kept.content, kept.sha256.hex(), asked.format, asked.language
    )
    name = f"record-{kept.number}{'' if asked.language == 'en' else '-' + asked.language}.{asked.format}"
    shown = "inline" if asked.format == "html" else "attachment"
    headers = {"content-disposition": f'{shown}; filename="{name}"'}
    if asked.format == "html":
        headers |= hypertext.headers()
    message = msgspec.Raw(body) if asked.format == "json" else body
    return Reply(200, message, forms.MEDIA_TYPES[asked.format], headers)


def number(text: str) -> int:
    """A record's number that stands in a path. Raises the problem for what can't be one."""
    if text.isascii() and text.isdigit() and len(text) <= len(str(2**63)) - 1:
        return int(text)
    raise problems.raised(problems.Type.UNKNOWN_RECORD, f"{text[:50]!r} is no number of a record")


@get("/schema/record.json", include_in_schema=False)
async def schema() -> Response[Any]:
    """The schema of a record in JSON."""
    return Response(wire.to_json(forms.schema()), media_type="application/json")
