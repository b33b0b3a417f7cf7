"""Rates above the group's, against scipy.stats, figures worked by hand, and chance."""

import numpy as np
import pytest
from scipy import stats

from service.core.outlook import arrays
from service.core.outlook.arrays import Floats, Integers
from service.core.signals import exceedance, false_discovery
from service.core.signals.verdict import WORDS, Verdict

EVENTS = np.array([12, 3, 4, 2, 0])
EXPOSURE = np.array([100.0, 100.0, 150.0, 50.0, 100.0])
GROUP = np.zeros(5, dtype=np.int64)


def test_against_scipy() -> None:
    """The p-value is scipy.stats.binomtest's, the interval its exact one carried over to the ratio of rates."""
    found = exceedance.rates(EVENTS, EXPOSURE, GROUP)
    for unit in range(5):
        share = EXPOSURE[unit] / EXPOSURE.sum()
        theirs = stats.binomtest(int(EVENTS[unit]), int(EVENTS.sum()), share, alternative="greater")
        assert found.p_value[unit] == pytest.approx(theirs.pvalue)
        span = stats.binomtest(int(EVENTS[unit]), int(EVENTS.sum()), share).proportion_ci(0.9, "exact")
        odds = share / (1 - share)
        assert found.low[unit] == pytest.approx(span.low / (1 - span.low) / odds)
        assert found.high[unit] == pytest.approx(span.high / (1 - span.high) / odds)


def test_by_hand() -> None:
    """12 in 100 against 9 in 400 is 5.33 times the rate; 2.25 were expected; pointed out, the others not."""
    found = exceedance.rates(EVENTS, EXPOSURE, GROUP)
    assert found.ratio[0] == pytest.approx(0.12 / 0.0225)
    assert found.expected[0] == pytest.approx(2.25)
    assert found.verdict[0] == Verdict.SHOWN
    assert (found.verdict[1:] != Verdict.SHOWN).all()


def test_silent_units() -> None:
    """Units without events that are only counted leave every figure as it is when they are listed."""
    rng = np.random.default_rng(7)
    events, exposure, group = rng.poisson(0.4, 400), rng.uniform(50, 150, 400), rng.integers(0, 3, 400)
    events[:3] = 9
    listed, some = exceedance.rates(events, exposure, group), events > 0
    unlisted = arrays.total(exposure[~some], group[~some], 3)
    silent = exceedance.Silent(int((~some).sum()), unlisted)
    counted = exceedance.rates(events[some], exposure[some], group[some], silent=silent)
    for name in ("expected", "ratio", "low", "high", "p_value", "adjusted", "detectable", "verdict"):
        np.testing.assert_allclose(getattr(counted, name), getattr(listed, name)[some], rtol=1e-9, err_msg=name)


def test_garwood() -> None:
    """The interval of a rate is the one of chi-square quantiles: none in 10 is 0 to -ln(0.05) / 10."""
    low, high = exceedance.garwood(np.array([0, 7]), np.array([10.0, 10.0]))
    np.testing.assert_allclose(low, [0, stats.chi2.ppf(0.05, 14) / 20])
    np.testing.assert_allclose(high, [-np.log(0.05) / 10, stats.chi2.ppf(0.95, 16) / 20])


def test_nothing_to_compare() -> None:
    """A unit alone, without exposure, or in a group that has had no events shows nothing, and it is said plainly."""
    found = exceedance.rates(np.array([3, 1, 0, 0]), np.array([5.0, 0.0, 9.0, 9.0]), np.array([0, 1, 2, 2]))
    assert np.isnan(found.p_value).all()
    assert (found.verdict == Verdict.TOO_LITTLE).all()
    assert WORDS[Verdict.TOO_LITTLE] == "too little data to show it either way"


def test_thin_and_ample() -> None:
    """Equal rates: with few events it is too little to say, with many it is not shown; what would have been shown shrinks."""
    few = exceedance.rates(np.full(10, 1), np.full(10, 100.0), np.zeros(10, dtype=np.int64))
    many = exceedance.rates(np.full(10, 100), np.full(10, 100.0), np.zeros(10, dtype=np.int64))
    assert (few.verdict == Verdict.TOO_LITTLE).all()
    assert (many.verdict == Verdict.NOT_SHOWN).all()
    assert (many.detectable < 1.7).all()
    assert (few.detectable > 5).all()


