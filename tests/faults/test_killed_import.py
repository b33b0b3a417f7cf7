"""An import is killed and run again, and runs beside a service that records on the same connectors."""

import asyncio
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import asyncpg
import msgspec
import pytest

from service.store import database
from tests.bench import fleet
from tests.faults.conftest import Ground
from tests.faults.programs import environment, run

CONNECTORS = 150
ENTRIES = 6_000


@pytest.fixture(scope="module", autouse=True)
def _registered(ground: Ground) -> None:
    """The connectors of the files are on the books."""

    async def register() -> None:
        async with database.owner(ground.owner_dsn) as connection:
            await fleet.register(connection, CONNECTORS)

    asyncio.run(register())
    # They were put there beside the service: the sums of the reports do not know them yet.
    ground.command("rebuild")


@pytest.mark.parametrize("seed", range(2))
def test_a_killed_import_goes_on_where_it_was(ground: Ground, seed: int) -> None:
    """However often an import is killed, run to its end it has recorded each entry of the file once."""
    file = ground.data / f"history-{seed}.ndjson"
    fleet.write_history(file, ENTRIES, CONNECTORS, seed)
    before = asyncio.run(_counted(ground))
    chance = random.Random(seed)
    for _ in range(3):
        with _importing(ground, file) as process:
            time.sleep(chance.uniform(0.8, 2.0))
            process.send_signal(signal.SIGKILL)
    there = asyncio.run(_counted(ground)) - before
    assert there <= ENTRIES
    told = ground.command("import", "entries", str(file))
    # Every transaction of the killed ones is found again as a whole.
    assert told.startswith(f"{ENTRIES - there} recorded, {there} already recorded, 0 parked, 0 refused")
    assert asyncio.run(_counted(ground)) == before + ENTRIES
    assert "everything is as it was recorded" in ground.command("verify")


def test_two_imports_of_one_file_at_once_record_it_once(ground: Ground) -> None:
    """Two that import the same at the same time get in each other's way, and between them record each entry once."""
    file = ground.data / "twice.ndjson"
    fleet.write_history(file, ENTRIES, CONNECTORS, seed=2)
    before = asyncio.run(_counted(ground))
    both = [_importing(ground, file) for _ in range(2)]
    told = [each.communicate()[0] for each in both]
    assert [each.returncode for each in both] == [0, 0]
    assert sum(int(each.split()[0]) for each in told) == ENTRIES
    assert asyncio.run(_counted(ground)) == before + ENTRIES
    assert "everything is as it was recorded" in ground.command("verify")


def test_a_line_that_can_not_be_read_stops_the_import_before_it_begins(ground: Ground, tmp_path: Path) -> None:
    """A file is taken whole or not at all: a bad line is named, and nothing of the others is recorded."""
    file = tmp_path / "bad.ndjson"
    fleet.write_history(file, 10, CONNECTORS, seed=3)
    lines = file.read_bytes().splitlines()
    lines[4] = msgspec.json.encode(msgspec.json.decode(lines[4]) | {"kind": "insertoin"})
    file.write_bytes(b"\n".join(lines))
    before = asyncio.run(_counted(ground))
    done = run("tinebook", "--data", str(ground.data), "import", "entries", str(file))
    assert done.returncode != 0
    assert f"{file}:5:" in done.stderr
    assert asyncio.run(_counted(ground)) == before


def _importing(ground: Ground, file: Path) -> "subprocess.Popen[str]":
    command = [
        str(Path(sys.executable).parent / "tinebook"),
        "--data",
        str(ground.data),
        "import",
        "entries",
        str(file),
    ]
    # A killed import leaves what it had checked where temporary files are: here with the rest of the test.
    return subprocess.Popen(command, env=environment(TMPDIR=str(ground.data)), stdout=subprocess.PIPE, text=True)


async def _counted(ground: Ground) -> int:
    connection = await asyncpg.connect(ground.owner_dsn)
    try:
        found: int = await connection.fetchval("select count(*) from tinebook.entry")
        return found
    finally:
        await connection.close()
