"""What is learnt from a group, against scipy.stats, closed forms and a known truth."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from service.core.outlook import maximum, prior, touching
from service.core.outlook.prior import Basis, Exposure, Stated

OPEN = Stated(1.0, 1.0, 1e4, 1e4, "nothing")
"""So wide that it says nothing: what comes out is maximum likelihood."""
WEAK = prior.WEAK[Exposure.FLIGHT_HOURS]


def test_maximum_likelihood() -> None:
    """With nothing stated, mean and shape maximise the likelihood of scipy.stats.nbinom, found by another method."""
    rng = np.random.default_rng(3)
    exposure = rng.uniform(1, 60, 400)
    events = rng.poisson(rng.gamma(0.7, 0.1 / 0.7, 400) * exposure)

    def minus(point: np.ndarray) -> float:
        shape, mean = np.exp(point)
        return -float(stats.nbinom.logpmf(events, shape, shape / (shape + mean * exposure)).sum())

    best = optimize.minimize(minus, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    found = prior.learn(events, exposure, OPEN)
    np.testing.assert_allclose([found.shape, found.mean], np.exp(best.x), rtol=1e-4)


def test_equal_exposure() -> None:
    """Where all exposures are equal, the mean is that of the events: the closed form of the negative binomial."""
    events = np.array([0, 0, 0, 5, 1, 0, 9, 2, 0, 0])
    found = prior.learn(events, np.full(10, 4.0), OPEN)
    assert found.mean == pytest.approx(17 / 40, rel=1e-6)


def test_without_data() -> None:
    """Of no data the prior is the stated one with its whole uncertainty, and the result says so and why."""
    found = prior.learn(np.array([], dtype=np.int64), np.array([]), WEAK)
    assert (found.mean, found.shape) == pytest.approx((WEAK.mean, WEAK.shape))
    assert found.covariance == pytest.approx((WEAK.log_mean_sd**2, 0, 0, 1.0))
    assert found.basis is Basis.STATED
    assert "an assumption without a source" in found.why
    assert "0 events on 0 connectors" in found.why


def test_thin_to_ample() -> None:
    """As data come in, the basis goes from stated over leaning to learnt, and the truth is found."""
    rng = np.random.default_rng(5)
    bases = []
    for connectors in (5, 2_000, 60_000):
        exposure = rng.uniform(1e3, 6e4, connectors)
        events = rng.poisson(rng.gamma(0.5, 4e-5 / 0.5, connectors) * exposure)
        found = prior.learn(events[: connectors // 2], exposure[: connectors // 2], WEAK)
        bases.append(found.basis)
    assert bases[0] is not Basis.LEARNT
    assert bases[2] is Basis.LEARNT
    assert found.mean == pytest.approx(4e-5, rel=0.05)
    assert found.shape == pytest.approx(0.5, rel=0.05)
    quiet = prior.learn(np.zeros(3, dtype=np.int64), np.full(3, 100.0), WEAK)
    assert quiet.basis is Basis.STATED


def test_quiet_group() -> None:
    """Long exposure without an event is data: the mean goes far below the stated one."""
    found = prior.learn(np.zeros(1000, dtype=np.int64), np.full(1000, 3e4), WEAK)
    assert found.mean < WEAK.mean / 20


def test_sureness() -> None:
    """The spread that is claimed is the one that is seen: the standardised error of 300 fits has a variance near 1.

    Bounds fixed beforehand: a chi-square of 300 degrees of freedom stays between 0.8 and 1.25 of them (beyond 2.5 sigma).
    """
    rng = np.random.default_rng(8)
    errors = []
    for _ in range(300):
        exposure = rng.uniform(1, 60, 300)
        events = rng.poisson(rng.gamma(0.5, 0.05 / 0.5, 300) * exposure)
        found = prior.learn(events, exposure, Stated(0.05, 0.5, 3.0, 3.0, "nothing"))
        errors.append(math.log(found.mean / 0.05) / math.sqrt(found.covariance[0]))
    assert 0.8 < float(np.square(errors).mean()) < 1.25


def test_groups() -> None:
    """A group with ample data goes its own way; one with none gets what all together say, less surely."""
    rng = np.random.default_rng(9)
    group = np.repeat([0, 1], 20_000)
    exposure = rng.uniform(1e3, 6e4, group.size)
    events = rng.poisson(rng.gamma(0.5, np.where(group == 0, 2e-5, 8e-5) / 0.5) * exposure)
    slow, fast, none = prior.learn_groups(events, exposure, group, 3, WEAK)
    assert slow.mean == pytest.approx(2e-5, rel=0.06)
    assert fast.mean == pytest.approx(8e-5, rel=0.06)
    assert none.mean == pytest.approx(prior.learn(events, exposure, WEAK).mean)
    assert none.covariance[0] > 20 * slow.covariance[0]
    assert "all groups together" in none.why


def test_left_out() -> None:
    """Events without exposure teach no rate: they are left out and counted."""
    found = prior.learn(np.array([2, 0, 1]), np.array([0.0, 0.0, 10.0]), WEAK)
    assert (found.left_out, found.events, found.connectors) == (1, 1, 1)


@pytest.mark.parametrize(
    ("events", "exposure"), [([1], [1.0, 2.0]), ([-1], [1.0]), ([1], [-1.0]), ([1], [math.inf]), ([1], [math.nan])]
)
def test_refused(events: list[int], exposure: list[float]) -> None:
    """What is no count or no exposure is refused."""
    with pytest.raises(ValueError, match="exposure"):
        prior.learn(np.array(events), np.array(exposure), WEAK)


def test_group_out_of_range() -> None:
    """A group that is not one of those to learn is refused."""
    with pytest.raises(ValueError, match="out of range"):
        prior.learn_groups(np.array([1]), np.array([1.0]), np.array([2]), 2, WEAK)


def test_flat() -> None:
    """Where there is no top, none is made up."""
    flat = maximum.Slope(0.0, np.zeros(2), np.zeros((2, 2)))
    with pytest.raises(ArithmeticError, match="flat"):
        maximum.climb(lambda _point: flat, np.zeros(2))


def test_touching_likelihood() -> None:
    """With nothing stated, breadth and evenness maximise the likelihood of scipy.stats.betabinom, found by another method."""
    rng = np.random.default_rng(4)
    cavities = np.repeat([6, 19, 35], 400)
    partial = rng.integers(1, 8, cavities.size)
    mean = touching.chance(2.5, cavities)
    touches = rng.binomial(partial, rng.beta(3 * mean, 3 * (1 - mean)))

    def minus(point: np.ndarray) -> float:
        breadth, evenness = np.exp(point)
        each = touching.chance(breadth, cavities)
        return -float(np.sum(stats.betabinom.logpmf(touches, partial, evenness * each, evenness * (1 - each))))

    best = optimize.minimize(minus, [0.5, 1.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    seen = touching.Seen(cavities, partial, touches, np.ones(cavities.size, dtype=np.int64))
    found = touching.learn(seen, 3, 97, touching.Stated(log_breadth_sd=1e4, log_evenness_sd=1e4))
    np.testing.assert_allclose([found.breadth, found.evenness], np.exp(best.x), rtol=1e-4)
    assert found.full_share == pytest.approx(4 / 120)


def test_touching_without_data() -> None:
    """Of no events the touching is the stated one, and says so."""
    nothing = np.array([], dtype=np.int64)
    found = touching.learn(touching.Seen(nothing, nothing, nothing, nothing), 0, 0)
    assert (found.breadth, found.evenness, found.full_share) == pytest.approx((2.0, 5.0, 0.05))
    assert "an assumption without a source" in found.why


def test_too_many_touches() -> None:
    """More touches than events are refused: an event with two cycles of one cavity counts as two."""
    one = np.array([1])
    with pytest.raises(ValueError, match="more often"):
        touching.learn(touching.Seen(one, one, one + 1, one), 0, 1)
