"""A connector's outlook from that of its cavities: it runs out when the first of them does.

Cavities of one connector share its events, so their chances are not multiplied. Given K events of which M are full, they are
independent: cavity j lasts if its touches in the K - M partial ones, beta-binomial, leave its count within the rating. The
product is taken there, then averaged over M (binomial) and K (negative binomial).
"""

import numpy as np
from msgspec import structs
from scipy import special

from service.core.outlook import predictive, urn
from service.core.outlook.arrays import Floats, Integers
from service.core.outlook.fleet import Fleet
from service.core.outlook.supposition import FULL_SHARES, SHARE_OF, SUPPOSITIONS, Suppositions

_NEGLIGIBLE = 1e-7
_LADDER = (4, 6, 8, 10, 12, 16, 20, 28, 40, 64, 128, 256)


def reach(fleet: Fleet, supposed: Suppositions, ahead: Floats) -> Integers:
    """How many events must be thought of for each connector, (n,), so that more of them in `ahead` (n,) are negligible.

    Whatever lies beyond is taken as run out, so a probability is at most 1e-7 too high (more only beyond 256 events, where
    a retainer that had lasted would be the surprise).
    """
    found = np.full(fleet.connectors, _LADDER[-1])
    open_still = np.arange(fleet.connectors)
    for most in _LADDER[:-1]:
        some = [each[open_still] for each in (fleet.group, fleet.events, fleet.exposure, ahead)]
        beyond = np.zeros(open_still.size)
        for turn in range(SUPPOSITIONS):
            shape, rate = supposed.shape[some[0], turn], supposed.rate[some[0], turn]
            beyond = np.maximum(beyond, predictive.more_at_most(predictive.coming(shape, rate, *some[1:]), most))
        enough = beyond <= _NEGLIGIBLE
        found[open_still[enough]] = most
        open_still = open_still[~enough]
    return found


def endurance(fleet: Fleet, supposed: Suppositions, most: int, fellows: Integers | None = None) -> Floats:
    """The probability that no cavity runs out in 0, 1, .. `most` events, under each full share. Shape (n, 3, most + 1).

    Every connector of the fleet has at least one cavity. `fellows` (n,): how many cavities share its events, where these are
    not all in the fleet.
    """
    alike = urn.alike(fleet, supposed, fleet.cavities if fellows is None else fellows, most)
    found = np.zeros((fleet.connectors, FULL_SHARES, most + 1))
    shares = supposed.full_share[fleet.group][:, :, None]
    for full in range(_most_full(fleet, most) + 1):
        partial = np.arange(most + 1 - full)
        # A full event takes one from each cavity, so each lasts as one with so much less room.
        factors = alike.table[np.maximum(alike.room - full, 0), alike.kind, : most + 1 - full] * alike.often[:, None]
        lasting = np.exp(np.add.reduceat(factors, alike.firsts, axis=0))
        weights = special.binom(partial + full, full) * shares**full * (1 - shares) ** partial
        found[:, :, full:] += weights * lasting[:, None, :]
    return found


def run_out(fleet: Fleet, supposed: Suppositions, endurances: Floats, ahead: Floats) -> Floats:
    """The probability that a connector runs out within `ahead` (n, h) units of exposure, under each supposition: (6, n, h)."""
    found = np.empty((SUPPOSITIONS, *ahead.shape))
    most = endurances.shape[2] - 1
    for turn, share in enumerate(SHARE_OF):
        lasting = np.zeros(ahead.shape)
        for count, probability in enumerate(predictive.chances(_coming(fleet, supposed, turn, ahead), most)):
            lasting += probability * endurances[:, share, count, None]
        found[turn] = np.clip(1 - lasting, 0, 1)
    return found


def run_out_of_cavities(fleet: Fleet, supposed: Suppositions, ahead: Floats) -> Floats:
    """The probability that a retainer runs out within `ahead` (n, h), each cavity for itself: (c, h).

    Of use to say which cavity it is. A connector's is not to be worked out from these: they are not independent.
    """
    # A cavity alone is a connector that has one cavity, but is touched like one among its fellows.
    owner = np.repeat(np.arange(fleet.connectors), fleet.cavities)
    alone, most = _one_by_one(fleet, owner), int(reach(fleet, supposed, ahead.max(axis=1)).max(initial=_LADDER[0]))
    endurances = endurance(alone, supposed, most, fleet.cavities[owner])
    return np.asarray(run_out(alone, supposed, endurances, ahead[owner]).mean(axis=0), dtype=np.float64)


def _one_by_one(fleet: Fleet, owner: Integers) -> Fleet:
    of_connectors = ("group", "events", "full_events", "exposure", "unseen", "pace")
    return structs.replace(
        fleet, starts=np.arange(owner.size + 1), **{name: getattr(fleet, name)[owner] for name in of_connectors}
    )


def _most_full(fleet: Fleet, most: int) -> int:
    """More full events than this nobody outlasts."""
    least = np.minimum.reduceat(fleet.left, fleet.starts[:-1])
    return int(np.clip(least.max() - 1, 0, most))


def _coming(fleet: Fleet, supposed: Suppositions, turn: int, ahead: Floats) -> predictive.Coming:
    wide = (slice(None),) + (None,) * (ahead.ndim - 1)
    shape, rate = supposed.shape[fleet.group, turn], supposed.rate[fleet.group, turn]
    return predictive.coming(shape[wide], rate[wide], fleet.events[wide], fleet.exposure[wide], ahead)
