"""One function per operation on what another system keeps in step here."""

from typing import Any

from service import inbound_messages as messages
from service.api import handlers, keyed, reading
from service.api import inbound_queries as queries
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.store.database import Connection
from service.workflow import inbound, inbound_orders, pseudonyms
from service.workflow.inbound import Upsert


async def put_assets(services: Services, call: Call) -> Reply:
    """Keep what is said of assets."""
    return await _upsert(services, call, inbound.ASSETS)


async def put_positions(services: Services, call: Call) -> Reply:
    """Keep what is said of what belongs where."""
    return await _upsert(services, call, inbound.POSITIONS)


async def put_tools(services: Services, call: Call) -> Reply:
    """Keep what is said of the shop's tools."""
    done = await _upsert(services, call, inbound.TOOLS)
    services.reference.forget()
    return done


async def put_people(services: Services, call: Call) -> Reply:
    """Keep what is said of people."""
    done = await _upsert(services, call, inbound_orders.PEOPLE)
    services.reference.forget()
    return done


async def put_work_orders(services: Services, call: Call) -> Reply:
    """Keep what is said of work orders."""
    return await _upsert(services, call, inbound_orders.WORK_ORDERS)


async def depart(services: Services, call: Call) -> Reply:
    """Let a pseudonym stand for somebody who left."""
    badge = handlers.key(call.path["badge"])
    async with services.pool.acquire() as connection:
        done = await pseudonyms.depart(connection, badge, call.body, call.bearer.name, services.clock())
    services.veil.forget()
    return Reply(200, done)


async def _upsert(services: Services, call: Call, kind: Upsert[Any]) -> Reply:
    async def work(connection: Connection) -> Reply:
        now = services.clock()
        return Reply(200, await inbound.upsert(connection, call.body.rows, kind, call.bearer, now))

    return await keyed.once(services, call, work)


async def list_assets(services: Services, call: Call) -> Reply:
    """A page of what is stated of assets."""
    asked: queries.Assets = call.query
    after = reading.cursor(asked.cursor, inbound.AssetCursor)
    async with services.pool.acquire() as connection:
        rows, following = await inbound.assets(connection, asked.type, after, asked.limit)
    return Reply(200, messages.AssetList(assets=rows, next=reading.encode_cursor(following)))


async def list_positions(services: Services, call: Call) -> Reply:
    """A page of positions, with what belongs there and what is there."""
    asked: queries.Positions = call.query
    after = reading.cursor(asked.cursor, inbound.PositionCursor)
    async with services.pool.acquire() as connection:
        rows, following = await inbound.positions(connection, asked.asset, asked.zone, after, asked.limit)
    return Reply(200, messages.PositionList(positions=rows, next=reading.encode_cursor(following)))
