"""A fleet's outlook as a whole: bands, pieces, progress, demand, stock, checks and modifications."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.core.outlook import demand, forecast, modification, prior, stock, supposition, touching, visits
from service.core.outlook.arrays import Floats
from service.core.outlook.fleet import UNRATED, Fleet
from service.core.outlook.forecast import Band, Outlook
from service.core.outlook.visits import Advice
from tests.core.outlook import worlds
from tests.core.outlook.worlds import World

SURE = supposition.of_groups([worlds.prior(0.5, 0.01)], [worlds.touched(2.0, full=0.05)])
MONTHS: Floats = np.array([30.0, 60.0, 90.0])
WORLD = World(shape=0.5, mean=0.05, breadth=1.5, evenness=4.0, full=0.05, cavities=6, rating=4)
NEAR = prior.Stated(0.02, 0.5, 1.4, 1.0, "for the test")


def looked(some: Fleet, parts: list[int] | None = None, days: Floats = MONTHS) -> Outlook:
    """The outlook of a fleet of one group, of one part number if no others are said."""
    part = np.array(parts or [0] * some.connectors, dtype=np.int64)
    return forecast.of_fleet(some, SURE, part, days)


def test_bands() -> None:
    """A count that is a lower bound gives a bound and no number; nothing rated gives nothing; spent is known whatever else is."""
    some = worlds.fleet(
        [[3, 3], [3, 3], [0, 3], [UNRATED, 3], [UNRATED, UNRATED], []],
        known=[True, True, True, False, False, False, True, True, True, True],
    )
    found = looked(some).run_out
    assert found.band.tolist() == [Band.KNOWN, Band.AT_LEAST, Band.KNOWN, Band.AT_LEAST, Band.NOT_KNOWN, Band.NOT_KNOWN]
    np.testing.assert_array_equal(found.highest[[1, 3, 4, 5]], 1.0)
    assert found.probability[1] == pytest.approx(found.probability[0])
    np.testing.assert_array_equal(found.highest[0], found.probability[0])
    np.testing.assert_allclose(found.probability[2], 1)
    assert (found.probability[3] < found.probability[0]).all()
    np.testing.assert_allclose(found.probability[4:], 0, atol=1e-7)


def test_supposed() -> None:
    """An unknown history with a known age is supposed to have been used as its group is: as one that has still to come."""
    some = worlds.fleet([[3, 3]] * 3, known=[False, False, False, False, True, True], unseen=[60.0, np.nan, 0.0])
    found = looked(some, days=np.array([30.0, 90.0])).run_out
    assert found.supposed[0, 0] == pytest.approx(found.probability[2, 1])
    assert np.isnan(found.supposed[1:]).all()


def test_new_connector() -> None:
    """A new connector has its group's prior alone, and all of its uncertainty: a stated one leaves early run-outs likelier."""
    some = worlds.fleet([[2] * 4])
    touches = [worlds.touched(2.0)]
    stated = prior.learn(np.array([], dtype=np.int64), np.array([]), prior.Stated(0.01, 0.5, 1.4, 1.0, "for the test"))
    unsure = forecast.of_fleet(some, supposition.of_groups([stated], touches), np.array([0]), MONTHS)
    sure = forecast.of_fleet(some, supposition.of_groups([worlds.prior(0.5, 0.01)], touches), np.array([0]), MONTHS)
    of_unsure, of_sure = demand.within(unsure.lots, 1), demand.within(sure.lots, 1)
    assert of_unsure.mean[0, 0] > of_sure.mean[0, 0]
    expected = forecast.of_fleet(some, supposition.of_groups([stated] * 2, touches * 2), np.array([0]), MONTHS)
    np.testing.assert_allclose(expected.run_out.probability, unsure.run_out.probability)


