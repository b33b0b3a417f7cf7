"""A census of the fleet: what the outlook has to know of each connector, read in one snapshot into arrays."""

from array import array
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any, TypeAlias
from uuid import UUID

import numpy as np
from msgspec import Struct

from service.core import cycles, reworks, usage
from service.core.outlook import fleet
from service.core.outlook.arrays import Counts, Flags, Floats, Integers
from service.core.outlook.fleet import UNRATED, Fleet
from service.core.outlook.prior import Exposure
from service.core.reworks import Acts, Books
from service.core.usage import Usage
from service.store import columns, database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow.roll import EPOCH, Definitions, Heads, Numbers, microseconds

Progress: TypeAlias = Callable[[int], None]

_SECOND_US = 1_000_000
_DAY_US = 86_400 * _SECOND_US
_AT_ONCE = 5_000
_PLACEMENT, _RENEWAL, _RETIREMENT = 0, 1, 2
_ACTS = {
    "connector": columns.UUID,
    "at": columns.TIME,
    "work_order": columns.INTEGER,
    "cavity": columns.INTEGER,
    "slip": columns.FLAG,
}
_TURNS = {
    "connector": columns.UUID,
    "at": columns.TIME,
    "kind": columns.SMALL,
    "asset": columns.INTEGER,
    "cavity": columns.INTEGER,
}
_USAGE = {
    "asset": columns.INTEGER,
    "day": columns.INTEGER,
    "flight_hours": columns.FLOAT,
    "flight_cycles": columns.FLOAT,
}


class Group(Struct, frozen=True):
    """Connectors that are expected to be reworked alike: of one family, in one zone of one type of asset, against one exposure."""

    family: str | None
    zone: str | None
    exposure: Exposure
    asset_type: str | None = None


class Part(Struct, frozen=True):
    """What is ordered as one thing."""

    part_number: str | None
    family: str | None


class Census(Struct, frozen=True, eq=False):
    """n connectors in no order, with the `fleet` that they are, retired ones included.

    `group` numbers of the fleet mean `groups`, `part` (n,) means `parts`, `arrangement` (n,) means `names` of cavities. `rating`
    (n,) is 0 where there is none. `days_seen` (n,) since the book of each begins. `unreadable`: states left out, to be rebuilt.
    """

    connectors: columns.Keys
    entries: Integers
    fleet: Fleet
    groups: tuple[Group, ...]
    part: Integers
    parts: tuple[Part, ...]
    arrangement: Integers
    names: tuple[tuple[str, ...], ...]
    rating: Integers
    verified: Flags
    retired: Flags
    days_seen: Floats
    unreadable: int
    usage_from: date | None
    usage_to: date | None

    def id(self, connector: int) -> UUID:
        """The id of a connector by its number."""
        return UUID(bytes=self.connectors[connector : connector + 1].tobytes())


async def take(
    connection: Connection,
    exposure: Exposure,
    now: datetime,
    chosen: list[UUID] | None = None,
    progress: Progress = lambda _done: None,
) -> Census:
    """The fleet, or the chosen connectors of it, as it is now, rework counted against this exposure where it is stated.

    Call it in a transaction that sees one snapshot.
    """
    await database.fetch(connection, "census_patience")
    definitions = Definitions()
    await _each(connection, "census_definitions", chosen, definitions.add, lambda _: None)
    heads = Heads(definitions)
    await _each(connection, "census_heads", chosen, heads.add, progress)
    acts = await columns.fetch(connection, "census_acts", _ACTS, chosen)
    turns = await columns.fetch(connection, "census_turns", _TURNS, chosen)
    assets = None if chosen is None else await _assets(connection, chosen)
    flown = await columns.fetch(connection, "census_usage", _USAGE, assets)
    names = {name for each in definitions.names for name in each} | heads.assets.keys()
    numbers = {row["name"]: row["number"] for row in await database.fetch(connection, "census_numbers", list(names))}
    return _Reckoning(definitions, heads, numbers, exposure, microseconds(now)).census(acts, turns, flown)


