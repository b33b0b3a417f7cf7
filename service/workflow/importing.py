"""Bulk import of entries: the same rule and the same ledger as one by one, in large transactions."""

import asyncio
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from itertools import islice
from pathlib import Path

import asyncpg
import msgspec
from msgspec import Struct

from service.core import chain, entries, noting
from service.core.discrepancies import Code
from service.core.entries import Entry, Recorded
from service.workflow.recording import Scribe, Submission

WINDOW = 1_000_000
"""Lines held in memory at once: bounds the memory, and is as many as are worth sorting by connector."""
CHUNK = 10_000
"""Entries in one transaction, give or take those of a connector: bounds the time that a head stays locked to a second."""
AT_ONCE = 2
"""Chunks under way at once; no connector is in two of them."""


class Line(Struct, frozen=True):
    """One entry of a file, and the line on which it stands."""

    number: int
    entry: Entry


class BadLine(Struct, frozen=True):
    """A line that can't be read: where and why."""

    number: int
    text: str


class Tally(Struct):
    """What became of the lines so far."""

    recorded: int = 0
    already_recorded: int = 0
    parked: int = 0
    refused: int = 0

    @property
    def done(self) -> int:
        """All lines dealt with."""
        return self.recorded + self.already_recorded + self.parked + self.refused


def read(lines: Iterable[bytes]) -> Iterator[Line | BadLine]:
    """Entries of an NDJSON file, one a line."""
    for number, line in enumerate(lines, 1):
        if line.isspace():
            continue
        try:
            entry = entries.EntryDecoder.decode(line)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            yield BadLine(number, str(error))
            continue
        faults = entries.faults(entry)
        yield (
            BadLine(number, "; ".join(f"{each.field}: {each.text}" for each in faults))
            if faults
            else Line(number, entry)
        )


def check(path: Path) -> list[BadLine]:
    """The lines of a file that can't be read; a dry run that changes nothing."""
    with path.open("rb") as file:
        return [each for each in read(file) if isinstance(each, BadLine)]


async def run(
    pool: asyncpg.Pool,
    scribe: Scribe,
    path: Path,
    by: str,
    clock: Callable[[], datetime],
    progress: Callable[[Tally], None],
) -> tuple[Tally, list[BadLine]]:
    """Record a file that `check` found readable. Each transaction is whole: cut off and run again, it goes on where it was.

    Several chunks are under way at once, so that the database writes one while the next is being folded.
    """
    with path.open("rb") as file:
        lines = (each for each in read(file) if isinstance(each, Line))
        return await record(pool, scribe, lines, by, clock, progress)


async def record(
    pool: asyncpg.Pool,
    scribe: Scribe,
    lines: Iterator[Line],
    by: str,
    clock: Callable[[], datetime],
    progress: Callable[[Tally], None],
    window: int = WINDOW,
) -> tuple[Tally, list[BadLine]]:
    """Record entries as `run` does, from wherever they are read; `window` bounds how many are held in memory at once."""
    tally, refused = Tally(), []

    async def work(chunks: Iterator[list[Line]]) -> None:
        for chunk in chunks:
            submissions = [_submission(each.entry, by, clock()) for each in chunk]
            async with pool.acquire() as connection:
                results = await scribe.commit(connection, submissions, brief=True)
            for line, result in zip(chunk, results, strict=True):
                setattr(tally, result.outcome, getattr(tally, result.outcome) + 1)
                if result.problem is not None:
                    refused.append(BadLine(line.number, result.problem.detail))
            progress(tally)

    for held in _windows(lines, window):
        chunks = _chunks(held)
        tasks = [asyncio.create_task(work(chunks)) for _ in range(AT_ONCE)]
        try:
            await asyncio.gather(*tasks)
        finally:
            for each in tasks:
                each.cancel()
    return tally, sorted(refused, key=lambda each: each.number)


def _submission(entry: Entry, by: str, at: datetime) -> Submission:
    # History is years old by nature: only a time that lies ahead is odd.
    noted = tuple(each for each in noting.clocks(entry, at, None) if each == Code.CLOCK_AHEAD)
    return Submission(
        Recorded(entry=entry, recorded_at=at, recorded_by=by, noted=noted), chain.digest(chain.canonical_entry(entry))
    )


def _windows(lines: Iterator[Line], size: int) -> Iterator[list[Line]]:
    while window := list(islice(lines, size)):
        yield window


def _chunks(window: list[Line]) -> Iterator[list[Line]]:
    """Lines of one connector together, so that each head is moved once; a transaction is a few connectors long."""
    by_connector: dict[str, list[Line]] = {}
    for line in window:
        by_connector.setdefault(line.entry.connector, []).append(line)
    chunk: list[Line] = []
    for lines in by_connector.values():
        chunk.extend(lines)
        if len(chunk) >= CHUNK:
            yield chunk
            chunk = []
    if chunk:
        yield chunk
