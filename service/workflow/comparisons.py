"""The questions of the signals, each from what the ledger counts to what the core makes of it. One snapshot a question."""

import asyncio
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from msgspec import Struct

from service.core.outlook import arrays
from service.core.outlook.arrays import Floats, Integers
from service.core.signals import exceedance, false_discovery, seating, trend
from service.core.signals.verdict import Verdict
from service.signal_messages import About, Role
from service.store import database
from service.store.database import Connection

FALSE_RATE = 0.1
PROGRAMME_ASSETS = 3
"""A work order carried out on so many assets is a programme: planned work, not trouble."""
AGAIN_DAYS = 7
"""A cavity that is opened again so many days later has come back; before that it is still the same trouble."""
MOST_UNITS = 300
"""Benches, tools, contacts or people compared at a time; each takes its own fit. Those with the most tests."""
MOST_SERIES = 2_000
"""Retainers of one kind whose readings are compared."""
_YEAR_DAYS = 365.25


class Asked(Struct, frozen=True, kw_only=True):
    """A question about a stretch of time and a part of the fleet."""

    about: About
    since: datetime
    until: datetime
    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None

    @property
    def part(self) -> tuple[str | None, ...]:
        """The part of the fleet as statements take it."""
        return (self.asset, self.zone, self.position, self.family, self.part_number)


class Unit(Struct, frozen=True):
    """What is compared: a connector, a position, a tool in one of its roles; and what it is compared within."""

    name: str
    group: str | None = None
    role: Role | None = None
    connector: UUID | None = None

    @property
    def key(self) -> tuple[str, str]:
        """What tells it from the others."""
        return (str(self.connector) if self.connector is not None else self.name, self.role or "")


class Table(Struct, frozen=True, eq=False):
    """All units of one question and, of each, (n,): what was counted and what the core says of it.

    `silent` further units had no event; `observed_in_all` and `of_in_all` count them, too. `left_out` says what was not counted.
    """

    units: Sequence[Unit]
    observed: Integers
    of: Floats
    expected: Floats
    effect: Floats
    low: Floats
    high: Floats
    detectable: Floats
    p_value: Floats
    q_value: Floats
    verdict: Integers
    left_out: tuple[str, ...] = ()
    silent: int = 0
    silent_of: float = 0.0


async def answered(connection: Connection, asked: Asked) -> Table:
    """The whole table of one question. What the core computes is done beside the loop."""
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        await database.fetch_one(connection, "signal_room")
        read = await _READERS.get(asked.about, _seatings)(connection, asked)
    return await asyncio.to_thread(read)


_Computing = Callable[[], Table]


async def _reworked(connection: Connection, asked: Asked) -> _Computing:
    within = (asked.since, asked.until, *asked.part)
    reworked = await database.fetch(connection, "signal_reworked", *within, PROGRAMME_ASSETS)
    exposed = await database.fetch(connection, "signal_exposed", *within)
    if asked.about == "connector":
        return lambda: _by_connector(reworked, exposed)
    return lambda: _by_kind(reworked, exposed, asked.about)


def _by_connector(reworked: Sequence[Any], exposed: Sequence[Any]) -> Table:
    """Connectors against those of their family; the many that nobody opened are only counted."""
    events = [row for row in reworked if row["events"]]
    families, group = _numbered([row["family"] for row in events])
    days = _floats(events, "days")
    number = {family: each for each, family in enumerate(families)}
    others, together, connectors = np.zeros(len(families)), 0.0, 0
    for row in exposed:
        together, connectors = together + row["days"], connectors + row["connectors"]
        if row["family"] in number:
            others[number[row["family"]]] += row["days"]
    np.subtract.at(others, group, days)
    silent = exceedance.Silent(max(connectors - len(events), 0), np.maximum(others, 0.0))
    units = [Unit(row["serial"], row["family"], connector=row["connector"]) for row in events]
    found = exceedance.rates(_integers(events, "events"), days, group, FALSE_RATE, silent=silent)
    table = _table(units, _integers(events, "events"), days / _YEAR_DAYS, found, _planned(reworked))
    return _with_silent(table, silent.units, max(together - float(days.sum()), 0.0) / _YEAR_DAYS)


