"""What the fleet asks of the shelf: connectors that run out, per part number and month, with an interval that covers.

Two things make demand vary: which connectors it hits, which averages out over many, and how often the whole group is hit, which
does not. The variance is the sum of both (law of total variance); the distribution with that mean and variance is taken as
negative binomial, Poisson or binomial, whichever the variance asks for (moment matching; common practice, no source).
A connector is counted once, when it first runs out.
"""

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike
from scipy import special

from service.core.outlook.arrays import Floats, Integers
from service.core.outlook.forecast import Lots


class Demand(Struct, frozen=True, eq=False):
    """Of p part numbers over h spans: `mean` and `variance` (p, h) of the connectors of known history that run out.

    Beside them, and in no figure: `due` (p,) have run out already; of `unknown` (p,) nobody knows, but that at least
    `unknown_least` (p, h) of them are expected to run out.
    """

    mean: Floats
    variance: Floats
    due: Integers
    unknown: Integers
    unknown_least: Floats


def within(lots: Lots, parts: int) -> Demand:
    """Demand from today to each horizon."""
    return _demand(lots, lots.expected, lots.squares, lots.unknown_least, parts)


def between(lots: Lots, parts: int) -> Demand:
    """Demand between each horizon and the one before: per month, where the horizons are months."""
    least = np.diff(lots.unknown_least, axis=1, prepend=0.0)
    return _demand(lots, np.diff(lots.expected, axis=2, prepend=0.0), lots.squares_between, least, parts)


def interval(demand: Demand, level: float = 0.9) -> tuple[Integers, Integers]:
    """The central interval (p, h), ends included: what runs out lies in it with a probability of at least `level`."""
    return quantile(demand.mean, demand.variance, (1 - level) / 2), quantile(
        demand.mean, demand.variance, (1 + level) / 2
    )


def at_most(mean: ArrayLike, variance: ArrayLike, count: ArrayLike) -> Floats:
    """The probability of so many or fewer, of a count with this mean and variance.

    Greater variance than mean: negative binomial; equal: Poisson; less: binomial, its number of trials not a whole one.
    """
    means, variances, counts = np.broadcast_arrays(
        *(np.asarray(each, dtype=np.float64) for each in (mean, variance, count))
    )
    means, inside = np.maximum(means, 1e-300), np.floor(np.maximum(counts, 0))
    excess = (variances - means) / means
    wide, narrow = excess > _EVEN, excess < -_EVEN
    nothing = 1 / (1 + np.where(wide, excess, 1.0))
    of_wide = special.betainc(np.where(wide, means * nothing / (1 - nothing), 1.0), inside + 1, nothing)
    each = np.where(narrow, -excess, 0.5)
    over = np.maximum(means / each - inside, 0)
    of_narrow = np.where(over > 0, special.betainc(np.maximum(over, 1e-300), inside + 1, 1 - np.minimum(each, 1)), 1.0)
    found = np.where(wide, of_wide, np.where(narrow, of_narrow, special.gammaincc(inside + 1, means)))
    return np.where(counts < 0, 0.0, found)


def quantile(mean: Floats, variance: Floats, level: float) -> Integers:
    """The smallest count that is not exceeded with probability `level`, of counts with these means and variances.

    Raises:
        ValueError: level is not between 0 and 1.
    """
    if not 0 < level < 1:
        raise ValueError("a level lies between 0 and 1")
    high = np.ceil(mean + 10 * np.sqrt(variance) + 1).astype(np.int64)
    while (short := at_most(mean, variance, high) < level).any():
        high = np.where(short, 2 * high, high)
    low = np.full(mean.shape, -1, dtype=np.int64)
    while (high - low > 1).any():
        middle = (low + high) // 2
        enough = at_most(mean, variance, middle) >= level
        low, high = np.where(enough, low, middle), np.where(enough, np.maximum(middle, low + 1), high)
    return np.asarray(high, dtype=np.int64)


_EVEN = 1e-6
"""Mean and variance that differ by less are those of a Poisson number."""


def _demand(lots: Lots, expected: Floats, squares: Floats, least: Floats, parts: int) -> Demand:
    means = expected.mean(axis=1)
    # Within a supposition connectors are hit independently; what the suppositions disagree about, they share.
    variances = means - squares + expected.var(axis=1)
    return Demand(
        mean=_by_part(lots, means, parts),
        variance=_by_part(lots, variances, parts),
        due=_by_part(lots, lots.due, parts).astype(np.int64),
        unknown=_by_part(lots, lots.unknown, parts).astype(np.int64),
        unknown_least=_by_part(lots, least, parts),
    )


def _by_part(lots: Lots, values: Floats | Integers, parts: int) -> Floats:
    found = np.zeros((parts, *values.shape[1:]))
    np.add.at(found, lots.part, values)
    return found
