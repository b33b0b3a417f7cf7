"""The outbox: entries on disk, with their ids, before anything is sent; and what a bench needs to answer alone.

One SQLite file. It is never overwritten or emptied: a file that can't be used is an error that a person must see.
"""

import json
import os
import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from importlib import resources
from pathlib import Path
from typing import Any, Literal, TypeVar
from uuid import UUID

import msgspec
from msgspec import Struct

from service.core.entries import Entry
from service.messages import ConnectorLine, Problem, Snapshot

Status = Literal["unsent", "sent", "parked", "refused"]
Clock = Callable[[], datetime]
T = TypeVar("T")
Row = tuple[Any, ...]

_OURS = 0x54494E42
"""SQLite's application id of this kind of file ("TINB")."""
_VERSION = 1
_BUSY_S = 10


class UnusableError(Exception):
    """The outbox can't be used; the text says which file, why, and what to do."""


class OccupiedError(Exception):
    """Another process is sending from this outbox just now, so that this one must not."""


class ClashError(Exception):
    """An id that is in the outbox already, with other content."""


class Kept(Struct, frozen=True):
    """An entry in the outbox, in the order of `place`, with what became of it."""

    place: int
    entry: Entry
    kept_at: datetime
    status: Status
    discrepancies: tuple[str, ...] = ()
    problem: Problem | None = None


class Settled(Struct, frozen=True):
    """What became of an entry that was sent."""

    id: UUID
    status: Literal["sent", "parked", "refused"]
    discrepancies: tuple[str, ...] = ()
    problem: Problem | None = None


class Counts(Struct, frozen=True):
    """How many entries stand how, and since when the oldest one waits."""

    unsent: int = 0
    sent: int = 0
    parked: int = 0
    refused: int = 0
    oldest_unsent_at: datetime | None = None


class Cached(Struct, frozen=True):
    """A connector as the service last gave it. `acknowledged`: entries acknowledged up to this number are in it."""

    snapshot: Snapshot
    fetched_at: datetime
    acknowledged: int


class Outbox:
    """The open file. Every method is one transaction; what it returns from is on disk."""

    def __init__(self, path: Path, connection: sqlite3.Connection, clock: Clock) -> None:
        """Take an open connection; use `open_file`."""
        self._path, self._connection, self._clock = path, connection, clock

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    def keep(self, entries: Sequence[Entry], remembering: tuple[str, object] | None = None) -> None:
        """Put the entries of one act at the end, all or none; what is there stays. ClashError for other content.

        `remembering`: a value to keep by its name in the same transaction, so that what a bench remembers and what it
        has recorded can't contradict each other after a crash.
        """
        with self._writing() as run:
            act = run(_SQL["next_act"]).fetchone()[0]
            for each in entries:
                body = msgspec.json.encode(each)
                known = run(_SQL["body_of"], (str(each.id),)).fetchone()
                if known is None:
                    run(_SQL["keep"], (str(each.id), act, each.connector, body, self._clock().isoformat()))
                elif known[0] != body:
                    raise ClashError(f"The id {each.id} is in the outbox already, with other content.")
            if remembering is not None:
                run(_SQL["remember"], (remembering[0], msgspec.json.encode(remembering[1])))

    def of_status(self, status: Status, most: int = 1_000_000) -> tuple[Kept, ...]:
        """Entries that stand so, oldest first."""
        return _kept(self._read("of_status", (status, most)))

    def settle(self, settled: Iterable[Settled]) -> None:
        """Write down what became of entries. One that is settled already stays as it is."""
        now = self._clock().isoformat()
        with self._writing() as run:
            for each in settled:
                problem = msgspec.json.encode(each.problem) if each.problem else None
                run(_SQL["settle"], (each.status, now, json.dumps(each.discrepancies), problem, str(each.id)))

    def join(self, joined: Iterable[tuple[UUID, UUID]]) -> None:
        """Write down to which connector parked entries (id, connector) were assigned: from then on they are about no other."""
        now = self._clock().isoformat()
        with self._writing() as run:
            for entry, connector in joined:
                run(_SQL["join"], (str(connector), now, str(entry)))

    def again(self, entry: UUID) -> bool:
        """Send a refused entry once more (the reason may be gone). False if it is not a refused one."""
        with self._writing() as run:
            return run(_SQL["again"], (str(entry),)).rowcount == 1

    def counts(self) -> Counts:
        """How many entries stand how."""
        rows = {status: (count, oldest) for status, count, oldest in self._read("counts")}
        oldest = datetime.fromisoformat(rows["unsent"][1]) if "unsent" in rows else None
        return Counts(**{status: count for status, (count, _) in rows.items()}, oldest_unsent_at=oldest)

    def last_act(self) -> tuple[Entry, ...]:
        """The entries that were kept together last."""
        return tuple(msgspec.json.decode(body, type=Entry) for (body,) in self._read("last_act"))

    def acknowledged(self) -> int:
        """A number that grows with every acknowledged entry: read it before a snapshot is fetched."""
        return int(self._read("acknowledged")[0][0])

    def since(self, references: Iterable[str], acknowledged: int) -> tuple[Kept, ...]:
        """Entries about a connector, by any of its references, that a snapshot of that number may not hold."""
        return _kept(self._read("since", (json.dumps(sorted(references)), acknowledged)))

    def referred(self, acknowledged: int) -> tuple[str, ...]:
        """What the entries that `since` may give call their connectors."""
        return tuple(name for (name,) in self._read("referred", (acknowledged,)))

    def save_snapshot(self, snapshot: Snapshot, acknowledged: int) -> None:
        """Keep the state of a connector, to answer from while the service is away."""
        row = (
            str(snapshot.definition.connector),
            msgspec.json.encode(snapshot),
            self._clock().isoformat(),
            acknowledged,
        )
        with self._writing() as run:
            run(_SQL["save_snapshot"], row)

    def snapshot(self, connector: UUID) -> Cached | None:
        """The last known state of a connector."""
        return next(iter(_cached(self._read("snapshot", (str(connector),)))), None)

    def snapshots(self) -> tuple[Cached, ...]:
        """Every connector that is known here."""
        return _cached(self._read("snapshots"))

    def save_mark(self, mark: str, lines: Iterable[ConnectorLine]) -> None:
        """Keep which connectors a mark means, all of them, so that one of several never passes for the only one."""
        with self._writing() as run:
            run(_SQL["forget_mark"], (mark,))
            for each in lines:
                run(_SQL["save_mark"], (mark, str(each.id), msgspec.json.encode(each)))

    def lines_of_mark(self, mark: str) -> tuple[ConnectorLine, ...]:
        """The connectors that a mark meant when it was last looked up."""
        return tuple(msgspec.json.decode(body, type=ConnectorLine) for (body,) in self._read("lines_of_mark", (mark,)))

    def marks_of(self, connector: UUID) -> tuple[str, ...]:
        """The marks by which a connector has been found here."""
        return tuple(mark for (mark,) in self._read("marks_of_connector", (str(connector),)))

    def remember(self, name: str, value: object) -> None:
        """Keep a value (a struct) by a name."""
        with self._writing() as run:
            run(_SQL["remember"], (name, msgspec.json.encode(value)))

    def remembered(self, name: str, kind: type[T]) -> T | None:
        """A value that was kept; None if there is none, or it was kept in an older shape."""
        rows = self._read("remembered", (name,))
        try:
            return msgspec.json.decode(rows[0][0], type=kind) if rows else None
        except msgspec.ValidationError:
            return None

    @contextmanager
    def sending(self) -> Iterator[None]:
        """Hold the right to send, which one process has at a time; OccupiedError if taken. A crash gives it back."""
        lock = sqlite3.connect(f"{self._path}-sending", timeout=0, isolation_level=None)
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError:
            lock.close()
            raise OccupiedError("Another window or program is sending from this outbox just now.") from None
        try:
            yield
        finally:
            lock.close()

    def _read(self, name: str, told: Row = ()) -> list[Row]:
        with _reported(self._path):
            return self._connection.execute(_SQL[name], told).fetchall()

    @contextmanager
    def _writing(self) -> Iterator[Callable[..., sqlite3.Cursor]]:
        with _reported(self._path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection.execute
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")


def open_file(path: Path, clock: Clock) -> Outbox:
    """Open an outbox, or make one. UnusableError if it is damaged, foreign, newer, or can't be written."""
    with _reported(path):
        _make_private(path)
        connection = sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)
        try:
            _prepare(path, connection)
        except BaseException:
            connection.close()
            raise
    return Outbox(path, connection, clock)


