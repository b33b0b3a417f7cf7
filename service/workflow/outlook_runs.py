"""Runs of the outlook: the whole fleet read in one snapshot, worked out, and kept all at once or not at all."""

import asyncio
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime
from typing import Any

import msgspec
import numpy as np
from msgspec import Struct

from service import outlook_messages as messages
from service.core import reworks
from service.core.outlook import demand, fleet, forecast, prior, supposition, touching
from service.core.outlook.arrays import Floats
from service.core.outlook.forecast import Band, Outlook
from service.core.outlook.prior import Basis, Exposure, Prior
from service.core.outlook.supposition import Suppositions
from service.core.outlook.touching import Touching
from service.store import columns, database
from service.store.columns import Column
from service.store.database import Connection
from service.workflow import census
from service.workflow.census import Census, Group

MONTH_DAYS = 365.25 / 12
HORIZON_MONTHS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15, 18, 21, 24)
HORIZON_DAYS = tuple(round(each * MONTH_DAYS) for each in HORIZON_MONTHS)
"""The horizons whose probabilities are kept."""
MONTHS = 12
"""For so many months in a row demand is kept month by month."""
BANDS: tuple[messages.Band, ...] = ("known", "at_least", "not_known")
"""The words for `forecast.Band`, by its number."""
_LOW, _MIDDLE, _HIGH = 0.05, 0.5, 0.95

Progress = Callable[[str, int, int], None]
"""Told what is being done, how far it is, and of how many, 0 where that is not known."""


class RunningError(Exception):
    """Another session is computing an outlook."""


class Believed(Struct, frozen=True):
    """What a run believed of a group of connectors: the prior of its rework, what an event touches, and on what it rests."""

    group: Group
    connectors: int
    events: int
    prior: Prior
    touching: Touching


class Expected(Struct, frozen=True):
    """What a run expects of a part number: by horizon from today, and by month, as `demand.Demand` has it."""

    due: int
    unknown: int
    within_mean: tuple[float, ...]
    within_variance: tuple[float, ...]
    month_mean: tuple[float, ...]
    month_variance: tuple[float, ...]
    month_unknown_least: tuple[float, ...]


class Summary(Struct, frozen=True, kw_only=True):
    """What a run rests on, as it is kept. `others` says what is believed of a connector whose group the run did not have."""

    exposure: Exposure
    connectors: int
    known: int
    not_known: int
    retired: int
    unreadable: int
    events: int
    usage_from: date | None
    usage_to: date | None
    groups: int
    learnt: int
    leaning: int
    stated: int
    thin: str
    horizon_days: tuple[int, ...]
    assumptions: tuple[str, ...]
    others: tuple[Believed, ...]


class Taught(Struct, frozen=True, eq=False):
    """What a census teaches: of each of its groups, and of any other."""

    groups: tuple[Believed, ...]
    others: tuple[Believed, ...]

    @property
    def suppositions(self) -> Suppositions:
        """Of the groups, by number."""
        return suppositions(self.groups)


def suppositions(groups: Sequence[Believed]) -> Suppositions:
    """What is supposed of groups, by their place."""
    return supposition.of_groups([each.prior for each in groups], [each.touching for each in groups])


async def compute(
    connection: Connection, exposure: Exposure, by: str, clock: Callable[[], datetime], progress: Progress
) -> messages.Rested:
    """Work the outlook of the whole fleet out and keep it. Cut off at any moment it leaves nothing behind.

    Raises:
        RunningError: another session is at it.
    """
    lock = await database.fetch_one(connection, "outlook_lock")
    if lock is None or not lock["taken"]:
        raise RunningError("another session is computing an outlook; wait for it, or end it")
    try:
        as_of = clock()
        async with connection.transaction(isolation="repeatable_read", readonly=True):
            taken = await census.take(
                connection, exposure, as_of, progress=lambda done: progress("connectors read", done, 0)
            )
        taught, found = await _beside(taken, progress)
        return await _keep(connection, taken, taught, found, (as_of, clock(), by), exposure)
    finally:
        if not connection.is_closed():
            await database.fetch_one(connection, "outlook_unlock")


async def _beside(taken: Census, progress: Progress) -> tuple[Taught, Outlook]:
    """Work it out beside the loop, which stays free to be interrupted; then the work stops, too."""
    stopped = False

    def tell(done: int, of: int) -> None:
        if stopped:
            raise asyncio.CancelledError
        progress("connectors worked out", done, of)

    try:
        return await asyncio.to_thread(worked_out, taken, tell)
    finally:
        stopped = True


