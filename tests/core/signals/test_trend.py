"""Drifting readings, against scipy.stats, figures worked by hand, and chance."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.core.signals import trend
from service.core.signals.verdict import Verdict

ONE = np.zeros(30, dtype=np.int64)


def test_against_scipy() -> None:
    """Of one long series the slope is scipy.stats.theilslopes', the p-value near kendalltau's, the interval as theirs."""
    rng = np.random.default_rng(1)
    at, reading = np.arange(30.0), 60 - 0.01 * np.arange(30) + rng.normal(0, 1, 30)
    found = trend.falling(at, reading, ONE)
    theirs = stats.theilslopes(reading, at, 0.9)
    assert found.slope == pytest.approx(theirs.slope)
    width = theirs.high_slope - theirs.low_slope
    assert (found.low, found.high) == pytest.approx((theirs.low_slope, theirs.high_slope), abs=0.05 * width)
    assert found.p_value == pytest.approx(stats.kendalltau(at, reading, alternative="less").pvalue, rel=0.1)


@pytest.mark.parametrize("readings", [4, 6, 9])
def test_exact(readings: int) -> None:
    """Of one short series without ties the p-value is the exact one of scipy.stats.kendalltau."""
    reading = np.random.default_rng(readings).normal(size=readings)
    at = np.arange(float(readings))
    theirs = stats.kendalltau(at, reading, alternative="less", method="exact").pvalue
    assert trend.falling(at, reading, ONE[:readings]).p_value == pytest.approx(theirs)


def test_by_hand() -> None:
    """Four readings 66, 64, 65, 61: five of six pairs fall, 4 of 24 orders are as low: p = 4/24; the median slope is -1.25."""
    found = trend.falling(np.arange(4.0), np.array([66.0, 64.0, 65.0, 61.0]), ONE[:4])
    # Slopes -2, -1/2, -5/3, 1, -3/2, -4: the middle two are -5/3 and -3/2.
    assert found.slope == pytest.approx((-5 / 3 - 3 / 2) / 2)
    assert found.p_value == pytest.approx(4 / 24)
    assert found.pairs == 6


def test_pooled() -> None:
    """Forty cavities with four readings each show together what none shows alone, whatever their levels."""
    rng = np.random.default_rng(2)
    series = np.repeat(np.arange(40), 4)
    at = np.tile(np.array([1.0, 3.0, 5.0, 7.0]), 40)
    reading = rng.normal(66, 8, 40)[series] - 0.5 * at + rng.normal(0, 1, 160)
    found = trend.falling(at, reading, series)
    assert found.verdict == Verdict.SHOWN
    assert found.low < -0.5 < found.high < 0
    alone = trend.falling(at[:3], reading[:3], series[:3])
    assert alone.verdict == Verdict.TOO_LITTLE


def test_levels_do_not_pretend() -> None:
    """Cavities that start lower and were read later are no drift: each is compared with itself only."""
    series = np.repeat(np.arange(10), 5)
    at = np.tile(np.arange(5.0), 10) + 5.0 * series
    reading = 80 - 3.0 * series + np.random.default_rng(3).normal(0, 1, 50)
    assert trend.falling(at, reading, series).verdict == Verdict.NOT_SHOWN


def test_outlier() -> None:
    """One slip of the gauge moves the slope by little."""
    at = np.arange(20.0)
    reading = 60 - 0.2 * at
    reading[18] = 500.0
    assert trend.falling(at, reading, ONE[:20]).slope == pytest.approx(-0.2)


def test_nothing() -> None:
    """No reading, one reading, or readings all at one place say nothing, plainly; equal readings show no fall."""
    for at in ([], [1.0], [1.0, 1.0]):
        found = trend.falling(np.array(at), np.array(at), ONE[: len(at)])
        assert math.isnan(found.slope)
        assert found.verdict == Verdict.TOO_LITTLE
    same = trend.falling(np.arange(9.0), np.full(9, 60.0), ONE[:9])
    assert same.p_value > 0.5
    assert same.verdict != Verdict.SHOWN


def test_covers() -> None:
    """Over 1 500 worlds of 30 short series the 90 % interval of the slope covers within 90 +- 2; bounds fixed beforehand.

    Where nothing drifts, falling is claimed in one world in twenty, the half of what the level leaves.
    """
    rng = np.random.default_rng(10)
    series, at = np.repeat(np.arange(30), 4), np.tile(np.arange(4.0), 30)
    inside, claimed = [], []
    for _ in range(1500):
        noise = rng.standard_t(3, 120) + rng.normal(0, 10, 30)[series]
        found = trend.falling(at, noise - 0.3 * at, series)
        inside.append(found.low <= -0.3 <= found.high)
        claimed.append(trend.falling(at, noise, series).verdict == Verdict.SHOWN)
    assert 0.88 <= float(np.mean(inside)) <= 0.92
    assert 0.03 <= float(np.mean(claimed)) <= 0.07


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(0, 2)), max_size=12), st.integers(1, 5))
def test_scales(readings: list[tuple[int, int, int]], factor: int) -> None:
    """Readings in another unit scale the slope and change no verdict; turned over in sign, the slope turns over."""
    at, reading, series = (np.array([each[part] for each in readings], dtype=np.float64) for part in range(3))
    base = trend.falling(at, reading, series.astype(np.int64))
    scaled = trend.falling(at, reading * factor, series.astype(np.int64))
    turned = trend.falling(at, -reading, series.astype(np.int64))
    assert scaled.slope == pytest.approx(base.slope * factor, nan_ok=True)
    assert scaled.verdict == base.verdict
    assert turned.slope == pytest.approx(-base.slope, nan_ok=True)


def test_refused() -> None:
    """Lengths that differ, readings that are no numbers, and series beyond the most that pairs allow are refused."""
    with pytest.raises(ValueError, match="one length"):
        trend.falling(np.array([1.0]), np.array([1.0, 2.0]), ONE[:1])
    with pytest.raises(ValueError, match="finite"):
        trend.falling(np.array([1.0]), np.array([math.nan]), ONE[:1])
    with pytest.raises(ValueError, match="at most"):
        trend.falling(np.zeros(2001), np.zeros(2001), np.zeros(2001, dtype=np.int64))