def test_pieces_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut into small pieces, worked on by two threads, a fleet has the outlook that it has in one; progress ends with all."""
    rng = np.random.default_rng(1)
    past = worlds.lived(WORLD, worlds.born(WORLD, 500, rng), np.full(500, 30.0), rng)
    some = worlds.recorded(WORLD, past, np.full(500, 30.0))
    part = rng.integers(0, 7, 500)
    whole = forecast.of_fleet(some, SURE, part, MONTHS)
    monkeypatch.setattr(forecast, "_AT_A_TIME", 30)
    told: list[tuple[int, int]] = []
    with ThreadPoolExecutor(2) as threads:
        cut = forecast.of_fleet(some, SURE, part, MONTHS, lambda done, of: told.append((done, of)), threads.map)
    np.testing.assert_allclose(cut.run_out.probability, whole.run_out.probability, atol=1e-12)
    np.testing.assert_allclose(cut.lots.expected, whole.lots.expected, atol=1e-9)
    assert told[-1] == (500, 500)
    assert len(told) > 10
    assert told == sorted(told)


def test_reached() -> None:
    """Straight between horizons: 0.2 at 30 and 0.6 at 60 days comes to 0.4 at 45; never is infinite, run out is today."""
    probability = np.array([[0.2, 0.6, 0.9], [0.0, 0.1, 0.2], [1.0, 1.0, 1.0], [0.5, 0.6, 0.7]])
    found = forecast.reached(MONTHS, probability, 0.4)
    np.testing.assert_allclose(found, [45, np.inf, 0, 24])


def test_demand_by_hand() -> None:
    """Of connectors that are independent, mean and variance are the sums of p and p (1 - p); months are differences."""
    some = worlds.fleet([[2, 3]] * 40 + [[0]] * 3 + [[2, 3]] * 5, known=[True] * 83 + [False] * 10)
    found = looked(some, [0] * 20 + [1] * 28)
    p = found.run_out.probability[0]
    of_span, of_month = demand.within(found.lots, 2), demand.between(found.lots, 2)
    np.testing.assert_allclose(of_span.mean, [20 * p, 20 * p])
    np.testing.assert_allclose(of_span.variance, [20 * p * (1 - p)] * 2, rtol=1e-6)
    np.testing.assert_allclose(of_month.mean.cumsum(axis=1), of_span.mean)
    assert of_span.due.tolist() == [0, 3]
    assert of_span.unknown.tolist() == [0, 5]
    np.testing.assert_allclose(of_span.unknown_least[1], 5 * p)


@pytest.mark.parametrize(("mean", "variance"), [(3.0, 7.5), (3.0, 3.0), (3.0, 2.4), (30.0, 31.0)])
def test_shapes_against_scipy(mean: float, variance: float) -> None:
    """More variance than mean is scipy.stats' nbinom, as much its poisson, less its binom."""
    counts = np.arange(60)
    if variance > mean:
        theirs = stats.nbinom.cdf(counts, mean**2 / (variance - mean), mean / variance)
    elif variance == mean:
        theirs = stats.poisson.cdf(counts, mean)
    else:
        theirs = stats.binom.cdf(counts, 15, 0.2)
    np.testing.assert_allclose(demand.at_most(mean, variance, counts), theirs, atol=1e-9)


def test_against_exact_sum() -> None:
    """For unequal probabilities the matched binomial is within 0.005 of the exact distribution, worked out by convolution."""
    p = np.random.default_rng(5).beta(0.5, 3, 60)
    exact = np.ones(1)
    for each in p:
        exact = np.convolve(exact, [1 - each, each])
    found = demand.at_most(float(p.sum()), float((p * (1 - p)).sum()), np.arange(61))
    np.testing.assert_allclose(found, exact.cumsum(), atol=0.005)


def test_demand_covers() -> None:
    """Learnt anew in 500 worlds of 300 connectors each, the demand's 90 % interval covers 90 +- 2 %, and its places are flat.

    Bounds fixed beforehand: two points, and the 1 % point of Kolmogorov and Smirnov's statistic. Counts are spread over their
    steps by chance; the interval as it is shown, ends included, covers at least that.
    """
    rng = np.random.default_rng(1)
    rows = np.array([_foretold(rng) for _ in range(500)])
    mean, variance, came = rows.T
    below, to = demand.at_most(mean, variance, came - 1), demand.at_most(mean, variance, came)
    places = below + rng.uniform(size=came.size) * (to - below)
    assert 0.88 < float(((places > 0.05) & (places < 0.95)).mean()) < 0.92
    assert stats.kstest(places, "uniform").pvalue > 0.01
    low, high = demand.quantile(mean, variance, 0.05), demand.quantile(mean, variance, 0.95)
    assert float(((low <= came) & (came <= high)).mean()) > 0.88


def _foretold(rng: np.random.Generator) -> tuple[float, float, int]:
    exposure, ahead = rng.uniform(0, 60, 300), 60.0
    lives = worlds.born(WORLD, 300, rng)
    past = worlds.lived(WORLD, lives, exposure, rng)
    some = worlds.recorded(WORLD, past, exposure)
    learnt = prior.learn(past[0], exposure, NEAR)
    supposed = supposition.of_groups([learnt], touching.learn_groups(some, 1))
    outlook = forecast.of_fleet(some, supposed, np.zeros(300, dtype=np.int64), np.array([ahead]))
    foretold = demand.within(outlook.lots, 1)
    _, full, touches = worlds.lived(WORLD, lives, np.full(300, ahead), rng)
    before = some.left.reshape(300, WORLD.cavities)
    hit = ((before - full[:, None] - touches) <= 0).any(axis=1) & (before > 0).all(axis=1)
    return float(foretold.mean[0, 0]), float(foretold.variance[0, 0]), int(hit.sum())


