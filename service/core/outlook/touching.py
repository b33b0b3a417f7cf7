"""Which cavities an event of rework touches: the group's habit, and each cavity's own as far as it has shown one.

An event is full (every cavity once: repopulation) with the group's share, else partial: it touches each cavity of the
connector with that cavity's own probability. Those probabilities are Beta about breadth and number of cavities, so the touches
of a cavity in its connector's partial events are beta-binomial. Formulas: beta-binomial maximum likelihood; from memory.
"""

import math
from collections.abc import Callable

import numpy as np
from msgspec import Struct
from scipy import special

from service.core.outlook import maximum
from service.core.outlook.arrays import Counts, Floats, Integers
from service.core.outlook.fleet import Fleet, places


class Stated(Struct, frozen=True):
    """What is believed of touching before any data, each log-normal about its figure; the full events as so many seen."""

    breadth: float = 2.0
    evenness: float = 5.0
    log_breadth_sd: float = 0.7
    log_evenness_sd: float = 1.0
    full: float = 1.0
    partial: float = 19.0
    source: str = "an assumption without a source: two cavities in an event, one event in twenty full"


WEAK = Stated()


class Touching(Struct, frozen=True):
    """What a group's events touch.

    `breadth`: cavities in a partial event on a large connector. `evenness`: how alike cavities are, in events that it takes to
    outweigh it. `full`, `partial`: the Beta parameters of the share of full events. `log_breadth_sd`, `log_evenness_sd`: how
    unsure the two are.
    """

    breadth: float
    evenness: float
    log_breadth_sd: float
    full: float
    partial: float
    why: str
    log_evenness_sd: float = 0.0

    @property
    def full_share(self) -> float:
        """The expected share of full events."""
        return self.full / (self.full + self.partial)


class Seen(Struct, frozen=True, eq=False):
    """Cavities that are alike, counted: `cavities` of the connector, its `partial` events, `touches` in them, how `often`.

    Four arrays of one length.
    """

    cavities: Counts
    partial: Counts
    touches: Counts
    often: Counts


def learn(seen: Seen, full: int, partial: int, stated: Stated = WEAK) -> Touching:
    """A group's touching, from its cavities and from its numbers of full and partial events.

    Raises:
        ValueError: a cavity was touched more often than its connector had partial events. An event in which a cavity took
            two cycles is to be counted as two events.
    """
    if seen.touches.size and (seen.touches > seen.partial).any():
        raise ValueError("a cavity was touched more often than its connector had events")
    told = seen.partial > 0
    used = Seen(seen.cavities[told], seen.partial[told], seen.touches[told], seen.often[told])
    start = np.array([math.log(stated.breadth), math.log(stated.evenness)])
    precision = np.array([stated.log_breadth_sd**-2, stated.log_evenness_sd**-2])

    def penalised(point: Floats) -> maximum.Slope:
        found, away = _likelihood(used, point), point - start
        return maximum.Slope(
            found.value - 0.5 * float((precision * away**2).sum()),
            found.gradient - precision * away,
            found.curvature - np.diag(precision),
        )

    top, covariance = maximum.climb(penalised, start)
    data = f"{full + partial} events, {full} of them full"
    leaning = "" if covariance[0, 0] < 0.1 * stated.log_breadth_sd**2 else f"; leaning on {stated.source}"
    return Touching(
        breadth=math.exp(top[0]),
        evenness=math.exp(top[1]),
        log_breadth_sd=math.sqrt(covariance[0, 0]),
        full=stated.full + full,
        partial=stated.partial + partial,
        why=f"learnt from {data}{leaning}",
        log_evenness_sd=math.sqrt(covariance[1, 1]),
    )


