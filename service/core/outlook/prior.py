"""How often rework comes to the connectors of a group: a Gamma prior learnt from them (empirical Bayes).

Events of one connector are a Poisson process of its own rate; the rates of a group are Gamma. So the events of a connector
over its exposure are negative binomial, and mean and shape of the Gamma maximise that likelihood with each connector's own
exposure. Formulas: the Gamma-Poisson mixture, type 2 negative binomial regression with an offset; from memory.
"""

import enum
import math
from collections.abc import Callable

import numpy as np
from msgspec import Struct
from scipy import special

from service.core.outlook import maximum
from service.core.outlook.arrays import Counts, Floats, Integers


class Exposure(enum.StrEnum):
    """What rework is counted against."""

    FLIGHT_HOURS = "flight_hours"
    FLIGHT_CYCLES = "flight_cycles"
    DAYS = "days"


class Basis(enum.StrEnum):
    """Where a prior comes from: learnt, partly learnt, or stated because the data are too thin to say."""

    LEARNT = "learnt"
    LEANING = "leaning"
    STATED = "stated"


class Stated(Struct, frozen=True):
    """What is believed before any data: events per unit of exposure and shape, each log-normal about the figure given.

    `log_mean_sd` and `log_shape_sd` are standard deviations of natural logarithms; `source` is said with every result.
    """

    mean: float
    shape: float
    log_mean_sd: float
    log_shape_sd: float
    source: str


_ASSUMED = "an assumption without a source: 0.02 reworks in 1000 flight hours, shape 0.5"
_WIDE = math.log(10) / 1.645
"""Nine in ten that the truth is within a factor of ten either way."""
WEAK = {
    Exposure.FLIGHT_HOURS: Stated(2e-5, 0.5, _WIDE, 1.0, _ASSUMED),
    Exposure.FLIGHT_CYCLES: Stated(4e-5, 0.5, _WIDE, 1.0, f"{_ASSUMED}, two hours in a cycle"),
    Exposure.DAYS: Stated(0.06 / 365.25, 0.5, _WIDE, 1.0, f"{_ASSUMED}, 3000 hours in a year"),
}
"""The stated priors. No published rate of rework is known; the figures are wide on purpose."""


class Prior(Struct, frozen=True):
    """The Gamma prior of a group: mean shape / rate in events per unit of exposure; what it rests on, and how surely.

    `covariance` is that of (log mean, log shape), row by row; `why` says in words where the figures come from. `left_out`
    counts connectors with events but no exposure, from which no rate can be learnt.
    """

    shape: float
    rate: float
    covariance: tuple[float, float, float, float]
    basis: Basis
    why: str
    connectors: int
    events: int
    exposure: float
    left_out: int = 0

    @property
    def mean(self) -> float:
        """Events per unit of exposure of the group's average connector."""
        return self.shape / self.rate


_MEAN_LEARNT, _SHAPE_LEARNT, _MEAN_STATED = 0.9, 0.75, 0.5
"""Shares of the variance stated beforehand that the data must have taken away."""


def learn(events: Counts, exposure: Floats, stated: Stated) -> Prior:
    """The prior of one group from the events (n,) of its connectors over their exposures (n,).

    The stated prior is a penalty on the likelihood, so nothing jumps as data come in: of no data the result is the stated
    prior itself, of ample data maximum likelihood. The covariance is Laplace's approximation.

    Raises:
        ValueError: the arrays differ in length, or hold a negative or a not finite number.
    """
    _check(events, exposure)
    # No exposure means no chance of an event either: a new connector says nothing about its group.
    used = exposure > 0
    counted = _Sample(events[used], exposure[used])
    start = np.array([math.log(stated.mean), math.log(stated.shape)])
    top, covariance = maximum.climb(lambda point: counted.penalised(point, stated), start)
    mean, shape = math.exp(top[0]), math.exp(top[1])
    basis = _basis(covariance, stated)
    return Prior(
        shape=shape,
        rate=shape / mean,
        covariance=(covariance[0, 0], covariance[0, 1], covariance[1, 0], covariance[1, 1]),
        basis=basis,
        why=_why(basis, counted, stated),
        connectors=int(used.sum()),
        events=counted.total,
        exposure=float(exposure.sum()),
        left_out=int((~used & (events > 0)).sum()),
    )


_GROUPS_DIFFER_BY = math.log(3) / 1.645
_SHAPES_DIFFER_BY = math.log(2) / 1.645


