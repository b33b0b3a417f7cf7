"""Bulk import of entries: the same rule and the same ledger as one by one, in large transactions."""

import asyncio
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import BinaryIO

import asyncpg
import msgspec
from msgspec import Struct
from msgspec.structs import astuple

from service.core import chain, entries, noting
from service.core.discrepancies import Code
from service.core.entries import Entry, Recorded
from service.workflow.recording import Scribe, Submission
from service.workflow.shares import Share

WINDOW = 500_000
"""Lines held in memory at once: bounds the memory, and is as many as are worth sorting by connector."""
CHUNK = 10_000
"""Entries in one transaction, give or take those of a connector: bounds the time that a head stays locked to a second."""
AT_ONCE = 2
"""Chunks under way at once; no connector is in two of them."""


class Line(Struct, frozen=True):
    """One entry that was checked, still as JSON: a million of them take a third of the room. `number`: its line or row."""

    number: int
    connector: str
    entry: bytes


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

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(*(mine + its for mine, its in zip(astuple(self), astuple(other), strict=True)))


class _About(Struct, frozen=True):
    """Which connector an entry is about: all that has to be known to share lines out, and to put them together."""

    connector: str


_about = msgspec.json.Decoder(_About)
_encoder = msgspec.json.Encoder()


def check(path: Path, share: Share, aside: BinaryIO, progress: Callable[[int], None]) -> list[BadLine]:
    """The lines of a share of an NDJSON file that can't be read; the others go aside.

    A line whose share can't be told is a bad one in every share.
    """
    bad, done = [], 0
    with path.open("rb") as file:
        for number, line in enumerate(file, 1):
            if line.isspace() or not _is_in(share, line):
                continue
            wrong = _wrong(line)
            if wrong is None:
                aside.write(b"%d %b\n" % (number, line.strip()))
            else:
                bad.append(BadLine(number, wrong))
            done += 1
            if done % CHUNK == 0:
                progress(done)
    progress(done)
    return bad


def _is_in(share: Share, line: bytes) -> bool:
    if share.of == 1:
        return True
    try:
        return share.has(_about.decode(line).connector)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return True


def _wrong(line: bytes) -> str | None:
    try:
        faults = entries.faults(entries.EntryDecoder.decode(line))
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        return str(error)
    return "; ".join(f"{each.field}: {each.text}" for each in faults) or None


def put_aside(aside: BinaryIO, checked: Iterable[tuple[int, Entry]]) -> None:
    """Write down entries that were checked, with their rows: what is recorded is then what was checked, and read once."""
    aside.writelines(b"%d %b\n" % (number, _encoder.encode(entry)) for number, entry in checked)


def lines(aside: Path) -> Iterator[Line]:
    """The entries that a check put aside."""
    with aside.open("rb") as file:
        for each in file:
            number, _, entry = each.partition(b" ")
            yield Line(int(number), _about.decode(entry).connector, entry)


async def record(
    pool: asyncpg.Pool,
    scribe: Scribe,
    lines: Iterator[Line],
    by: str,
    clock: Callable[[], datetime],
    progress: Callable[[Tally], None],
    window: int = WINDOW,
) -> tuple[Tally, list[BadLine]]:
    """Record entries that were checked. Each transaction is whole: cut off and run again, it goes on where it was.

    Several chunks are under way at once, so that the database writes one while the next is being folded. `window` bounds
    how many entries are held in memory at once.
    """
    tally, refused = Tally(), []

    async def work(chunks: Iterator[list[Line]]) -> None:
        for chunk in chunks:
            at = clock()
            submissions = [_submission(entries.EntryDecoder.decode(each.entry), by, at) for each in chunk]
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
    noted = (Code.CLOCK_AHEAD,) if noting.ahead(entry, at) else ()
    recorded = Recorded(entry=entry, recorded_at=at, recorded_by=by, noted=noted)
    return Submission(recorded, chain.digest(chain.canonical_entry(entry)))


def _windows(lines: Iterator[Line], size: int) -> Iterator[list[Line]]:
    while window := list(islice(lines, size)):
        yield window


def _chunks(window: list[Line]) -> Iterator[list[Line]]:
    """Lines of one connector together, so that each head is moved once; a transaction is a few connectors long."""
    by_connector: dict[str, list[Line]] = {}
    for line in window:
        by_connector.setdefault(line.connector, []).append(line)
    chunk: list[Line] = []
    for lines in by_connector.values():
        chunk.extend(lines)
        if len(chunk) >= CHUNK:
            yield chunk
            chunk = []
    if chunk:
        yield chunk
