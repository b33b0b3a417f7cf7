"""What was recorded that ought not to have been possible, open until somebody resolves it, and the ways to do so."""

from collections.abc import AsyncIterator, Sequence
from datetime import UTC, datetime
from typing import Annotated, Any
from uuid import UUID

from msgspec import Meta, Struct

from service import fleet_messages as messages
from service.core import chain, resolving
from service.core.discrepancies import RANK, SENTENCES, SERIOUSNESS, Code, Seriousness
from service.core.entries import EARLIEST, LATEST, Instant
from service.core.resolving import Way
from service.core.veil import Veil
from service.messages import LedgerLine, PlaceView
from service.store import database
from service.store.database import Connection
from service.workflow import benches, fleet, pseudonyms

PAGE = 200
_DAY_S = 86_400.0


class Filters(Struct, frozen=True, kw_only=True):
    """Which open discrepancies are wanted; what is said combines. `bench` is the one that recorded the entry."""

    code: Code | None = None
    seriousness: Seriousness | None = None
    connector: UUID | None = None
    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None
    bench: str | None = None
    shop: str | None = None


_PlainText = Annotated[str, Meta(max_length=40, pattern="^[^\\x00]*$(?!\\n)")]


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of open discrepancies begins."""

    rank: Annotated[int, Meta(ge=0, le=32_767)]
    recorded_at: Instant
    connector: UUID
    number: Annotated[int, Meta(ge=0, le=2_147_483_647)]
    code: _PlainText
    cavity: _PlainText

    def __post_init__(self) -> None:
        """Refuse a time that no entry can have: some of them overflow on the way to the database."""
        if not EARLIEST <= self.recorded_at < LATEST:
            raise ValueError("out of range")


_START = (None,) * len(Cursor.__struct_fields__)


async def open_ones(
    connection: Connection, filters: Filters, after: Cursor | None, limit: int, now: datetime
) -> tuple[messages.DiscrepancyReport, Cursor | None]:
    """Open discrepancies, the most serious first and of those the oldest. Its `next` is left to the caller."""
    async with database.report(connection):
        rows = await _rows(connection, filters, after, limit + 1)
        lines = await _lines(connection, rows[:limit], now)
        total = await database.fetch(connection, "wear_groups", "fleet", None, None, 1, None, None, None, None)
    open_in_all = total[0]["discrepancies"] if total else 0
    following = _cursor(rows[limit - 1]) if len(rows) > limit else None
    return messages.DiscrepancyReport(discrepancies=lines, open=open_in_all, next=None), following


async def each(connection: Connection, filters: Filters, now: datetime) -> AsyncIterator[messages.DiscrepancyLine]:
    """Every open discrepancy in one snapshot, page after page, for a stream."""
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        after: Cursor | None = None
        while True:
            report, after = await open_ones(connection, filters, after, PAGE, now)
            for line in report.discrepancies:
                yield line
            if after is None:
                return


async def _rows(connection: Connection, filters: Filters, after: Cursor | None, limit: int) -> list[Any]:
    start = tuple(getattr(after, name) for name in Cursor.__struct_fields__) if after else _START
    told = (
        *start,
        limit,
        filters.code.value if filters.code else None,
        RANK[filters.seriousness] if filters.seriousness else None,
        filters.connector,
        filters.asset,
        filters.zone,
        filters.position,
        filters.family,
        filters.part_number,
    )
    meant = await benches.meant(connection, filters.bench, filters.shop)
    order = Cursor.__struct_fields__
    return await fleet.of_benches(connection, "discrepancy_page", told, meant, order, limit)


def _cursor(row: Any) -> Cursor:
    return Cursor(*(row[name] for name in Cursor.__struct_fields__))


async def _lines(connection: Connection, rows: Sequence[Any], now: datetime) -> tuple[messages.DiscrepancyLine, ...]:
    through = await pseudonyms.veiling(connection)
    before, after = await _neighbours(connection, rows, through)
    doubles: dict[UUID, list[UUID]] = {}
    for row in await database.fetch(connection, "doubles", list({row["connector"] for row in rows})):
        doubles.setdefault(row["connector"], []).append(row["other"])
    return tuple(
        _line(
            row,
            pseudonyms.line(ledger_line(row), through),
            before.get(place, ()),
            after.get(place, ()),
            doubles.get(row["connector"], ()),
            now,
        )
        for place, row in enumerate(rows)
    )


_Lines = dict[int, tuple[LedgerLine, ...]]


async def _neighbours(connection: Connection, rows: Sequence[Any], through: Veil) -> tuple[_Lines, _Lines]:
    before: _Lines = {}
    after: _Lines = {}
    columns = ([row[name] for row in rows] for name in ("connector", "cavity", "performed_at", "number"))
    for row in await database.fetch(connection, "neighbours", list(range(len(rows))), *columns):
        side = before if row["earlier"] else after
        side[row["place"]] = (*side.get(row["place"], ()), pseudonyms.line(ledger_line(row), through))
    return before, after


def ledger_line(row: Any) -> LedgerLine:
    """A row of the ledger as it is shown."""
    recorded = chain.decode_body(row["body"]).recorded
    entry = recorded.entry
    return LedgerLine(
        number=row["number"],
        id=entry.id,
        kind=entry.kind.value,
        cavity=entry.cavity,
        performed_at=entry.performed_at.astimezone(UTC),
        performed_by=entry.performed_by,
        recorded_at=recorded.recorded_at,
        recorded_by=recorded.recorded_by,
        noted=recorded.noted,
        hash=row["hash"].hex(),
        entry=entry,
    )


def _line(
    row: Any,
    fact: LedgerLine,
    before: tuple[LedgerLine, ...],
    after: tuple[LedgerLine, ...],
    doubles: Sequence[UUID],
    now: datetime,
) -> messages.DiscrepancyLine:
    code = Code(row["code"])
    return messages.DiscrepancyLine(
        connector=row["connector"],
        serial=row["serial"],
        part_number=row["part_number"],
        family=row["family"],
        place=PlaceView(asset=row["asset"], zone=row["zone"], position=row["position"]),
        bench=row["bench"],
        code=code,
        text=SENTENCES[code],
        seriousness=SERIOUSNESS[code],
        cavity=row["cavity"] or None,
        performed_at=row["performed_at"],
        recorded_at=row["recorded_at"],
        age_days=round((now - row["recorded_at"]).total_seconds() / _DAY_S, 1),
        entry=fact,
        before=before,
        after=after,
        ways=_ways(row["connector"], code, row["cavity"] or None, fact, tuple(doubles)),
    )


def _ways(
    connector: UUID, code: Code, cavity: str | None, fact: LedgerLine, doubles: tuple[UUID, ...]
) -> tuple[messages.WayView, ...]:
    at = {"connector": str(connector)}
    drafts = {
        Way.CORRECTION: {"kind": "correction", **at, "corrects": str(fact.id)},
        Way.RENEWAL: {"kind": "renewal", **at, "cavity": cavity or ""},
        Way.ACCEPTANCE: {"kind": "resolution", **at, "refers_to": str(fact.id), "code": code.value},
        Way.MERGE: None,
    }
    return tuple(
        messages.WayView(
            way=way.value,
            text=resolving.SENTENCES[way],
            draft=drafts[way],
            connectors=doubles if way is Way.MERGE else (),
        )
        for way in resolving.ways(code, fact.entry.kind, cavity, has_double=bool(doubles))
    )