def test_calibrated() -> None:
    """Of 20 000 connectors, in each tenth of probabilities as many run out as were said, within four standard errors."""
    rng = np.random.default_rng(12)
    exposure = rng.uniform(0, 60, 20_000)
    lives = worlds.born(WORLD, 20_000, rng)
    past = worlds.lived(WORLD, lives, exposure, rng)
    some = worlds.recorded(WORLD, past, exposure)
    supposed = supposition.of_groups([prior.learn(past[0], exposure, NEAR)], touching.learn_groups(some, 1))
    whole = forecast.of_fleet(some, supposed, np.zeros(20_000, dtype=np.int64), np.array([60.0]))
    found = whole.run_out.probability[:, 0]
    _, full, touches = worlds.lived(WORLD, lives, np.full(20_000, 60.0), rng)
    left = some.left.reshape(20_000, -1) - full[:, None] - touches
    hit = left.min(axis=1) <= 0
    for tenth in np.array_split(np.argsort(found, kind="stable"), 10):
        error = np.sqrt((found[tenth] * (1 - found[tenth])).sum()) + 1
        assert abs(np.count_nonzero(hit[tenth]) - found[tenth].sum()) < 4 * error


def test_shelf() -> None:
    """The stock is the quantile of scipy.stats.poisson, the due on top; what is short is the expectation beyond it."""
    of = demand.Demand(np.array([[2.0]]), np.array([[2.0]]), np.array([3]), np.array([4]), np.array([[0.5]]))
    found = stock.shelf(of, 0.95)
    assert found.pieces[0, 0] == stats.poisson.ppf(0.95, 2) + 3
    assert found.pieces_at_most[0, 0] == found.pieces[0, 0] + 4
    assert found.met[0, 0] == pytest.approx(stats.poisson.cdf(5, 2))
    counts = np.arange(6, 60)
    assert found.short[0, 0] == pytest.approx(float(((counts - 5) * stats.poisson.pmf(counts, 2)).sum()))


@given(st.floats(0, 50), st.floats(0.3, 4), st.floats(0.5, 0.98))
def test_more_service_more_stock(mean: float, spread: float, level: float) -> None:
    """A higher service level never asks for less, always meets the level, and the next lower stock would not."""
    of = demand.Demand(
        np.array([[mean]]), np.array([[mean * spread]]), np.zeros(1, int), np.zeros(1, int), np.zeros((1, 1))
    )
    found, more = stock.shelf(of, level), stock.shelf(of, level + 0.01)
    assert found.pieces <= more.pieces
    assert found.met >= level
    assert demand.at_most(of.mean, of.variance, found.pieces - 1) < level


def test_visits() -> None:
    """Renewed is what won't last until the check after the next at the risk accepted, worst first; the unknown is looked up."""
    some = worlds.fleet([[1] * 6, [9] * 6, [9] * 6, [0], [1] * 9], known=[True] * 12 + [False] * 6 + [True] * 10)
    found = visits.visits(0, 2, looked(some).run_out, 0.05)
    assert found.advice.tolist() == [Advice.RENEW, Advice.KEEP, Advice.NOT_KNOWN, Advice.RENEW, Advice.RENEW]
    assert visits.order(found).tolist() == [3, 4, 0]
    p = looked(some).run_out.probability[0]
    assert found.between[0] == pytest.approx((p[2] - p[0]) / (1 - p[0]))
    with pytest.raises(ValueError, match="risk"):
        visits.visits(2, 0, looked(some).run_out, 0.05)


def test_modification() -> None:
    """A modification uses up what it takes, says which retainers stand in its way, and leaves the fleet before it alone."""
    some = worlds.fleet([[4, 2, 1], [UNRATED, 3]], known=[True, True, True, True, False])
    found = modification.planned(some, np.array([0, 1, 2, 3, 4]), np.array([2, 2, 2, 2, 2]))
    assert found.after.left.tolist() == [2, 0, -1, UNRATED, 1]
    assert some.left.tolist() == [4, 2, 1, UNRATED, 3]
    assert (found.impossible.tolist(), found.used_up.tolist(), found.not_known.tolist()) == ([2], [1], [3, 4])
    light = modification.planned(some, np.array([0]), np.array([1])).after
    assert (looked(light).run_out.probability[0] >= looked(some).run_out.probability[0]).all()
    for cavities, cycles in (([0, 0], [1, 1]), ([5], [1]), ([0], [0])):
        with pytest.raises(ValueError, match="cavity"):
            modification.planned(some, np.array(cavities), np.array(cycles))


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"events": [1, 1, 1]}, "connectors differ"),
        ({"touches": [0]}, "cavities differ"),
        ({"starts": [0, 3, 2]}, "share out"),
        ({"exposure": [-1.0, 0.0]}, "negative"),
        ({"touches": [1, 0]}, "more touches"),
        ({"full_events": [1, 0]}, "more full"),
        ({"group": [0, 1]}, "out of range"),
    ],
)
def test_refused(changes: dict[str, list[float]], match: str) -> None:
    """A fleet that contradicts itself is refused before anything is worked out."""
    with pytest.raises(ValueError, match=match):
        looked(worlds.fleet([[3], [3]], **changes))


def test_horizons_refused() -> None:
    """Horizons that do not ascend are refused."""
    with pytest.raises(ValueError, match="ascend"):
        looked(worlds.fleet([[3]]), days=np.array([60.0, 30.0]))
