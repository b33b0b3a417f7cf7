"""The fleet's reports of wear: who is not within the rating, and how the wear is spread. Rows for API, page and export alike."""

from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Sequence
from datetime import datetime
from functools import partial
from operator import itemgetter
from typing import Annotated, Any
from uuid import UUID

from msgspec import Meta, Struct

from service import fleet_messages as messages
from service import problems
from service.core import limits, reported, states
from service.core.cycles import Wear
from service.core.entries import CavityId, Definition, HouseRule
from service.core.limits import RANK, LimitLine
from service.core.reported import Subject
from service.messages import PlaceView
from service.store import database, fleet, ledger
from service.store.database import Connection
from service.store.fleet import WornRow
from service.workflow import benches, past

PAGE = 500
_AT_ONCE = 20
"""Connectors read at once for their retainers of which nothing is known: a page of the usual size."""
PastCursor = past.PastCursor
"""Where the next page as of a past moment begins."""
_WEARS = {rank: wear for wear, rank in RANK.items()}


class Filters(Struct, frozen=True, kw_only=True):
    """Which part of the fleet is wanted; what is said combines. `bench` is the one that recorded last at the connector."""

    wear: tuple[Wear, ...] = ()
    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None
    bench: str | None = None
    shop: str | None = None


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of the list of connectors begins."""

    rank: Annotated[int, Meta(ge=0, le=32_767)]
    urgency: Annotated[int, Meta(ge=0, le=2_147_483_647)]
    connector: UUID


class CavityCursor(Struct, frozen=True, array_like=True):
    """Where the next page of the list of cavities begins."""

    rank: Annotated[int, Meta(ge=0, le=32_767)]
    urgency: Annotated[int, Meta(ge=0, le=2_147_483_647)]
    connector: UUID
    cavity: CavityId


class WearCursor(Struct, frozen=True, array_like=True):
    """Where the next page of groups begins."""

    over: Annotated[int, Meta(ge=0, le=2**62)]
    spent: Annotated[int, Meta(ge=0, le=2**62)]
    nearing: Annotated[int, Meta(ge=0, le=2**62)]
    name: Annotated[str, Meta(max_length=200, pattern="^[^\\x00]*$(?!\\n)")]


async def connectors(
    connection: Connection, filters: Filters, after: Cursor | None, limit: int
) -> tuple[tuple[messages.CycleLimitLine, ...], Cursor | None]:
    """Connectors that are not within their rating, worst first, and the cursor of the next page."""
    async with database.report(connection):
        start = (after.rank, after.urgency, after.connector) if after else (None, None, None)
        meant = await benches.meant(connection, filters.bench, filters.shop)
        told = (*start, limit + 1, _ranks(filters), *_places(filters))
        rows = await of_benches(connection, "cycle_limits", told, meant, ("rank", "urgency", "connector"), limit + 1)
    lines = tuple(_line(row["connector"], row["serial"], _limit_line(row)) for row in rows[:limit])
    last = rows[limit - 1] if len(rows) > limit else None
    return lines, Cursor(last["rank"], last["urgency"], last["connector"]) if last else None


async def cavities(
    connection: Connection,
    definitions: ledger.Definitions,
    house: HouseRule,
    filters: Filters,
    after: CavityCursor | None,
    limit: int,
) -> tuple[tuple[messages.CavityLimitLine, ...], CavityCursor | None]:
    """Cavities that are not within their rating, worst first, and the cursor of the next page.

    Those of which nothing is known come last, read from the states of connectors that have such.
    """
    async with database.report(connection):
        meant = await benches.meant(connection, filters.bench, filters.shop)
        pairs = await _worn(connection, filters, meant, after, limit + 1)
        if len(pairs) <= limit and (not filters.wear or Wear.UNKNOWN in filters.wear):
            rest = limit + 1 - len(pairs)
            read = partial(_with_unknown, connection, _places(filters), meant)
            pairs += await _unknown(read, lambda wanted: definitions.fetch(connection, wanted), house, after, rest)
    last = pairs[limit - 1][1] if len(pairs) > limit else None
    following = CavityCursor(last.rank, last.urgency, last.connector, last.cavity) if last else None
    return tuple(_cavity(serial, row) for serial, row in pairs[:limit]), following


async def of_benches(
    connection: Connection,
    statement: str,
    told: Sequence[object],
    meant: Sequence[str] | None,
    order: Sequence[str],
    limit: int,
) -> list[Any]:
    """The first rows of a statement whose last filter is a bench, in its order, for any of these benches (None: for all).

    Each bench is asked for by itself: in the order of a list only the rows of one can be read off an index.
    """
    if meant is None:
        return await database.fetch(connection, statement, *told, None)
    rows = [row for each in meant for row in await database.fetch(connection, statement, *told, each)]
    return sorted(rows, key=itemgetter(*order))[:limit]


def _places(filters: Filters) -> tuple[str | None, ...]:
    return filters.asset, filters.zone, filters.position, filters.family, filters.part_number


def _ranks(filters: Filters) -> list[int] | None:
    return [RANK[each] for each in filters.wear] or None


async def _worn(
    connection: Connection, filters: Filters, meant: Sequence[str] | None, after: CavityCursor | None, limit: int
) -> list[tuple[str, WornRow]]:
    start = (after.rank, after.urgency, after.connector, after.cavity) if after else (None, None, None, None)
    told = (*start, limit, _ranks(filters), *_places(filters))
    order = ("rank", "urgency", "connector", "cavity")
    rows = await of_benches(connection, "worn_cavities", told, meant, order, limit)
    return [(row["serial"], WornRow(*(row[name] for name in WornRow.__struct_fields__))) for row in rows]


async def _with_unknown(
    connection: Connection, places: tuple[str | None, ...], meant: Sequence[str] | None, start: UUID
) -> list[Any]:
    told = (start, _AT_ONCE, *places)
    return await of_benches(connection, "connectors_with_unknown", told, meant, ("connector",), _AT_ONCE)


async def _unknown(
    read: Callable[[UUID], Awaitable[list[Any]]],
    defined: Callable[[Iterable[tuple[UUID, int]]], Awaitable[dict[tuple[UUID, int], Definition]]],
    house: HouseRule,
    after: CavityCursor | None,
    limit: int,
) -> list[tuple[str, WornRow]]:
    begun = after if after is not None and after.rank == RANK[Wear.UNKNOWN] else None
    start = begun.connector if begun else UUID(int=0)
    pairs: list[tuple[str, WornRow]] = []
    while len(pairs) < limit:
        rows = await read(start)
        known = await defined((row["connector"], row["definition"]) for row in rows)
        for row in rows:
            definition = known[row["connector"], row["definition"]]
            subject = reported.judge(definition, states.decode(row["state"]), row["bench"], house)
            lines = [each for each in shown(subject) if each.rank == RANK[Wear.UNKNOWN]]
            if begun is not None and row["connector"] == begun.connector:
                names = [each.cavity for each in lines]
                lines = lines[names.index(begun.cavity) + 1 if begun.cavity in names else 0 :]
            pairs += [(row["serial"], each) for each in lines]
        if len(rows) < _AT_ONCE:
            break
        start = UUID(int=rows[-1]["connector"].int + 1)
    return pairs[:limit]


def shown(subject: Subject) -> list[WornRow]:
    """The lines of a connector's cavities that are not within their rating, in the order of the insert."""
    if subject.state.whole.retired:
        return []
    pairs = zip(subject.state.cavities, subject.standings, strict=True)
    rows = [limits.judged(subject.definition, each, stands) for each, stands in pairs if stands.wear is not Wear.WITHIN]
    return fleet.worn_rows(subject.definition.connector, rows, subject.where)


