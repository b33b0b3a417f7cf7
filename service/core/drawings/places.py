"""Where the cavities of an insert stand in a drawing, and which way round a face shows them.

A place is (x, y) with x to the right and y up, on the mating face of the pin insert, as the standards draw it (second-
hand). Mated faces meet, so the socket insert's mating face is its mirror image and each wire side mirrors its front.
"""

import math
from collections.abc import Sequence

from msgspec import Struct

from service.core.part_numbers import Sex
from service.core.tooling import Face

Place = tuple[float, float]


class Layout(Struct, frozen=True):
    """Places inside a circle of radius 1, and the distance that neighbours keep at least."""

    places: tuple[Place, ...]
    pitch: float


def mirror(place: Place) -> Place:
    """The place as the opposite face shows it."""
    return (-place[0], place[1])


def mirrored(sex: Sex | None, face: Face) -> bool:
    """Whether this face shows the mirror image of the pin insert's mating face. An unknown sex is drawn as pins."""
    return (sex is Sex.SOCKET) == (face is Face.MATING_FACE)


def seen(place: Place, sex: Sex | None, face: Face) -> Place:
    """A place as this face shows it."""
    return mirror(place) if mirrored(sex, face) else place


def rings(count: int) -> Layout:
    """So many places on rings, clockwise from the top and from the rim inward: a scheme, and no real insert's layout."""
    radii, capacities, pitch = _rings(count)
    places: list[Place] = []
    for radius, number in zip(radii, _shared(count, capacities), strict=True):
        places.extend(_ring(radius, number))
    return Layout(tuple(places), pitch)


def scaled(coordinates: Sequence[Place], margin: float = 0.1) -> Layout:
    """True coordinates of any unit, brought into the circle."""
    reach = max((math.hypot(*each) for each in coordinates), default=0.0) or 1.0
    factor = (1 - margin) / reach
    places = tuple((x * factor, y * factor) for x, y in coordinates)
    nearest = (math.dist(one, other) for at, one in enumerate(places) for other in places[:at])
    return Layout(places, min(nearest, default=2 * margin))


def _rings(count: int) -> tuple[list[float], list[int], float]:
    """Radii, capacities and pitch of the fewest rings that hold them all, outermost first: with a centre or without."""
    number = 1
    while True:
        for centred in (True, False):
            pitch = 1 / (number - 0.5) if centred else 1 / number
            radii = [(at if centred else at + 0.5) * pitch for at in reversed(range(number))]
            capacities = [_capacity(radius / pitch) for radius in radii]
            if sum(capacities) >= count:
                return radii, capacities, pitch
        number += 1


def _capacity(radius: float) -> int:
    """How many places a pitch apart stand on a ring of so many pitches: the chord counts, not the arc."""
    if radius < 0.5:  # noqa: PLR2004 - nearer than half a pitch there is room for one
        return 1
    return int(math.pi / math.asin(0.5 / radius) + 1e-9)


def _shared(count: int, capacities: Sequence[int]) -> list[int]:
    """A count shared out over the rings by what they hold, none overfull."""
    total = sum(capacities)
    shares = [count * each // total for each in capacities]
    rest = sorted(range(len(capacities)), key=lambda at: (-(count * capacities[at] % total), at))
    for at in rest[: count - sum(shares)]:
        shares[at] += 1
    return shares


def _ring(radius: float, number: int) -> list[Place]:
    turns = (math.tau * at / number for at in range(number))
    return [(radius * math.sin(turn), radius * math.cos(turn)) for turn in turns]
