"""The service is killed while many record: nothing that it acknowledged is lost, nothing is doubled."""

import asyncio
import random

import pytest

from tests.faults import crowd
from tests.faults.conftest import Ground
from tests.faults.crowd import Crowd


@pytest.fixture(scope="module")
def at_work(ground: Ground) -> Crowd:
    """A crowd that remembers over all kills of this module."""
    asyncio.run(crowd.register(ground.service.port, ground.token))
    return Crowd(ground.token, seed=117)


@pytest.mark.parametrize("seed", range(20))
def test_a_killed_service_loses_and_doubles_nothing(ground: Ground, at_work: Crowd, seed: int) -> None:
    """After kill -9 under load and a restart on the same data, everything acknowledged is there, once, and verifies."""
    asyncio.run(_killed_under_load(ground, at_work, random.Random(seed).uniform(0.05, 0.3)))
    asyncio.run(crowd.check(ground.owner_dsn, at_work, settled=False))
    service = ground.restart()
    asyncio.run(at_work.settle(service.port))
    asyncio.run(crowd.check(ground.owner_dsn, at_work, settled=True))
    if seed % 5 == 4:
        assert "everything is as it was recorded" in ground.command("verify")


async def _killed_under_load(ground: Ground, at_work: Crowd, after_s: float) -> None:
    work = asyncio.create_task(at_work.work(ground.service.port, until=lambda: False))
    # The time runs from the first answer: a kill before that would test nothing.
    await at_work.heard()
    await asyncio.sleep(after_s)
    assert not work.done()
    ground.service.kill()
    await work
