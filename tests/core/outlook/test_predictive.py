"""The negative binomial of what is to come, against scipy.stats and against chance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.core.outlook import predictive, prior
from service.core.outlook.prior import Exposure

COMING = predictive.coming(0.5, 20.0, np.array([0, 1, 5]), np.array([0.0, 30.0, 100.0]), 60.0)


def test_against_scipy() -> None:
    """Mean, variance, both tails, single chances and quantiles are those of scipy.stats.nbinom."""
    theirs = stats.nbinom(COMING.shape, COMING.nothing)
    np.testing.assert_allclose(predictive.mean(COMING), theirs.mean())
    np.testing.assert_allclose(predictive.variance(COMING), theirs.var())
    for count, chance in enumerate(predictive.chances(COMING, 30)):
        np.testing.assert_allclose(chance, theirs.pmf(count), rtol=1e-9)
        np.testing.assert_allclose(predictive.at_most(COMING, count), theirs.cdf(count), rtol=1e-10)
        np.testing.assert_allclose(predictive.more_than(COMING, count), theirs.sf(count), rtol=1e-7)
        assert (predictive.more_at_most(COMING, count) >= theirs.sf(count)).all()
    for level in (0.05, 0.5, 0.95, 0.999):
        np.testing.assert_array_equal(predictive.quantile(COMING, level), theirs.ppf(level))


def test_posterior_by_hand() -> None:
    """Prior (0.5, 20), 1 event in 30, 60 ahead: mean (0.5 + 1) / (20 + 30) x 60 = 1.8; nothing happens with (50/110)^1.5."""
    assert predictive.mean(COMING)[1] == pytest.approx(1.8)
    assert predictive.at_most(COMING, 0)[1] == pytest.approx((50 / 110) ** 1.5)
    assert predictive.at_most(COMING, -1)[1] == 0
    assert predictive.more_than(COMING, -1)[1] == 1


@given(st.integers(0, 6), st.floats(0, 100), st.floats(0, 100), st.floats(0.1, 100), st.floats(0.5, 0.99))
def test_orders(events: int, exposure: float, quiet: float, ahead: float, level: float) -> None:
    """More events behind or more time ahead never foretell fewer; more quiet time behind never foretells more."""
    base = predictive.coming(0.5, 20.0, events, exposure, ahead)
    busier = predictive.coming(0.5, 20.0, events + 1, exposure, ahead)
    longer = predictive.coming(0.5, 20.0, events, exposure, 2 * ahead)
    quieter = predictive.coming(0.5, 20.0, events, exposure + quiet, ahead)
    of = [int(predictive.quantile(each, level)) for each in (quieter, base, busier, longer)]
    assert of[0] <= of[1] <= min(of[2:])
    low, high = predictive.interval(base, level)
    assert predictive.at_most(base, high) - predictive.at_most(base, low - 1) >= level - 1e-9


def test_covers() -> None:
    """Learnt from 3 000 connectors, the prediction of each one's next span covers: 90 % within 90 +- 2, places flat.

    Bounds fixed beforehand: two points, and the 1 % point of Kolmogorov and Smirnov's statistic. Counts are spread over their
    steps by chance, or small counts would cover too much.
    """
    rng = np.random.default_rng(21)
    exposure = rng.uniform(0, 60, 3000)
    rates = rng.gamma(0.5, 0.05 / 0.5, 3000)
    events = rng.poisson(rates * exposure)
    learnt = prior.learn(events, exposure, prior.WEAK[Exposure.DAYS])
    coming = predictive.coming(learnt.shape, learnt.rate, events, exposure, 40.0)
    places = predictive.place(coming, rng.poisson(rates * 40), rng.uniform(size=3000))
    assert 0.88 < float(((places > 0.05) & (places < 0.95)).mean()) < 0.92
    assert stats.kstest(places, "uniform").pvalue > 0.01


def test_naive_rates_do_not_cover() -> None:
    """The check can fail: with each connector's own rate taken as certain, the same places are far from flat."""
    rng = np.random.default_rng(21)
    exposure = rng.uniform(5, 60, 3000)
    rates = rng.gamma(0.5, 0.05 / 0.5, 3000)
    naive = rng.poisson(rates * exposure) / exposure
    sure = predictive.coming(1e6, 1e6 / np.maximum(naive, 1e-6), 0, 0.0, 40.0)
    places = predictive.place(sure, rng.poisson(rates * 40), rng.uniform(size=3000))
    assert stats.kstest(places, "uniform").pvalue < 1e-6


@pytest.mark.parametrize(
    "wrong", [(0.0, 1.0, 0, 0, 1), (1.0, 0.0, 0, 0, 1), (1.0, 1.0, -1, 0, 1), (1.0, 1.0, 0, 0, -1)]
)
def test_refused(wrong: tuple[float, float, int, int, int]) -> None:
    """A shape that is not positive, or a negative count or exposure, is refused."""
    with pytest.raises(ValueError, match="positive"):
        predictive.coming(*wrong)


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_levels(level: float) -> None:
    """There is no quantile at 0 or 1."""
    with pytest.raises(ValueError, match="level"):
        predictive.quantile(predictive.coming(*([1.0] * 5)), level)