def _by_kind(reworked: Sequence[Any], exposed: Sequence[Any], about: str) -> Table:
    """Families or part numbers: how many of their connectors were opened. Connectors count once, for they differ by nature."""
    names, kind = _numbered([row[about] for row in exposed])
    days = arrays.total(_floats(exposed, "days"), kind, len(names))
    place = {name: each for each, name in enumerate(names)}
    events = np.zeros(len(names), dtype=np.int64)
    for row in reworked:
        if row["events"] and row[about] in place:
            events[place[row[about]]] += 1
    units = [Unit(name if name is not None else "not known") for name in names]
    found = exceedance.rates(events, days, np.zeros(len(names), dtype=np.int64), FALSE_RATE)
    return _table(units, events, days / _YEAR_DAYS, found, _planned(reworked))


def _planned(reworked: Sequence[Any]) -> tuple[str, ...]:
    planned = sum(row["planned"] for row in reworked)
    if not planned:
        return ()
    order = f"a work order that was carried out on {PROGRAMME_ASSETS} assets or more"
    return (f"{planned:,} days on which a connector was opened under {order}: a programme, not trouble.",)


async def _places(connection: Connection, asked: Asked) -> _Computing:
    rows = await database.fetch(
        connection, "signal_places", asked.since, asked.until, *asked.part, PROGRAMME_ASSETS, AGAIN_DAYS
    )
    counted = "chronic" if asked.about == "chronic" else "reworked"

    def compute() -> Table:
        events, days = _integers(rows, counted), _floats(rows, "days")
        found = exceedance.rates(events, days, np.zeros(len(rows), dtype=np.int64), FALSE_RATE)
        left_out = (
            f"Work under an order that was carried out on {PROGRAMME_ASSETS} assets or more: a programme, not trouble.",
            "Connectors while they were on no asset or at no stated position.",
        )
        return _table([Unit(row["place"]) for row in rows], events, days / _YEAR_DAYS, found, left_out)

    return compute


async def _seatings(connection: Connection, asked: Asked) -> _Computing:
    rows = await database.fetch(connection, "signal_seatings", asked.since, asked.until, asked.about, *asked.part)
    return (lambda: _by_tool(rows)) if asked.about == "tool" else (lambda: _by_share(rows, asked.about))


_UNTESTED = "Insertions that were not tested, or whose test says neither held nor level."


def _by_tool(rows: Sequence[Any]) -> Table:
    """Tools in their roles, within role, contact size, family and bench: who shares a drawer with a bad tool is not to blame."""
    strata, stratum = _numbered([(row["role"], row["contact_size"], row["family"], row["bench"]) for row in rows])
    uses, use = _numbered([(row["role"], row["name"]) for row in rows])
    insertions = np.zeros((len(uses), len(strata)), dtype=np.int64)
    failures = insertions.copy()
    np.add.at(insertions, (use, stratum), _integers(rows, "tests"))
    np.add.at(failures, (use, stratum), _integers(rows, "failures"))
    kept, left_out = _most(insertions.sum(axis=1), "uses of tools")
    found = seating.tools(insertions[kept], failures[kept], FALSE_RATE)
    units = [Unit(uses[each][1], role=uses[each][0]) for each in kept]
    return Table(
        units,
        found.failures,
        found.insertions.astype(np.float64),
        found.expected,
        found.odds_ratio,
        found.low,
        found.high,
        found.detectable,
        found.p_value,
        found.adjusted,
        found.verdict,
        (_UNTESTED, "Insertions of which the tool is not stated.", *left_out),
    )


def _by_share(rows: Sequence[Any], about: str) -> Table:
    """Benches, contacts or people: the share of their tested insertions that failed. Contacts within a contact size."""
    sizes = [row["contact_size"] if about == "batch" else None for row in rows]
    groups, group = _numbered(sizes)
    tests, failures = _integers(rows, "tests"), _integers(rows, "failures")
    kept, left_out = _most(tests, "units")
    tests, failures, group = tests[kept], failures[kept], group[kept]
    found = seating.units(failures, tests, group, FALSE_RATE)
    units = [Unit(rows[each]["name"], _size(groups[at])) for each, at in zip(kept, group, strict=True)]
    return _table(units, failures, tests.astype(np.float64), found, (_UNTESTED, *left_out))


