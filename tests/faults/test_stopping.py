"""The service is told to stop while many record, and started on what a killed one left behind."""

import asyncio
import os
import random
import signal
import time
from pathlib import Path

import pytest

from tests.faults import crowd
from tests.faults.conftest import Ground
from tests.faults.crowd import Crowd


@pytest.fixture(scope="module")
def at_work(ground: Ground) -> Crowd:
    """A crowd that remembers over all stops of this module."""
    asyncio.run(crowd.register(ground.service.port, ground.token))
    return Crowd(ground.token, seed=331)


@pytest.mark.parametrize("seed", range(4))
def test_a_stopped_service_finishes_what_it_took(ground: Ground, at_work: Crowd, seed: int) -> None:
    """TERM under load: everything answered is there, the exit status is 0, and the embedded server has stopped too."""
    status = asyncio.run(_stopped_under_load(ground, at_work, random.Random(seed).uniform(0.1, 0.6)))
    log = ground.service.log.read_text()
    assert status == 0, log
    assert "Traceback" not in log, log
    assert not (ground.server.cluster / "postmaster.pid").exists()
    service = ground.restart()
    asyncio.run(crowd.check(ground.owner_dsn, at_work, settled=False))
    asyncio.run(at_work.settle(service.port))
    asyncio.run(crowd.check(ground.owner_dsn, at_work, settled=True))


async def _stopped_under_load(ground: Ground, at_work: Crowd, after_s: float) -> int:
    work = asyncio.create_task(at_work.work(ground.service.port, until=lambda: False))
    await asyncio.sleep(after_s)
    stopped = await asyncio.to_thread(ground.service.stop)
    await work
    return stopped


def test_a_start_adopts_the_server_that_a_killed_service_left_running(ground: Ground, at_work: Crowd) -> None:
    """After kill -9 of the service its PostgreSQL still runs: the next start takes it over, and stops it at its end."""
    ground.service.kill()
    left = _postmaster(ground.server.cluster)
    service = ground.restart()
    assert _postmaster(ground.server.cluster) == left
    asyncio.run(_record_a_little(at_work, service.port))
    asyncio.run(crowd.check(ground.owner_dsn, at_work, settled=True))
    assert service.stop() == 0
    assert not _runs(left)
    ground.restart()


def test_a_start_recovers_after_everything_was_killed_at_once(ground: Ground, at_work: Crowd) -> None:
    """After a power cut the lock and pid files that lie around are of nobody: the next start recovers and serves."""
    asyncio.run(_record_a_little(at_work, ground.service.port))
    left = _postmaster(ground.server.cluster)
    ground.service.kill()
    os.kill(left, signal.SIGKILL)
    assert (ground.server.cluster / "postmaster.pid").exists()
    socket = Path((ground.server.cluster / "postmaster.pid").read_text().splitlines()[4])
    assert socket.is_dir()
    service = ground.restart()
    assert _postmaster(ground.server.cluster) != left
    assert not socket.exists(), "the socket directory of the killed server lies around"
    asyncio.run(at_work.settle(service.port))
    asyncio.run(crowd.check(ground.owner_dsn, at_work, settled=True))
    assert "everything is as it was recorded" in ground.command("verify")


def test_a_pid_file_that_names_another_program_is_not_believed(ground: Ground, at_work: Crowd) -> None:
    """After a reboot a pid file that was left may name another program: that one is left alone, and ours starts."""
    assert ground.service.stop() == 0
    file = ground.server.cluster / "postmaster.pid"
    directory = ground.server.cluster
    file.write_text(f"{os.getpid()}\n{directory}\n{int(time.time()) - 86_400}\n5432\n/nowhere\n\n\nready\n")
    os.chown(file, directory.stat().st_uid, directory.stat().st_gid)
    file.chmod(0o600)
    service = ground.restart()
    asyncio.run(_record_a_little(at_work, service.port))
    asyncio.run(crowd.check(ground.owner_dsn, at_work, settled=True))


async def _record_a_little(at_work: Crowd, port: int) -> None:
    before = len(at_work.acknowledged)
    await at_work.work(port, until=lambda: len(at_work.acknowledged) > before + 50)
    await at_work.settle(port)


def _postmaster(cluster: Path) -> int:
    return int((cluster / "postmaster.pid").read_text().splitlines()[0])


def _runs(pid: int) -> bool:
    try:
        # Of one that has ended but that nobody has asked about yet, only an empty command line is left.
        return Path(f"/proc/{pid}/cmdline").read_bytes() != b""
    except (FileNotFoundError, ProcessLookupError):
        return False
