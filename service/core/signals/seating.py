"""Seating failures: units whose share of failed tests stands out, and tools that precede failures.

A unit's failures among its tests are beta-binomial if it is drawn from the same urn as the others of its group; the urn is learnt
from the others alone, or one bad unit would make room for itself. A tool is compared with the other tools within strata (contact
size, bench), so that a tool for a difficult size is not blamed for the size: exact conditional inference for a common odds ratio
(Cornfield, Gart), with the hypergeometric distributions of the strata added up. From memory; the tests compare with scipy.stats.
"""

import math
from collections.abc import Callable

import numpy as np
from msgspec import Struct
from scipy import special

from service.core.outlook import touching
from service.core.outlook.arrays import Counts, Floats, Integers
from service.core.outlook.touching import Touching
from service.core.signals import exceedance, false_discovery
from service.core.signals.exceedance import Exceedance

STATED = touching.Stated(0.02, 50.0, 1.4, 1.0, source="an assumption without a source: one test in fifty fails")
"""What is believed of an urn before any test: breadth is here the share of failures, nearly."""


def units(failures: Counts, tests: Counts, group: Integers, false_rate: float = 0.1, level: float = 0.9) -> Exceedance:
    """Units whose share of failed seating tests is above what the others of their group would give by chance. All (n,).

    Units differ by nature; `others` is the urn's mean, the ratio and its interval those of the unit's share to it. Each urn takes
    a fit, some milliseconds: meant for benches, tools and batches, not for a million connectors.

    Raises:
        ValueError: lengths that differ, negative numbers, more failures than tests, or a rate or level out of range.
    """
    _check(failures, tests, group, level)
    urns = [_urn(failures, tests, group, unit) for unit in range(group.size)]
    told, mean = tests > 0, np.array([_share(each.breadth) for each in urns])
    tails = [_supposed_tail(int(many), each) for many, each in zip(tests, urns, strict=True)]
    p_value = np.array([tail[failed] for tail, failed in zip(tails, failures, strict=True)])
    p_value = np.where(told, p_value, np.nan)
    adjusted, limit = false_discovery.adjusted(p_value), exceedance.threshold(p_value, false_rate)
    needed = np.array([int(np.argmax(tail <= limit)) for tail in tails], dtype=np.int64)
    detectable = np.where(told, exceedance.share_detected(needed, tests) / mean, np.inf)
    many, failed = tests.astype(np.float64), failures.astype(np.float64)
    low, high = exceedance.clopper_pearson(failed, many, level)
    return Exceedance(
        own=exceedance.ratio(failed, many),
        others=mean,
        expected=mean * many,
        ratio=exceedance.ratio(failed, many) / mean,
        low=np.where(told, low / mean, np.nan),
        high=np.where(told, high / mean, np.nan),
        p_value=p_value,
        adjusted=adjusted,
        detectable=detectable,
        verdict=exceedance.verdicts(adjusted, detectable, false_rate),
    )


class Tools(Struct, frozen=True, eq=False):
    """Of each tool, (t,): what follows insertions with it, against other tools in the same strata.

    `insertions` and `failures` with the tool; `expected` failures if it were like the others; `odds_ratio` (conditional maximum
    likelihood) with its exact interval `low` .. `high`; `p_value`, one-sided, `adjusted` for the tools looked at; `verdict`.
    NaN where the tool had no stratum with others, failures and tests that held.
    """

    insertions: Integers
    failures: Integers
    expected: Floats
    odds_ratio: Floats
    low: Floats
    high: Floats
    p_value: Floats
    adjusted: Floats
    detectable: Floats
    verdict: Integers


def tools(insertions: Counts, failures: Counts, false_rate: float = 0.1, level: float = 0.9) -> Tools:
    """Tools that precede seating failures. Insertions that were tested and, of these, failures: (tools, strata).

    `detectable` is the smallest odds ratio that would have been shown with a probability of 80 %.

    Raises:
        ValueError: shapes that differ, negative numbers, more failures than insertions, or a rate or level out of range.
    """
    if insertions.shape != failures.shape or insertions.ndim != 2:  # noqa: PLR2004 - tools by strata
        raise ValueError("insertions and failures are tables of tools by strata")
    if (failures < 0).any() or (failures > insertions).any() or not 0 < level < 1:
        raise ValueError("failures are neither negative nor more than the insertions; a level lies between 0 and 1")
    sums = [_Conditional(each, insertions, failures) for each in range(insertions.shape[0])]
    p_value = np.array([each.p_value() for each in sums])
    adjusted, limit = false_discovery.adjusted(p_value), exceedance.threshold(p_value, false_rate)
    spans = np.array([each.interval(level) for each in sums]).reshape(-1, 2)
    detectable = np.array([each.detectable(limit) for each in sums])
    return Tools(
        insertions=insertions.sum(axis=1).astype(np.int64),
        failures=failures.sum(axis=1).astype(np.int64),
        expected=np.array([each.expected() for each in sums]),
        odds_ratio=np.array([each.odds_ratio() for each in sums]),
        low=spans[:, 0],
        high=spans[:, 1],
        p_value=p_value,
        adjusted=adjusted,
        detectable=detectable,
        verdict=exceedance.verdicts(adjusted, detectable, false_rate),
    )


_FARTHEST = 40.0
"""Logarithm of an odds ratio that counts as infinite."""


