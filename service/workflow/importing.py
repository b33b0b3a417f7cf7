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
from service.workflow.shares import WHOLE, Share

WINDOW = 600_000
"""Lines held in memory at once: bounds the memory, and is as many as are worth sorting by connector."""
CHUNK = 10_000
"""Entries in one transaction, give or take those of a connector: bounds the time that a head stays locked to a second."""
AT_ONCE = 2
"""Chunks under way at once; no connector is in two of them."""


class Line(Struct, frozen=True, array_like=True):
    """One entry of a file, and the line or row in which it stands."""

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

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(*(mine + its for mine, its in zip(astuple(self), astuple(other), strict=True)))


class _About(Struct, frozen=True):
    """Which connector a line is about: all that has to be known of the lines of other shares."""

    connector: str


_about = msgspec.json.Decoder(_About)


def read(lines: Iterable[bytes], share: Share = WHOLE) -> Iterator[Line | BadLine]:
    """Entries of a share of an NDJSON file, one a line. A line whose share can't be told is a bad one in every share."""
    for number, line in enumerate(lines, 1):
        if line.isspace():
            continue
        try:
            if share.of > 1 and not share.has(_about.decode(line).connector):
                continue
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


def check(path: Path, share: Share, progress: Callable[[int], None]) -> list[BadLine]:
    """The lines of a share of a file that can't be read; a dry run that changes nothing."""
    bad, done = [], 0
    with path.open("rb") as file:
        for done, each in enumerate(read(file, share), 1):
            if isinstance(each, BadLine):
                bad.append(each)
            if done % CHUNK == 0:
                progress(done)
    progress(done)
    return bad


def lines(path: Path, share: Share) -> Iterator[Line]:
    """The entries of a share of a file that `check` found readable."""
    with path.open("rb") as file:
        yield from (each for each in read(file, share) if isinstance(each, Line))


_encoder = msgspec.json.Encoder()
_decoder = msgspec.json.Decoder(Line)


def put_aside(file: BinaryIO, checked: Iterable[Line]) -> None:
    """Write down entries of a table that were checked, so that what is recorded is what was checked, and read once."""
    file.write(_encoder.encode_lines(checked))


def put_aside_before(path: Path) -> Iterator[Line]:
    """The entries that `put_aside` wrote."""
    with path.open("rb") as file:
        yield from map(_decoder.decode, file)


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
            submissions = [_submission(each.entry, by, at) for each in chunk]
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
        by_connector.setdefault(line.entry.connector, []).append(line)
    chunk: list[Line] = []
    for lines in by_connector.values():
        chunk.extend(lines)
        if len(chunk) >= CHUNK:
            yield chunk
            chunk = []
    if chunk:
        yield chunk
