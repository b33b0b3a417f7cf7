"""How often things happen to a connector. Assumptions without a source, as the fleet's page says."""

import random
from datetime import datetime, timedelta

from msgspec import Struct

from service.demo import operator

REWORKS_PER_YEAR = 0.02 * 3.0
SHAPE = 0.5
VISITS = 5.5
"""How often an intermittent circuit is opened until it is found, on average."""
OLD = timedelta(days=20 * 365)

_YEAR = timedelta(days=365.25)


class Aircraft(Struct, frozen=True):
    """One aircraft. A used one was built long before the log book began, and nobody kept count."""

    number: int
    of: int
    built: datetime
    begins: datetime
    used: bool

    @property
    def mark(self) -> str:
        """What stands on its tail."""
        return f"TN-{self.number:02}"


def reworks(rng: random.Random, aircraft: Aircraft, begins: datetime, until: datetime) -> list[datetime]:
    """A gamma-Poisson process whose rate doubles once the aircraft is old."""
    rate = rng.gammavariate(SHAPE, REWORKS_PER_YEAR / SHAPE)
    found: list[datetime] = []
    at = begins
    while True:
        old = at - aircraft.built > OLD
        at += _YEAR * min(rng.expovariate(1) / max(rate * (2 if old else 1), 1e-9), 100)
        if at >= until:
            return found
        found.append(in_hours(rng, at))


def visits(rng: random.Random, earliest: datetime, until: datetime) -> list[datetime]:
    """When an intermittent circuit was opened: a Poisson number of times in one stretch of its connector's life."""
    stretch = min(timedelta(days=rng.randint(250, 1100)), (until - earliest) * 0.9)
    begins = earliest + (until - earliest - stretch) * rng.random()
    count, chance = 0, rng.expovariate(1)
    while chance < VISITS:
        count, chance = count + 1, chance + rng.expovariate(1)
    return [in_hours(rng, begins + stretch * rng.random()) for _ in range(count)]


def embodied(aircraft: Aircraft, programme: operator.Programme, until: datetime) -> datetime:
    """When a programme reached an aircraft: one after the other, in the order of their marks."""
    started = until - timedelta(days=programme.began_days_ago)
    share = (aircraft.number - 0.5) / aircraft.of
    return started + timedelta(days=int(programme.lasted_days * share), hours=7 + aircraft.number % 9)


def in_hours(rng: random.Random, at: datetime) -> datetime:
    """The same day between 06:00 and 21:00, when people are at work."""
    midnight = at.replace(hour=0, minute=0, second=0, microsecond=0)
    return midnight + timedelta(hours=6, seconds=rng.randint(0, 15 * 3600))
