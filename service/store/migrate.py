"""Migrations: numbered, forward only, never edited once released, one runner at a time."""

import hashlib
from collections.abc import Callable
from importlib import resources

import asyncpg
from msgspec import Struct

from service.store.database import Connection

_LOCK = 7460000
_TABLE = """
create schema if not exists tinebook;
create table if not exists tinebook.migration (
    number integer not null,
    name text not null,
    checksum text not null,
    applied_at timestamptz not null default now(),
    constraint migration_key primary key (number)
)
"""


class Migration(Struct, frozen=True):
    """One step of the schema."""

    number: int
    name: str
    sql: str

    @property
    def checksum(self) -> str:
        """Shows an edit after release."""
        return hashlib.sha256(self.sql.encode()).hexdigest()


class MigrationError(Exception):
    """The database and this program don't fit: says which migration and what to do."""


def available() -> tuple[Migration, ...]:
    """The migrations that ship with this program, in order."""
    found = []
    for file in (resources.files("service.store") / "migrations").iterdir():
        if file.name.endswith(".sql"):
            number, name = file.name.removesuffix(".sql").split("_", 1)
            found.append(Migration(int(number), name, file.read_text(encoding="utf-8")))
    return tuple(sorted(found, key=lambda each: each.number))


async def migrate(connection: asyncpg.Connection, say: Callable[[str], None] = lambda _: None) -> int:
    """Bring the schema up to date as its owner; returns how many migrations ran. Safe to call from several programs at once."""
    await connection.execute("select pg_advisory_lock($1)", _LOCK)
    try:
        await connection.execute(_TABLE)
        pending = _pending(await _applied(connection), available())
        for migration in pending:
            say(f"migration {migration.number:04} {migration.name}")
            await _run(connection, migration)
        return len(pending)
    finally:
        await connection.execute("select pg_advisory_unlock($1)", _LOCK)


async def check(connection: Connection) -> None:
    """Raise MigrationError unless the schema is exactly what this program expects."""
    if await connection.fetchval("select to_regclass('tinebook.migration')") is None:
        raise MigrationError("the database has no Tinebook schema: run `tinebook migrate` as its owner")
    pending = _pending(await _applied(connection), available())
    if pending:
        raise MigrationError(f"migration {pending[0].number:04} is missing: run `tinebook migrate` as the owner")


async def set_service_password(connection: Connection, password: str) -> None:
    """Let the service's role log in with a password, where the server asks for one."""
    quoted = await connection.fetchval("select quote_literal($1)", password)
    await connection.execute(f"alter role tinebook_service password {quoted}")


def _pending(applied: dict[int, str], known: tuple[Migration, ...]) -> list[Migration]:
    by_number = {each.number: each for each in known}
    for number, checksum in applied.items():
        if number not in by_number:
            raise MigrationError(f"the database has migration {number:04}, this program does not: use a newer program")
        if by_number[number].checksum != checksum:
            raise MigrationError(f"migration {number:04} was edited after it ran: restore the released file")
    return [each for each in known if each.number not in applied]


async def _applied(connection: Connection) -> dict[int, str]:
    rows = await connection.fetch("select number, checksum from tinebook.migration")
    return {row["number"]: row["checksum"] for row in rows}


async def _run(connection: asyncpg.Connection, migration: Migration) -> None:
    async with connection.transaction():
        await connection.execute("set local lock_timeout = '10s'; set local statement_timeout = '15min'")
        await connection.execute(migration.sql)
        await connection.execute(
            "insert into tinebook.migration (number, name, checksum) values ($1, $2, $3)",
            migration.number,
            migration.name,
            migration.checksum,
        )
