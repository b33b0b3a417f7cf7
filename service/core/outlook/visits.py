"""Which connectors to renew at the next check, because they would not last until the one after."""

import enum

import numpy as np
from msgspec import Struct

from service.core.outlook.arrays import Floats, Integers
from service.core.outlook.forecast import Band, RunOut


class Advice(enum.IntEnum):
    """What a check has to do with a connector."""

    KEEP = 0
    RENEW = 1
    NOT_KNOWN = 2
    """Its history or rating is not known, and what is known does not ask for renewal: look it up or look at it."""


class Visits(Struct, frozen=True, eq=False):
    """Of each connector, (n,): probabilities of running out, and the advice. They are lower bounds where a count is one.

    `before_next` check; `before_after`, the one after it; `between` the two, if it lasts to the first.
    """

    before_next: Floats
    before_after: Floats
    between: Floats
    advice: Integers


def visits(next_check: int, check_after: int, run_out: RunOut, risk: float) -> Visits:
    """Advice for the next check, from the outlook at two of its horizons (by number), for a risk that is accepted.

    A connector is renewed if the probability that it runs out before the check after the next is more than the risk: a
    technician would then stand before a cavity that can't be opened, with no check to renew it in.

    Raises:
        ValueError: risk is not between 0 and 1, or the check after does not come later.
    """
    if not 0 < risk < 1 or next_check >= check_after:
        raise ValueError("a risk lies between 0 and 1, and the check after the next comes later than it")
    first, second = run_out.probability[:, next_check], run_out.probability[:, check_after]
    between = np.divide(second - first, 1 - first, out=np.ones_like(first), where=first < 1)
    unknown = np.where(run_out.band == Band.KNOWN, Advice.KEEP, Advice.NOT_KNOWN)
    return Visits(first, second, between, np.where(second > risk, Advice.RENEW, unknown).astype(np.int64))


def order(found: Visits) -> Integers:
    """The connectors to renew, by number, the least likely to last first."""
    renew = np.flatnonzero(found.advice == Advice.RENEW)
    return renew[np.argsort(-found.before_after[renew], kind="stable")]