def _limit_line(row: Any) -> LimitLine:
    return LimitLine(*(row[name] for name in LimitLine.__struct_fields__))


def _line(connector: UUID, serial: str, line: LimitLine) -> messages.CycleLimitLine:
    return messages.CycleLimitLine(
        connector=connector,
        serial=serial,
        part_number=line.part_number,
        family=line.family,
        place=PlaceView(asset=line.asset, zone=line.zone, position=line.position),
        bench=line.bench,
        wear=Wear(line.wear),
        limiting_cavity=line.limiting_cavity,
        cycles_begun=line.cycles_begun,
        rating=line.rating,
        rating_verified=line.rating_verified,
        left=line.remaining,
        worn_cavities=line.worn_cavities,
        unknown_cavities=line.unknown_cavities,
    )


def _cavity(serial: str, row: WornRow) -> messages.CavityLimitLine:
    return messages.CavityLimitLine(
        connector=row.connector,
        serial=serial,
        part_number=row.part_number,
        family=row.family,
        place=PlaceView(asset=row.asset, zone=row.zone, position=row.position),
        bench=row.bench,
        cavity=row.cavity,
        wear=_WEARS[row.rank],
        retainer_life=row.retainer_life,
        occupied=row.occupied,
        cycles_begun=row.cycles_begun,
        cycles_completed=row.cycles_completed,
        rating=row.rating,
        rating_verified=row.rating_verified,
        left=row.remaining,
    )


