"""The embedded server: starts, stops, is durable, and says clearly what does not fit."""

import os
import signal
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.store import database, embedded
from tests.conftest import run


@pytest.fixture
def folder() -> Iterator[Path]:
    """A data directory with a space and an accent in its path, and long enough to be no socket path."""
    with tempfile.TemporaryDirectory(prefix="tinebook test é ") as made:
        yield Path(made) / ("deep " * 12).strip() / "data"


async def ask(dsn: str, question: str) -> object:
    """One value from the database."""
    async with database.owner(dsn) as connection:
        answer: object = await connection.fetchval(question)
        return answer


def test_what_was_committed_is_there_after_a_restart(folder: Path) -> None:
    """The server keeps what was committed, flushes it to disk, and listens on a private socket only."""
    server = embedded.Server(folder)
    server.start()
    try:
        dsn = server.dsn(embedded.OWNER, "postgres")
        run(ask(dsn, "create table kept as select 17 as value"))
        assert run(ask(dsn, "show fsync")) == "on"
        assert run(ask(dsn, "show synchronous_commit")) == "on"
        assert run(ask(dsn, "show data_checksums")) == "on"
        assert run(ask(dsn, "show listen_addresses")) == ""
        socket = Path(str(run(ask(dsn, "show unix_socket_directories"))))
        assert socket.stat().st_mode & 0o077 == 0
    finally:
        server.stop()
    assert not socket.exists()
    with pytest.raises(embedded.EmbeddedError, match="tinebook serve"):
        server.dsn(embedded.OWNER)
    again = embedded.Server(folder)
    again.start()
    try:
        assert run(ask(again.dsn(embedded.OWNER, "postgres"), "select value from kept")) == 17
    finally:
        again.stop()


def test_a_second_program_uses_the_first_ones_server(folder: Path) -> None:
    """Another program on the same directory attaches to the running server and leaves it running."""
    first, second = embedded.Server(folder), embedded.Server(folder)
    first.start()
    try:
        second.start()
        assert (first.owned, second.owned) == (True, False)
        second.stop()
        assert run(ask(second.dsn(embedded.OWNER, "postgres"), "select 1")) == 1
    finally:
        first.stop()


def test_a_killed_server_recovers(folder: Path) -> None:
    """After a kill -9 the stale pid file is no obstacle, and what was committed is there."""
    server = embedded.Server(folder)
    server.start()
    run(ask(server.dsn(embedded.OWNER, "postgres"), "create table kept as select 5 as value"))
    pid = int((server.cluster / "postmaster.pid").read_text().splitlines()[0])
    os.kill(pid, signal.SIGKILL)
    server.stop()
    time.sleep(0.5)
    again = embedded.Server(folder)
    again.start()
    try:
        assert run(ask(again.dsn(embedded.OWNER, "postgres"), "select value from kept")) == 5
    finally:
        again.stop()


def test_a_start_that_was_cut_off_is_begun_anew(folder: Path) -> None:
    """A data directory whose making was interrupted is made again."""
    server = embedded.Server(folder)
    server.cluster.mkdir(parents=True)
    (server.data / "initialising").touch()
    (server.cluster / "PG_VERSION").write_text("18\n")
    (server.cluster / "base").mkdir()
    server.start()
    try:
        assert run(ask(server.dsn(embedded.OWNER, "postgres"), "select 1")) == 1
    finally:
        server.stop()


def test_what_does_not_fit_is_said(folder: Path) -> None:
    """Another version's data, somebody else's folder and a file in the way are refused with what to do, and left as they are."""
    server = embedded.Server(folder)
    server.cluster.mkdir(parents=True)
    (server.cluster / "PG_VERSION").write_text("15\n")
    with pytest.raises(embedded.EmbeddedError, match=r"PostgreSQL 15, this program carries 18.*pg_dump"):
        server.start()
    (server.cluster / "PG_VERSION").unlink()
    (server.cluster / "letters.txt").write_text("dear")
    with pytest.raises(embedded.EmbeddedError, match="choose another --data"):
        embedded.Server(folder).start()
    assert (server.cluster / "letters.txt").read_text() == "dear"
    with pytest.raises(embedded.EmbeddedError, match="can't be used"):
        embedded.Server(server.cluster / "letters.txt").start()
