"""Handing the work at contacts over to partners who speak EPCIS."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from service.core import chain
from service.core.entries import Recorded
from service.feed import epcis, events
from service.feed.events import Item
from service.store import ledger
from service.store.database import Connection
from service.workflow import feeding
from service.workflow.feeding import Wanted

_TYPES = tuple(f"{events.PREFIX}entry.{each}" for each in epcis.KINDS)


async def document(
    connection: Connection, after: int, connector: UUID | None, limit: int, now: datetime
) -> tuple[epcis.Json, int]:
    """A document of what stands in the feed after a position, and the position from which to go on."""
    page = await feeding.page(connection, after, Wanted(_TYPES, connector), limit)
    connectors = {each.connector for each in page.items if each.connector is not None}
    histories: dict[UUID | None, Sequence[Recorded]] = {
        each: [recorded for _, recorded in await ledger.history(connection, each, None)] for each in connectors
    }
    told = [
        epcis.facts(chain.decode_body(each.body).recorded, _uri(each), histories.get(each.connector, ()))
        for each in page.items
    ]
    return epcis.document([each for each in told if each is not None], now), page.position


def _uri(item: Item) -> str:
    if item.connector is None or item.serial is None:
        raise AssertionError("an entry in the ledger is a connector's")
    return epcis.connector(item.connector, item.serial, item.cage, item.part_number)