async def past_connectors(
    connection: Connection, house: HouseRule, filters: Filters, at: datetime, after: PastCursor | None, limit: int
) -> tuple[tuple[messages.CycleLimitLine, ...], PastCursor | None]:
    """As `connectors`, of a past moment: what the ledger held then, in the order of the connectors' ids."""
    async with database.report(connection):
        wanted = _wanted(filters, await benches.meant(connection, filters.bench, filters.shop))

        def lines(subject: Subject) -> list[LimitLine]:
            line = subject.line
            return [line] if line is not None and wanted(subject, Wear(line.wear)) else []

        page = await past.page(connection, house, (filters.family, filters.part_number), at, after, limit, lines)
    return tuple(_line(known.connector, serial, line) for serial, known, line in page.lines), page.following


async def past_cavities(
    connection: Connection, house: HouseRule, filters: Filters, at: datetime, after: PastCursor | None, limit: int
) -> tuple[tuple[messages.CavityLimitLine, ...], PastCursor | None]:
    """As `cavities`, of a past moment: what the ledger held then, in the order of the connectors' ids."""
    async with database.report(connection):
        wanted = _wanted(filters, await benches.meant(connection, filters.bench, filters.shop))

        def lines(subject: Subject) -> list[WornRow]:
            return [each for each in shown(subject) if wanted(subject, _WEARS[each.rank])]

        page = await past.page(connection, house, (filters.family, filters.part_number), at, after, limit, lines)
    return tuple(_cavity(serial, row) for serial, _, row in page.lines), page.following


def _wanted(filters: Filters, meant: Sequence[str] | None) -> Any:
    places = [(name, getattr(filters, name)) for name in ("asset", "zone", "position", "family", "part_number")]
    places = [(name, value) for name, value in places if value is not None]

    def wanted(subject: Subject, wear: Wear) -> bool:
        return (
            (not filters.wear or wear in filters.wear)
            and all(getattr(subject.where, name) == value for name, value in places)
            and (meant is None or subject.where.bench in meant)
        )

    return wanted


async def each_connector(
    connection: Connection, house: HouseRule, filters: Filters, as_of: datetime | None
) -> AsyncIterator[messages.CycleLimitLine]:
    """Every line of the list of connectors in one snapshot, page after page, for a stream."""
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        after: Any = None
        while True:
            if as_of is None:
                page, after = await connectors(connection, filters, after, PAGE)
            else:
                page, after = await past_connectors(connection, house, filters, as_of, after, PAGE)
            for each in page:
                yield each
            if after is None:
                return