class _Conditional:
    """A tool's failures over its strata, given the margins of every stratum: least, and log weight of each number above."""

    def __init__(self, tool: int, insertions: Counts, failures: Counts) -> None:
        self.least, self.seen, weights = 0, 0, np.ones(1)
        own, failed = insertions[tool].astype(np.int64), insertions[tool] * 0
        every, all_failed, failed = insertions.sum(axis=0), failures.sum(axis=0), failures[tool]
        for stratum in np.flatnonzero((own > 0) & (own < every) & (all_failed > 0) & (all_failed < every)):
            n, others, total = int(own[stratum]), int(every[stratum] - own[stratum]), int(all_failed[stratum])
            first = max(0, total - others)
            counts = np.arange(first, min(n, total) + 1)
            logs = _log_binomial(n, counts) + _log_binomial(others, total - counts)
            weights = np.convolve(weights, _normalised(logs))
            self.least, self.seen = self.least + first, self.seen + int(failed[stratum])
        with np.errstate(divide="ignore"):
            self.logs = np.log(weights)
        self.place = self.seen - self.least
        self.told = weights.size > 1

    def chances(self, log_odds: float) -> Floats:
        """Of each number of failures, under an odds ratio (Fisher's noncentral hypergeometric, of the sum)."""
        tilted = self.logs + log_odds * np.arange(self.logs.size)
        return _normalised(tilted)

    def expected(self, log_odds: float = 0.0) -> float:
        return self.least + float(self.chances(log_odds) @ np.arange(self.logs.size)) if self.told else math.nan

    def p_value(self) -> float:
        return min(float(self.chances(0)[self.place :].sum()), 1.0) if self.told else math.nan

    def odds_ratio(self) -> float:
        if not self.told:
            return math.nan
        if self.place in (0, self.logs.size - 1):
            return math.inf if self.place else 0.0
        return math.exp(_crossing(lambda at: self.expected(at) - self.seen))

    def interval(self, level: float) -> tuple[float, float]:
        if not self.told:
            return math.nan, math.nan
        tail = (1 - level) / 2
        low, high = 0.0, math.inf
        if self.place > 0:
            low = math.exp(_crossing(lambda at: float(self.chances(at)[self.place :].sum()) - tail))
        if self.place < self.logs.size - 1:
            high = math.exp(_crossing(lambda at: tail - float(self.chances(at)[: self.place + 1].sum())))
        return low, high

    def detectable(self, limit: float) -> float:
        enough = np.flatnonzero(np.cumsum(self.chances(0)[::-1])[::-1] <= limit)
        if not self.told or enough.size == 0:
            return math.inf
        return math.exp(_crossing(lambda at: float(self.chances(at)[enough[0] :].sum()) - 0.8))


def _normalised(logs: Floats) -> Floats:
    """Shares whose logarithms these are, up to a constant. scipy's logsumexp takes ten times as long on arrays this short."""
    shares = np.exp(logs - logs.max())
    return np.asarray(shares / shares.sum(), dtype=np.float64)


def _crossing(rising: Callable[[float], float]) -> float:
    """Where a rising function of a log odds ratio crosses zero, by halving."""
    low, high = -_FARTHEST, _FARTHEST
    while high - low > 1e-10:  # noqa: PLR2004 - as close as the function itself is
        middle = (low + high) / 2
        low, high = (low, middle) if rising(middle) > 0 else (middle, high)
    return (low + high) / 2


def _log_binomial(of: int, counts: Integers) -> Floats:
    """Logarithms of binomial coefficients."""
    return np.asarray(-math.log(of + 1) - special.betaln(of - counts + 1.0, counts + 1.0), dtype=np.float64)


def _check(failures: Counts, tests: Counts, group: Integers, level: float) -> None:
    if not failures.shape == tests.shape == group.shape or failures.ndim != 1:
        raise ValueError("failures, tests and group are three arrays of one length")
    if (failures < 0).any() or (failures > tests).any() or (group < 0).any() or not 0 < level < 1:
        raise ValueError("failures are neither negative nor more than the tests; a level lies between 0 and 1")


def _urn(failures: Counts, tests: Counts, group: Integers, unit: int) -> Touching:
    """The urn that the other units of the group teach."""
    others = (group == group[unit]) & (np.arange(group.size) != unit)
    ones = np.ones(int(others.sum()), dtype=np.int64)
    return touching.learn(touching.Seen(ones, tests[others], failures[others], ones), 0, 0, STATED)


def _share(breadth: float) -> float:
    """The urn's mean share of failures."""
    return float(touching.chance(breadth, np.array([1]))[0])


_PLACES = ((-math.sqrt(3), 1 / 6), (0.0, 2 / 3), (math.sqrt(3), 1 / 6))
"""Gauss and Hermite's three places of a normal number, and their weights."""


def _supposed_tail(trials: int, urn: Touching) -> Floats:
    """The tail averaged over how unsure the urn is: few units teach it, and taken as certain it would point out too many."""
    found = np.zeros(trials + 2)
    for mean_away, mean_weight in _PLACES:
        share = _share(urn.breadth * math.exp(mean_away * urn.log_breadth_sd))
        for size_away, size_weight in _PLACES:
            size = urn.evenness * math.exp(size_away * urn.log_evenness_sd)
            found += mean_weight * size_weight * _tail(trials, size * share, size * (1 - share))
    return found


def _tail(trials: int, alpha: float, beta: float) -> Floats:
    """The beta-binomial probability of 0, 1, .. `trials` successes or more; and 0 of one more than all."""
    counts = np.arange(trials + 1)
    logs = _log_binomial(trials, counts) + special.betaln(counts + alpha, trials - counts + beta)
    chances = np.append(np.exp(logs - special.betaln(alpha, beta)), 0.0)
    return np.asarray(np.minimum(np.cumsum(chances[::-1])[::-1], 1), dtype=np.float64)
