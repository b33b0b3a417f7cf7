"""From which side an insert is looked at, and where a cavity then is.

Drawings show the mating face of the pin insert. Mated faces meet, so the face of the socket insert is its mirror image, and
so is each insert from behind (geometry).
"""

import enum

from msgspec import Struct


class Sight(enum.StrEnum):
    """The sex of the contacts, and the side: front is the mating face, rear the wire side."""

    PIN_FRONT = "pin_front"
    PIN_REAR = "pin_rear"
    SOCKET_FRONT = "socket_front"
    SOCKET_REAR = "socket_rear"


_MIRRORED = frozenset({Sight.PIN_REAR, Sight.SOCKET_FRONT})


class Point(Struct, frozen=True):
    """A place on an insert: millimetres from its centre, x to the right, y up."""

    x_mm: float
    y_mm: float


def mirror(point: Point) -> Point:
    """The same place from the other side: left and right change, up stays up."""
    # Adding zero makes a negative zero a plain one.
    return Point(-point.x_mm + 0.0, point.y_mm)


def seen(point: Point, sight: Sight) -> Point:
    """Where a place of the pin-front drawing is in this sight; and the way back, since a mirror undoes itself."""
    return mirror(point) if sight in _MIRRORED else point
