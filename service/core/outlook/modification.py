"""What a planned modification does to the outlook, before anybody opens a connector."""

import numpy as np
from msgspec import Struct, structs

from service.core.outlook.arrays import Integers
from service.core.outlook.fleet import UNRATED, Fleet


class Planned(Struct, frozen=True, eq=False):
    """The fleet as the modification would leave it, and the cavities, by their place in the fleet, that stand in its way.

    `impossible`: the work needs more insertions than the rating leaves, so the retainer is to be renewed before or in it.
    `used_up`: the work is possible and takes the last one. `not_known`: unrated, or left is only known at most, and it
    would suffice.
    """

    after: Fleet
    impossible: Integers
    used_up: Integers
    not_known: Integers


def planned(fleet: Fleet, cavities: Integers, cycles: Integers) -> Planned:
    """A modification that takes so many cycles (m,) of these cavities (m,), each named once by its place in the fleet.

    The modification is not rework of the group's kind: it uses retainers up, and says nothing about the rate of rework.
    Run the outlook on the fleet `after` and on the fleet before to see the difference.

    Raises:
        ValueError: a cavity is out of range or named twice, or cycles are not positive.
    """
    if cavities.shape != cycles.shape or (cycles <= 0).any() or np.unique(cavities).size != cavities.size:
        raise ValueError("each cavity is named once, with a number of cycles that is positive")
    if cavities.size and not 0 <= cavities.min() <= cavities.max() < fleet.left.size:
        raise ValueError("a cavity is out of range")
    before, rated = fleet.left[cavities].astype(np.int64), fleet.left[cavities] != UNRATED
    left = fleet.left.copy()
    left[cavities] = np.where(rated, np.maximum(before - cycles, np.iinfo(left.dtype).min), before)
    enough = before >= cycles
    return Planned(
        after=structs.replace(fleet, left=left),
        impossible=cavities[rated & ~enough],
        used_up=cavities[rated & (before == cycles)],
        not_known=cavities[~rated | (enough & ~fleet.known[cavities])],
    )
