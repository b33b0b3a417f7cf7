"""What to have on the shelf: the smallest stock that meets the demand of a span with the probability that is asked for."""

import numpy as np
from msgspec import Struct

from service.core.outlook import demand
from service.core.outlook.arrays import Floats, Integers
from service.core.outlook.demand import Demand


class Shelf(Struct, frozen=True, eq=False):
    """Of p part numbers over h spans, each (p, h).

    `pieces` meets the demand of connectors whose history is known, those due today included, with probability `met`.
    `pieces_at_most` would also replace every connector of which nobody knows. `short` is how many are expected to be missing.
    """

    pieces: Integers
    met: Floats
    short: Floats
    pieces_at_most: Integers


def shelf(within: Demand, level: float = 0.95) -> Shelf:
    """The stock for a service level, the probability that nothing is missing over the span, of the demand within it.

    Raises:
        ValueError: level is not between 0 and 1.
    """
    coming = demand.quantile(within.mean, within.variance, level)
    pieces = coming + within.due[:, None]
    return Shelf(
        pieces=pieces,
        met=demand.at_most(within.mean, within.variance, coming),
        short=_short(within, coming),
        pieces_at_most=pieces + within.unknown[:, None],
    )


def _short(within: Demand, coming: Integers) -> Floats:
    """The expected number beyond the stock: demand's mean less what the stock can serve, sum over k < stock of P(D > k)."""
    served = np.zeros(within.mean.shape)
    for count in range(int(coming.max(initial=0))):
        more = 1 - demand.at_most(within.mean, within.variance, count)
        served += np.where(count < coming, more, 0.0)
    return np.maximum(within.mean - served, 0)
