"""Seating failures by unit and by tool, against scipy.stats and chance."""

import math

import numpy as np
import pytest
from scipy import stats
from scipy.stats import contingency

from service.core.outlook.arrays import Integers
from service.core.signals import seating
from service.core.signals.verdict import Verdict


def test_one_stratum_against_scipy() -> None:
    """In one stratum p-value, odds ratio and interval are Fisher's: scipy.stats.fisher_exact and contingency.odds_ratio."""
    found = seating.tools(np.array([[40], [200]]), np.array([[6], [8]]))
    table = np.array([[6, 34], [8, 192]])
    theirs = contingency.odds_ratio(table, kind="conditional")
    span = theirs.confidence_interval(0.9)
    assert found.p_value[0] == pytest.approx(stats.fisher_exact(table, alternative="greater").pvalue)
    assert found.odds_ratio[0] == pytest.approx(theirs.statistic, rel=1e-5)
    assert (found.low[0], found.high[0]) == pytest.approx((span.low, span.high), rel=1e-5)
    assert found.odds_ratio[1] == pytest.approx(1 / theirs.statistic, rel=1e-5)
    assert found.expected[0] == pytest.approx(14 * 40 / 240)


def test_size_is_not_blamed_on_the_tool() -> None:
    """A tool that does only the difficult size fails more often than others altogether, and not within the size: not shown."""
    insertions = np.array([[0, 400], [400, 400], [400, 0]])
    failures = np.array([[0, 40], [4, 40], [4, 0]])
    found = seating.tools(insertions, failures)
    assert found.odds_ratio[0] == pytest.approx(1, abs=1e-6)
    assert (found.verdict != Verdict.SHOWN).all()


def test_bad_tool() -> None:
    """A tool that fails five times as often as its fellows in each stratum is shown, with an interval above one."""
    found = seating.tools(np.full((5, 2), 200), np.array([[20, 22], [4, 4], [5, 3], [4, 5], [3, 4]]))
    assert found.verdict[0] == Verdict.SHOWN
    assert found.low[0] > 3
    assert (found.verdict[1:] != Verdict.SHOWN).all()


def test_extremes() -> None:
    """Where only one tool has failures its odds ratio is infinite with a finite lower end; alone in its stratum it has none."""
    found = seating.tools(np.array([[50, 0], [50, 0], [0, 9]]), np.array([[5, 0], [0, 0], [0, 2]]))
    assert found.odds_ratio[0] == math.inf
    assert 1 < found.low[0] < math.inf
    assert found.odds_ratio[1] == 0
    assert found.low[1] == 0
    assert math.isnan(found.odds_ratio[2])
    assert found.verdict[2] == Verdict.TOO_LITTLE


def test_no_failures() -> None:
    """Without a failure nothing can be shown, and nothing is."""
    found = seating.tools(np.full((3, 2), 10), np.zeros((3, 2), dtype=np.int64))
    assert np.isnan(found.p_value).all()
    assert (found.verdict == Verdict.TOO_LITTLE).all()


def test_chance_alone() -> None:
    """In 100 worlds of 20 equal tools hardly one in ten shows any tool; the intervals cover one in 90 % of cases or more."""
    rng = np.random.default_rng(6)
    insertions = rng.integers(30, 200, (20, 3))
    alarms, inside = [], []
    for _ in range(100):
        found = seating.tools(insertions, rng.binomial(insertions, [0.01, 0.03, 0.08]))
        alarms.append(bool((found.verdict == Verdict.SHOWN).any()))
        inside.append(((found.low <= 1) & (found.high >= 1)).mean())
    assert float(np.mean(alarms)) < 0.16
    assert float(np.mean(inside)) >= 0.9


def _benches(rng: np.random.Generator, bad: float) -> tuple[Integers, Integers]:
    tests = rng.integers(100, 600, 15)
    share = rng.beta(2, 98, 15)
    share[0] = bad or share[0]
    return rng.binomial(tests, share), tests


def test_units() -> None:
    """Benches that differ by nature are not pointed out for it; one far beyond the others' spread is."""
    rng = np.random.default_rng(7)
    group = np.zeros(15, dtype=np.int64)
    alarms = [bool((seating.units(*_benches(rng, 0), group).verdict == Verdict.SHOWN).any()) for _ in range(40)]
    assert float(np.mean(alarms)) < 0.2
    found = [seating.units(*_benches(rng, 0.15), group).verdict[0] == Verdict.SHOWN for _ in range(20)]
    assert float(np.mean(found)) > 0.8


def test_unit_against_scipy() -> None:
    """The p-value of a unit is the upper tail of scipy.stats.betabinom with the urn that the others taught."""
    failures, tests = np.array([9, 2, 1, 3]), np.array([100, 110, 90, 130])
    group = np.zeros(4, dtype=np.int64)
    found = seating.units(failures, tests, group)
    alone = seating.units(np.array([0, 2, 1, 3]), tests, group)
    assert found.others[0] == alone.others[0]
    mean = found.others[0]
    tails = [stats.betabinom.sf(8, 100, size * mean, size * (1 - mean)) for size in (1.0, 1e6)]
    assert min(tails) < found.p_value[0] < max(tails)
    assert found.ratio[0] == pytest.approx(0.09 / mean)


def test_refused() -> None:
    """More failures than insertions, and shapes that differ, are refused."""
    with pytest.raises(ValueError, match="failures"):
        seating.tools(np.array([[1]]), np.array([[2]]))
    with pytest.raises(ValueError, match="tables"):
        seating.tools(np.array([1]), np.array([1]))
    with pytest.raises(ValueError, match="more than the tests"):
        seating.units(np.array([2]), np.array([1]), np.array([0]))
    with pytest.raises(ValueError, match="one length"):
        seating.units(np.array([2]), np.array([1, 2]), np.array([0]))