def test_detectable() -> None:
    """A unit whose rate is as many times higher as is called detectable is pointed out in about 80 % of 400 worlds."""
    rng = np.random.default_rng(2)
    exposure, group = np.full(20, 100.0), np.zeros(20, dtype=np.int64)
    ratio = float(exceedance.rates(np.full(20, 20), exposure, group).detectable[0])
    shown = 0
    for _ in range(400):
        means = np.full(20, 20.0)
        means[0] *= ratio
        shown += int(exceedance.rates(rng.poisson(means), exposure, group).verdict[0] == Verdict.SHOWN)
    # Twenty events each were given as certain there and vary here, and the bad unit adds to its group: hence the width.
    assert 0.65 < shown / 400 < 0.95


def _world(rng: np.random.Generator, bad: int) -> tuple[Integers, Floats, Integers]:
    group = np.repeat(np.arange(4), 25)
    exposure = rng.uniform(50, 200, 100)
    rate = np.full(100, 0.1)
    rate[:bad] *= 4
    return rng.poisson(rate * exposure), exposure, group


def test_false_discoveries() -> None:
    """In worlds without any difference hardly one in ten shows any; of bad units most are found, and few others with them."""
    rng = np.random.default_rng(3)
    alarms = [bool((exceedance.rates(*_world(rng, 0)).verdict == Verdict.SHOWN).any()) for _ in range(200)]
    assert float(np.mean(alarms)) < 0.13
    found, false = 0, []
    for _ in range(100):
        shown = exceedance.rates(*_world(rng, 10)).verdict == Verdict.SHOWN
        found += int(shown[:10].sum())
        false.append(shown[10:].sum() / max(shown.sum(), 1))
    assert found > 850
    assert float(np.mean(false)) < 0.12


def test_interval_covers() -> None:
    """The interval of the ratio covers the truth, 1, in at least 90 % of cases: it is exact, so it never covers less."""
    rng = np.random.default_rng(4)
    inside = []
    for _ in range(100):
        found = exceedance.rates(*_world(rng, 0))
        inside.append(((found.low <= 1) & (found.high >= 1)).mean())
    assert 0.9 <= float(np.mean(inside)) < 0.96


@pytest.mark.parametrize(
    ("events", "exposure", "group"),
    [([1], [1.0, 2.0], [0]), ([-1], [1.0], [0]), ([1], [-1.0], [0]), ([1], [1.0], [-1])],
)
def test_refused(events: list[int], exposure: list[float], group: list[int]) -> None:
    """Lengths that differ and negative numbers are refused."""
    with pytest.raises(ValueError, match="events, exposure and group"):
        exceedance.rates(np.array(events), np.array(exposure), np.array(group))


def test_adjusted_against_scipy() -> None:
    """Adjusted p-values are those of scipy.stats.false_discovery_control; tests that were not made stay so and do not count."""
    values = np.random.default_rng(1).uniform(size=30) ** 3
    with_gaps = np.insert(values, [3, 20], np.nan)
    made = ~np.isnan(with_gaps)
    usual = false_discovery.adjusted(with_gaps)
    any_dependence = false_discovery.adjusted(with_gaps, any_dependence=True)
    np.testing.assert_allclose(usual[made], stats.false_discovery_control(values, method="bh"))
    np.testing.assert_allclose(any_dependence[made], stats.false_discovery_control(values, method="by"))
    assert np.isnan(usual[~made]).all()


def test_adjusted_by_hand() -> None:
    """0.01, 0.02, 0.03, 0.5 of four tests: 0.04, 0.04, 0.04, 0.5; at a rate of 5 % the first three are pointed out."""
    values = np.array([0.03, 0.01, 0.5, 0.02])
    np.testing.assert_allclose(false_discovery.adjusted(values), [0.04, 0.04, 0.5, 0.04])
    np.testing.assert_array_equal(false_discovery.pointed_out(values, 0.05), [True, True, False, True])
    assert false_discovery.adjusted(np.array([])).size == 0


def test_adjusted_refused() -> None:
    """What is no probability is refused."""
    with pytest.raises(ValueError, match="p-value"):
        false_discovery.adjusted(np.array([1.5]))
    with pytest.raises(ValueError, match="rate"):
        false_discovery.pointed_out(np.array([0.5]), 0.0)
