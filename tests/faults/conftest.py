"""What the fault tests share: a data directory with a served ledger in it, on which one kill follows the other."""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from service.store import embedded
from tests.faults.programs import Service, run


class Ground:
    """A data directory, the service that runs on it, and a token that opens it."""

    def __init__(self, data: Path) -> None:
        self.data = data
        self.service = Service(data / "service.log", "--data", str(data)).ready()
        self.token = self.command("token", "make", "crowd", "--scope", "admin").strip()

    @property
    def server(self) -> embedded.Server:
        """The embedded server, to look at."""
        return embedded.Server(self.data)

    @property
    def owner_dsn(self) -> str:
        """The ledger's database as its owner."""
        return self.server.dsn(embedded.OWNER)

    def restart(self) -> Service:
        """Start the service anew on the same data."""
        self.service = Service(self.data / "service.log", "--data", str(self.data)).ready()
        return self.service

    def command(self, *arguments: str) -> str:
        """What one of our commands prints; it must succeed."""
        done = run("tinebook", "--data", str(self.data), *arguments)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def close(self) -> None:
        """Stop whatever still runs, and show what it said to whoever reads a failure."""
        sys.stdout.write(self.service.log.read_text())
        self.service.close()
        server = self.server
        server.start()
        server.stop()


@contextmanager
def data_directory() -> Iterator[Path]:
    """A directory that the account of an embedded server can reach."""
    with tempfile.TemporaryDirectory(prefix="tinebook-fault-") as directory:
        Path(directory).chmod(0o755)
        yield Path(directory)


@pytest.fixture(scope="module")
def ground() -> Iterator[Ground]:
    """One data directory for all tests of a module: each goes on where the last one left it."""
    with data_directory() as data:
        found = Ground(data)
        try:
            yield found
        finally:
            found.close()


@pytest.fixture(autouse=True)
def _served(request: pytest.FixtureRequest) -> None:
    """A test that failed between a kill and the restart does not take the next one with it."""
    if "ground" in request.fixturenames:
        found: Ground = request.getfixturevalue("ground")
        if found.service.process.poll() is not None:
            found.restart()
