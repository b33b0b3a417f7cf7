"""The mirror rules of an insert's sights (geometry: mated faces meet)."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from service.core import sights
from service.core.sights import Point, Sight

points = some.builds(Point, some.floats(-100, 100), some.floats(-100, 100))


@given(points)
def test_a_mirror_undoes_itself(point: Point) -> None:
    """Mirrored twice, a place is where it was."""
    assert sights.mirror(sights.mirror(point)) == point


@given(points, some.sampled_from(Sight))
def test_a_sight_leads_there_and_back(point: Point, sight: Sight) -> None:
    """Seen from a side and back again, a place is where it was."""
    assert sights.seen(sights.seen(point, sight), sight) == point


@given(points)
def test_mated_inserts_face_each_other(point: Point) -> None:
    """The pin insert from the front looks like the socket insert from behind, and the other way round."""
    assert sights.seen(point, Sight.PIN_FRONT) == sights.seen(point, Sight.SOCKET_REAR)
    assert sights.seen(point, Sight.PIN_REAR) == sights.seen(point, Sight.SOCKET_FRONT)


@pytest.mark.parametrize(
    ("sight", "x_mm"),
    [(Sight.PIN_FRONT, 2.5), (Sight.PIN_REAR, -2.5), (Sight.SOCKET_FRONT, -2.5), (Sight.SOCKET_REAR, 2.5)],
)
def test_only_left_and_right_change(sight: Sight, x_mm: float) -> None:
    """A place right of the centre stays or goes left; up stays up."""
    assert sights.seen(Point(2.5, 1.25), sight) == Point(x_mm, 1.25)
