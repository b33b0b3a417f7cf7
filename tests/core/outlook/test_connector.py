"""The outlook of connectors against closed forms, figures worked by hand, scipy.stats and chance."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from service.core.outlook import connector, supposition, touching, urn
from service.core.outlook.arrays import Floats
from service.core.outlook.fleet import Fleet
from service.core.outlook.prior import Prior
from service.core.outlook.touching import Touching
from tests.core.outlook import worlds

RATE = worlds.prior(0.5, 0.1)
ALWAYS = worlds.touched(breadth=60.0, evenness=1e7)
"""A partial event of a connector with one cavity touches it for certain."""


def chances(some: Fleet, ahead: Floats, prior: Prior, touches: Touching) -> Floats:
    """The probability of each connector, by the same three steps as the fleet's."""
    supposed = supposition.of_groups([prior], [touches])
    most = int(connector.reach(some, supposed, ahead.max(axis=1)).max())
    found = connector.run_out(some, supposed, connector.endurance(some, supposed, most), ahead)
    return np.asarray(found.mean(axis=0))


@pytest.mark.parametrize("left", [1, 2, 3, 7])
@pytest.mark.parametrize(("events", "exposure"), [(0, 0.0), (0, 40.0), (3, 25.0)])
def test_one_cavity_that_every_event_touches(left: int, events: int, exposure: float) -> None:
    """It runs out with the left-th event: the tail of the negative binomial of the posterior (scipy.stats.nbinom)."""
    some = worlds.fleet([[left]], events=[events], exposure=[exposure], touches=[events])
    ahead = np.array([[1.0, 10.0, 100.0]])
    rate = 0.5 / 0.1 + exposure
    expected = stats.nbinom.sf(left - 1, 0.5 + events, rate / (rate + ahead))
    np.testing.assert_allclose(chances(some, ahead, RATE, ALWAYS), expected, atol=2e-7)


def test_thinned() -> None:
    """A cavity touched with a certain probability q runs out as if its connector's rate were q times as high (thinning)."""
    some = worlds.fleet([[4]])
    half = worlds.touched(breadth=float(-np.log(0.5)), evenness=1e7)
    rate = 0.5 / 0.1
    expected = stats.nbinom.sf(3, 0.5, rate / (rate + 0.5 * 60))
    np.testing.assert_allclose(chances(some, np.array([[60.0]]), RATE, half), [[expected]], atol=1e-6)


def test_full_events_are_not_multiplied() -> None:
    """Where every event is full, twenty cavities run out together: the connector's probability is that of one cavity."""
    alike = worlds.fleet([[3] * 20, [3]])
    found = chances(alike, np.full((2, 1), 30.0), RATE, worlds.touched(2.0, full=1.0))
    expected = stats.nbinom.sf(2, 0.5, 5 / 35)
    np.testing.assert_allclose(found, [[expected], [expected]], atol=2e-7)
    assert found[0, 0] < 0.5 * (1 - (1 - expected) ** 20)


def test_two_cavities_by_hand() -> None:
    """Two cavities with one left, each touched by half of the partial events: worked by hand from the definition.

    After K events both last with (1/4)^K. Averaged over the negative binomial (shape 1/2, p = 5/15) that is its generating
    function at 1/4: (p / (1 - (1 - p) / 4))^(1/2) = 0.4^(1/2) = 0.63246, so 0.36754 run out. One cavity alone lasts with
    (p / (1 - (1 - p) / 2))^(1/2) = 0.5^(1/2); multiplied away, 1 - 0.5 = 0.5 would run out.
    """
    some = worlds.fleet([[1, 1]])
    half = worlds.touched(breadth=2 * float(np.log(2)), evenness=1e7)
    found = chances(some, np.array([[10.0]]), RATE, half)
    np.testing.assert_allclose(found, [[1 - np.sqrt(0.4)]], atol=1e-6)


def test_spent_and_roomy() -> None:
    """One retainer that has run out makes the connector run out for certain; one with endless room never does."""
    some = worlds.fleet([[0, 9], [10_000, 10_000]])
    found = chances(some, np.full((2, 2), 10.0), RATE, worlds.touched(2.0, full=0.05))
    np.testing.assert_allclose(found[0], [1, 1])
    np.testing.assert_allclose(found[1], [0, 0], atol=1e-7)