def learn_groups(fleet: Fleet, groups: int, stated: Stated = WEAK) -> tuple[Touching, ...]:
    """The touching of groups 0 .. groups - 1, from a fleet's cavities.

    Raises:
        ValueError: as of `learn`.
    """
    partial = (fleet.events - fleet.full_events).astype(np.int64)
    full = np.bincount(fleet.group, weights=fleet.full_events, minlength=groups)
    in_part = np.bincount(fleet.group, weights=partial, minlength=groups)
    seen = _counted(fleet, partial, groups)
    return tuple(learn(seen[each], int(full[each]), int(in_part[each]), stated) for each in range(groups))


def chance(breadth: Floats | float, cavities: Counts) -> Floats:
    """The mean probability that a partial event touches a given cavity, of so many: 1 - exp(-breadth / cavities).

    Breadth shared out evenly on a large connector, and never above one on a small one.
    """
    return -np.expm1(-np.asarray(breadth) / cavities)


def _counted(fleet: Fleet, partial: Integers, groups: int) -> list[Seen]:
    """A fleet's cavities by group, those that are alike counted instead of listed. Without events they say nothing."""
    told = np.flatnonzero((partial > 0) & (fleet.cavities > 0))
    cavities, owner = places(fleet, told)
    fields = [fleet.group[told], fleet.cavities[told], partial[told]]
    columns = [*(each[owner] for each in fields), fleet.touches[cavities].astype(np.int64)]
    sizes = [int(each.max(initial=0)) + 1 for each in columns]
    codes, often = np.unique(np.ravel_multi_index(columns, sizes), return_counts=True)
    group, many, events, touches = np.unravel_index(codes, sizes)
    bounds = np.searchsorted(group, np.arange(groups + 1))
    spans = [slice(bounds[each], bounds[each + 1]) for each in range(groups)]
    return [Seen(many[each], events[each], touches[each], often[each]) for each in spans]


def _likelihood(seen: Seen, point: Floats) -> maximum.Slope:
    """The beta-binomial in log breadth and log evenness."""
    evenness = math.exp(point[1])
    each = math.exp(point[0]) / seen.cavities
    touched = -np.expm1(-each)
    alpha, beta, size = evenness * touched, evenness * np.exp(-each), np.full(each.shape, evenness)
    missed = seen.partial - seen.touches
    often = seen.often.astype(np.float64)
    value = _rise(special.gammaln, alpha, seen.touches) + _rise(special.gammaln, beta, missed)
    value -= _rise(special.gammaln, size, seen.partial)
    to_alpha, to_beta = _rise(special.digamma, alpha, seen.touches), _rise(special.digamma, beta, missed)
    to_size = _rise(special.digamma, size, seen.partial)
    twice_alpha, twice_beta = _rise(_trigamma, alpha, seen.touches), _rise(_trigamma, beta, missed)
    # How alpha moves with log breadth (beta moves against it), once and twice; both move with log evenness as themselves.
    moves = evenness * each * np.exp(-each)
    moves_twice = moves * (1 - each)
    by_breadth = moves * (to_alpha - to_beta)
    by_evenness = alpha * to_alpha + beta * to_beta - size * to_size
    breadth_twice = moves_twice * (to_alpha - to_beta) + moves**2 * (twice_alpha + twice_beta)
    across = by_breadth + moves * (alpha * twice_alpha - beta * twice_beta)
    evenness_twice = by_evenness + alpha**2 * twice_alpha + beta**2 * twice_beta
    evenness_twice -= size**2 * _rise(_trigamma, size, seen.partial)
    mixed = float(often @ across)
    return maximum.Slope(
        float(often @ value),
        np.array([often @ by_breadth, often @ by_evenness]),
        np.array([[often @ breadth_twice, mixed], [mixed, often @ evenness_twice]]),
    )


def _rise(function: Callable[[Floats], Floats], at: Floats, by: Counts) -> Floats:
    return np.asarray(function(at + by) - function(at), dtype=np.float64)


def _trigamma(at: Floats) -> Floats:
    return np.asarray(special.polygamma(1, at), dtype=np.float64)
