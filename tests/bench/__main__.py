"""`python -m tests.bench` prints how the service compares with the parts that it is made of. Only the ratios mean something.

Every figure is the median of rounds that are interleaved with those of its yardstick, on one embedded server.
"""

import argparse
import asyncio
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import asyncpg
import msgspec
from msgspec import Struct

from service.store import database, embedded, migrate
from service.workflow.access import Scope
from tests.bench import fleet, yardstick
from tests.bench.load import Done, Order
from tests.conftest import make_token
from tests.faults.programs import Service, environment, free_port, run

Measure = Callable[[], float]


class Comparison(Struct, frozen=True):
    """What is compared: the service's measure, its yardstick's, and the ratio that is wanted."""

    name: str
    unit: str
    ours: Measure
    yardstick: Measure
    goal: float | None


class Bench:
    """Server, service and yardsticks, up for the time of a run."""

    def __init__(self, told: argparse.Namespace, directory: Path) -> None:
        self.told = told
        self.directory = directory
        self.server = embedded.Server(directory)
        self.server.start()
        asyncio.run(database.ensure_database(self.server.dsn(embedded.OWNER, "postgres"), embedded.DATABASE))
        self.dsn = self.server.dsn(embedded.OWNER)
        asyncio.run(self._prepare())
        self.settings = {"TINEBOOK_DSN": self.server.dsn(embedded.SERVICE), "TINEBOOK_OWNER_DSN": self.dsn}
        self.token = asyncio.run(make_token(self.dsn, Scope.BENCH))
        self.history = directory / "history.ndjson"
        self.history_bytes = fleet.write_history(self.history, told.entries, told.connectors, seed=1)
        self._turn = 0

    async def _prepare(self) -> None:
        async with database.owner(self.dsn) as connection:
            await migrate.migrate(connection)
            await fleet.register(connection, self.told.connectors)
            await connection.execute("analyze")

    def import_history(self) -> float:
        """Seconds that `tinebook import` takes."""
        began = time.perf_counter()
        done = run("tinebook", "import", "entries", str(self.history), patience_s=3600, **self.settings)
        assert done.returncode == 0, done.stderr
        return time.perf_counter() - began

    def compared(self) -> list[Comparison]:
        """Start what is compared, and say how."""
        self.service = Service(self.directory / "service.log", **self.settings).ready()
        self.empty_port = free_port()
        self.empty = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.empty", str(self.empty_port)], env=environment()
        )
        body = asyncio.run(self._typical_body())
        bench = yardstick.PgBench(self.dsn, body, self.directory)
        seconds, connectors = self.told.seconds, self.told.connectors
        return [
            Comparison(
                "look-up of 40 cavities, 32 connections / empty ASGI reply",
                "1/s",
                lambda: self.load("look-up", 32).per_second,
                lambda: self.load("empty", 32).per_second,
                0.3,
            ),
            Comparison(
                "single entries, 32 connections / pgbench, 32 clients",
                "entries/s",
                lambda: self.load("entry", 32).per_second,
                lambda: bench.entries(connectors=connectors, clients=32, seconds=seconds),
                0.8,
            ),
            Comparison(
                "50 entries on one connector, 8 connections / pgbench, 8 clients",
                "entries/s",
                lambda: self.load("entry", 8, batch=50).per_second * 50,
                lambda: bench.entries(connectors=connectors, clients=8, seconds=seconds, batch=50),
                None,
            ),
            Comparison(
                "one hot connector, 40 connections / pgbench, 16 clients",
                "entries/s",
                lambda: self.load("entry", 40, connectors=1).per_second,
                lambda: bench.entries(connectors=1, clients=16, seconds=seconds),
                2.5,
            ),
        ]

    async def _typical_body(self) -> str:
        """An entry's body of the usual size, and the tables of the yardstick filled like the real ones."""
        connection = await asyncpg.connect(self.dsn)
        try:
            await connection.execute(yardstick.SCHEMA)
            size: int = await connection.fetchval("select avg(octet_length(body))::integer from tinebook.entry")
            return "x" * size
        finally:
            await connection.close()

    def load(self, kind: str, connections: int, batch: int = 1, connectors: int | None = None) -> Done:
        """What a load process gets out of the service, or of the empty application."""
        self._turn += 1
        order = {
            "kind": kind,
            "port": self.empty_port if kind == "empty" else self.service.port,
            "token": self.token,
            "connectors": connectors or self.told.connectors,
            "connections": connections,
            "seconds": self.told.seconds,
            "batch": batch,
            "seed": self._turn,
        }
        asked = msgspec.json.encode(msgspec.convert(order, Order))
        command = [sys.executable, "-m", "tests.bench.load"]
        done = subprocess.run(command, input=asked, env=environment(), capture_output=True, check=False)
        assert done.returncode == 0, done.stderr.decode()[-1000:]
        reply = msgspec.json.decode(done.stdout, type=Done)
        if self.told.latency:
            sys.stdout.write(f"  {kind}, {connections}: p50 {reply.p50_ms:.1f} ms, p99 {reply.p99_ms:.1f} ms\n")
        return reply

    def close(self) -> None:
        """Stop everything."""
        self.service.stop()
        self.empty.terminate()
        self.empty.wait()
        self.server.stop()


