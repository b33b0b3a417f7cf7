"""The database is killed while many record: the service says so, and both go on by themselves."""

import asyncio
import os
import random
import signal

import asyncpg
import pytest

from tests.faults import crowd
from tests.faults.conftest import Ground
from tests.faults.crowd import Crowd

UNAVAILABLE = "urn:tinebook:problem:database-unavailable"


@pytest.fixture(scope="module")
def at_work(ground: Ground) -> Crowd:
    """A crowd that remembers over all kills of this module."""
    asyncio.run(crowd.register(ground.service.port, ground.token))
    return Crowd(ground.token, seed=204)


@pytest.mark.parametrize("seed", range(10))
def test_a_killed_postmaster_is_started_again(ground: Ground, at_work: Crowd, seed: int) -> None:
    """While PostgreSQL is gone answers are 503 problems; it comes back by itself, and nothing is lost or doubled."""
    asyncio.run(_killed_under_load(ground, at_work, "postmaster", random.Random(seed).uniform(0.02, 0.3)))
    _nothing_is_lost(ground, at_work, seed)


@pytest.mark.parametrize("seed", range(10, 20))
def test_a_killed_backend_is_recovered_from(ground: Ground, at_work: Crowd, seed: int) -> None:
    """When PostgreSQL throws everybody out because one of its processes died, the service goes on, and nothing is lost."""
    asyncio.run(_killed_under_load(ground, at_work, "backend", random.Random(seed).uniform(0.02, 0.3)))
    _nothing_is_lost(ground, at_work, seed)


async def _killed_under_load(ground: Ground, at_work: Crowd, which: str, after_s: float) -> None:
    refused = asyncio.Event()
    work = asyncio.create_task(at_work.work(ground.service.port, until=refused.is_set))
    await at_work.heard()
    await asyncio.sleep(after_s)
    waiting = asyncio.create_task(at_work.heard(UNAVAILABLE))
    pid = _postmaster(ground) if which == "postmaster" else await _backend(ground)
    os.kill(pid, signal.SIGKILL)
    await waiting
    assert which == "backend" or not await asyncio.to_thread(ground.service.is_ready)
    refused.set()
    await work


def _postmaster(ground: Ground) -> int:
    return int((ground.server.cluster / "postmaster.pid").read_text().splitlines()[0])


async def _backend(ground: Ground) -> int:
    connection = await asyncpg.connect(ground.owner_dsn)
    try:
        # The one that worked last is the one that records.
        busy = "select pid from pg_stat_activity where application_name = 'tinebook' order by query_start desc"
        pid: int = await connection.fetchval(busy)
        return pid
    finally:
        await connection.close()


def _nothing_is_lost(ground: Ground, at_work: Crowd, seed: int) -> None:
    asyncio.run(at_work.settle(ground.service.port))
    ground.service.ready()
    asyncio.run(crowd.check(ground.owner_dsn, at_work, settled=True))
    if seed % 5 == 4:
        assert "everything is as it was recorded" in ground.command("verify")
