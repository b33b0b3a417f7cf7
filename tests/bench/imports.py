"""`python -m tests.bench.imports` prints how the imports of tables compare with COPY. Only the ratios mean something.

There are three yardsticks: COPY of the same bytes into a table of text, COPY of the same cells into a table with a column of
the right type for each, and COPY of the rows that the import leaves (register, keys, definitions, heads; entries, receipts),
with their constraints and indexes: what PostgreSQL itself needs to hold them. The rounds of the yardsticks go before and
after the import, so that what else the machine does meets both.
"""

import argparse
import asyncio
import random
import resource
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import asyncpg
import msgspec
from msgspec import Struct

from service.store import database, embedded, migrate
from tests.bench import yardstick
from tests.faults.programs import run

WHEN = "2020-01-06T08:00:00Z"
_REGISTER = ("connector", "mark", "definition", "head", "limit_line")
_LEDGER = ("entry", "receipt", "head")


class Timed(Struct, frozen=True):
    """An import: what of, how long it took and its yardsticks did, and the most memory that a process of it held."""

    name: str
    ours_s: float
    yardsticks_s: dict[str, float]
    peak_mb: float

    def __str__(self) -> str:
        ratios = ", ".join(
            f"{self.ours_s / lasted:.1f} x COPY of the {name} ({lasted:.2f} s)"
            for name, lasted in self.yardsticks_s.items()
        )
        return f"{self.name:<40} {self.ours_s:6.1f} s: {ratios}; {self.peak_mb:.0f} MB a process"


def write_connectors(file: Path, count: int) -> None:
    """So many connectors of 10 cavities each, with the columns that a shop would have."""
    with file.open("w") as written:
        written.write(
            "serial,cage,part_number,history,populated,rating,rating_basis,rating_document,rating_revision,rating_paragraph\n"
        )
        for number in range(count):
            written.write(f"EX-{number:08},0CVA5,D38999/26WC98SN,new,true,10,house,Shop practice 7,B,3.2\n")


def write_carry_ins(file: Path, count: int, connectors: int) -> None:
    """So many opening counts, the ten of a connector together, as on its card."""
    with file.open("w") as written:
        written.write("connector,cavity,performed_at,performed_by,insertions,removals,occupied,source\n")
        for number in range(count):
            connector, cavity = number // 10 % connectors, "ABCDEFGHJK"[number % 10]
            written.write(
                f"EX-{connector:08},{cavity},{WHEN},badge {100 + connector % 80},{1 + number % 4},{number % 4},true,"
                f"card {number:08}\n"
            )


def write_placements(file: Path, count: int, connectors: int) -> None:
    """So many placements, each connector's one after the other in time."""
    with file.open("w") as written:
        written.write("connector,performed_at,performed_by,asset,zone,position\n")
        for number in range(count):
            connector = number % connectors
            written.write(
                f"EX-{connector:08},20{10 + number // connectors % 16}-02-03T08:00:{number % 60:02}Z,badge {connector % 80},"
                f"TN-{connector % 64:02},Z{connector % 700:03},P{number % 99:03}\n"
            )


