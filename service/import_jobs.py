"""What a process of `tinebook import` does with its share of a file: check it, or record what was checked."""

import gc
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import asyncpg
from msgspec import Struct

from service import app, catalog
from service.core.entries import HouseRule
from service.store import database
from service.workflow import entry_tables, importing, sheets, shop
from service.workflow.enrolling import Enrolled, Enroller
from service.workflow.importing import BadLine, Tally
from service.workflow.recording import Scribe
from service.workflow.reference import Reference
from service.workflow.shares import Share
from service.workflow.sheets import Checked, Flaw

Tell = Callable[[int], None]


class Order(Struct, frozen=True):
    """What is imported, how and for whom. `form` names the table's, empty for NDJSON; checked entries go into `aside`."""

    dsn: str
    house: HouseRule
    file: Path
    by: str
    form: str = ""
    aside: Path = Path()


async def check_lines(order: Order, share: Share, tell: Tell) -> list[BadLine]:
    """The lines of NDJSON that can't be read; the others are put aside."""
    with _aside(order, share).open("wb") as aside:
        return importing.check(order.file, share, aside, tell)


async def check_entries(order: Order, share: Share, tell: Tell) -> Checked:
    """A table of entries, held against the books; those that can be read are put aside."""
    gc.disable()
    rows = sheets.read(order.file, entry_tables.FORMS[order.form], share)
    async with connected(order.dsn) as connection:
        scribe = Scribe(order.house, Reference(catalog.load()))
        with _aside(order, share).open("wb") as aside:
            return await entry_tables.check(connection, scribe, rows, aside, tell)


def _aside(order: Order, share: Share) -> Path:
    return order.aside / str(share.number)


async def record_entries(order: Order, share: Share, tell: Tell) -> tuple[Tally, list[BadLine]]:
    """Entries that were checked: what became of them, and those that were refused."""
    # A million entries at once are much to search for cycles that they can't have: it took a quarter of the time.
    gc.disable()
    pool = await database.service_pool(order.dsn, importing.AT_ONCE)
    try:
        reference = Reference(catalog.load())
        async with pool.acquire() as connection:
            reference.go_by(await shop.book(connection))
        lines = importing.lines(_aside(order, share))
        scribe = Scribe(order.house, reference)
        window = importing.WINDOW // share.of
        return await importing.record(pool, scribe, lines, order.by, app.now, lambda tally: tell(tally.done), window)
    finally:
        await pool.close()


async def check_connectors(order: Order, share: Share, tell: Tell) -> Checked:
    """A table of connectors, held against the books."""
    gc.disable()
    async with connected(order.dsn) as connection:
        return await _enroller(order, connection).check(order.file, share, tell)


async def register_connectors(order: Order, share: Share, tell: Tell) -> tuple[Enrolled, list[Flaw]]:
    """Connectors that were checked: what became of them, and what is wrong with some by now."""
    gc.disable()
    async with connected(order.dsn) as connection:
        return await _enroller(order, connection).run(order.file, share, order.house, order.by, app.now, tell)


def _enroller(order: Order, connection: asyncpg.Connection) -> Enroller:
    reference = Reference(catalog.load())
    return Enroller(connection, Scribe(order.house, reference), reference)


@asynccontextmanager
async def connected(dsn: str) -> AsyncIterator[asyncpg.Connection]:
    """A connection for one job."""
    connection = await database.service_connection(dsn)
    try:
        yield connection
    finally:
        await connection.close()
