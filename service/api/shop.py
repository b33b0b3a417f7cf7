"""One function per operation on what is looked things up in: the shop's own figures, and arrangements."""

from typing import Annotated

from msgspec import Meta, Struct

from service import reference_messages as messages
from service.api import handlers, queries, reading
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.core.entries import Text
from service.inbound_messages import ToolRow
from service.messages import Written
from service.workflow import arrangements, inbound, shop


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of the shop's figures begins."""

    number: Annotated[int, Meta(ge=0, le=2**63 - 1)]


class ToolCursor(Struct, frozen=True, array_like=True):
    """Where the next page of the shop's tools begins."""

    mark: Text


async def list_tools(services: Services, call: Call) -> Reply:
    """The shop's tools, by their marks."""
    after = reading.cursor(call.query.cursor, ToolCursor)
    async with services.pool.acquire() as connection:
        tools, following = await shop.tools(
            connection, services.reference.catalog, after.mark if after else None, call.query.limit
        )
    cursor = reading.encode_cursor(ToolCursor(following) if following is not None else None)
    return Reply(200, messages.ShopToolList(tools=tools, next=cursor))


async def put_tool(services: Services, call: Call) -> Reply:
    """Add a tool to the shop's list, or change what it is and until when its check holds."""
    mark = handlers.key(call.path["mark"])
    async with services.pool.acquire() as connection:
        row = ToolRow(mark=mark, part_number=call.body.part_number, due_on=call.body.due_on)
        await inbound.record_tools(connection, [row], call.bearer, services.clock())
    services.reference.forget()
    return Reply(200, Written(key=mark))


async def record_house_value(services: Services, call: Call) -> Reply:
    """Keep a figure of the shop's own."""
    async with services.pool.acquire() as connection:
        done = await shop.record(connection, call.body, call.bearer.name, services.clock())
    services.reference.forget()
    return Reply(201, done)


async def list_house_values(services: Services, call: Call) -> Reply:
    """Everything that the shop ever stated, newest first."""
    asked: queries.HouseValues = call.query
    after = reading.cursor(asked.cursor, Cursor)
    async with services.pool.acquire() as connection:
        values, following = await shop.page(
            connection, after.number if after else None, asked.limit, asked.what, asked.family, asked.part_number
        )
    cursor = reading.encode_cursor(Cursor(following) if following is not None else None)
    return Reply(200, messages.HouseValueList(values=values, next=cursor))


async def show_arrangement(services: Services, call: Call) -> Reply:
    """An arrangement with its cavities, seen from one side."""
    book = services.reference.catalog
    async with services.pool.acquire() as connection:
        return Reply(
            200,
            await arrangements.show(connection, book, call.path["standard"], call.path["name"], call.query.view),
        )
