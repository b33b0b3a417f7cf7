"""One connector's outlook, and that of a planned modification, worked out from what is on the books now."""

from collections import Counter
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from msgspec import Struct

from service import outlook_messages as messages
from service import problems
from service.core.cycles import Wear
from service.core.entries import HouseRule
from service.core.outlook import connector as connectors
from service.core.outlook import demand, fleet, forecast, modification, predictive
from service.core.outlook.arrays import Floats, Integers
from service.core.outlook.fleet import UNRATED, Fleet
from service.core.outlook.forecast import Band, Outlook, RunOut
from service.core.outlook.prior import Exposure
from service.core.outlook.supposition import Suppositions
from service.messages import PlaceView
from service.outlook_messages import WhatIfStep
from service.store import database, ledger
from service.store.database import Connection
from service.views import Shown
from service.workflow import census, outlook_kept, outlook_runs
from service.workflow import connectors as registered
from service.workflow.census import Census
from service.workflow.outlook_runs import BANDS, HORIZON_DAYS, Believed

_TOLD = 0.001
"""Smaller probabilities are told as smaller than this."""
MOST_CONNECTORS = 5_000
"""A modification of more is no work of one order."""


class _Seen(Struct, frozen=True, eq=False):
    """Some connectors as they are now, with what the newest run believes of their groups."""

    rested: messages.Rested | None
    taken: Census
    believed: tuple[Believed, ...]
    supposed: Suppositions


async def _seen(connection: Connection, chosen: list[UUID], now: datetime) -> _Seen:
    run = await outlook_kept.newest(connection)
    if run is None:
        # Nothing was learnt yet, and a few connectors are not what to learn from: what is assumed beforehand has to do.
        taken = await census.take(connection, Exposure.FLIGHT_HOURS, now, chosen)
        known, others = {}, outlook_runs.assumed()
    else:
        taken = await census.take(connection, run.summary.exposure, now, chosen)
        known = {each.group: each for each in (await outlook_kept.believed(connection, run.number, None)).values()}
        others = run.summary.others
    other = {each.group.exposure: each for each in others}
    believed = tuple(known.get(each, other[each.exposure]) for each in taken.groups)
    return _Seen(None if run is None else run.rested, taken, believed, outlook_runs.suppositions(believed))


def _ahead(seen: _Seen, some: Fleet, days: tuple[int, ...]) -> Outlook:
    horizons = np.array(days, dtype=np.float64)
    return forecast.of_fleet(some, seen.supposed, np.zeros(some.connectors, dtype=np.int64), horizons)


async def connector(
    connection: Connection, house: HouseRule, connector: UUID, now: datetime
) -> messages.ConnectorOutlook:
    """One connector's outlook with the priors of the newest run.

    Raises the problem where the connector is not on the books.
    """
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        head = await registered.one(connection, ledger.Definitions(), connector)
        seen = await _seen(connection, [connector], now)
    some, believed = seen.taken.fleet, seen.believed[0]
    found = _ahead(seen, some, HORIZON_DAYS)
    shown = Shown(head.definition, house).cavities(head.state)
    alone = connectors.run_out_of_cavities(some, seen.supposed, some.pace[:, None] * found.days)
    left, limiting = some.left.astype(np.int64), census.limiting(seen.taken)[0]
    line = messages.OutlookLine(
        connector=connector,
        serial=head.definition.serial,
        part_number=head.definition.part_number,
        family=head.definition.family,
        place=PlaceView(asset=head.state.whole.asset, zone=head.state.whole.zone, position=head.state.whole.position),
        limiting_cavity=limiting,
        left=None if limiting is None else int(left.min()),
        rating=int(seen.taken.rating[0]) or None,
        rating_verified=bool(seen.taken.verified[0]),
        events=int(some.events[0]),
        units_seen=float(some.exposure[0]),
        exposure=believed.group.exposure,
        basis=believed.prior.basis,
        moved_on=False,
        **_within(found.run_out, left, HORIZON_DAYS.index(365)),
    )
    return messages.ConnectorOutlook(
        rests_on=seen.rested,
        as_of=now,
        line=line,
        group=outlook_kept.group_view(believed),
        horizons=_horizons(seen, found.run_out),
        cavities=tuple(
            messages.CavityOutlook(
                cavity=each.id,
                left=None if left[place] == UNRATED else int(left[place]),
                known=each.history_known,
                wear=each.wear,
                touches=int(some.touches[place]),
                probability=tuple(alone[place].tolist()) if left[place] != UNRATED else (),
            )
            for place, each in enumerate(shown)
        ),
        full_events=int(some.full_events[0]),
        days_seen=float(seen.taken.days_seen[0]),
        units_a_day=float(some.pace[0]),
        says=_says(
            line, seen, head.state.whole.retired or head.handed_over, any(each.wear is Wear.UNKNOWN for each in shown)
        ),
    )