def worked_out(taken: Census, tell: Callable[[int, int], None]) -> tuple[Taught, Outlook]:
    """What a census teaches, retired connectors included, and the outlook of the others."""
    taught = learn(taken)
    chosen, some = census.active(taken)
    days = np.array(HORIZON_DAYS, dtype=np.float64)
    threads = ThreadPoolExecutor(os.cpu_count() or 1)
    try:
        return taught, forecast.of_fleet(some, taught.suppositions, taken.part[chosen], days, tell, threads.map)
    finally:
        threads.shutdown(cancel_futures=True)


def learn(taken: Census) -> Taught:
    """What is believed of each group: priors leaning on all groups of the same exposure, and what their events touch."""
    whole, count = taken.fleet, len(taken.groups)
    touchings = touching.learn_groups(whole, count)
    priors: dict[int, Prior] = {}
    others = []
    for exposure, bare in zip(Exposure, assumed(), strict=True):
        members = [number for number, each in enumerate(taken.groups) if each.exposure is exposure]
        place = np.full(count, -1)
        place[members] = np.arange(len(members))
        chosen = np.flatnonzero(place[whole.group] >= 0)
        # A group more than there are: one of which nothing was seen, for connectors that come later.
        learnt = prior.learn_groups(
            whole.events[chosen],
            whole.exposure[chosen],
            place[whole.group[chosen]],
            len(members) + 1,
            prior.WEAK[exposure],
        )
        priors |= dict(zip(members, learnt, strict=False))
        others.append(Believed(Group(None, None, exposure), 0, 0, learnt[-1], bare.touching))
    connectors = np.bincount(whole.group, minlength=count).tolist()
    events = np.bincount(whole.group, weights=whole.events, minlength=count).astype(np.int64).tolist()
    groups = tuple(
        Believed(each, connectors[number], events[number], priors[number], touchings[number])
        for number, each in enumerate(taken.groups)
    )
    return Taught(groups, tuple(others))


def assumed() -> tuple[Believed, ...]:
    """What is believed of a group, by exposure, before anything was learnt."""
    nothing = np.empty(0, dtype=np.int64)
    of_touch = touching.learn(touching.Seen(nothing, nothing, nothing, nothing), 0, 0)
    return tuple(
        Believed(
            Group(None, None, each), 0, 0, prior.learn(nothing, nothing.astype(np.float64), prior.WEAK[each]), of_touch
        )
        for each in Exposure
    )


async def _keep(  # one transaction: whoever reads sees the run whole or not at all
    connection: Connection,
    taken: Census,
    taught: Taught,
    found: Outlook,
    stamp: tuple[datetime, datetime, str],
    exposure: Exposure,
) -> messages.Rested:
    summary = summarised(taken, taught, found, exposure)
    async with connection.transaction():
        row = await database.fetch_one(connection, "next_outlook_run")
        run: int = row["run"] if row is not None else 1
        await database.run(connection, "record_outlook_run", run, *stamp, _text(summary))
        await database.run(
            connection,
            "record_outlook_groups",
            run,
            list(range(len(taught.groups))),
            [_text(each) for each in taught.groups],
        )
        await _keep_parts(connection, run, taken, found)
        await columns.put(connection, "outlook_line", _lines(run, taken, found))
        await database.run(connection, "drop_outlook_lines", run - 1)
    return rested(run, *stamp, summary)


def _lines(run: int, taken: Census, found: Outlook) -> dict[str, Column]:
    """What is kept of each connector, column by column."""
    chosen, some = census.active(taken)
    ran, count = found.run_out, chosen.size
    least = _least(some)
    late, middle, early = (forecast.reached(found.days, ran.probability, level) for level in (_HIGH, _MIDDLE, _LOW))
    limiting = census.limiting(taken)
    names = np.array([(limiting[each] or "").encode() for each in chosen.tolist()] or [b""])[:count]
    rating = taken.rating[chosen]
    return {
        "connector": Column(taken.connectors[chosen], columns.UUID),
        "run": Column(np.full(count, run), columns.INTEGER),
        "number": Column(some.group, columns.WHOLE),
        "entries": Column(taken.entries[chosen], columns.WHOLE),
        "band": Column(ran.band, columns.SMALL),
        "due": Column(least <= 0, columns.FLAG),
        "probability": Column(ran.probability),
        "supposed": Column(ran.supposed, there=~np.isnan(ran.supposed[:, 0])),
        "days_low": Column(early, columns.REAL, ~np.isinf(early)),
        "days_middle": Column(middle, columns.REAL, ~np.isinf(middle)),
        "days_high": Column(late, columns.REAL, ~np.isinf(late)),
        "limiting_cavity": Column(names, there=names != b""),
        "remaining": Column(least, columns.WHOLE, least != fleet.UNRATED),
        "rating": Column(rating, columns.WHOLE, rating != 0),
        "rating_verified": Column(taken.verified[chosen], columns.FLAG),
        "events": Column(some.events, columns.WHOLE),
        "units": Column(some.exposure, columns.FLOAT),
    }


