"""One function per operation on the fleet's reports."""

from typing import Any, TypeVar

from msgspec import Struct, structs

from service import fleet_messages as messages
from service import problems
from service.api import fleet_queries as queries
from service.api import handlers, reading
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.messages import Written
from service.workflow import benches, discrepancies, fleet, merging

T = TypeVar("T", bound=Struct)


def _filters(asked: Any, wanted: type[T]) -> T:
    """The filters of a query, as the workflow takes them."""
    return wanted(**{each: getattr(asked, each) for each in wanted.__struct_fields__ if hasattr(asked, each)})


async def cycle_limits(services: Services, call: Call) -> Reply:
    """The fleet's list, of connectors or of cavities, as it is or as it was."""
    asked: queries.CycleLimits = call.query
    listed = _of_connectors if asked.of == "connectors" else _of_cavities
    return Reply(200, await listed(services, asked))


async def _of_connectors(services: Services, asked: queries.CycleLimits) -> messages.CycleLimitReport:
    filters, following = _filters(asked, fleet.Filters), None
    async with services.pool.acquire() as connection:
        if asked.as_of is None:
            after = reading.cursor(asked.cursor, fleet.Cursor)
            lines, following = await fleet.connectors(connection, filters, after, asked.limit)
        else:
            then = reading.cursor(asked.cursor, fleet.PastCursor)
            lines, following = await fleet.past_connectors(  # type: ignore[assignment]
                connection, services.house, filters, asked.as_of, then, asked.limit
            )
    return messages.CycleLimitReport(
        of=asked.of, as_of=asked.as_of, connectors=lines, next=reading.encode_cursor(following)
    )


async def _of_cavities(services: Services, asked: queries.CycleLimits) -> messages.CycleLimitReport:
    filters, known = _filters(asked, fleet.Filters), services.scribe.definitions
    following: Struct | None
    async with services.pool.acquire() as connection:
        if asked.as_of is None:
            after = reading.cursor(asked.cursor, fleet.CavityCursor)
            lines, following = await fleet.cavities(connection, known, services.house, filters, after, asked.limit)
        else:
            then = reading.cursor(asked.cursor, fleet.PastCursor)
            lines, following = await fleet.past_cavities(
                connection, services.house, filters, asked.as_of, then, asked.limit
            )
    return messages.CycleLimitReport(
        of=asked.of, as_of=asked.as_of, cavities=lines, next=reading.encode_cursor(following)
    )


async def wear(services: Services, call: Call) -> Reply:
    """Wear counted together."""
    asked: queries.WearBy = call.query
    after = reading.cursor(asked.cursor, fleet.WearCursor)
    async with services.pool.acquire() as connection:
        report, following = await fleet.wear(connection, asked.by, _filters(asked, fleet.Filters), after, asked.limit)
    return Reply(200, structs.replace(report, next=reading.encode_cursor(following)))


async def cycles(services: Services, call: Call) -> Reply:
    """How cycles are spread over the fleet's retainers."""
    asked: queries.Cycles = call.query
    async with services.pool.acquire() as connection:
        return Reply(200, await fleet.cycles(connection, asked.family))


async def list_discrepancies(services: Services, call: Call) -> Reply:
    """What is open, the most serious first."""
    asked: queries.Discrepancies = call.query
    after = reading.cursor(asked.cursor, discrepancies.Cursor)
    async with services.pool.acquire() as connection:
        report, following = await discrepancies.open_ones(
            connection, _filters(asked, discrepancies.Filters), after, asked.limit, services.clock()
        )
    return Reply(200, structs.replace(report, next=reading.encode_cursor(following)))


async def propose_merge(services: Services, call: Call) -> Reply:
    """What to record so that the facts of a double count for the other connector."""
    asked: queries.Merge = call.query
    doubled = handlers.identity(call.path["connector"], problems.Type.UNKNOWN_CONNECTOR)
    merge = merging.Merge(doubled, asked.into, asked.by, asked.reason, services.clock())
    after = reading.cursor(asked.cursor, merging.Cursor)
    async with services.pool.acquire() as connection:
        proposal, following = await merging.propose(connection, services.scribe.definitions, merge, after, asked.limit)
    return Reply(200, structs.replace(proposal, next=reading.encode_cursor(following)))


async def put_bench(services: Services, call: Call) -> Reply:
    """Say to which shop a bench belongs."""
    name = handlers.key(call.path["bench"])
    asked: messages.BenchPut = call.body
    async with services.pool.acquire() as connection:
        await benches.put(connection, name, asked.shop)
    return Reply(200, Written(key=name))


async def list_benches(services: Services, call: Call) -> Reply:
    """The benches of which the shop is known."""
    after = reading.cursor(call.query.cursor, benches.Cursor)
    async with services.pool.acquire() as connection:
        found, following = await benches.page(connection, after, call.query.limit)
    return Reply(200, messages.BenchList(benches=found, next=reading.encode_cursor(following)))