def _within(found: RunOut, left: Integers, place: int) -> dict[str, Any]:
    """What a line says of when a connector runs out, its horizon being that of a place."""
    told = found.band[0] != Band.NOT_KNOWN
    days: Floats = np.array(HORIZON_DAYS, dtype=np.float64)
    when = [float(forecast.reached(days, found.probability, level)[0]) for level in (0.5, 0.05, 0.95)]
    middle, low, high = (each if told and np.isfinite(each) else None for each in when)
    guessed = float(found.supposed[0, place])
    return {
        "band": BANDS[int(found.band[0])],
        "due": bool(left.size and left.min() <= 0),
        "probability": float(found.probability[0, place]) if told else None,
        "probability_if_used_alike": None if np.isnan(guessed) else guessed,
        "runs_out_in_days": middle,
        "runs_out_in_days_low": low,
        "runs_out_in_days_high": high,
    }


def _horizons(seen: _Seen, found: RunOut) -> tuple[messages.HorizonView, ...]:
    """Probability and events by horizon; of the events as the middle of all suppositions has them."""
    some, prior = seen.taken.fleet, seen.believed[0].prior
    ahead = some.pace[0] * np.array(HORIZON_DAYS, dtype=np.float64)
    coming = predictive.coming(prior.shape, prior.rate, some.events[0], some.exposure[0], ahead)
    low, high = predictive.interval(coming)
    expected = predictive.mean(coming)
    told = found.band[0] != Band.NOT_KNOWN
    return tuple(
        messages.HorizonView(
            days=days,
            probability=float(found.probability[0, place]) if told else None,
            probability_if_used_alike=None if np.isnan(found.supposed[0, place]) else float(found.supposed[0, place]),
            events_expected=float(expected[place]),
            events_low=int(low[place]),
            events_high=int(high[place]),
        )
        for place, days in enumerate(HORIZON_DAYS)
    )


def _says(line: messages.OutlookLine, seen: _Seen, retired: bool, unknown: bool) -> str:
    """The outlook in one sentence, with how far to trust it."""
    if retired:
        return "The connector is retired or has left; the figures say what would be expected of it if it were used on."
    if line.due:
        return "It has run out: its limiting cavity can't take a contact again."
    if line.band == "not_known" or line.probability is None:
        return "Nothing can be said: no cavity has both a rating and a history that is known."
    chance = f"{line.probability:.1%}" if line.probability >= _TOLD else f"less than {_TOLD:.1%}"
    least = "at least " if line.band == "at_least" else ""
    unit = line.exposure.value.replace("_", " ")
    seen_of_it = f"{line.events} events of rework in {line.units_seen:,.0f} {unit} were seen of it"
    because = " Some cavities have no history or no rating, so it may be more." if unknown and least else ""
    return (
        f"It runs out within {HORIZON_DAYS[HORIZON_DAYS.index(365)]} days with a probability of {least}{chance}; "
        f"{seen_of_it}, and the prior of its group is {seen.believed[0].prior.why}.{because}"
    )


