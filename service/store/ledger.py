"""Rows of the ledger and of the state beside it, as the core's values."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

import msgspec
from msgspec import Struct

from service.core import chain, states
from service.core.entries import CavityDefinition, Definition, Recorded
from service.core.states import ConnectorState
from service.store import database
from service.store.database import Connection

_CACHED_DEFINITIONS = 100_000
"""About 60 MB."""
PLACE = ("asset", "zone", "position")
"""What of a state stands in columns beside it, so that connectors can be looked for by their place."""


class Head(Struct, frozen=True):
    """Where a connector's chain and state stand. `handed_over`: it has left, and its chain goes on elsewhere."""

    connector: UUID
    entries: int
    hash: bytes
    definition: Definition
    definition_number: int
    state: ConnectorState
    bench: str | None = None
    handed_over: bool = False


class Definitions:
    """Definitions by connector and number. They never change once written, so they may be kept."""

    def __init__(self) -> None:
        self._kept: dict[tuple[UUID, int], Definition] = {}
        self._arrangements: dict[tuple[CavityDefinition, ...], tuple[CavityDefinition, ...]] = {}

    async def fetch(
        self, connection: Connection, wanted: Iterable[tuple[UUID, int]]
    ) -> dict[tuple[UUID, int], Definition]:
        """These definitions, from memory or from the database."""
        wanted = set(wanted)
        # Taken before anything is waited for: meanwhile the memory may be emptied, by this call or by another.
        found = {each: self._kept[each] for each in wanted if each in self._kept}
        missing = wanted - found.keys()
        if missing:
            rows = await database.fetch(
                connection, "definitions", [each[0] for each in missing], [each[1] for each in missing]
            )
            if len(self._kept) + len(rows) > _CACHED_DEFINITIONS:
                self._kept.clear()
                self._arrangements.clear()
            fetched = {(row["connector"], row["number"]): self._read(row["body"]) for row in rows}
            self._kept.update(fetched)
            found |= fetched
        return found

    def _read(self, body: bytes) -> Definition:
        # A fleet has few arrangements. Kept once each, a definition takes a twentieth of the memory.
        read = chain.decode_definition(body).definition
        shared = self._arrangements.setdefault(read.cavities, read.cavities)
        return msgspec.structs.replace(read, cavities=shared)


async def heads(
    connection: Connection, definitions: Definitions, connectors: Iterable[UUID], *, lock: bool
) -> dict[UUID, Head]:
    """The heads of these connectors, locked for a write or just read; those not on the books are left out."""
    rows = await database.fetch(connection, "lock_heads" if lock else "heads", list(connectors))
    known = await definitions.fetch(connection, ((row["connector"], row["definition"]) for row in rows))
    return {
        row["connector"]: Head(
            connector=row["connector"],
            entries=row["entries"],
            hash=row["hash"],
            definition=known[row["connector"], row["definition"]],
            definition_number=row["definition"],
            state=states.decode(row["state"]),
            bench=row["bench"],
            handed_over=row["handed_over"],
        )
        for row in rows
    }


async def history(
    connection: Connection, connector: UUID, cavities: frozenset[str] | None
) -> list[tuple[int, Recorded]]:
    """What was recorded of these cavities and of the whole, or all of it, with the numbers in the ledger."""
    rows = await database.fetch(connection, "history", connector, None if cavities is None else sorted(cavities))
    return [(row["number"], chain.decode_body(row["body"]).recorded) for row in rows]


class LedgerRow(Struct, frozen=True):
    """One entry ready to be appended."""

    connector: UUID
    number: int
    recorded: Recorded
    body: bytes
    hash: bytes


def next_rows(connector: UUID, entries: int, previous: bytes, news: Iterable[Recorded]) -> list[LedgerRow]:
    """Number and chain new entries after the head of their connector."""
    rows = []
    for number, recorded in enumerate(news, entries + 1):
        body = chain.canonical_body(chain.LedgerBody(connector=connector, number=number, recorded=recorded))
        previous = chain.link(previous, body)
        rows.append(LedgerRow(connector, number, recorded, body, previous))
    return rows


async def append(connection: Connection, rows: list[LedgerRow]) -> None:
    """Append rows to the ledger."""
    await database.append(
        connection,
        "append_entries",
        "entry",
        ("connector", "number", "id", "kind", "cavity", "performed_at", "recorded_at", "body", "hash"),
        [_columns(each) for each in rows],
    )


def _columns(row: LedgerRow) -> tuple[object, ...]:
    entry, recorded_at = row.recorded.entry, row.recorded.recorded_at
    performed_at, kind = entry.performed_at, entry.kind.value
    return row.connector, row.number, entry.id, kind, entry.cavity, performed_at, recorded_at, row.body, row.hash


async def append_receipts(connection: Connection, receipts: list[tuple[UUID, UUID | None, bytes]]) -> None:
    """Keep accepted ids with the digest of what came under them."""
    await database.append(connection, "append_receipts", "receipt", ("id", "connector", "digest"), receipts)


class Moved(Struct, frozen=True):
    """Where a head moves to, and the bench that recorded last."""

    connector: UUID
    entries: int
    hash: bytes
    state: ConnectorState
    bench: str | None


async def move_heads(connection: Connection, moved: list[Moved]) -> None:
    """Move heads to where new entries leave them."""
    if moved:
        await database.run(
            connection,
            "move_heads",
            [each.connector for each in moved],
            [each.entries for each in moved],
            [each.hash for each in moved],
            [states.encode(each.state) for each in moved],
            *([getattr(each.state.whole, name) for each in moved] for name in PLACE),
            [each.bench for each in moved],
        )


def last_bench(before: str | None, news: Iterable[Recorded]) -> str | None:
    """The bench that recorded last, in the order of recording; entries that state none leave it."""
    for each in news:
        before = each.entry.bench or before
    return before


class Parking(Struct, frozen=True):
    """An entry without a connector, ready to be parked."""

    recorded: Recorded
    digest: bytes
    reason: str
    keys: tuple[str, ...]


async def park(connection: Connection, parkings: list[Parking]) -> None:
    """Keep entries whose connector is not known."""
    if not parkings:
        return
    at: list[datetime] = [each.recorded.recorded_at for each in parkings]
    await database.run(
        connection,
        "park",
        [each.recorded.entry.id for each in parkings],
        [each.recorded.entry.connector for each in parkings],
        [each.reason for each in parkings],
        at,
        [each.digest for each in parkings],
        [chain.canonical(each.recorded) for each in parkings],
    )
    pairs = [(key, each.recorded.entry.id) for each in parkings for key in each.keys]
    await database.run(connection, "park_marks", [key for key, _ in pairs], [entry for _, entry in pairs])