def _least(some: fleet.Fleet) -> Any:
    """What the cavity of each connector that has least left has left."""
    found = np.full(some.connectors, fleet.UNRATED)
    filled = np.flatnonzero(some.cavities > 0)
    if filled.size:
        found[filled] = np.minimum.reduceat(some.left, some.starts[filled])
    return found


async def _keep_parts(connection: Connection, run: int, taken: Census, found: Outlook) -> None:
    count = len(taken.parts)
    within, between = demand.within(found.lots, count), demand.between(found.lots, count)
    order = np.argsort(-(within.mean[:, -1] + within.due), kind="stable").tolist() if count else []
    months = slice(0, MONTHS)

    def numbers(values: Floats) -> tuple[float, ...]:
        return tuple(values.tolist())

    bodies = [
        Expected(
            due=int(within.due[each]),
            unknown=int(within.unknown[each]),
            within_mean=numbers(within.mean[each]),
            within_variance=numbers(within.variance[each]),
            month_mean=numbers(between.mean[each, months]),
            month_variance=numbers(between.variance[each, months]),
            month_unknown_least=numbers(between.unknown_least[each, months]),
        )
        for each in order
    ]
    await database.run(
        connection,
        "record_outlook_parts",
        run,
        list(range(1, count + 1)),
        [taken.parts[each].part_number for each in order],
        [taken.parts[each].family for each in order],
        [_text(each) for each in bodies],
    )


def _text(value: Struct) -> str:
    # What came out of an array is a number of its own kind.
    return msgspec.json.encode(value, enc_hook=lambda number: number.item()).decode()


def summarised(taken: Census, taught: Taught, found: Outlook, exposure: Exposure) -> Summary:
    """What a run rests on."""
    bands = np.bincount(found.run_out.band, minlength=len(Band))
    bases = [each.prior.basis for each in taught.groups]
    used = {each.group.exposure for each in taught.groups}
    events = int(taken.fleet.events.sum())
    thin = sum(each is Basis.STATED for each in bases)
    return Summary(
        exposure=exposure,
        connectors=int(bands.sum()),
        known=int(bands[Band.KNOWN]),
        not_known=int(bands[Band.AT_LEAST] + bands[Band.NOT_KNOWN]),
        retired=int(taken.retired.sum()),
        unreadable=taken.unreadable,
        events=events,
        usage_from=taken.usage_from,
        usage_to=taken.usage_to,
        groups=len(bases),
        learnt=sum(each is Basis.LEARNT for each in bases),
        leaning=sum(each is Basis.LEANING for each in bases),
        stated=thin,
        thin=_thin(events, taken.fleet.connectors, len(bases), thin),
        horizon_days=HORIZON_DAYS,
        assumptions=tuple(_assumptions(used)),
        others=taught.others,
    )


def _thin(events: int, connectors: int, groups: int, stated: int) -> str:
    seen = f"{events} events of rework on {connectors} connectors were seen, in {groups} groups"
    if not events:
        return f"{seen}: nothing was learnt, and every figure rests on what is assumed beforehand"
    if not stated:
        return f"{seen}; each has enough of them, or leans on the others"
    return f"{seen}; {stated} of the groups are too thin to learn from, and rest on what is assumed beforehand"


def _assumptions(used: set[Exposure]) -> list[str]:
    said = [
        f"an event of rework is what one work order did, or acts less than {reworks.SITTING_HOURS} hours apart (our rule)",
        "groups are connectors of one family in one zone of one type of asset, as far as the type is stated",
        "a connector runs out when the first of its retainers does; its cavities are reworked together, not each by chance",
        "an event hits a connector by a rate of its own that does not change with time",
        f"intervals hold {_HIGH - _LOW:.0%} of the probability",
    ]
    if used - {Exposure.DAYS}:
        unit = ", ".join(sorted(each.value.replace("_", " ") for each in used - {Exposure.DAYS}))
        said.append(
            f"rework is counted against the {unit} of the asset while the connector was on it; outside of the days that are "
            "stated an asset flies at the pace of its last stated year"
        )
    if Exposure.DAYS in used:
        said.append("where the usage of the asset is not stated, rework is counted against days since the book began")
    return said


def rested(run: int, as_of: datetime, computed_at: datetime, by: str, summary: Summary) -> messages.Rested:
    """What every answer from a run says of it."""
    shared = {name: getattr(summary, name) for name in Summary.__struct_fields__ if name not in ("others", "exposure")}
    return messages.Rested(run=run, as_of=as_of, computed_at=computed_at, computed_by=by, **shared)
