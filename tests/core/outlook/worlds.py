"""Made-up fleets with a known truth, and one way to play them out: seeded chance, event by event."""

import numpy as np
from msgspec import Struct
from numpy.random import Generator

from service.core.outlook import touching
from service.core.outlook.arrays import Floats, Integers
from service.core.outlook.fleet import Fleet
from service.core.outlook.prior import Basis, Prior
from service.core.outlook.touching import Touching


def prior(shape: float, mean: float) -> Prior:
    """A prior that is sure of itself."""
    return Prior(shape, shape / mean, (0.0, 0.0, 0.0, 0.0), Basis.LEARNT, "given", 0, 0, 0.0)


def touched(breadth: float, evenness: float = 5.0, full: float = 0.0, weight: float = 1e9) -> Touching:
    """A touching that is sure of its share of full events."""
    return Touching(breadth, evenness, 0.0, full * weight, (1 - full) * weight, "given")


def fleet(left: list[list[int]], **changes: object) -> Fleet:
    """Connectors with so much left in their cavities: of group 0, new, known, one unit of exposure a day."""
    many = len(left)
    cavities = sum(len(each) for each in left)
    fields: dict[str, object] = {
        "starts": np.concatenate([[0], np.cumsum([len(each) for each in left])]).astype(np.int64),
        "group": np.zeros(many, dtype=np.int64),
        "events": np.zeros(many, dtype=np.int64),
        "full_events": np.zeros(many, dtype=np.int64),
        "exposure": np.zeros(many),
        "unseen": np.zeros(many),
        "pace": np.ones(many),
        "left": np.array([one for each in left for one in each], dtype=np.int64),
        "known": np.ones(cavities, dtype=bool),
        "touches": np.zeros(cavities, dtype=np.int64),
    }
    return Fleet(**{name: np.asarray(value) for name, value in (fields | changes).items()})


class World(Struct, frozen=True):
    """The truth behind a fleet of equal connectors."""

    shape: float
    mean: float
    breadth: float
    evenness: float
    full: float
    cavities: int
    rating: int


class Lives(Struct, frozen=True, eq=False):
    """Connectors' own truths: their rates (n,) and their cavities' probabilities (n, cavities)."""

    rates: Floats
    chances: Floats


def born(world: World, connectors: int, rng: Generator) -> Lives:
    """Connectors with rates and habits of their own."""
    mean = touching.chance(world.breadth, np.array([world.cavities]))[0]
    chances = rng.beta(world.evenness * mean, world.evenness * (1 - mean), (connectors, world.cavities))
    return Lives(rng.gamma(world.shape, world.mean / world.shape, connectors), chances)


def lived(world: World, lives: Lives, span: Floats, rng: Generator) -> tuple[Integers, Integers, Integers]:
    """What happens to each in a span: events and full events (n,), touches in the partial ones (n, cavities)."""
    events = rng.poisson(lives.rates * span)
    full = rng.binomial(events, world.full)
    return events, full, rng.binomial((events - full)[:, None], lives.chances)


def recorded(world: World, past: tuple[Integers, Integers, Integers], exposure: Floats, pace: float = 1.0) -> Fleet:
    """The fleet after that past."""
    events, full, touches = past
    left = world.rating - full[:, None] - touches
    return fleet(
        left.tolist(),
        events=events,
        full_events=full,
        exposure=exposure,
        touches=touches.ravel(),
        pace=np.full(events.size, pace),
    )