def within(whole: Prior) -> Stated:
    """What a whole fleet's prior says beforehand about one group in it.

    An assumption without a source: nine groups in ten have a mean within a factor of three of the whole, a shape within two.
    """
    return Stated(
        mean=whole.mean,
        shape=whole.shape,
        log_mean_sd=math.hypot(_GROUPS_DIFFER_BY, math.sqrt(whole.covariance[0])),
        log_shape_sd=math.hypot(_SHAPES_DIFFER_BY, math.sqrt(whole.covariance[3])),
        source=f"all groups together, {whole.why}",
    )


def learn_groups(events: Counts, exposure: Floats, group: Integers, groups: int, stated: Stated) -> tuple[Prior, ...]:
    """The priors of groups 0 .. groups - 1, each leaning on all of them together where its own data are thin.

    Events, exposure and group: (n,). A group without connectors gets what the whole says of it.

    Raises:
        ValueError: as of `learn`, or a group number out of range.
    """
    if group.size and not 0 <= group.min() <= group.max() < groups:
        raise ValueError("a group number is out of range")
    of_whole = within(learn(events, exposure, stated))
    order = np.argsort(group, kind="stable")
    bounds = np.searchsorted(group[order], np.arange(groups + 1))
    members = [order[bounds[each] : bounds[each + 1]] for each in range(groups)]
    return tuple(learn(events[each], exposure[each], of_whole) for each in members)


def _check(events: Counts, exposure: Floats) -> None:
    if events.shape != exposure.shape or events.ndim != 1:
        raise ValueError("events and exposure are two arrays of one length")
    if events.size and (events.min() < 0 or not np.isfinite(exposure).all() or exposure.min() < 0):
        raise ValueError("events and exposure are neither negative nor infinite")


class _Sample:
    """The counts of a group, so arranged that a likelihood costs one pass over the exposures."""

    def __init__(self, events: Counts, exposure: Floats) -> None:
        self.events = events.astype(np.float64)
        self.exposure = exposure
        self.total = int(events.sum())
        # Most connectors have had none or few: what depends on the count alone is worked out once for each count.
        self.distinct, self.often = np.unique(self.events, return_counts=True)

    def penalised(self, point: Floats, stated: Stated) -> maximum.Slope:
        found = self._likelihood(math.exp(point[0]), math.exp(point[1]))
        centre = np.array([math.log(stated.mean), math.log(stated.shape)])
        precision = np.array([stated.log_mean_sd**-2, stated.log_shape_sd**-2])
        away = point - centre
        return maximum.Slope(
            found.value - 0.5 * float((precision * away**2).sum()),
            found.gradient - precision * away,
            found.curvature - np.diag(precision),
        )

    def _likelihood(self, mean: float, shape: float) -> maximum.Slope:
        """In log mean and log shape; what depends on neither is left out of the value."""
        expected = mean * self.exposure
        both, excess = shape + expected, self.events - expected
        logs, per_event = np.log1p(expected / shape), (shape + self.events) / both
        value = self._of_counts(special.gammaln, shape) + self.total * math.log(mean / shape)
        by_mean = float((shape * excess / both).sum())
        by_shape = self._of_counts(special.digamma, shape) + float((1 - logs - per_event).sum())
        twice_mean = -float((shape * expected * per_event / both).sum())
        twice_shape = self._of_counts(_trigamma, shape) + float((expected / (shape * both) + excess / both**2).sum())
        across = float((shape * expected * excess / both**2).sum())
        return maximum.Slope(
            value - float(((shape + self.events) * logs).sum()),
            np.array([by_mean, shape * by_shape]),
            np.array([[twice_mean, across], [across, shape**2 * twice_shape + shape * by_shape]]),
        )

    def _of_counts(self, function: Callable[[Floats], Floats], shape: float) -> float:
        shape_alone = np.array([shape])
        return float((self.often * (function(shape + self.distinct) - function(shape_alone))).sum())


def _trigamma(at: Floats) -> Floats:
    return np.asarray(special.polygamma(1, at), dtype=np.float64)


def _basis(covariance: Floats, stated: Stated) -> Basis:
    of_mean = 1 - covariance[0, 0] / stated.log_mean_sd**2
    of_shape = 1 - covariance[1, 1] / stated.log_shape_sd**2
    if of_mean < _MEAN_STATED:
        return Basis.STATED
    return Basis.LEARNT if of_mean >= _MEAN_LEARNT and of_shape >= _SHAPE_LEARNT else Basis.LEANING


def _why(basis: Basis, sample: _Sample, stated: Stated) -> str:
    data = f"{sample.total} events on {sample.events.size} connectors"
    match basis:
        case Basis.LEARNT:
            return f"learnt from {data}"
        case Basis.LEANING:
            return f"partly learnt from {data}; where they do not decide, {stated.source}"
        case Basis.STATED:
            return f"too thin to learn from, {data}: {stated.source}"
