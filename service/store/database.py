"""Connections to PostgreSQL, and where the database comes from."""

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from typing import TypeAlias

import asyncpg
from asyncpg.pool import PoolConnectionProxy

from service.store import embedded
from service.store.statements import SQL

Connection: TypeAlias = asyncpg.Connection | PoolConnectionProxy
"""A connection, pooled or not."""

# What is acknowledged is on disk, whatever the server's own default for commits.
_AS_SERVICE = {
    "role": embedded.SERVICE,
    "application_name": "tinebook",
    "timezone": "UTC",
    "synchronous_commit": "on",
}
_COMMAND_S = 60.0

UNREACHABLE = (
    OSError,
    TimeoutError,
    asyncpg.PostgresConnectionError,
    asyncpg.InterfaceError,
    asyncpg.CannotConnectNowError,
    asyncpg.AdminShutdownError,
    asyncpg.CrashShutdownError,
    asyncpg.TooManyConnectionsError,
    # What it says of a connection that the server has just put down and that is not closed yet.
    asyncpg.InternalClientError,
)
"""How asyncpg says that the database is gone, restarting or full."""


def is_away(error: Exception) -> bool:
    """Whether a failure says that the database is away, so that the same may succeed later."""
    # A value that the driver refuses is an InterfaceError too, and a ValueError.
    return isinstance(error, UNREACHABLE) and not isinstance(error, ValueError)


async def service_pool(dsn: str, size: int) -> asyncpg.Pool:
    """Connections under the service's own role, whatever login the DSN has: it can't alter the ledger."""
    return await asyncpg.create_pool(
        dsn, min_size=1, max_size=size, server_settings=_AS_SERVICE, command_timeout=_COMMAND_S
    )


async def service_connection(dsn: str, patience_s: float = _COMMAND_S) -> asyncpg.Connection:
    """One such connection, for whom a pool would only be in the way; no statement may take longer than the patience."""
    return await asyncpg.connect(dsn, server_settings=_AS_SERVICE, command_timeout=patience_s)


@asynccontextmanager
async def owner(dsn: str) -> AsyncIterator[asyncpg.Connection]:
    """A connection as the owner of the database, for migrate, tokens, verify and rebuild."""
    connection = await asyncpg.connect(dsn, server_settings={"application_name": "tinebook owner", "timezone": "UTC"})
    try:
        yield connection
    finally:
        await connection.close()


async def ensure_database(maintenance_dsn: str, name: str) -> None:
    """Make the database in an embedded server if it is not there."""
    async with owner(maintenance_dsn) as connection:
        if not await connection.fetchval("select true from pg_database where datname = $1", name):
            quoted = await connection.fetchval("select quote_ident($1)", name)
            await connection.execute(f"create database {quoted}")


@asynccontextmanager
async def report(connection: Connection) -> AsyncIterator[None]:
    """One snapshot for what a report reads, and a plan for just the filters that are set.

    A plan for any filters, which the server may otherwise come to keep, would read the whole table for some of them.
    """
    async with connection.transaction(readonly=True):
        await connection.execute("set local plan_cache_mode = force_custom_plan")
        yield


async def fetch(connection: Connection, statement: str, *arguments: object) -> list[asyncpg.Record]:
    """The rows of a named statement."""
    rows: list[asyncpg.Record] = await connection.fetch(SQL[statement], *arguments)
    return rows


async def fetch_one(connection: Connection, statement: str, *arguments: object) -> asyncpg.Record | None:
    """The one row of a named statement, if there is one."""
    return await connection.fetchrow(SQL[statement], *arguments)


async def run(connection: Connection, statement: str, *arguments: object) -> None:
    """Run a named statement for its effect."""
    await connection.execute(SQL[statement], *arguments)


_WORTH_COPYING = 1_000
"""Rows from which on COPY is quicker than INSERT, by half: both sides handle a row in less time, but it begins slowly."""


async def append(
    connection: Connection, statement: str, table: str, columns: tuple[str, ...], rows: Sequence[tuple[object, ...]]
) -> None:
    """Append rows to a table: few by a named statement that takes these columns as arrays, many by COPY."""
    if len(rows) >= _WORTH_COPYING:
        await connection.copy_records_to_table(table, schema_name="tinebook", columns=columns, records=rows)
    elif rows:
        await run(connection, statement, *(list(each) for each in zip(*rows, strict=True)))