def write_entries(file: Path, count: int, connectors: int) -> None:
    """So many removals, insertions and tests, one JSON object a line, in the order of time; each connector's make sense."""
    chance, done = random.Random(1), [0] * connectors
    began = datetime(2021, 1, 4, tzinfo=UTC)
    with file.open("wb") as written:
        for number in range(count):
            connector = chance.randrange(connectors)
            turn = done[connector]
            done[connector] += 1
            line = {
                "id": str(uuid.UUID(int=chance.getrandbits(128), version=4)),
                "connector": f"EX-{connector:08}",
                "kind": ("removal", "insertion", "seating_test")[turn % 3],
                "cavity": "ABCDEFGHJK"[turn // 3 % 10],
                "performed_at": (began + timedelta(seconds=100 * number)).isoformat(),
                "performed_by": f"badge {100 + connector % 80}",
                "tool": "M81969/14-02",
                "work_order": f"WO-{connector % 10_000:04}",
            }
            written.write(msgspec.json.encode(line) + b"\n")


async def copied_rows(dsn: str, tables: tuple[str, ...]) -> float:
    """Seconds that COPY takes for the rows of these tables, into tables of the same make."""
    connection = await asyncpg.connect(dsn)
    try:
        lasted = 0.0
        with tempfile.NamedTemporaryFile() as held:
            for table in tables:
                await connection.execute(f"create table public.{table} (like tinebook.{table} including all)")
                await connection.copy_from_table(table, schema_name="tinebook", output=Path(held.name), format="binary")
                began = time.perf_counter()
                await connection.copy_to_table(table, schema_name="public", source=Path(held.name), format="binary")
                lasted += time.perf_counter() - began
                await connection.execute(f"drop table public.{table}")
        return lasted
    finally:
        await connection.close()


class Bench:
    """A server, and a directory with the tables."""

    def __init__(self, directory: Path, rounds: int) -> None:
        self.directory = directory
        self.rounds = rounds
        self.server = embedded.Server(directory)
        self.server.start()
        asyncio.run(database.ensure_database(self.server.dsn(embedded.OWNER, "postgres"), embedded.DATABASE))
        self.dsn = self.server.dsn(embedded.OWNER)
        self.settings = {"TINEBOOK_DSN": self.server.dsn(embedded.SERVICE), "TINEBOOK_OWNER_DSN": self.dsn}
        asyncio.run(self._prepare())

    async def _prepare(self) -> None:
        async with database.owner(self.dsn) as connection:
            await migrate.migrate(connection)

    def timed(self, name: str, kind: str, file: Path, tables: tuple[str, ...] = ()) -> Timed:
        """Import a table, and time its yardsticks before and after."""
        measures = {"bytes": yardstick.copy} | ({"cells": yardstick.copy_columns} if file.suffix == ".csv" else {})
        copied = {each: [copy(self.dsn, file) for _ in range(self.rounds)] for each, copy in measures.items()}
        began = time.perf_counter()
        done = run("tinebook", "import", kind, str(file), patience_s=3600, **self.settings)
        lasted = time.perf_counter() - began
        assert done.returncode == 0, done.stderr[-2000:]
        peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1000
        for each, copy in measures.items():
            copied[each] += [copy(self.dsn, file) for _ in range(self.rounds)]
        if tables:
            copied["rows left"] = [asyncio.run(copied_rows(self.dsn, tables)) for _ in range(self.rounds)]
        return Timed(name, lasted, {each: statistics.median(found) for each, found in copied.items()}, peak_mb)

    def all(self, connectors: int, rows: int, only: str) -> Iterator[Timed]:
        """The imports one after the other, each on what the one before it left."""
        file = self.directory / "connectors.csv"
        write_connectors(file, connectors)
        yield self.timed(f"{connectors:,} connectors of 10 cavities", "connectors", file, _REGISTER)
        if not only:
            yield self.timed("the same again, all known", "connectors", file)
        for kind, write in (
            ("carry-ins", write_carry_ins),
            # Before the placements, which are dated later: a connector that has later ones is folded from its history.
            ("entries", write_entries),
            ("placements", write_placements),
        ):
            if only in kind:
                file = self.directory / f"{kind}.{'ndjson' if kind == 'entries' else 'csv'}"
                write(file, rows, connectors)
                # The ledger holds no more than this after the first of them alone.
                tables = _LEDGER if only or kind == "carry-ins" else ()
                yield self.timed(f"{rows:,} {kind}", kind, file, tables)
                file.unlink()


def main() -> None:
    """Run the imports one after the other, each on what the one before it left."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.imports", description=__doc__)
    parser.add_argument("--connectors", type=int, default=50_000)
    parser.add_argument("--rows", type=int, default=250_000, help="opening counts, and placements")
    parser.add_argument("--rounds", type=int, default=2, help="of each yardstick, before and after")
    parser.add_argument("--only", default="", help="imports whose kind holds this, beside the connectors")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="tinebook-bench-") as name:
        directory = Path(name)
        directory.chmod(0o755)
        bench = Bench(directory, told.rounds)
        try:
            for timed in bench.all(told.connectors, told.rows, told.only):
                sys.stdout.write(f"{timed}\n")
                sys.stdout.flush()
        finally:
            bench.server.stop()


if __name__ == "__main__":
    main()