async def each_cavity(
    connection: Connection,
    definitions: ledger.Definitions,
    house: HouseRule,
    filters: Filters,
    as_of: datetime | None,
) -> AsyncIterator[messages.CavityLimitLine]:
    """Every line of the list of cavities in one snapshot, page after page, for a stream."""
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        after: Any = None
        while True:
            if as_of is None:
                page, after = await cavities(connection, definitions, house, filters, after, PAGE)
            else:
                page, after = await past_cavities(connection, house, filters, as_of, after, PAGE)
            for each in page:
                yield each
            if after is None:
                return


_NARROWS: dict[str, tuple[str, ...]] = {
    "asset": ("asset",),
    "asset_type": (),
    "zone": ("zone", "asset"),
    "position": ("position",),
    "family": ("family",),
    "part_number": ("part_number", "family"),
    "bench": ("bench", "shop"),
    "shop": ("shop",),
}
"""By what the groups can be narrowed down: sums are kept per group, not for every crossing of two."""


async def wear(
    connection: Connection, by: messages.By, filters: Filters, after: WearCursor | None, limit: int
) -> tuple[messages.WearReport, WearCursor | None]:
    """Cavities per wear, counted together by something, the worst groups first. Its `next` is left to the caller.

    Raises the problem for a filter that the sums can't answer.
    """
    _check_narrowing(by, filters)
    start = (after.over, after.spent, after.nearing, after.name) if after else (None, None, None, None)
    async with database.report(connection):
        if by == "shop":
            rows = await database.fetch(connection, "wear_of_shops", filters.shop, limit + 1, *start)
        elif by == "asset_type":
            rows = await database.fetch(connection, "wear_of_asset_types", limit + 1, *start)
        else:
            dimension, parent, names = await _groups(connection, by, filters)
            rows = await database.fetch(connection, "wear_groups", dimension, parent, names, limit + 1, *start)
        total = await database.fetch(connection, "wear_groups", "fleet", None, None, 1, None, None, None, None)
    report = messages.WearReport(
        by=by,
        groups=tuple(_group(row) for row in rows[:limit]),
        total=_group(total[0]) if total else messages.WearGroup(name=None, **dict.fromkeys(_COUNTS, 0), cavities=0),
        next=None,
    )
    last = rows[limit - 1] if len(rows) > limit else None
    return report, WearCursor(last["over"], last["spent"], last["nearing"], last["name"]) if last else None


_COUNTS = ("connectors", "within", "nearing", "spent", "over", "unknown", "discrepancies")


def _check_narrowing(by: messages.By, filters: Filters) -> None:
    given = [name for name in Filters.__struct_fields__ if getattr(filters, name)]
    wrong = [name for name in given if name not in _NARROWS[by]]
    if wrong:
        possible = " and ".join(_NARROWS[by]) or "nothing"
        text = f"wear by {by} can be narrowed down by {possible}, not by {' or '.join(wrong)}"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, *((f"?{name}", text) for name in wrong))


async def _groups(
    connection: Connection, by: messages.By, filters: Filters
) -> tuple[str, str | None, Sequence[str] | None]:
    """The dimension, what its groups have to be parts of, and their names, where these are limited."""
    if by == "bench":
        return by, None, await benches.meant(connection, filters.bench, filters.shop)
    own = getattr(filters, by)
    names = None if own is None else [own]
    if by == "zone" and filters.asset is not None:
        return "zone of asset", filters.asset, names
    return by, filters.family if by == "part_number" else None, names


def _group(row: Any) -> messages.WearGroup:
    counts = {name: row[name] for name in _COUNTS}
    cavities_ = sum(counts[each.value] for each in reported.WEARS)
    return messages.WearGroup(name=row["name"] or None, cavities=cavities_, **counts)


async def cycles(connection: Connection, family: str | None) -> messages.CyclesReport:
    """How many cavities have begun how many cycles, by family and rating."""
    rows = await database.fetch(connection, "cycles_groups", family)
    return messages.CyclesReport(
        groups=tuple(
            messages.CyclesGroup(
                family=row["family"] or None,
                rating=row["rating"] or None,
                rating_verified=row["rating_verified"],
                cycles_begun=row["cycles_begun"],
                cavities=row["cavities"],
            )
            for row in rows
        )
    )