def _size(contact_size: str | None) -> str | None:
    return f"contact size {contact_size}" if contact_size is not None else None


def _most(tests: Integers, what: str) -> tuple[Integers, tuple[str, ...]]:
    """The units with the most tests, and what is left out then."""
    order = np.argsort(-tests, kind="stable")
    rest = tests.size - MOST_UNITS
    if rest <= 0:
        return order, ()
    return order[:MOST_UNITS], (f"{rest:,} {what} with fewer tests than the {MOST_UNITS} that were compared.",)


async def _readings(connection: Connection, asked: Asked) -> _Computing:
    rows = await database.fetch(connection, "signal_readings", asked.since, asked.until, *asked.part, MOST_SERIES)
    return lambda: _by_kind_of_retainer(rows)


def _by_kind_of_retainer(rows: Sequence[Any]) -> Table:
    kinds, kind = _numbered([(row["family"], row["contact_size"]) for row in rows])
    at, reading, series = _floats(rows, "cycles"), _floats(rows, "force_n"), _integers(rows, "number")
    of_kind = [np.flatnonzero(kind == each) for each in range(len(kinds))]
    found = [trend.falling(at[each], reading[each], series[each]) for each in of_kind]
    p_value = np.array([each.p_value for each in found], dtype=np.float64)
    q_value = false_discovery.adjusted(p_value)
    low, high = (np.array([getattr(each, end) for each in found], dtype=np.float64) for end in ("low", "high"))
    shown = np.nan_to_num(q_value, nan=1.0) <= FALSE_RATE
    silent = [Verdict.NOT_SHOWN if each.verdict is Verdict.SHOWN else each.verdict for each in found]
    return Table(
        [Unit(f"{family or 'family not known'}, contact size {size}", family) for family, size in kinds],
        np.array([each.size for each in of_kind], dtype=np.int64),
        np.array([each.series for each in found], dtype=np.float64),
        np.zeros(len(kinds)),
        np.array([each.slope for each in found], dtype=np.float64),
        low,
        high,
        # A slope would show with 80 % where it is 2.5 standard errors from none; the interval is 3.3 of them wide.
        -np.where(np.isfinite(high - low), (high - low) * 2.49 / 3.29, np.inf),
        p_value,
        q_value,
        np.where(shown, Verdict.SHOWN, np.array(silent, dtype=np.int64)).astype(np.int64),
        (
            f"Retainers with readings at one cycle only, and of each kind those beyond the {MOST_SERIES:,} with the most.",
        ),
    )


_READERS = {
    "connector": _reworked,
    "family": _reworked,
    "part_number": _reworked,
    "position": _places,
    "chronic": _places,
    "retention": _readings,
}
"""Who reads what a question needs; the others are about seating tests."""


def _table(
    units: Sequence[Unit], observed: Integers, of: Floats, found: exceedance.Exceedance, left_out: tuple[str, ...]
) -> Table:
    return Table(
        units,
        observed,
        of,
        found.expected,
        found.ratio,
        found.low,
        found.high,
        found.detectable,
        found.p_value,
        found.adjusted,
        found.verdict,
        left_out,
    )


def _with_silent(table: Table, silent: int, silent_of: float) -> Table:
    fields = {name: getattr(table, name) for name in Table.__struct_fields__}
    return Table(**(fields | {"silent": silent, "silent_of": silent_of}))


def _numbered(names: Sequence[Any]) -> tuple[list[Any], Integers]:
    """The different names in the order in which they first come, and the number of each one's name."""
    numbers: dict[Any, int] = {}
    found = [numbers.setdefault(each, len(numbers)) for each in names]
    return list(numbers), np.array(found, dtype=np.int64)


def _integers(rows: Sequence[Any], column: str) -> Integers:
    return np.array([row[column] for row in rows], dtype=np.int64)


def _floats(rows: Sequence[Any], column: str) -> Floats:
    return np.array([row[column] for row in rows], dtype=np.float64)
