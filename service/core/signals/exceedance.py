"""Units (connectors, positions, benches, tools, batches) whose rate of events is above that of the others in their group.

Given how many events a group has had, those of one unit are binomial with its share of the exposure if it is like the others:
the exact conditional test of two Poisson rates (Przyborowski and Wilenski), for which the others' rate need not be known for
certain. Intervals: Clopper and Pearson's. From memory; the tests compare them with scipy.stats.
"""

import numpy as np
from msgspec import Struct
from scipy import special

from service.core.outlook.arrays import Counts, Floats, Integers, total
from service.core.signals import false_discovery
from service.core.signals.verdict import Verdict

_POWER = 0.8
_TELLING = 3.0
"""An effect as large as this ought to have been seen, or there are too little data to speak of."""


class Exceedance(Struct, frozen=True, eq=False):
    """Of each unit, (n,): its rate or share and that of the others in its group, and what the data say.

    `ratio` of the two with its interval `low` .. `high` (infinite where the others have had none); `p_value`, one-sided, and
    `adjusted` for how many units were looked at; `expected` events if it were like the others; `detectable`, the smallest
    ratio that would have been shown with a probability of 80 % (infinite if none); `verdict` (`Verdict`). NaN: no others, or
    nothing seen.
    """

    own: Floats
    others: Floats
    expected: Floats
    ratio: Floats
    low: Floats
    high: Floats
    p_value: Floats
    adjusted: Floats
    detectable: Floats
    verdict: Integers


class Silent(Struct, frozen=True, eq=False):
    """Units that have had no event and need no line of their own: how many, and their `exposure` by group (g,)."""

    units: int
    exposure: Floats


def rates(
    events: Counts,
    exposure: Floats,
    group: Integers,
    false_rate: float = 0.1,
    level: float = 0.9,
    silent: Silent | None = None,
) -> Exceedance:
    """Units whose rate of events is above that of the others of their group. Events, exposure, group: (n,).

    `silent` units count among the others and among the tests, or a fleet of millions would seem to be of those few that had
    events.

    Raises:
        ValueError: lengths that differ, negative numbers, or a rate or level that is not between 0 and 1.
    """
    _check(events, exposure, group, level)
    groups = int(group.max(initial=-1)) + 1
    unlisted = silent if silent is not None else Silent(0, np.zeros(groups))
    own_events, all_events = events.astype(np.float64), total(events.astype(np.float64), group, groups)[group]
    all_exposure = (total(exposure, group, groups) + unlisted.exposure[:groups])[group]
    others_events, others_exposure = all_events - own_events, all_exposure - exposure
    told = (exposure > 0) & (others_exposure > 0) & (all_events > 0)
    share = np.where(told, exposure / np.where(told, all_exposure, 1.0), 0.5)
    p_value = np.where(told, _tail(own_events, all_events, share), np.nan)
    adjusted = false_discovery.adjusted(p_value, silent=unlisted.units)
    # Of the interval of its share of the events follows that of the ratio of rates: odds of the share against those expected.
    low, high = clopper_pearson(own_events, all_events, level)
    limit = threshold(p_value, false_rate, unlisted.units)
    odds = share / (1 - share)
    detectable = np.where(told, _detectable(all_events, share, limit), np.inf)
    own, others = ratio(own_events, exposure), ratio(others_events, others_exposure)
    return Exceedance(
        own=own,
        others=others,
        expected=np.where(told, others * exposure, np.nan),
        ratio=np.where(told, ratio(own, others), np.nan),
        low=np.where(told, ratio(low, 1 - low) / odds, np.nan),
        high=np.where(told, ratio(high, 1 - high) / odds, np.nan),
        p_value=p_value,
        adjusted=adjusted,
        detectable=detectable,
        verdict=verdicts(adjusted, detectable, false_rate),
    )


def clopper_pearson(successes: Floats, trials: Floats, level: float) -> tuple[Floats, Floats]:
    """The exact interval of a share, (n,) each: both ends of the beta quantiles, 0 and 1 at the extremes."""
    tail, failures = (1 - level) / 2, trials - successes
    low = special.betaincinv(np.maximum(successes, 1e-9), failures + 1, tail)
    high = special.betaincinv(successes + 1, np.maximum(failures, 1e-9), 1 - tail)
    return np.where(successes > 0, low, 0.0), np.where(failures > 0, high, 1.0)


def garwood(events: Counts, exposure: Floats, level: float = 0.9) -> tuple[Floats, Floats]:
    """The exact interval of a Poisson rate (n,): chi-square quantiles halved over the exposure (Garwood; from memory)."""
    tail = (1 - level) / 2
    low = np.where(events > 0, special.gammaincinv(np.maximum(events, 1), tail), 0.0)
    return low / exposure, special.gammaincinv(events + 1.0, 1 - tail) / exposure


def verdicts(adjusted: Floats, detectable: Floats, false_rate: float) -> Integers:
    """`Verdict` of each test (n,): a test that was not made, or that only a huge effect could have passed, shows nothing."""
    shown = np.nan_to_num(adjusted, nan=1.0) <= false_rate
    silent = np.where(detectable <= _TELLING, Verdict.NOT_SHOWN, Verdict.TOO_LITTLE)
    return np.where(shown, Verdict.SHOWN, silent).astype(np.int64)


def threshold(p_values: Floats, false_rate: float, silent: int = 0) -> float:
    """How small a p-value had to be to be pointed out among these: the largest that was, or the first step's."""
    made = p_values[~np.isnan(p_values)]
    shown = made[false_discovery.pointed_out(made, false_rate, silent=silent)]
    return float(shown.max(initial=false_rate / max(made.size + silent, 1)))


def share_detected(needed: Counts, trials: Counts) -> Floats:
    """The true share at which so many successes come with a probability of 80 %; infinite if there are not so many trials."""
    possible = needed <= trials
    last = np.where(possible, trials - needed, 0) + 1.0
    found = special.betaincinv(np.maximum(needed, 1).astype(np.float64), last, _POWER)
    return np.where(possible, found, np.inf)


def ratio(above: Floats, below: Floats) -> Floats:
    """Quotients (n,): infinite over nothing, NaN where both are nothing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return above / below


def _check(events: Counts, exposure: Floats, group: Integers, level: float) -> None:
    if not events.shape == exposure.shape == group.shape or events.ndim != 1:
        raise ValueError("events, exposure and group are three arrays of one length")
    if events.size and min(events.min(), exposure.min(), group.min()) < 0:
        raise ValueError("events, exposure and group are not negative")
    if not 0 < level < 1:
        raise ValueError("a level lies between 0 and 1")


def _tail(successes: Floats, trials: Floats, share: Floats) -> Floats:
    """The probability of so many successes or more."""
    inside = np.maximum(successes, 1)
    found = special.betainc(inside, np.maximum(trials - inside, 0) + 1, share)
    return np.asarray(np.where(successes <= 0, 1.0, np.where(successes > trials, 0.0, found)), dtype=np.float64)


def _detectable(trials: Floats, share: Floats, limit: float) -> Floats:
    low, high = np.zeros(trials.shape), trials + 1
    while (high - low > 1).any():
        middle = np.floor((low + high) / 2)
        enough = _tail(middle, trials, share) <= limit
        low, high = np.where(enough, low, middle), np.where(enough, np.maximum(middle, low + 1), high)
    reached = share_detected(high.astype(np.int64), trials.astype(np.int64))
    return np.where(np.isinf(reached), np.inf, ratio(reached, 1 - reached) / (share / (1 - share)))
