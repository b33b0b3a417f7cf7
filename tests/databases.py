"""A PostgreSQL for the tests: a DSN if given, else a container if an engine answers, else the embedded server."""

import asyncio
import os
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

from service.store import database, embedded, migrate


@contextmanager
def cluster(*, durable: bool = False) -> Iterator[str]:
    """The DSN of a server's maintenance database, as somebody who may create databases. Benchmarks want it `durable`."""
    given = os.environ.get("TINEBOOK_TEST_DSN")
    if given:
        yield given
        return
    if _engine_answers():
        from testcontainers.postgres import PostgresContainer  # noqa: PLC0415 - slow, and seldom there

        with PostgresContainer("postgres:18", driver=None) as container:
            yield container.get_connection_url()
        return
    with tempfile.TemporaryDirectory(prefix="tinebook-test-") as directory:
        Path(directory).chmod(0o755)
        server = embedded.Server(Path(directory))
        server.start()
        try:
            dsn = server.dsn(embedded.OWNER, "postgres")
            if not durable:
                asyncio.run(_forgetful(dsn))
            yield dsn
        finally:
            server.stop()


async def _forgetful(maintenance: str) -> None:
    """What the tests record need not outlive this machine. Those that pull plugs have servers of their own."""
    async with database.owner(maintenance) as connection:
        await connection.execute("alter system set fsync = off")
        await connection.execute("select pg_reload_conf()")


def _engine_answers() -> bool:
    if not Path("/var/run/docker.sock").exists() and "DOCKER_HOST" not in os.environ:
        return False
    try:
        import docker  # noqa: PLC0415 - comes with testcontainers

        client = docker.from_env(timeout=2)
        client.ping()
    except Exception:  # noqa: BLE001 - whatever it is, there is no engine for us
        return False
    return True


def named(dsn: str, name: str) -> str:
    """The same server, another database."""
    parts = urlsplit(dsn)
    return urlunsplit(parts._replace(path=f"/{name}"))


async def make_template(maintenance: str) -> str:
    """A migrated database that tests clone; returns its name."""
    name = f"tinebook_template_{uuid.uuid4().hex[:8]}"
    await database.ensure_database(maintenance, name)
    async with database.owner(named(maintenance, name)) as connection:
        await migrate.migrate(connection)
    return name


async def clone(maintenance: str, template: str) -> str:
    """A database of its own for one test; returns its DSN."""
    name = f"tinebook_test_{uuid.uuid4().hex[:8]}"
    async with database.owner(maintenance) as connection:
        await connection.execute(f'create database "{name}" template "{template}" strategy file_copy')
    return named(maintenance, name)


async def drop(maintenance: str, dsn: str) -> None:
    """Throw a test's database away."""
    async with database.owner(maintenance) as connection:
        await connection.execute(f'drop database if exists "{urlsplit(dsn).path[1:]}" with (force)')