async def what_if(connection: Connection, asked: messages.WhatIf, now: datetime) -> messages.WhatIfView:
    """What a modification would change. Raises the problem where it meets too many connectors."""
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        met = [await _met(connection, place, each) for place, each in enumerate(asked.steps)]
        chosen = sorted({each for several in met for each in several})
        _bounded(chosen)
        seen = await _seen(connection, chosen, now)
        rows = await database.fetch(connection, "connectors_named", chosen)
    taken = seen.taken
    numbers = {taken.id(each): each for each in range(taken.connectors.size)}
    cavities, cycles, empty = _work(taken, numbers, asked.steps, met)
    active = np.flatnonzero(~taken.retired)
    planned = modification.planned(taken.fleet, cavities, cycles)
    days = (asked.horizon_days,)
    before = _ahead(seen, fleet.select(taken.fleet, active), days)
    after = _ahead(seen, fleet.select(planned.after, active), days)
    named = {row["connector"]: row for row in rows}
    owner = np.repeat(np.arange(taken.connectors.size), taken.fleet.cavities)
    marks = [_by_owner(taken, owner, each) for each in (planned.impossible, planned.used_up, planned.not_known)]
    touched = set(owner[cavities].tolist())
    lines = [
        _what_if_line(named[taken.id(each)], [of.get(each, ()) for of in marks], before.run_out, after.run_out, place)
        for place, each in enumerate(active.tolist())
        if each in touched
    ]
    lines.sort(key=lambda each: (not each.impossible, not each.used_up, -(each.probability_after or 0), each.serial))
    return messages.WhatIfView(
        rests_on=seen.rested,
        as_of=now,
        horizon_days=asked.horizon_days,
        connectors=tuple(lines),
        reworked=len(lines),
        not_possible=sum(bool(each.impossible) for each in lines),
        expected_before=_expected(before),
        expected_after=_expected(after),
        steps_without=tuple(place for place in range(len(met)) if not met[place] or place in empty),
    )


async def _met(connection: Connection, place: int, step: WhatIfStep) -> list[UUID]:
    wanted = (step.connector, step.asset, step.zone, step.position, step.family, step.part_number)
    if not any(wanted):
        text = "say which connectors: by connector, asset, zone, position, family or part_number"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, (f"#/steps/{place}", text))
    rows = await database.fetch(connection, "connectors_meant", *wanted, MOST_CONNECTORS + 1)
    return [row["connector"] for row in rows]


def _bounded(chosen: list[UUID]) -> None:
    if len(chosen) > MOST_CONNECTORS:
        text = f"the steps meet more than {MOST_CONNECTORS} connectors: ask for them in parts"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/steps", text))


def _work(
    taken: Census, numbers: dict[UUID, int], steps: tuple[WhatIfStep, ...], met: list[list[UUID]]
) -> tuple[Integers, Integers, set[int]]:
    """The cavities that are reworked and how often, and which steps meet none."""
    work: Counter[int] = Counter()
    empty = set()
    for place, (step, connectors_met) in enumerate(zip(steps, met, strict=True)):
        touched = 0
        for each in connectors_met:
            number = numbers.get(each)
            if number is None or taken.retired[number]:
                continue
            names = taken.names[taken.arrangement[number]]
            first = int(taken.fleet.starts[number])
            found = [first + at for at, name in enumerate(names) if not step.cavities or name in step.cavities]
            work.update(dict.fromkeys(found, step.reworks))
            touched += len(found)
        if not touched:
            empty.add(place)
    return np.array(list(work), dtype=np.int64), np.array(list(work.values()), dtype=np.int64), empty


def _by_owner(taken: Census, owner: Integers, cavities: Integers) -> dict[int, tuple[str, ...]]:
    found: dict[int, tuple[str, ...]] = {}
    for each in np.sort(cavities).tolist():
        of = int(owner[each])
        name = taken.names[taken.arrangement[of]][each - int(taken.fleet.starts[of])]
        found[of] = (*found.get(of, ()), name)
    return found


def _what_if_line(
    row: Any, marks: list[tuple[str, ...]], before: RunOut, after: RunOut, place: int
) -> messages.WhatIfLine:
    told = after.band[place] != Band.NOT_KNOWN
    return messages.WhatIfLine(
        connector=row["connector"],
        serial=row["serial"],
        part_number=row["part_number"],
        family=row["family"],
        place=PlaceView(asset=row["asset"], zone=row["zone"], position=row["position"]),
        impossible=marks[0],
        used_up=marks[1],
        not_known=marks[2],
        band=BANDS[int(after.band[place])],
        probability_before=float(before.probability[place, 0]) if told else None,
        probability_after=float(after.probability[place, 0]) if told else None,
    )


def _expected(found: Outlook) -> float:
    """Connectors of known history that run out, those that have already included."""
    within = demand.within(found.lots, 1)
    return float(within.mean[0, 0] + within.due[0])
