"""What a group's connectors are supposed to do: its prior, its touching, and how unsure both are.

The uncertainty is one of the whole group: it does not average out over a fleet, so it is carried through everything as a few
suppositions of equal weight, on either side of the best one along each of three directions. Mean and variance of anything that
is about linear in them come out right (third-degree spherical cubature; from memory).
"""

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from scipy import special

from service.core.outlook.arrays import Floats
from service.core.outlook.prior import Prior
from service.core.outlook.touching import Touching

SUPPOSITIONS = 6
FULL_SHARES = 3
SHARE_OF = (0, 0, 0, 0, 1, 2)
"""Which of a group's three full shares each supposition has: the middle one, but for the last two."""
_AWAY = math.sqrt(3)
_NEVER = 1e-6
_LEAST_SHAPE, _GREATEST_SHAPE = 1e-4, 1e6


class Suppositions(Struct, frozen=True, eq=False):
    """Of groups 0 .. G - 1: `shape` and `rate` (G, 6), `full_share` (G, 3), `breadth` and `evenness` (G,)."""

    shape: Floats
    rate: Floats
    full_share: Floats
    breadth: Floats
    evenness: Floats


def of_groups(priors: Sequence[Prior], touchings: Sequence[Touching]) -> Suppositions:
    """The suppositions of each group, in the order of its number.

    How unsure breadth is goes to the rate: a Poisson process of which each event is kept with probability q is one of q times
    the rate, so a cavity sees only their product.

    Raises:
        ValueError: as many priors as touchings are needed.
    """
    if len(priors) != len(touchings):
        raise ValueError("each group needs a prior and a touching")
    rates = [_rates(prior, touching) for prior, touching in zip(priors, touchings, strict=True)]
    return Suppositions(
        shape=np.array([shape for shape, _ in rates]).reshape(len(priors), SUPPOSITIONS),
        rate=np.array([rate for _, rate in rates]).reshape(len(priors), SUPPOSITIONS),
        full_share=np.array([_shares(each) for each in touchings]).reshape(len(priors), FULL_SHARES),
        breadth=np.array([each.breadth for each in touchings], dtype=np.float64),
        evenness=np.array([each.evenness for each in touchings], dtype=np.float64),
    )


def _rates(prior: Prior, touching: Touching) -> tuple[Floats, Floats]:
    of_mean, across, _, of_shape = prior.covariance
    covariance = np.array([[of_mean + touching.log_breadth_sd**2, across], [across, of_shape]])
    values, axes = np.linalg.eigh(covariance)
    arms = axes * (_AWAY * np.sqrt(np.maximum(values, 0)))
    away = np.vstack([arms.T, -arms.T, np.zeros((2, 2))])
    shapes = np.clip(prior.shape * np.exp(away[:, 1]), _LEAST_SHAPE, _GREATEST_SHAPE)
    return shapes, shapes / (prior.mean * np.exp(away[:, 0]))


def _shares(touching: Touching) -> Floats:
    """The middle, the low and the high share of full events: about the mean of the logit of a Beta, root three deviations."""
    full, partial = touching.full, touching.partial
    # A parameter of next to nothing is no experience of the other kind of event but the certainty that there is none.
    if min(full, partial) < _NEVER:
        return np.full(FULL_SHARES, touching.full_share)
    middle = special.digamma(full) - special.digamma(partial)
    spread = _AWAY * math.sqrt(special.polygamma(1, full) + special.polygamma(1, partial))
    return np.asarray(special.expit(middle + spread * np.array([0.0, -1.0, 1.0])), dtype=np.float64)