def test_urn() -> None:
    """The table of what lasts is the distribution function of scipy.stats.betabinom."""
    alpha, beta = np.array([0.3, 2.0, 40.0]), np.array([4.0, 0.7, 60.0])
    table = np.exp(urn.lasting(alpha, beta, 6, 12))
    for kind in range(3):
        for room in range(6):
            expected = stats.betabinom.cdf(room - 1, np.arange(13), alpha[kind], beta[kind])
            np.testing.assert_allclose(table[room, kind], expected, atol=1e-12)


def test_own_habit() -> None:
    """A cavity that its connector's events kept touching runs out before one that they left alone, as betabinom has it."""
    some = worlds.fleet([[2, 2]], events=[4], exposure=[50.0], touches=[4, 0])
    supposed = supposition.of_groups([RATE], [worlds.touched(0.8, 5.0)])
    found = connector.run_out_of_cavities(some, supposed, np.array([[40.0]]))
    mean = float(touching.chance(0.8, np.array([2]))[0])
    counts = np.arange(200)
    coming = stats.nbinom.pmf(counts, 4.5, 55 / 95)
    for place, touches in enumerate((4, 0)):
        spent = stats.betabinom.sf(1, counts, 5 * mean + touches, 5 * (1 - mean) + 4 - touches)
        np.testing.assert_allclose(found[place, 0], coming @ spent, atol=1e-6)
    assert found[0, 0] > 2 * found[1, 0]


def test_played_out() -> None:
    """Played out 200 000 times, connectors of one history run out as often as said (four standard errors, fixed beforehand)."""
    rng = np.random.default_rng(11)
    partial, touches, full_share = 3, np.array([3, 1, 0, 0, 0, 1]), 0.1
    some = worlds.fleet([[2, 3, 4, 4, 4, 3]], events=[4], full_events=[1], exposure=[60.0], touches=touches)
    found = chances(some, np.array([[50.0]]), RATE, worlds.touched(1.5, 4.0, full_share))[0, 0]
    times = 200_000
    rates = rng.gamma(0.5 + 4, 1 / (5 + 60), times)
    mean = float(touching.chance(1.5, np.array([6]))[0])
    own = rng.beta(4 * mean + touches, 4 * (1 - mean) + partial - touches, (times, 6))
    events = rng.poisson(rates * 50)
    full = rng.binomial(events, full_share)
    used = full[:, None] + rng.binomial((events - full)[:, None], own)
    often = float((used >= some.left).any(axis=1).mean())
    assert abs(often - found) < 4 * np.sqrt(found * (1 - found) / times)


lefts = st.lists(st.integers(-1, 6), min_size=1, max_size=5)


@settings(max_examples=60)
@given(lefts, st.integers(0, 4), st.floats(0, 100), st.floats(0.3, 5), st.floats(0, 0.5))
def test_orders(left: list[int], events: int, exposure: float, breadth: float, full: float) -> None:
    """More time never helps; more left never hurts; the connector is no safer than any cavity, and no worse than all added."""
    touches = worlds.touched(breadth, full=full)
    ahead = np.tile(np.array([[1.0, 20.0, 80.0]]), (2, 1))
    some = worlds.fleet([left, [each + 1 for each in left]], events=[events] * 2, exposure=[exposure] * 2)
    found = chances(some, ahead, RATE, touches)
    assert (np.diff(found, axis=1) >= -1e-6).all()
    assert (found[0] >= found[1] - 1e-6).all()
    each = connector.run_out_of_cavities(some, supposition.of_groups([RATE], [touches]), ahead)[: len(left)]
    assert (found[0] >= each.max(axis=0) - 1e-6).all()
    assert (found[0] <= each.sum(axis=0) + 1e-6).all()


@settings(max_examples=40)
@given(st.integers(1, 5), st.floats(1, 200), st.floats(1, 200))
def test_quiet_time_reassures(left: int, quiet: float, more: float) -> None:
    """The longer a connector has been left alone, the less likely it is to run out."""
    some = worlds.fleet([[left] * 3] * 2, exposure=[quiet, quiet + more])
    found = chances(some, np.full((2, 1), 50.0), RATE, worlds.touched(1.0))
    assert found[1, 0] <= found[0, 0] + 1e-6
