"""One function per operation on the feed and on webhooks."""

from collections.abc import Mapping
from urllib.parse import urlencode
from uuid import UUID

import msgspec

from service import feed_messages as messages
from service import problems
from service.api import feed_queries as queries
from service.api import reading
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.feed import epcis, events
from service.feed_messages import EventType
from service.workflow import feeding, handover, pseudonyms, webhooks
from service.workflow.feeding import Wanted

_ROUNDS = 2
"""How much a reader numbers by the way, so that it sees what it has just recorded; the rest is the background's."""


async def read(services: Services, call: Call) -> Reply:
    """A page of the feed, as JSON or, where the client asks for it, as a batch of CloudEvents."""
    asked: queries.Feed = call.query
    wanted = Wanted(_types(asked.types), asked.connector)
    async with services.pool.acquire() as connection:
        await feeding.number(connection, _ROUNDS)
        after = await feeding.position(connection, asked.cursor, asked.start)
        page = await feeding.page(connection, after, wanted, asked.limit)
        following = await feeding.cursor(connection, page.position)
        source = await feeding.origin(connection)
        through = await pseudonyms.veiling(connection)
    found = tuple(events.event(feeding.shown(each, through), source) for each in page.items)
    if _batch_wanted(call.accept):
        filters = {"types": asked.types, "connector": asked.connector, "limit": asked.limit, "cursor": following}
        headers = {"Link": _link("/v1/feed", filters)}
        return Reply(200, msgspec.json.encode(found), events.BATCH_MEDIA_TYPE, headers)
    return Reply(200, messages.FeedPage(events=found, next=following, more=page.more))


def _types(text: str) -> tuple[str, ...]:
    try:
        return msgspec.convert(tuple(each.strip() for each in text.split(",") if each.strip()), tuple[EventType, ...])
    except msgspec.ValidationError as error:
        detail = f"types begin with {events.PREFIX} and have commas between: {error}"
        raise problems.raised(problems.Type.INVALID_REQUEST, detail, ("?types", detail)) from error


def _batch_wanted(accept: str) -> bool:
    """Whether a client asks for a batch. One that only takes anything does not: a batch is never sent unasked."""
    return any(each.partition(";")[0].strip().lower() == events.BATCH_MEDIA_TYPE for each in accept.split(","))


def _link(path: str, filters: Mapping[str, object]) -> str:
    """Where to go on, as RFC 8288 has it, for bodies that have no place for it."""
    return f'<{path}?{urlencode({key: value for key, value in filters.items() if value})}>; rel="next"'


async def hand_over(services: Services, call: Call) -> Reply:
    """A part of the feed as an EPCIS document; where the next part begins stands in the header `Link`."""
    asked: queries.Handover = call.query
    async with services.pool.acquire() as connection:
        await feeding.number(connection, _ROUNDS)
        after = await feeding.position(connection, asked.cursor, asked.start)
        document, position = await handover.document(connection, after, asked.connector, asked.limit, services.clock())
        following = await feeding.cursor(connection, position)
    filters = {"connector": asked.connector, "limit": asked.limit, "cursor": following}
    return Reply(200, msgspec.json.encode(document), epcis.MEDIA_TYPE, {"Link": _link("/v1/epcis", filters)})


async def make(services: Services, call: Call) -> Reply:
    """Make a webhook."""
    async with services.pool.acquire() as connection:
        return Reply(201, await webhooks.make(connection, call.body, call.bearer.name, services.clock()))


async def every(services: Services, _: Call) -> Reply:
    """All webhooks."""
    async with services.pool.acquire() as connection:
        return Reply(200, await webhooks.every(connection, services.clock()))


async def show(services: Services, call: Call) -> Reply:
    """One webhook."""
    async with services.pool.acquire() as connection:
        return Reply(200, await webhooks.show(connection, _webhook(call), services.clock()))


async def change(services: Services, call: Call) -> Reply:
    """Change a webhook, pause it, let it go on, or end it."""
    async with services.pool.acquire() as connection:
        return Reply(200, await webhooks.change(connection, _webhook(call), call.body, services.clock()))


async def rotate(services: Services, call: Call) -> Reply:
    """Give a webhook a new secret."""
    async with services.pool.acquire() as connection:
        return Reply(201, await webhooks.rotate(connection, _webhook(call), call.body, services.clock()))


async def replay(services: Services, call: Call) -> Reply:
    """Tell a webhook everything from a cursor on once more."""
    async with services.pool.acquire() as connection:
        return Reply(200, await webhooks.replay(connection, _webhook(call), call.body, services.clock()))


async def test(services: Services, call: Call) -> Reply:
    """Call a webhook now, and say what came of it."""
    return Reply(200, await webhooks.test(services.pool, services.caller, _webhook(call), services.clock()))


async def log(services: Services, call: Call) -> Reply:
    """A page of a webhook's log."""
    webhook, limit = _webhook(call), call.query.limit
    before = reading.cursor(call.query.cursor, queries.LogCursor)
    async with services.pool.acquire() as connection:
        await webhooks.show(connection, webhook, services.clock())
        lines = await webhooks.log(connection, webhook, before.number if before else None, limit + 1)
    following = queries.LogCursor(lines[limit - 1].number) if len(lines) > limit else None
    return Reply(200, messages.DeliveryLog(deliveries=lines[:limit], next=reading.encode_cursor(following)))


def _webhook(call: Call) -> UUID:
    try:
        return UUID(call.path["webhook"])
    except ValueError as error:
        raise webhooks.unknown(call.path["webhook"][:200]) from error
