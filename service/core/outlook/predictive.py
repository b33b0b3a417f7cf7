"""Events still to come: negative binomial once the rate has been averaged over what is known of it.

A Gamma prior (shape, rate) and `events` in `exposure` give a Gamma posterior (shape + events, rate + exposure); the events of
`ahead` more units of exposure are then negative binomial. Formulas: Gamma-Poisson conjugacy; from memory.
All functions take arrays that broadcast against each other.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike
from scipy import special

from service.core.outlook.arrays import Counts, Floats, Integers


class Coming(Struct, frozen=True, eq=False):
    """A negative binomial number of events: `shape`, and the probability `nothing` in its first parameter's sense.

    In scipy.stats.nbinom's words n = shape and p = nothing.
    """

    shape: Floats
    nothing: Floats


def coming(shape: ArrayLike, rate: ArrayLike, events: ArrayLike, exposure: ArrayLike, ahead: ArrayLike) -> Coming:
    """Events in `ahead` more units of exposure after `events` in `exposure`.

    Raises:
        ValueError: shape or rate is not positive, or something else is negative.
    """
    found = [np.asarray(each, dtype=np.float64) for each in (shape, rate, events, exposure, ahead)]
    if any((each <= 0).any() for each in found[:2]) or any((each < 0).any() for each in found[2:]):
        raise ValueError("shape and rate are positive, the others not negative")
    posterior = found[1] + found[3]
    return Coming(found[0] + found[2], posterior / (posterior + found[4]))


def mean(of: Coming) -> Floats:
    """Expected number."""
    return of.shape * (1 - of.nothing) / of.nothing


def variance(of: Coming) -> Floats:
    """Its variance: greater than the mean, by as much as the rate is unsure."""
    return mean(of) / of.nothing


def at_most(of: Coming, count: ArrayLike) -> Floats:
    """The probability of so many events or fewer (a regularised incomplete beta function); 0 below zero."""
    counts = np.asarray(count, dtype=np.float64)
    inside = np.maximum(counts, 0)
    return np.asarray(np.where(counts < 0, 0.0, special.betainc(of.shape, inside + 1, of.nothing)), dtype=np.float64)


def more_than(of: Coming, count: ArrayLike) -> Floats:
    """The probability of more events than this, exact where it is small."""
    counts = np.asarray(count, dtype=np.float64)
    inside = np.maximum(counts, 0)
    tail = special.betainc(inside + 1, of.shape, 1 - of.nothing)
    return np.asarray(np.where(counts < 0, 1.0, tail), dtype=np.float64)


def more_at_most(of: Coming, count: int) -> Floats:
    """A bound that the probability of more events than this does not exceed, far quicker than the probability (Chernoff's)."""
    first, happening = count + 1, 1 - of.nothing
    both = of.shape + first
    with np.errstate(divide="ignore"):
        bound = of.shape * np.log(of.nothing * both / of.shape) + first * np.log(happening * both / first)
    return np.where(mean(of) < first, np.exp(np.minimum(bound, 0)), 1.0)


def chances(of: Coming, most: int) -> Iterator[Floats]:
    """The probabilities of 0, 1, .. `most` events, one array after the other."""
    now = np.exp(of.shape * np.log(of.nothing))
    happening = 1 - of.nothing
    for count in range(most + 1):
        yield now
        now = now * (happening * ((of.shape + count) / (count + 1)))


def quantile(of: Coming, level: float) -> Integers:
    """The smallest count that is not exceeded with probability `level`.

    Raises:
        ValueError: level is not between 0 and 1.
    """
    if not 0 < level < 1:
        raise ValueError("a level lies between 0 and 1")
    shape = np.broadcast_shapes(of.shape.shape, of.nothing.shape)
    high = np.ones(shape, dtype=np.int64)
    while (short := at_most(of, high) < level).any():
        high = np.where(short, 2 * high, high)
    low = np.full(shape, -1, dtype=np.int64)
    while (high - low > 1).any():
        middle = (low + high) // 2
        enough = at_most(of, middle) >= level
        low, high = np.where(enough, low, middle), np.where(enough, np.maximum(middle, low + 1), high)
    return np.asarray(high, dtype=np.int64)


def interval(of: Coming, level: float = 0.9) -> tuple[Integers, Integers]:
    """The central interval: with probability of at least `level` the number lies in it, ends included."""
    return quantile(of, (1 - level) / 2), quantile(of, (1 + level) / 2)


def place(of: Coming, count: Counts, within: Floats) -> Floats:
    """Where a count fell in its prediction: the randomised probability integral transform, uniform if predictions are honest.

    `within` is a uniform number for each, which spreads a count over its own step.
    """
    below = at_most(of, count - 1)
    return below + within * (at_most(of, count) - below)
