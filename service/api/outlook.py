"""One function per operation on the outlook: what it is worked out from, and what it says."""

from typing import Any
from uuid import UUID

import msgspec

from service import problems, usage_messages
from service.api import keyed, reading
from service.api import outlook_queries as queries
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.store.database import Connection
from service.workflow import foresight, outlook, usage
from service.workflow.outlook import Filters
from service.workflow.sheets import Form
from service.workflow.usage import Recording


async def put_usage(services: Services, call: Call) -> Reply:
    """Keep rows of usage; each is read on its own."""
    return await _rows(services, call, usage.USAGE, usage.record_usage)


async def put_visits(services: Services, call: Call) -> Reply:
    """Keep rows of visits; each is read on its own."""
    return await _rows(services, call, usage.VISITS, usage.record_visits)


async def _rows(services: Services, call: Call, form: Form[Any], recording: Recording[Any]) -> Reply:
    async def work(connection: Connection) -> Reply:
        now = services.clock()
        return Reply(200, await usage.record_rows(connection, call.body.rows, form, recording, call.bearer.name, now))

    return await keyed.once(services, call, work)


async def list_usage(services: Services, call: Call) -> Reply:
    """A page of what is stated of usage."""
    asked: queries.OfAsset = call.query
    async with services.pool.acquire() as connection:
        rows, following = await usage.usage(
            connection, asked.asset, reading.cursor(asked.cursor, usage.Cursor), asked.limit
        )
    return Reply(200, usage_messages.UsageList(usage=rows, next=reading.encode_cursor(following)))


async def list_visits(services: Services, call: Call) -> Reply:
    """A page of the visits that are planned or were."""
    asked: queries.OfAsset = call.query
    async with services.pool.acquire() as connection:
        rows, following = await usage.visits(
            connection, asked.asset, reading.cursor(asked.cursor, usage.VisitCursor), asked.limit
        )
    return Reply(200, usage_messages.VisitList(visits=rows, next=reading.encode_cursor(following)))


async def report(services: Services, call: Call) -> Reply:
    """Connectors by the probability to run out."""
    asked: queries.Outlook = call.query
    async with services.pool.acquire() as connection:
        found, following = await outlook.connectors(
            connection,
            _filters(asked),
            asked.horizon_days,
            asked.band,
            asked.at_least,
            reading.cursor(asked.cursor, outlook.Cursor),
            asked.limit,
        )
    return _paged(found, following)


async def demand(services: Services, call: Call) -> Reply:
    """Demand by part number and month."""
    asked: queries.Demand = call.query
    filters = Filters(family=asked.family, part_number=asked.part_number)
    async with services.pool.acquire() as connection:
        found, following = await outlook.demand(
            connection, filters, asked.months, reading.cursor(asked.cursor, outlook.PartCursor), asked.limit
        )
    return _paged(found, following)


async def stock(services: Services, call: Call) -> Reply:
    """Shelf stock by part number."""
    asked: queries.Stock = call.query
    filters = Filters(family=asked.family, part_number=asked.part_number)
    after = reading.cursor(asked.cursor, outlook.PartCursor)
    async with services.pool.acquire() as connection:
        found, following = await outlook.stock(
            connection, filters, asked.service_level, asked.horizon_days, after, asked.limit
        )
    return _paged(found, following)


async def visits(services: Services, call: Call) -> Reply:
    """What to renew in the next visits."""
    asked: queries.Visits = call.query
    after = reading.cursor(asked.cursor, outlook.VisitCursor)
    async with services.pool.acquire() as connection:
        found, following = await outlook.visits(
            connection, _filters(asked), asked.risk, services.clock().date(), after, asked.limit
        )
    return _paged(found, following)


async def connector(services: Services, call: Call) -> Reply:
    """One connector's outlook."""
    text = call.path["connector"]
    try:
        wanted = UUID(text)
    except ValueError as error:
        raise problems.raised(problems.Type.UNKNOWN_CONNECTOR, f"{text!r} is not an id: ids are UUIDs") from error
    async with services.pool.acquire() as connection:
        return Reply(200, await foresight.connector(connection, services.house, wanted, services.clock()))


async def what_if(services: Services, call: Call) -> Reply:
    """What a modification would change."""
    async with services.pool.acquire() as connection:
        return Reply(200, await foresight.what_if(connection, call.body, services.clock()))


def _filters(asked: queries.Outlook | queries.Visits) -> Filters:
    return Filters(**{name: getattr(asked, name) for name in Filters.__struct_fields__})


def _paged(report: msgspec.Struct, following: msgspec.Struct | None) -> Reply:
    return Reply(200, msgspec.structs.replace(report, next=reading.encode_cursor(following)))
