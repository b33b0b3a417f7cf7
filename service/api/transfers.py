"""One function per operation on log cards, tags and transfers."""

import asyncio
import base64
import binascii
from uuid import UUID, uuid4

import msgspec

from service import problems
from service import transfer_messages as messages
from service.api import handlers, reading
from service.api import transfer_queries as queries
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.records import hypertext
from service.workflow import log_cards, receiving, transfer_keys, transfers


async def log_card(services: Services, call: Call) -> Reply:
    """A connector's whole life as a document."""
    asked: queries.LogCard = call.query
    async with services.pool.acquire() as connection:
        card = await log_cards.shown(connection, _connector(call), services.house)
    data = await asyncio.to_thread(log_cards.document, card, asked.format)
    headers = hypertext.headers() if asked.format == "html" else {}
    if asked.format == "json":
        return Reply(200, msgspec.Raw(data))
    return Reply(200, data, log_cards.MEDIA_TYPES[asked.format], headers)


async def tag(services: Services, call: Call) -> Reply:
    """A tag for a connector that was taken off."""
    asked: queries.Tag = call.query
    async with services.pool.acquire() as connection:
        card = await log_cards.shown(connection, _connector(call), services.house)
    data = await asyncio.to_thread(log_cards.drawn_tag, card, asked.format, services.address, asked.record)
    return Reply(200, data, log_cards.TAG_MEDIA_TYPES[asked.format])


async def hand_over(services: Services, call: Call) -> Reply:
    """Let a connector go to another owner."""
    asked: messages.HandOver = call.body
    order = transfers.Order(_connector(call), asked, call.bearer.name, services.clock(), asked.id or uuid4())
    async with services.pool.acquire() as connection:
        view, new = await transfers.hand_over(connection, services.house, order)
    return Reply(201 if new else 200, view)


async def take_in(services: Services, call: Call) -> Reply:
    """Take a connector over, from the bundle that it comes with."""
    try:
        data = base64.b64decode(call.body.bundle_base64, validate=True)
    except (binascii.Error, ValueError) as error:
        text = f"this is not base64: {error}"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/bundle_base64", text)) from error
    async with services.pool.acquire() as connection:
        view, new = await receiving.take_in(
            connection, services.scribe, services.house, data, call.bearer.name, services.clock()
        )
    return Reply(201 if new else 200, view)


async def every(services: Services, call: Call) -> Reply:
    """A page of what went out and came in."""
    asked: queries.Transfers = call.query
    after = reading.cursor(asked.cursor, transfers.Cursor)
    async with services.pool.acquire() as connection:
        lines, following = await transfers.page(connection, after, asked.limit, asked.connector)
    return Reply(200, messages.TransferList(transfers=lines, next=reading.encode_cursor(following)))


async def show(services: Services, call: Call) -> Reply:
    """One transfer."""
    async with services.pool.acquire() as connection:
        return Reply(200, await transfers.shown(connection, _transfer(call)))


async def bundle(services: Services, call: Call) -> Reply:
    """The bundle of a transfer, as it went or came."""
    transfer = _transfer(call)
    async with services.pool.acquire() as connection:
        data = await transfers.bundle_of(connection, transfer)
    headers = {"content-disposition": f'attachment; filename="transfer-{transfer}.zip"'}
    return Reply(200, data, "application/zip", headers)


async def keys(services: Services, call: Call) -> Reply:
    """The own public key, and whose bundles are taken in."""
    async with services.pool.acquire() as connection:
        return Reply(200, await transfer_keys.ring(connection, call.bearer.name, services.clock()))


async def state_sender(services: Services, call: Call) -> Reply:
    """Say whether the bundles of a key are taken in."""
    async with services.pool.acquire() as connection:
        return Reply(201, await transfer_keys.state(connection, call.body, call.bearer.name, services.clock()))


def _connector(call: Call) -> UUID:
    return handlers.identity(call.path["connector"], problems.Type.UNKNOWN_CONNECTOR)


def _transfer(call: Call) -> UUID:
    return handlers.identity(call.path["transfer"], problems.Type.UNKNOWN_TRANSFER)
