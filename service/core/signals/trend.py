"""Readings that drift: retention forces that fall over cycles, each cavity compared with itself only.

Slope: the median of the slopes of all pairs of readings within a series (Theil and Sen). Test: Kendall's, the sums of the series
added up with their variances (the seasonal Kendall test, Hirsch and Slack), ties allowed for; exact where one short series without
ties is all there is. Interval: Sen's, from the same variance. From memory; the tests compare with scipy.stats. Outliers move
neither: a slip of the gauge is one reading.
"""

import math

import numpy as np
from msgspec import Struct
from scipy import special

from service.core.outlook.arrays import Floats, Integers
from service.core.signals.verdict import Verdict

MOST_READINGS = 2_000
"""In one series: pairs grow with the square of it."""
_EXACT_UP_TO = 10


class Drift(Struct, frozen=True):
    """How readings move per cycle, `slope` with its interval `low` .. `high`, in units of the reading per unit of `at`.

    `p_value` is one-sided, of falling; `pairs` were compared in `series` that had any. NaN, where nothing can be compared.
    """

    slope: float
    low: float
    high: float
    p_value: float
    pairs: int
    series: int
    verdict: Verdict


def falling(at: Floats, reading: Floats, series: Integers, level: float = 0.9) -> Drift:
    """Whether readings fall over `at` (cycles), within each series (cavity): three arrays (n,). Several series are pooled.

    Shown, if a p-value is within half of what the level leaves; too little, if no order of the readings could have shown it.

    Raises:
        ValueError: lengths that differ, a number that is not finite, a level out of range, or more than 2 000 readings in one.
    """
    _check(at, reading, series, level)
    order = np.lexsort((at, series))
    bounds = np.flatnonzero(np.diff(series[order])) + 1
    found = [_pairs(at[each], reading[each]) for each in np.split(order, bounds)]
    told = [each for each in found if each.slopes.size]
    slopes = np.sort(np.concatenate([each.slopes for each in told])) if told else np.empty(0)
    alpha = (1 - level) / 2
    if slopes.size == 0:
        return Drift(math.nan, math.nan, math.nan, math.nan, 0, 0, Verdict.TOO_LITTLE)
    spread = math.sqrt(sum(each.variance for each in told))
    score, lowest = sum(each.score for each in told), -slopes.size
    exact = len(told) == 1 and told[0].readings <= _EXACT_UP_TO and told[0].untied
    readings = told[0].readings
    p_value = _exact(readings, score) if exact else _normal(score, spread)
    smallest = _exact(readings, lowest) if exact else _normal(lowest, spread)
    low, high = _interval(slopes, spread, level)
    silent = Verdict.NOT_SHOWN if smallest <= alpha else Verdict.TOO_LITTLE
    verdict = Verdict.SHOWN if p_value <= alpha else silent
    return Drift(float(np.median(slopes)), low, high, p_value, slopes.size, len(told), verdict)


class _Pairs(Struct, frozen=True, eq=False):
    """All pairs of one series that lie at different places: their slopes, Kendall's score and its variance."""

    slopes: Floats
    score: int
    variance: float
    readings: int
    untied: bool


def _pairs(at: Floats, reading: Floats) -> _Pairs:
    first, second = np.triu_indices(at.size, 1)
    apart, rise = at[second] - at[first], reading[second] - reading[first]
    told = apart != 0
    variance, untied = _variance(at, reading)
    slopes = rise[told] / apart[told]
    return _Pairs(slopes, int(np.sign(slopes).sum()), variance, at.size, untied)


def _variance(at: Floats, reading: Floats) -> tuple[float, bool]:
    """The variance of Kendall's score where nothing moves, ties on either side allowed for."""
    n = at.size
    sizes = [np.unique(each, return_counts=True)[1].astype(np.float64) for each in (at, reading)]
    plain = [float((each * (each - 1) * (2 * each + 5)).sum()) for each in sizes]
    pairs = [float((each * (each - 1)).sum()) for each in sizes]
    threes = [float((each * (each - 1) * (each - 2)).sum()) for each in sizes]
    found = (n * (n - 1) * (2 * n + 5) - sum(plain)) / 18
    if n > 2:  # noqa: PLR2004 - three readings make a triple
        found += threes[0] * threes[1] / (9 * n * (n - 1) * (n - 2))
    if n > 1:
        found += pairs[0] * pairs[1] / (2 * n * (n - 1))
    return max(found, 0.0), not any(pairs)


def _normal(score: int, spread: float) -> float:
    """One-sided, with the correction for a score that moves in steps of two."""
    return float(special.ndtr((score + 1) / spread)) if spread > 0 else 1.0


def _exact(readings: int, score: int) -> float:
    """The share of orders with a score as low: inversions are counted by adding one reading after the other."""
    orders = np.ones(1)
    for many in range(2, readings + 1):
        orders = np.convolve(orders, np.ones(many))
    # An order of i inversions has the score pairs - 2 i.
    inversions = (readings * (readings - 1) // 2 - score + 1) // 2
    return float(orders[inversions:].sum() / orders.sum())


def _interval(slopes: Floats, spread: float, level: float) -> tuple[float, float]:
    """Sen's: as many slopes are left out at each end as the score's spread says; infinite where they don't suffice."""
    reach = float(special.ndtri((1 + level) / 2)) * spread
    # The score moves in steps of two: hence the one, as in the test.
    left_out = math.floor((slopes.size + 1 - reach) / 2)
    if left_out < 1:
        return -math.inf, math.inf
    return float(slopes[left_out - 1]), float(slopes[slopes.size - left_out])


def _check(at: Floats, reading: Floats, series: Integers, level: float) -> None:
    if not at.shape == reading.shape == series.shape or at.ndim != 1:
        raise ValueError("places, readings and series are three arrays of one length")
    if not (np.isfinite(at).all() and np.isfinite(reading).all()) or not 0 < level < 1:
        raise ValueError("places and readings are finite; a level lies between 0 and 1")
    if at.size and int(np.unique(series, return_counts=True)[1].max()) > MOST_READINGS:
        raise ValueError(f"a series has at most {MOST_READINGS} readings")
