"""What the invented operator plans and keeps count of: flying, visits, and the checks of its tools. Without a source."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from service.demo import operator
from service.demo.rates import Aircraft
from service.demo.yard import Yard
from service.usage_messages import UsageRow, VisitRow

HOURS_A_YEAR, CYCLES_A_YEAR = 3000.0, 1700
"""Of an aircraft on average; rework is as frequent as `rates` says at that usage."""
_VISITS = (("A check", 140), ("C check", 720))
"""Visits and how many days apart they are."""
_YEAR_DAYS = 365.25


def tools_due(today: date) -> dict[str, date]:
    """The last day of each tool's check: all of them once a year, one forgotten, one due within days."""
    found = {mark: today + timedelta(days=30 + 53 * each % 330) for each, mark in enumerate(operator.TOOLS)}
    found[operator.OVERDUE_TOOL] = today - timedelta(days=12)
    found[operator.SOON_DUE_TOOL] = today + timedelta(days=6)
    return found


def flown(yard: Yard, aircraft: Sequence[Aircraft]) -> tuple[UsageRow, ...]:
    """A row a month of each aircraft; the first is of its life up to the beginning of the log book."""
    return tuple(row for each in aircraft for row in _months(yard, each))


def _months(yard: Yard, aircraft: Aircraft) -> Iterator[UsageRow]:
    rng = yard.rng(f"{aircraft.mark} usage")
    before = (aircraft.begins - aircraft.built).days / _YEAR_DAYS if aircraft.used else 0.02
    day = aircraft.begins.date()
    yield _row(aircraft, day, before)
    share = rng.uniform(0.8, 1.2)
    while (following := day + timedelta(days=30)) < yard.until.date():
        day = following
        yield _row(aircraft, day, 30 / _YEAR_DAYS * share * rng.uniform(0.7, 1.3))


def _row(aircraft: Aircraft, day: date, years: float) -> UsageRow:
    hours, cycles = round(years * HOURS_A_YEAR, 1), round(years * CYCLES_A_YEAR)
    return UsageRow(asset=aircraft.mark, day=day, flight_hours=hours, flight_cycles=cycles)


def visits(yard: Yard, aircraft: Sequence[Aircraft]) -> tuple[VisitRow, ...]:
    """The visits of the next three years, spread over the fleet so that the hangar always has a few."""
    last = yard.until.date() + timedelta(days=1000)
    found = []
    for each in aircraft:
        for name, apart in _VISITS:
            number, day = 1, each.begins.date() + timedelta(days=apart)
            while day < last:
                if day > yard.until.date():
                    found.append(VisitRow(asset=each.mark, name=f"{name} {number}", starts_on=day))
                number, day = number + 1, day + timedelta(days=apart)
    return tuple(found)
