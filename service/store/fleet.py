"""The tables of the fleet's reports: written beside the states, in the same transaction."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from msgspec import Struct, structs

from service.core.discrepancies import RANK, SERIOUSNESS, Code
from service.core.entries import Recorded
from service.core.limits import LimitLine, Whereabouts, WornCavity
from service.core.reported import Change, Open, Sums
from service.store import database
from service.store.database import Connection

_AT = ("asset", "zone", "position", "family", "part_number")


class OpenRow(Struct, frozen=True):
    """One line of the open list. `bench` is the one that recorded the entry; the rest says where its connector is."""

    connector: UUID
    number: int
    code: str
    cavity: str
    entry: UUID
    rank: int
    performed_at: datetime
    recorded_at: datetime
    bench: str | None
    asset: str | None
    zone: str | None
    position: str | None
    family: str | None
    part_number: str | None


class WornRow(Struct, frozen=True):
    """One retainer on the fleet's list, with where its connector is."""

    connector: UUID
    cavity: str
    rank: int
    urgency: int
    retainer_life: int
    occupied: bool | None
    cycles_begun: int
    cycles_completed: int
    rating: int | None
    rating_verified: bool
    remaining: int | None
    asset: str | None
    zone: str | None
    position: str | None
    family: str | None
    part_number: str | None
    bench: str | None


Numbered = Mapping[UUID, tuple[int, Recorded]]
"""Entries by their ids, with their numbers in the ledger."""


def open_rows(connector: UUID, opened: Iterable[Open], known: Numbered, where: Whereabouts) -> list[OpenRow]:
    """Lines of the open list for discrepancies of these entries, in the order of the ledger."""
    found = []
    for entry, code, cavity in opened:
        number, recorded = known[entry]
        found.append(
            OpenRow(
                connector,
                number,
                code,
                cavity,
                entry,
                RANK[SERIOUSNESS[Code(code)]],
                recorded.entry.performed_at,
                recorded.recorded_at,
                recorded.entry.bench,
                *(getattr(where, name) for name in _AT),
            )
        )
    return sorted(found, key=lambda each: (each.number, each.code, each.cavity))


def worn_rows(connector: UUID, worn: Iterable[WornCavity], where: Whereabouts) -> list[WornRow]:
    """Lines of the list for these retainers of a connector."""
    return [WornRow(connector, *structs.astuple(each), *structs.astuple(where)) for each in worn]


async def put(connection: Connection, changes: Sequence[Change], opened: Sequence[OpenRow]) -> None:
    """Bring the reports up to date. The sums last: others may wait for their rows until this transaction ends."""
    await _put_limit_lines(connection, [(each.connector, each.line) for each in changes if each.line_moved])
    gone = [(each.connector, cavity) for each in changes for cavity in each.healed]
    await _run(connection, "drop_worn_cavities", gone)
    await _put_worn(connection, [row for each in changes for row in worn_rows(each.connector, each.worn, each.where)])
    settled = [(each.connector, *one) for each in changes for one in each.settled]
    await _run(connection, "settle_discrepancies", settled)
    moved = [each for each in changes if each.relocated]
    await _run(
        connection,
        "relocate_discrepancies",
        [(each.connector, *(getattr(each.where, name) for name in _AT)) for each in moved],
    )
    await _put_open(connection, opened)
    sums = Sums()
    for each in changes:
        sums.add(each.sums)
    await add(connection, sums)


async def _put_limit_lines(connection: Connection, lines: Sequence[tuple[UUID, LimitLine | None]]) -> None:
    """Bring the list of connectors up to date for these."""
    gone = [connector for connector, line in lines if line is None]
    if gone:
        await database.run(connection, "drop_limit_lines", gone)
    rows = [(connector, *structs.astuple(line)) for connector, line in lines if line is not None]
    await _run(connection, "put_limit_lines", rows)


async def _put_worn(connection: Connection, rows: Sequence[WornRow]) -> None:
    await _run(connection, "put_worn_cavities", [structs.astuple(each) for each in rows])


async def _put_open(connection: Connection, rows: Sequence[OpenRow]) -> None:
    await _run(connection, "open_discrepancies", [structs.astuple(each) for each in rows])


async def replace(
    connection: Connection, connector: UUID, line: LimitLine | None, worn: Sequence[WornRow], opened: Sequence[OpenRow]
) -> None:
    """Hold these rows of a connector and no others. Sums are put right by themselves."""
    await _put_limit_lines(connection, [(connector, line)])
    await database.run(connection, "drop_worn_of", connector)
    await _put_worn(connection, worn)
    await database.run(connection, "settle_all_of", connector)
    await _put_open(connection, opened)


async def add(connection: Connection, sums: Sums) -> None:
    """Add to the fleet's sums."""
    shown = sums.shown()
    await _run(connection, "add_to_wear", [(*key, *counts) for key, counts in shown.groups.items()])
    await _run(connection, "add_to_cycles", [(*step, count) for step, count in shown.steps.items()])


async def summed(connection: Connection) -> Sums:
    """What the sums are now."""
    wear = await database.fetch(connection, "proof_wear")
    steps = await database.fetch(connection, "proof_cycles")
    return Sums(
        {tuple(row)[:3]: list(tuple(row)[3:]) for row in wear},
        {tuple(row)[:4]: row["cavities"] for row in steps},
    ).shown()


async def _run(connection: Connection, statement: str, rows: Sequence[tuple[object, ...]]) -> None:
    if rows:
        await database.run(connection, statement, *(list(each) for each in zip(*rows, strict=True)))
