"""What assets fly, and how much of it a connector was along for.

Our rules, no outside source. A row says what an asset flew up to the end of its day, since the day of the row before, and is
spread evenly over that time. The first row opens the book: what it states lies before, and is not spread. Outside of the days
that are stated an asset is taken to fly at its pace, that of its last stated year.
"""

import numpy as np
from msgspec import Struct

from service.core.outlook.arrays import Flags, Floats, Integers, total

PACE_DAYS = 365.0
MOST_IN_A_DAY = 50.0
"""A first row that states more than any asset flies in a day, in hours or cycles, is its whole life so far."""
_APART = 1.0e6
"""Days between the time lines of two assets laid end to end; more than any book spans."""


class Usage(Struct, frozen=True, eq=False):
    """Of k assets, their p points of time one asset after the other.

    `starts` (k + 1,) where each asset's points begin; `day` (p,) in days; `flown` (p,) since the asset's first point; `pace` (k,)
    units a day; `before` (k,) flown before the first point, NaN where nobody says.
    """

    starts: Integers
    day: Floats
    flown: Floats
    pace: Floats
    before: Floats


class Stays(Struct, frozen=True, eq=False):
    """s stays of a connector on an asset, both by number, from `begins` to `ends` in days."""

    connector: Integers
    asset: Integers
    begins: Floats
    ends: Floats


def read(asset: Integers, day: Integers, amount: Floats, assets: int) -> Usage:
    """Rows (r,), each asset and day once, as time lines. `day` is the row's day, of which the row counts the end.

    An asset with fewer than two rows has no pace: it is NaN, and so is everything that is read from it.
    """
    order = np.lexsort((day, asset))
    asset, amount = asset[order], amount[order]
    ends: Floats = day[order].astype(np.float64) + 1.0
    starts = np.searchsorted(asset, np.arange(assets + 1))
    first = np.zeros(asset.size, dtype=bool)
    first[starts[:-1][np.diff(starts) > 0]] = True
    flown = np.cumsum(np.where(first, 0.0, amount))
    opens = np.flatnonzero(first)
    flown -= np.repeat(flown[opens], np.diff(np.append(opens, asset.size)))
    before = np.full(assets, np.nan)
    before[asset[opens]] = np.where(amount[opens] > MOST_IN_A_DAY, amount[opens], np.nan)
    bare = Usage(starts, ends, flown, np.zeros(assets), before)
    return Usage(starts, ends, flown, _paces(bare), before)


def flown_by(usage: Usage, asset: Integers, day: Floats) -> Floats:
    """What these assets (m,) have flown by these days (m,), counted from their first points; negative before them."""
    first, last = usage.starts[asset], usage.starts[asset + 1] - 1
    told = last >= first
    line = np.repeat(np.arange(usage.pace.size), np.diff(usage.starts)) * _APART + usage.day
    at = np.searchsorted(line, asset * _APART + day)
    inside = np.clip(at, first + 1, np.maximum(last, first + 1))
    inside = np.minimum(inside, max(usage.day.size - 1, 0))
    previous = np.maximum(inside - 1, 0)
    if not usage.day.size:
        return np.full(day.shape, np.nan)
    span = usage.day[inside] - usage.day[previous]
    share = np.divide(day - usage.day[previous], span, out=np.zeros(day.shape), where=span > 0)
    found = usage.flown[previous] + share * (usage.flown[inside] - usage.flown[previous])
    head, tail = np.minimum(first, usage.day.size - 1), np.maximum(last, 0)
    found = np.where(day < usage.day[head], (day - usage.day[head]) * usage.pace[asset], found)
    found = np.where(day > usage.day[tail], usage.flown[tail] + (day - usage.day[tail]) * usage.pace[asset], found)
    return np.where(told & ~np.isnan(usage.pace[asset]), found, np.nan)


def exposures(usage: Usage, stays: Stays, connectors: int) -> Floats:
    """What each connector (n,) was along for, over all its stays; NaN where it stayed on an asset that has no pace."""
    flown = flown_by(usage, stays.asset, stays.ends) - flown_by(usage, stays.asset, stays.begins)
    return total(flown, stays.connector, connectors)


def before(usage: Usage, asset: Integers, day: Floats) -> Floats:
    """What assets (m,) had flown in their lives by a day (m,); NaN where nobody says. Negative figures are taken as nothing."""
    return np.maximum(usage.before[asset] + flown_by(usage, asset, day), 0.0)


def stays(connector: Integers, asset: Integers, at: Floats, until: Floats) -> Stays:
    """Placements (p,), in any order, as stays: each lasts to the connector's next placement, the last to `until` (n,).

    An asset of -1 is none: the connector lies somewhere, and no stay comes of it.
    """
    order = np.lexsort((at, connector))
    connector, asset, at = connector[order], asset[order], at[order]
    ends = until[connector]
    if connector.size:
        same = connector[1:] == connector[:-1]
        ends[:-1] = np.where(same, np.minimum(at[1:], ends[:-1]), ends[:-1])
    real: Flags = (asset >= 0) & (ends > at)
    return Stays(connector[real], asset[real], at[real], ends[real])


def _paces(usage: Usage) -> Floats:
    """Units a day over the last year that is stated, or over all of it if that is less."""
    many = np.diff(usage.starts)
    found = np.full(many.size, np.nan)
    known = np.flatnonzero(many >= 2)  # noqa: PLR2004 - one point is no span
    first, last = usage.starts[known], usage.starts[known + 1] - 1
    from_day = np.maximum(usage.day[first], usage.day[last] - PACE_DAYS)
    span = usage.day[last] - from_day
    found[known] = (usage.flown[last] - flown_by(usage, known, from_day)) / span
    return found