def _measured(comparison: Comparison, rounds: int) -> str:
    ours, theirs = [], []
    for _ in range(rounds):
        theirs.append(comparison.yardstick())
        ours.append(comparison.ours())
    return _row(comparison.name, comparison.unit, ours, theirs, comparison.goal, slower=False)


def _row(
    name: str, unit: str, ours: Sequence[float], theirs: Sequence[float], goal: float | None, *, slower: bool
) -> str:
    ratio = statistics.median(ours) / statistics.median(theirs)
    met = "" if goal is None else ("met" if (ratio <= goal if slower else ratio >= goal) else "MISSED")
    wanted = "" if goal is None else f"{'<=' if slower else '>='} {goal:g}"
    return f"{name:<64} {_spread(ours):>24} {_spread(theirs):>24} {unit:<10} {ratio:6.2f}  {wanted:<7} {met}"


def _spread(figures: Sequence[float]) -> str:
    digits = 1 if max(figures) < 1000 else 0
    return f"{statistics.median(figures):,.{digits}f} [{min(figures):,.{digits}f}-{max(figures):,.{digits}f}]"


def main() -> None:
    """Run what was asked for, and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=3.0, help="of each measurement")
    parser.add_argument("--connectors", type=int, default=25_000)
    parser.add_argument("--entries", type=int, default=1_000_000, help="to import; the rest runs on top of them")
    parser.add_argument("--only", default="", help="comparisons whose name holds this")
    parser.add_argument("--latency", action="store_true", help="print how long answers took as well")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="tinebook-bench-") as name:
        directory = Path(name)
        directory.chmod(0o755)
        bench = Bench(told, directory)
        sys.stdout.write(
            f"{told.connectors:,} connectors of {len(fleet.CAVITIES)} cavities, {told.entries:,} entries"
            f" ({bench.history_bytes / 1e6:.0f} MB) imported first; {told.rounds} rounds of {told.seconds:g} s\n"
        )
        sys.stdout.write(f"{'':<64} {'service median [spread]':>24} {'yardstick':>24} {'':<10} {'ratio':>6}  goal\n")
        copied = [yardstick.copy(bench.dsn, bench.history) for _ in range(told.rounds)]
        imported = [bench.import_history()]
        what = f"import of {told.entries:,} entries / COPY of the same bytes"
        sys.stdout.write(_row(what, "s", imported, copied, 14, slower=True) + "\n")
        try:
            for comparison in bench.compared():
                if told.only in comparison.name:
                    sys.stdout.write(_measured(comparison, told.rounds) + "\n")
                    sys.stdout.flush()
        finally:
            bench.close()


if __name__ == "__main__":
    main()
