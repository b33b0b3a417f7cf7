"""The operation on signals."""

from msgspec import structs

from service.api import reading
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.api.signal_queries import Signals
from service.workflow import signals


async def report(services: Services, call: Call) -> Reply:
    """The answer to one question. About people only for an administrator."""
    asked: Signals = call.query
    signals.admit(asked.about, call.bearer)
    after = reading.cursor(asked.cursor, signals.Cursor)
    filters = signals.Filters(**{each: getattr(asked, each) for each in signals.Filters.__struct_fields__})
    async with services.pool.acquire() as connection:
        found, following = await signals.report(connection, asked.about, filters, services.clock(), after, asked.limit)
    return Reply(200, structs.replace(found, next=reading.encode_cursor(following)))
