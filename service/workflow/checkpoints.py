"""Checkpoints made and proved: whether everything that was recorded up to then is still what it was."""

from collections.abc import AsyncIterator, Callable, Iterable, Sequence
from datetime import datetime
from uuid import UUID

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec import Struct

from service.core import checkpoints, merkle
from service.core.checkpoints import Checkpoint, CheckpointError
from service.core.merkle import Peaks
from service.store import columns, database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow import feeding
from service.workflow.proof import Break

TOPIC = "checkpoint.made"
_AT_ONCE = 100_000
_HASH = 32
_LEAVES = {"position": columns.INTEGER, "leaf": f"S{_HASH}"}
_NONE_TRUSTED: frozenset[str] = frozenset()

Progress = Callable[[int, int], None]
"""Told how many positions of how many are done."""


class Kept(Struct, frozen=True):
    """A checkpoint with the peaks of its tree, where they are known: they tell about where something was altered."""

    checkpoint: Checkpoint
    peaks: Peaks | None = None


async def make(
    connection: Connection, key: Ed25519PrivateKey, by: str, at: datetime, progress: Progress = lambda _done, _of: None
) -> Checkpoint:
    """Sign everything that is recorded by now; where nothing came since the last checkpoint, that one.

    It rests on the last one: to prove that all before is as it was is for `broken`.
    """
    await feeding.number(connection)
    async with connection.transaction():
        await database.run(connection, "lock_checkpoints")
        row = await database.fetch_one(connection, "newest_checkpoint")
        before = merkle.EMPTY if row is None else _peaks(row["size"], row["peaks"])
        size = await feeding.end(connection)
        # The word that a checkpoint was made is in the feed itself: alone, it is nothing new.
        if row is not None and size <= before.size + 1:
            return checkpoints.read(row["body"])
        peaks = await _grown(connection, before, size, progress)
        installation: UUID = await connection.fetchval(SQL["installation"])
        made = checkpoints.signed(installation, peaks, at, key)
        await database.run(
            connection, "keep_checkpoint", size, b"".join(peaks.hashes), checkpoints.written(made), by, at
        )
        await feeding.tell(connection, TOPIC, made, at)
    return made


async def every(connection: Connection) -> tuple[Checkpoint, ...]:
    """All that were made, the first one first."""
    return tuple(checkpoints.read(row["body"]) for row in await database.fetch(connection, "checkpoints"))


async def broken(
    connection: Connection,
    given: Iterable[Checkpoint] = (),
    trusted: frozenset[str] = _NONE_TRUSTED,
    progress: Progress = lambda _done, _of: None,
) -> AsyncIterator[tuple[int, str]]:
    """By size the checkpoints that do not hold, and why: those that are kept here and those that were kept elsewhere.

    `trusted`: keys, in hex, of which one must have signed; none means that any may have.
    """
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        installation: UUID = await connection.fetchval(SQL["installation"])
        end, peaks = await feeding.end(connection), merkle.EMPTY
        for each in sorted([*await _kept(connection), *map(Kept, given)], key=lambda one: one.checkpoint.size):
            size = each.checkpoint.size
            wrong = _own_fault(each.checkpoint, installation, trusted)
            if wrong is not None:
                yield size, wrong
                continue
            if size > end:
                yield size, f"the feed ends at position {end}: what was recorded behind it is gone"
                continue
            peaks = await _grown(connection, peaks, size, progress)
            if peaks.size == size and merkle.root(peaks).hex() == each.checkpoint.root:
                continue
            yield size, _altered(peaks, each)
            # Whatever rests on the same history can't hold either.
            return


async def verify(
    connection: Connection, given: Iterable[Checkpoint], trusted: frozenset[str], progress: Progress
) -> AsyncIterator[Break]:
    """Every checkpoint that does not hold, and what stands in a ledger but neither in the feed nor on its way there."""
    for row in await database.fetch(connection, "untold"):
        yield Break(row["connector"], f"{row['what']} {row['number']}", "the feed does not tell of it")
    async for size, wrong in broken(connection, given, trusted, progress):
        yield Break(None, f"checkpoint up to position {size}", wrong)


async def _kept(connection: Connection) -> list[Kept]:
    found = []
    for row in await database.fetch(connection, "checkpoints"):
        try:
            checkpoint = checkpoints.read(row["body"])
        except CheckpointError:
            checkpoint = _unreadable(row["size"])
        found.append(Kept(checkpoint, _peaks(row["size"], row["peaks"])))
    return found


def _unreadable(size: int) -> Checkpoint:
    """What stands for a checkpoint whose bytes are no longer one: it is signed by nobody."""
    return Checkpoint(
        format=checkpoints.FORMAT,
        installation=UUID(int=0),
        size=size,
        root="",
        made_at=datetime.min,  # noqa: DTZ901 - of no time zone either
        public_key="",
    )


def _own_fault(checkpoint: Checkpoint, installation: UUID, trusted: frozenset[str]) -> str | None:
    if not checkpoints.holds(checkpoint):
        return "is not what its key signed"
    if checkpoint.installation != installation:
        return f"is of another installation: {checkpoint.installation}"
    if trusted and checkpoint.public_key not in trusted:
        return f"was signed by a key that is not among those that are trusted: {checkpoint.public_key}"
    return None


def _altered(found: Peaks, kept: Kept) -> str:
    """Where about something is other than it was signed: the full subtree that differs, where its hash is known."""
    size, at = kept.checkpoint.size, kept.checkpoint.made_at
    made = f"what was recorded up to position {size} is not what was signed at {at:%Y-%m-%d %H:%M} UTC"
    if kept.peaks is None or merkle.root(kept.peaks).hex() != kept.checkpoint.root or found.size != kept.peaks.size:
        return made
    for span, one, other in zip(merkle.spans(found.size), found.hashes, kept.peaks.hashes, strict=True):
        if one != other:
            return f"{made}: something at positions {span.start + 1} to {span.stop} was altered"
    return made


def _peaks(size: int, hashes: bytes) -> Peaks:
    return Peaks(size, tuple(_each(hashes)))


def _each(hashes: bytes) -> Sequence[bytes]:
    return [hashes[start : start + _HASH] for start in range(0, len(hashes), _HASH)]


async def _grown(connection: Connection, peaks: Peaks, size: int, progress: Progress) -> Peaks:
    """The tree up to a position. A position that is missing leaves it smaller, so that its root fits nothing."""
    for start in range(peaks.size, size, _AT_ONCE):
        until = min(start + _AT_ONCE, size)
        rows = await columns.fetch(connection, "feed_leaves", _LEAVES, start, until)
        peaks = merkle.grown(peaks, _each(rows["leaf"].tobytes()))
        progress(until, size)
    return peaks
