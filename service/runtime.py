"""Where a command finds its database: the one that the settings name, or an embedded server of its own."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager

from msgspec import Struct

from service.settings import Settings
from service.store import database, embedded, migrate


class Databases(Struct, frozen=True):
    """How to reach the database as the service and as its owner."""

    service_dsn: str
    owner_dsn: str


@contextmanager
def databases(config: Settings) -> Iterator[Databases]:
    """The database for a command; an embedded server that this command had to start is stopped afterwards."""
    if config.dsn is not None:
        yield Databases(config.dsn, config.owner_dsn or config.dsn)
        return
    server = embedded.Server(config.data)
    server.start()
    try:
        asyncio.run(database.ensure_database(server.dsn(embedded.OWNER, "postgres"), embedded.DATABASE))
        yield Databases(server.dsn(embedded.SERVICE), server.dsn(embedded.OWNER))
    finally:
        server.stop()


def bring_up_to_date(found: Databases) -> int:
    """Run the migrations that are missing; returns how many ran."""

    async def run() -> int:
        async with database.owner(found.owner_dsn) as connection:
            return await migrate.migrate(connection)

    return asyncio.run(run())