async def _each(
    connection: Connection, statement: str, chosen: list[UUID] | None, add: Callable[[list[Any]], None], tell: Progress
) -> None:
    done = 0
    cursor = await connection.cursor(SQL[statement], chosen)
    while rows := await cursor.fetch(_AT_ONCE):
        add(rows)
        done += len(rows)
        tell(done)


async def _assets(connection: Connection, chosen: list[UUID]) -> list[str]:
    rows = await database.fetch(connection, "census_assets", chosen)
    return [row["asset"] for row in rows if row["asset"] is not None]


class _Reckoning:
    """Puts together what was read."""

    def __init__(
        self, definitions: Definitions, heads: Heads, numbers: dict[str, int], exposure: Exposure, now_us: int
    ) -> None:
        self.heads, self.numbers, self.exposure, self.now_us = heads, numbers, exposure, now_us
        self.figures, self.names = list(definitions.figure), definitions.names
        self.connectors: columns.Keys = np.frombuffer(bytes(heads.ids), columns.UUID)
        self.count = self.connectors.size
        self.starts = np.concatenate([[0], np.cumsum(_whole(heads.sizes))]).astype(np.int64)
        self.arrangement = _whole(heads.arrangements)
        flags = _whole(heads.flags)
        self.retired: Flags = (flags & 1) > 0
        self.empty: Flags = (flags & 2) > 0
        self.cavity_numbers, self.table = _cavity_table(self.names, numbers)

    def census(self, acts: dict[str, Any], turns: dict[str, Any], flown: dict[str, Any]) -> Census:
        """All together."""
        heads = self.heads
        acts, turns = self._placed(acts), self._placed(turns)
        since = _whole(heads.registered)
        for each in (acts, turns):
            np.minimum.at(since, each["connector"], each["at"])
        until = np.full(self.count, self.now_us)
        ends = turns["kind"] == _RETIREMENT
        np.minimum.at(until, turns["connector"][ends], turns["at"][ends])
        until = np.maximum(np.where(self.retired, until, self.now_us), since)
        left, known, fitted = self._standings()
        done = reworks.counted(self._acts(acts), self._books(turns, since, fitted))
        book, assets = self._usage(flown)
        exposed = self._exposed(turns, book, assets, since, until, _any(~known, self.starts))
        pairs = Numbers()
        group = self._groups(exposed.flying, pairs)
        days = flown["day"]
        whole = Fleet(
            starts=self.starts,
            group=group,
            events=done.events,
            full_events=done.full_events,
            exposure=exposed.units,
            unseen=exposed.unseen,
            pace=exposed.pace,
            left=left,
            known=known,
            touches=done.touches,
        )
        rating = np.array([value for value, _, _ in self.figures], dtype=np.int64)
        verified = np.array([each for _, _, each in self.figures], dtype=bool)
        figures = _whole(heads.figures)
        return Census(
            connectors=self.connectors,
            entries=_whole(heads.entries),
            fleet=whole,
            groups=tuple(pairs),
            part=_whole(heads.parts),
            parts=tuple(Part(*each) for each in heads.part),
            arrangement=self.arrangement,
            names=tuple(self.names),
            rating=rating[figures] if self.count else np.empty(0, dtype=np.int64),
            verified=verified[figures] if self.count else np.empty(0, dtype=bool),
            retired=self.retired,
            days_seen=(until - since) / _DAY_US,
            unreadable=heads.unreadable,
            usage_from=_date(days.min()) if days.size else None,
            usage_to=_date(days.max()) if days.size else None,
        )

    def _placed(self, rows: dict[str, Any]) -> dict[str, Any]:
        """Rows of connectors that are in the census, by their number in it."""
        connector = columns.places(self.connectors, rows["connector"])
        there = connector >= 0
        return {name: (connector if name == "connector" else rows[name])[there] for name in rows}

    def _standings(self) -> tuple[Counts, Flags, Integers]:
        """Of each cavity what is left and whether it is known; of each connector how many are not known to be empty."""
        heads = self.heads
        standing, figure = _whole(heads.standings), np.repeat(_whole(heads.figures), np.diff(self.starts))
        ways = max(len(self.figures), 1)
        pair = standing * ways + figure
        there = np.zeros(max(len(heads.standing), 1) * ways, dtype=bool)
        there[pair] = True
        remaining = np.zeros(there.size, dtype=np.int16)
        standings = list(heads.standing)
        for each in np.flatnonzero(there).tolist():
            remaining[each] = allowed(standings[each // ways], self.figures[each % ways])
        known = np.array([each[0] for each in standings], dtype=bool)
        full = np.array([each[1] is not False for each in standings], dtype=np.int64)
        if not standings:
            return remaining[:0], known, np.zeros(self.count, dtype=np.int64)
        return remaining[pair], known[standing], _sum(full[standing], self.starts)

    def _acts(self, acts: dict[str, Any]) -> Acts:
        cavity = self._cavity(acts["connector"], acts["cavity"])
        there = cavity >= 0
        names = ("connector", "at", "work_order", "slip")
        connector, at, work_order, slip = (acts[name][there] for name in names)
        return Acts(connector, cavity[there], at, work_order, slip)

    def _cavity(self, connector: Integers, number: Integers) -> Integers:
        """The place in the fleet of a connector's cavity by the number of its name; -1 where it has none of that name."""
        if not self.cavity_numbers.size:
            return np.full(connector.size, -1)
        code = np.minimum(np.searchsorted(self.cavity_numbers, number), self.cavity_numbers.size - 1)
        place = self.table[self.arrangement[connector], code]
        there = (self.cavity_numbers[code] == number) & (place >= 0)
        return np.where(there, self.starts[connector] + place, -1)

    def _books(self, turns: dict[str, Any], since: Integers, fitted: Integers) -> Books:
        renewal = turns["kind"] == _RENEWAL
        connector, at, name = (turns[each][renewal] for each in ("connector", "at", "cavity"))
        every = name == 0
        many = np.where(every, np.diff(self.starts)[connector], 1)
        owner = np.repeat(np.arange(connector.size), many)
        place = np.arange(owner.size) - (np.cumsum(many) - many)[owner] + self.starts[connector][owner]
        cavity = np.where(every[owner], place, self._cavity(connector, name)[owner])
        there = cavity >= 0
        return Books(self.starts, since, fitted, self.empty, cavity[there], at[owner][there])

    def _usage(self, flown: dict[str, Any]) -> tuple[Usage, Integers]:
        """The time lines of assets of which this exposure is stated, and the numbers of their names."""
        nothing = np.full(flown["day"].size, np.nan)
        amount = flown[self.exposure.value] if self.exposure is not Exposure.DAYS else nothing
        told = ~np.isnan(amount)
        assets, asset = np.unique(flown["asset"][told], return_inverse=True)
        return usage.read(asset, flown["day"][told], amount[told], assets.size), assets

    def _exposed(
        self,
        turns: dict[str, Any],
        book: Usage,
        assets: Integers,
        since: Integers,
        until: Integers,
        dark: Flags,
    ) -> "_Exposed":
        begins, ends = since / _DAY_US, until / _DAY_US
        placed = turns["kind"] == _PLACEMENT
        connector, at = turns["connector"][placed], turns["at"][placed] / _DAY_US
        asset = _asset(assets, turns["asset"][placed], book)
        here = self._here(assets, book)
        flying = here >= 0
        flying[connector[asset == _NO_USAGE]] = False
        stays = usage.stays(connector, np.where(asset < 0, -1, asset), at, ends)
        flown = usage.exposures(book, stays, self.count)
        at_asset = np.where(flying, here, 0)
        unseen = np.where(dark, np.nan, 0.0)
        told = dark & flying
        if told.any():
            unseen[told] = usage.before(book, at_asset[told], begins[told])
        return _Exposed(
            flying=flying,
            units=np.where(flying, np.maximum(flown, 0.0), ends - begins),
            pace=np.where(flying, book.pace[at_asset] if assets.size else 1.0, 1.0),
            unseen=unseen,
        )

    def _here(self, assets: Integers, book: Usage) -> Integers:
        """The asset on which each connector is now, by its number in the usage; negative where it has none there."""
        numbers = np.array([self.numbers[name] for name in self.heads.assets] or [0], dtype=np.int64)
        at = _whole(self.heads.at_assets)
        return np.where(at >= 0, _asset(assets, numbers, book)[np.maximum(at, 0)], _NOWHERE)

    def _groups(self, flying: Flags, pairs: Numbers) -> Integers:
        """The number of each connector's group; the groups themselves become the keys of `pairs`."""
        places = list(self.heads.place)
        code = _whole(self.heads.places) * 2 + flying
        codes, group = np.unique(code, return_inverse=True)
        for each in codes.tolist():
            family, zone, asset_type = places[each // 2]
            pairs[Group(family, zone, self.exposure if each % 2 else Exposure.DAYS, asset_type)]
        return group


class _Exposed(Struct, frozen=True, eq=False):
    """Of each connector: whether it is counted against usage, its exposure, units in a day to come, exposure before its book."""

    flying: Flags
    units: Floats
    pace: Floats
    unseen: Floats


_NOWHERE, _NO_USAGE = -1, -2


def _asset(assets: Integers, number: Integers, book: Usage) -> Integers:
    """The place of assets in the usage; `_NOWHERE` for none, `_NO_USAGE` where it is not stated or says no pace."""
    if not assets.size:
        return np.where(number == 0, _NOWHERE, _NO_USAGE)
    at = np.minimum(np.searchsorted(assets, number), assets.size - 1)
    told = (assets[at] == number) & ~np.isnan(book.pace[at])
    return np.where(number == 0, _NOWHERE, np.where(told, at, _NO_USAGE))


def _cavity_table(names: list[tuple[str, ...]], numbers: dict[str, int]) -> tuple[Integers, Integers]:
    """The numbers of all names of cavities, sorted, and by arrangement and name the place of the cavity, -1 for none."""
    of = sorted({numbers[name] for each in names for name in each})
    code = {number: place for place, number in enumerate(of)}
    table = np.full((len(names), len(of)), -1, dtype=np.int64)
    for row, each in enumerate(names):
        for place, name in enumerate(each):
            table[row, code[numbers[name]]] = place
    return np.array(of, dtype=np.int64), table


def allowed(standing: tuple[bool, bool | None, int, int, int], figure: tuple[int, bool, bool]) -> int:
    """Insertions that the rating still allows, at most where the count is a lower bound."""
    _, occupied, *counts = standing
    rating, first_counts, _ = figure
    if not rating:
        return UNRATED
    limits = cycles.Limits(rating, 0, first_counts)
    stands = cycles.standing(cycles.Counts(*counts), occupied, known=True, figures=limits)
    return min(stands.left or 0, UNRATED - 1)


def _sum(values: Integers, starts: Integers) -> Integers:
    totals = np.concatenate([[0], np.cumsum(values)])
    return np.asarray(totals[starts[1:]] - totals[starts[:-1]], dtype=np.int64)


def _any(values: Flags, starts: Integers) -> Flags:
    return _sum(values.astype(np.int64), starts) > 0


def _whole(values: "array[int]") -> Integers:
    return np.array(values, dtype=np.int64)


def _date(day: int) -> date:
    return (EPOCH + timedelta(days=int(day))).date()


def limiting(census: Census) -> list[str | None]:
    """The cavity of each connector that has least left, the first of several; None where it has none that is rated."""
    whole = census.fleet
    widest = int(whole.cavities.max(initial=0)) + 1
    local = np.arange(whole.left.size) - np.repeat(whole.starts[:-1], whole.cavities)
    filled = np.flatnonzero(whole.cavities > 0)
    found: list[str | None] = [None] * whole.connectors
    if not filled.size:
        return found
    best = np.minimum.reduceat(whole.left.astype(np.int64) * widest + local, whole.starts[filled])
    for connector, each in zip(filled.tolist(), best.tolist(), strict=True):
        left, place = divmod(each, widest)
        found[connector] = None if left == UNRATED else census.names[census.arrangement[connector]][place]
    return found


def active(census: Census) -> tuple[Integers, Fleet]:
    """The connectors that are not retired, by number, about in the order of their ids, and the fleet of them."""
    chosen = np.flatnonzero(~census.retired)
    # In this order an index takes them up in half the time.
    chosen = chosen[np.argsort(columns.halves(census.connectors[chosen]), kind="stable")]
    return chosen, fleet.select(census.fleet, chosen)
