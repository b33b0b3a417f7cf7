"""A fleet as arrays: what the outlook needs to know of each connector and of each of its cavities."""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from service.core.outlook.arrays import Counts, Flags, Floats, Integers

UNRATED = 32_767
"""In `left`: the retainer has no rating, so nothing can be said of when it runs out."""


class Fleet(Struct, frozen=True, eq=False):
    """n connectors, and their c cavities one connector after the other.

    Of connectors: `starts` (n + 1,) where the cavities of each begin, the last entry being c; `group` (n,); `events` and
    `full_events` (n,) seen in `exposure` (n,) units; `unseen` (n,) exposure before anybody counted, NaN where not known either
    and 0 where the history is known; `pace` (n,) units of exposure in a day to come.

    Of cavities: `left` (c,) insertions that the rating still allows, as `cycles.Standing.left` has it: the retainer has run out
    at 0 or below, and each touch uses one; where the history is not known, what is left at most. `known` (c,) whether the
    count is more than a lower bound. `touches` (c,) in the connector's partial events.

    An event in which a cavity took two cycles is counted as two events.
    """

    starts: Integers
    group: Integers
    events: Counts
    full_events: Counts
    exposure: Floats
    unseen: Floats
    pace: Floats
    left: Counts
    known: Flags
    touches: Counts

    @property
    def connectors(self) -> int:
        """How many connectors."""
        return self.group.size

    @property
    def cavities(self) -> Integers:
        """How many cavities each connector has, (n,)."""
        return np.diff(self.starts)


def check(fleet: Fleet) -> None:
    """Refuse a fleet whose arrays contradict each other.

    Raises:
        ValueError: lengths that do not fit, starts that go back, negative numbers, more touches than events.
    """
    each, cavities = fleet.connectors, fleet.left.size
    of_connectors = (fleet.events, fleet.full_events, fleet.exposure, fleet.unseen, fleet.pace)
    if fleet.starts.shape != (each + 1,) or any(array.shape != (each,) for array in of_connectors):
        raise ValueError("the arrays of connectors differ in length")
    if any(array.shape != (cavities,) for array in (fleet.known, fleet.touches)):
        raise ValueError("the arrays of cavities differ in length")
    if fleet.starts[0] != 0 or fleet.starts[-1] != cavities or (fleet.cavities < 0).any():
        raise ValueError("the starts do not share out the cavities")
    if any((array < 0).any() for array in (*of_connectors, fleet.touches)):
        raise ValueError("a count or an exposure is negative")
    partial = (fleet.events - fleet.full_events).astype(np.int64)
    if (partial < 0).any() or (fleet.touches > np.repeat(partial, fleet.cavities)).any():
        raise ValueError("more full events, or more touches of a cavity, than its connector had events")


def places(fleet: Fleet, connectors: Integers) -> tuple[Integers, Integers]:
    """Where the cavities of these connectors are, and to which of them, counted from 0, each belongs."""
    many = fleet.cavities[connectors]
    owner = np.repeat(np.arange(connectors.size), many)
    first = np.cumsum(many) - many
    return np.arange(owner.size) - first[owner] + fleet.starts[connectors][owner], owner


def select(fleet: Fleet, connectors: Integers) -> Fleet:
    """These connectors alone, in this order."""
    cavities, _ = places(fleet, connectors)
    return Fleet(
        starts=np.concatenate([[0], np.cumsum(fleet.cavities[connectors])]),
        group=fleet.group[connectors],
        events=fleet.events[connectors],
        full_events=fleet.full_events[connectors],
        exposure=fleet.exposure[connectors],
        unseen=fleet.unseen[connectors],
        pace=fleet.pace[connectors],
        left=fleet.left[cavities],
        known=fleet.known[cavities],
        touches=fleet.touches[cavities],
    )


def slices(connectors: Integers, size: int) -> Iterator[Integers]:
    """The connectors in runs of at most `size`."""
    for first in range(0, connectors.size, size):
        yield connectors[first : first + size]
