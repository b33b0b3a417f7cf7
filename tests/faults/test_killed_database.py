"""The database is killed while many record: the service says so, and goes on by itself when the database is back."""

import asyncio
import os
import random
import shutil
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import asyncpg
import pytest

from service.store import database, embedded, migrate
from service.workflow.access import Scope
from tests.conftest import make_token
from tests.faults import crowd
from tests.faults.conftest import data_directory
from tests.faults.crowd import Crowd
from tests.faults.programs import Service, run

UNAVAILABLE = "urn:tinebook:problem:database-unavailable"
_PATIENCE_S = 30.0


class Database:
    """A server of this test's own, reached by one path whatever socket directory it makes for itself."""

    def __init__(self, data: Path) -> None:
        self._data = data
        self._path = data / "socket"
        self._sockets: list[Path] = []
        self.server = embedded.Server(data)
        self.start()
        asyncio.run(database.ensure_database(self.dsn(embedded.OWNER, "postgres"), embedded.DATABASE))
        asyncio.run(self._migrate())

    def dsn(self, user: str, name: str = embedded.DATABASE) -> str:
        """The address that holds over restarts."""
        return f"postgresql://{user}@/{name}?host={self._path}"

    def start(self) -> None:
        """Start it, again and again while what the killed one left behind is still in the way."""
        until = time.monotonic() + _PATIENCE_S
        while True:
            self.server = embedded.Server(self._data)
            try:
                self.server.start()
                break
            except embedded.EmbeddedError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.1)
        socket = Path(self.server.dsn(embedded.OWNER).partition("host=")[2])
        self._sockets.append(socket)
        self._path.unlink(missing_ok=True)
        self._path.symlink_to(socket)

    def kill_postmaster(self) -> None:
        """End the server's first process; the others end by themselves when they notice."""
        os.kill(self._postmaster(), signal.SIGKILL)
        self.server.stop()

    async def kill_a_backend(self) -> None:
        """End one process that works for the service: PostgreSQL then throws everybody out and recovers."""
        connection = await asyncpg.connect(self.dsn(embedded.OWNER))
        busy = "select pid from pg_stat_activity where application_name = 'tinebook' order by query_start desc"
        pid = await connection.fetchval(busy)
        os.kill(pid, signal.SIGKILL)
        connection.terminate()

    def close(self) -> None:
        """Stop it and tidy up."""
        self.server.stop()
        for each in self._sockets:
            shutil.rmtree(each, ignore_errors=True)

    def _postmaster(self) -> int:
        return int((self.server.cluster / "postmaster.pid").read_text().splitlines()[0])

    async def _migrate(self) -> None:
        async with database.owner(self.dsn(embedded.OWNER)) as connection:
            await migrate.migrate(connection)


class Stage:
    """A database, a service that is given its address, and a crowd that remembers over all kills."""

    def __init__(self, data: Path) -> None:
        self.database = Database(data)
        self.settings = {
            "TINEBOOK_DSN": self.database.dsn(embedded.SERVICE),
            "TINEBOOK_OWNER_DSN": self.database.dsn(embedded.OWNER),
        }
        token = asyncio.run(make_token(self.settings["TINEBOOK_OWNER_DSN"], Scope.BENCH, Scope.PLANNER))
        self.service = Service(data / "service.log", **self.settings).ready()
        self.crowd = Crowd(token, seed=204)
        asyncio.run(crowd.register(self.service.port, token))

    def close(self) -> None:
        """End both."""
        self.service.close()
        self.database.close()


@pytest.fixture(scope="module")
def stage() -> Iterator[Stage]:
    """One stage for all tests of this module."""
    with data_directory() as data:
        found = Stage(data)
        try:
            yield found
        finally:
            found.close()


@pytest.mark.parametrize("seed", range(12))
def test_the_service_outlives_a_killed_postmaster(stage: Stage, seed: int) -> None:
    """While PostgreSQL is gone answers are 503 problems; once it is back the service goes on, and nothing is lost."""
    chance = random.Random(seed)
    asyncio.run(_gone_for_a_while(stage, after_s=chance.uniform(0.02, 0.5), away_s=chance.uniform(0, 0.5)))
    asyncio.run(_recovered(stage))
    _verified(stage, seed)


@pytest.mark.parametrize("seed", range(12, 20))
def test_the_service_outlives_a_killed_backend(stage: Stage, seed: int) -> None:
    """When PostgreSQL recovers from the death of one of its processes the service goes on, and nothing is lost."""
    asyncio.run(_backend_killed(stage, after_s=random.Random(seed).uniform(0.02, 0.5)))
    asyncio.run(_recovered(stage))
    _verified(stage, seed)


async def _gone_for_a_while(stage: Stage, after_s: float, away_s: float) -> None:
    back = asyncio.Event()
    work = asyncio.create_task(stage.crowd.work(stage.service.port, until=back.is_set))
    await asyncio.sleep(after_s)
    stage.database.kill_postmaster()
    await stage.crowd.heard(UNAVAILABLE)
    await asyncio.sleep(away_s)
    assert not await asyncio.to_thread(stage.service.is_ready)
    await asyncio.to_thread(stage.database.start)
    back.set()
    await work


async def _backend_killed(stage: Stage, after_s: float) -> None:
    seen = asyncio.Event()
    work = asyncio.create_task(stage.crowd.work(stage.service.port, until=seen.is_set))
    await asyncio.sleep(after_s)
    refused = asyncio.create_task(stage.crowd.heard(UNAVAILABLE))
    await stage.database.kill_a_backend()
    await refused
    seen.set()
    await work


async def _recovered(stage: Stage) -> None:
    await stage.crowd.settle(stage.service.port)
    await asyncio.to_thread(stage.service.ready)
    await crowd.check(stage.settings["TINEBOOK_OWNER_DSN"], stage.crowd, settled=True)


def _verified(stage: Stage, seed: int) -> None:
    if seed % 5 == 4:
        done = run("tinebook", "verify", **stage.settings)
        assert done.returncode == 0, done.stdout + done.stderr