def _make_private(path: Path) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        # It holds badge numbers, so nobody else on the machine reads it.
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError as error:
        raise UnusableError(
            f"The outbox {path} can't be written ({error.strerror}). Nothing can be recorded safely without it: "
            "give this user the right to write there, or set TINEBOOK_BENCH_OUTBOX to another file."
        ) from None


def _prepare(path: Path, connection: sqlite3.Connection) -> None:
    empty = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    kind = connection.execute("PRAGMA application_id").fetchone()[0]
    if kind != _OURS and not empty:
        raise UnusableError(f"{path} is another program's file. Set TINEBOOK_BENCH_OUTBOX to a file of its own.")
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > _VERSION:
        raise UnusableError(f"The outbox {path} was written by a newer version of this program. Use that version.")
    if connection.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
        raise _damaged(path)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    if version < _VERSION:
        connection.executescript(
            f"BEGIN IMMEDIATE; {_SQL['schema']}"
            f"PRAGMA application_id = {_OURS}; PRAGMA user_version = {_VERSION}; COMMIT;"
        )


@contextmanager
def _reported(path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise UnusableError(
                f"The outbox {path} has been locked by another program for {_BUSY_S} s. Close that one."
            ) from None
        raise UnusableError(
            f"The outbox {path} can't be used ({error}). Look for a full disk or missing rights."
        ) from None
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.IntegrityError):
            raise
        raise _damaged(path) from None


def _damaged(path: Path) -> UnusableError:
    return UnusableError(
        f"The outbox {path} is damaged. It is left as it is, since entries in it may not have been sent: keep it, "
        "tell the system owner, and set TINEBOOK_BENCH_OUTBOX to a new file to go on working."
    )


def _kept(rows: Iterable[Row]) -> tuple[Kept, ...]:
    return tuple(
        Kept(
            place=place,
            entry=msgspec.json.decode(body, type=Entry),
            kept_at=datetime.fromisoformat(kept_at),
            status=status,
            discrepancies=tuple(json.loads(discrepancies)),
            problem=msgspec.json.decode(problem, type=Problem) if problem else None,
        )
        for place, body, kept_at, status, discrepancies, problem in rows
    )


def _cached(rows: Iterable[Row]) -> tuple[Cached, ...]:
    found = []
    for body, fetched_at, acknowledged in rows:
        try:
            snapshot = msgspec.json.decode(body, type=Snapshot)
        except msgspec.ValidationError:
            # Written by another version: as good as not known, and fetched anew when the service answers.
            continue
        found.append(Cached(snapshot, datetime.fromisoformat(fetched_at), acknowledged))
    return tuple(found)


def _statements(text: str) -> dict[str, str]:
    """The named statements of the .sql file."""
    parts = re.split(r"^-- name: (\w+)\n", text, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


_SQL = _statements(resources.files(__package__).joinpath("outbox.sql").read_text("utf-8"))
