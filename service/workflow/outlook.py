"""What the newest run of the outlook says: who runs out, what that asks of the shelf, what to renew in the next visit."""

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Annotated, Any
from uuid import UUID

import msgspec
import numpy as np
from msgspec import Meta, Struct

from service import outlook_messages as messages
from service.core.entries import Text
from service.core.outlook import demand as demands
from service.core.outlook import stock as stocks
from service.core.outlook import visits as checks
from service.core.outlook.arrays import Floats
from service.core.outlook.demand import Demand
from service.core.outlook.forecast import Band, RunOut
from service.core.outlook.visits import Advice
from service.messages import PlaceView
from service.store import database
from service.store.database import Connection
from service.workflow import outlook_kept, outlook_runs
from service.workflow.outlook_kept import Run
from service.workflow.outlook_runs import BANDS, Believed, Expected

REPORTED_MONTHS = (1, 3, 6, 12, 18, 24)
"""Horizons for which the list of connectors has an index."""
LEAST_PROBABILITY = 0.01
"""Who will hardly run out is on no list."""


class Filters(Struct, frozen=True, kw_only=True):
    """Which part of the fleet is wanted; what is said combines."""

    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of connectors begins: after one of this probability."""

    probability: Annotated[float, Meta(ge=0, le=1)]
    connector: UUID


class PartCursor(Struct, frozen=True, array_like=True):
    """Where the next page of part numbers begins."""

    number: Annotated[int, Meta(ge=0, le=2**31 - 1)]


class VisitCursor(Struct, frozen=True, array_like=True):
    """Where the next page of assets begins: after the one whose visit begins on this day."""

    starts_on: date
    asset: Text


async def rests_on(connection: Connection) -> messages.Rested | None:
    """What the newest run rests on; None where none was computed yet."""
    run = await outlook_kept.newest(connection)
    return None if run is None else run.rested


async def groups(connection: Connection) -> tuple[messages.GroupView, ...]:
    """What the newest run believed of each group of connectors."""
    run = await outlook_kept.newest(connection)
    if run is None:
        return ()
    return tuple(
        outlook_kept.group_view(each) for each in (await outlook_kept.believed(connection, run.number, None)).values()
    )


async def connectors(
    connection: Connection,
    filters: Filters,
    horizon_days: int,
    band: messages.Band,
    at_least: float,
    after: Cursor | None,
    limit: int,
) -> tuple[messages.OutlookReport, Cursor | None]:
    """Connectors by probability to run out within the horizon, those of at least `at_least`. Its `next` is left to the caller.

    Raises the problem for a horizon beyond the last that was kept.
    """
    run = await outlook_kept.newest(connection)
    least = max(at_least, LEAST_PROBABILITY)
    if run is None:
        empty = messages.OutlookReport(
            rests_on=None, horizon_days=None, band=band, at_least=least, connectors=(), groups=(), next=None
        )
        return empty, None
    reported = [outlook_runs.HORIZON_MONTHS.index(each) for each in REPORTED_MONTHS]
    place = reported[outlook_kept.horizon(horizon_days, [run.rested.horizon_days[each] for each in reported])]
    rows = await _page(connection, run.number, filters, place, band, least, after, limit + 1)
    believed = await outlook_kept.believed(connection, run.number, (row["number"] for row in rows[:limit]))
    report = messages.OutlookReport(
        rests_on=run.rested,
        horizon_days=run.rested.horizon_days[place],
        band=band,
        at_least=least,
        connectors=tuple(_line(row, place, believed[row["number"]]) for row in rows[:limit]),
        groups=tuple(outlook_kept.group_view(each) for each in believed.values()),
        next=None,
    )
    last = rows[limit - 1] if len(rows) > limit else None
    return report, None if last is None else Cursor(last["probability"][place], last["connector"])


async def _page(
    connection: Connection,
    run: int,
    filters: Filters,
    place: int,
    band: messages.Band,
    least: float,
    after: Cursor | None,
    limit: int,
) -> list[Any]:
    wanted = (getattr(filters, name) for name in Filters.__struct_fields__)
    if band == "not_known":
        start = after.connector if after else None
        return await database.fetch(connection, "outlook_not_known", run, start, limit, *wanted)
    start_at = (after.probability, after.connector) if after else (None, None)
    return await database.fetch(
        connection, "outlook_within", run, place + 1, BANDS.index(band), least, *start_at, limit, *wanted
    )


def _line(row: Any, place: int, believed: Believed) -> messages.OutlookLine:
    told = row["band"] != Band.NOT_KNOWN
    return messages.OutlookLine(
        connector=row["connector"],
        serial=row["serial"],
        part_number=row["part_number"],
        family=row["family"],
        place=PlaceView(asset=row["asset"], zone=row["zone"], position=row["position"]),
        band=BANDS[row["band"]],
        due=row["due"],
        probability=row["probability"][place] if told else None,
        probability_if_used_alike=None if row["supposed"] is None else row["supposed"][place],
        runs_out_in_days=row["days_middle"] if told else None,
        runs_out_in_days_low=row["days_low"] if told else None,
        runs_out_in_days_high=row["days_high"] if told else None,
        limiting_cavity=row["limiting_cavity"],
        left=row["remaining"],
        rating=row["rating"],
        rating_verified=row["rating_verified"],
        events=row["events"],
        units_seen=row["units"],
        exposure=believed.group.exposure,
        basis=believed.prior.basis,
        moved_on=row["moved_on"],
    )


async def _parts(
    connection: Connection, run: int, filters: Filters, after: PartCursor | None, limit: int
) -> tuple[list[Any], list[Expected], PartCursor | None]:
    start = after.number if after else 0
    rows = await database.fetch(connection, "outlook_parts", run, start, limit + 1, filters.part_number, filters.family)
    following = PartCursor(rows[limit - 1]["number"]) if len(rows) > limit else None
    rows = rows[:limit]
    return rows, [msgspec.json.decode(row["body"], type=Expected) for row in rows], following


async def demand(
    connection: Connection, filters: Filters, months: int, after: PartCursor | None, limit: int
) -> tuple[messages.DemandReport, PartCursor | None]:
    """Demand by part number and month. Of the filters only family and part number apply. Its `next` is left to the caller."""
    run = await outlook_kept.newest(connection)
    if run is None:
        return messages.DemandReport(rests_on=None, months=months, lines=(), next=None), None
    rows, expected, following = await _parts(connection, run.number, filters, after, limit)
    if not rows:
        return messages.DemandReport(rests_on=run.rested, months=months, lines=(), next=None), None
    until = slice(0, months)
    coming = _demand(
        expected,
        [each.month_mean[until] for each in expected],
        [each.month_variance[until] for each in expected],
        [each.month_unknown_least[until] for each in expected],
    )
    low, high = demands.interval(coming)
    begins = [0, *run.rested.horizon_days]
    today = run.rested.as_of.date()
    lines = tuple(
        messages.DemandLine(
            part_number=row["part_number"],
            family=row["family"],
            month=month + 1,
            begins_on=today + timedelta(days=begins[month]),
            ends_on=today + timedelta(days=begins[month + 1] - 1),
            expected=float(coming.mean[place, month]),
            low=int(low[place, month]),
            high=int(high[place, month]),
            due=int(coming.due[place]),
            unknown=int(coming.unknown[place]),
            unknown_at_least=float(coming.unknown_least[place, month]),
        )
        for place, row in enumerate(rows)
        for month in range(months)
    )
    return messages.DemandReport(rests_on=run.rested, months=months, lines=lines, next=None), following


def _demand(expected: list[Expected], mean: list[Any], variance: list[Any], least: list[Any]) -> Demand:
    def numbers(values: list[Any]) -> Floats:
        return np.array(values, dtype=np.float64).reshape(len(expected), -1)

    return Demand(
        mean=numbers(mean),
        variance=numbers(variance),
        due=np.array([each.due for each in expected], dtype=np.int64),
        unknown=np.array([each.unknown for each in expected], dtype=np.int64),
        unknown_least=numbers(least),
    )


async def stock(
    connection: Connection,
    filters: Filters,
    service_level: float,
    horizon_days: int,
    after: PartCursor | None,
    limit: int,
) -> tuple[messages.StockReport, PartCursor | None]:
    """Shelf stock by part number. Of the filters only family and part number apply. Its `next` is left to the caller."""
    run = await outlook_kept.newest(connection)
    if run is None:
        none = messages.StockReport(rests_on=None, service_level=service_level, horizon_days=None, lines=(), next=None)
        return none, None
    place = outlook_kept.horizon(horizon_days, run.rested.horizon_days)
    rows, expected, following = await _parts(connection, run.number, filters, after, limit)
    report = messages.StockReport(
        rests_on=run.rested,
        service_level=service_level,
        horizon_days=run.rested.horizon_days[place],
        lines=_shelf(rows, expected, place, service_level) if rows else (),
        next=None,
    )
    return report, following


def _shelf(
    rows: list[Any], expected: list[Expected], place: int, service_level: float
) -> tuple[messages.StockLine, ...]:
    means, variances = (
        [getattr(each, name)[place] for each in expected] for name in ("within_mean", "within_variance")
    )
    coming = _demand(expected, means, variances, [0.0 for _ in expected])
    shelf, (low, high) = stocks.shelf(coming, service_level), demands.interval(coming)
    return tuple(
        messages.StockLine(
            part_number=row["part_number"],
            family=row["family"],
            pieces=int(shelf.pieces[each, 0]),
            pieces_at_most=int(shelf.pieces_at_most[each, 0]),
            due=int(coming.due[each]),
            unknown=int(coming.unknown[each]),
            expected=float(coming.mean[each, 0]),
            low=int(low[each, 0]),
            high=int(high[each, 0]),
            met=float(shelf.met[each, 0]),
            short=float(shelf.short[each, 0]),
        )
        for each, row in enumerate(rows)
    )


async def visits(
    connection: Connection, filters: Filters, risk: float, today: date, after: VisitCursor | None, limit: int
) -> tuple[messages.VisitReport, VisitCursor | None]:
    """What to renew in the next visit of each asset. Its `next` is left to the caller."""
    run = await outlook_kept.newest(connection)
    if run is None:
        return messages.VisitReport(rests_on=None, risk=risk, assets=(), next=None), None
    rows = await database.fetch(connection, "visit_list", filters.asset, today)
    planned = {asset: list(several)[:2] for asset, several in groupby(rows, key=lambda row: row["asset"])}
    order = sorted((each[0]["starts_on"], asset) for asset, each in planned.items())
    start = (after.starts_on, after.asset) if after else None
    left = [each for each in order if start is None or each > start]
    assets = [await _advice(connection, run, filters, risk, planned[asset]) for _, asset in left[:limit]]
    following = VisitCursor(*left[limit - 1]) if len(left) > limit else None
    return messages.VisitReport(rests_on=run.rested, risk=risk, assets=tuple(assets), next=None), following


async def _advice(
    connection: Connection, run: Run, filters: Filters, risk: float, planned: list[Any]
) -> messages.AssetVisits:
    first, second = planned[0], planned[1] if len(planned) > 1 else None
    as_of = run.rested.as_of.date()
    days = [max((each["starts_on"] - as_of).days, 0) for each in planned]
    lines: list[messages.VisitLine] = []
    keep = not_known = 0
    problem = None
    if second is None:
        problem = "no visit after the next is planned, so there is nothing to last until"
    elif days[1] <= days[0]:
        problem = "two visits begin on the same day, or both before the outlook was computed"
    elif days[1] > run.rested.horizon_days[-1]:
        problem = f"the visit after the next begins beyond the {run.rested.horizon_days[-1]} days of the outlook"
    else:
        wanted = (getattr(filters, name) for name in Filters.__struct_fields__ if name != "asset")
        rows = await database.fetch(connection, "outlook_of_asset", run.number, first["asset"], *wanted)
        lines, keep, not_known = _renewals(rows, run.rested.horizon_days, days, risk)
    return messages.AssetVisits(
        asset=first["asset"],
        next_name=first["name"],
        next_on=first["starts_on"],
        after_name=None if second is None else second["name"],
        after_on=None if second is None else second["starts_on"],
        renew=tuple(lines),
        keep=keep,
        not_known=not_known,
        problem=problem,
    )


def _renewals(
    rows: list[Any], horizons: Sequence[int], days: list[int], risk: float
) -> tuple[list[messages.VisitLine], int, int]:
    """What to renew, the least likely to last first; how many to keep; of how many it is not known."""
    if not rows:
        return [], 0, 0
    probability = np.array([row["probability"] for row in rows], dtype=np.float64)
    due = np.array([row["due"] for row in rows])
    # Straight between horizons, from nothing today, or from certainty where it has run out already.
    whole = np.column_stack([due.astype(np.float64), probability])
    times = np.array([0, *horizons], dtype=np.float64)
    at = np.array([[np.interp(day, times, each) for day in days] for each in whole])
    run_out = RunOut(at, np.array([row["band"] for row in rows]), np.full(at.shape, np.nan))
    found = checks.visits(0, 1, run_out, risk)
    lines = [
        messages.VisitLine(
            connector=rows[each]["connector"],
            serial=rows[each]["serial"],
            part_number=rows[each]["part_number"],
            family=rows[each]["family"],
            place=PlaceView(asset=rows[each]["asset"], zone=rows[each]["zone"], position=rows[each]["position"]),
            band=BANDS[rows[each]["band"]],
            due=rows[each]["due"],
            before_next=float(found.before_next[each]),
            before_after=float(found.before_after[each]),
            between=float(found.between[each]),
        )
        for each in checks.order(found).tolist()
    ]
    advice = np.bincount(found.advice, minlength=len(Advice))
    return lines, int(advice[Advice.KEEP]), int(advice[Advice.NOT_KNOWN])
