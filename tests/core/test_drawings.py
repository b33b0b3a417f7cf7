"""Drawings: which face shows what, and a name beside everything that is drawn."""

import math
import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core import part_numbers
from service.core.drawings import contact, insert, keying, places
from service.core.drawings.insert import Cavity
from service.core.markup import Markup, element, text
from service.core.part_numbers import Sex
from service.core.tooling import Face

SVG = "{http://www.w3.org/2000/svg}"
PLACES = st.tuples(st.floats(-10, 10), st.floats(-10, 10))


def words(drawing: Markup) -> list[str]:
    """The words that stand in a drawing, in order. It must be well-formed."""
    return [each.text or "" for each in ET.fromstring(drawing).iter(f"{SVG}text")]  # noqa: S314 - our own drawing


def said(drawing: Markup) -> str:
    """Title and description, to which the drawing must point."""
    root = ET.fromstring(drawing)  # noqa: S314 - our own drawing
    assert root.get("role") == "img"
    named = {each.get("id"): each.text for each in root if each.tag in (f"{SVG}title", f"{SVG}desc")}
    return " ".join(str(named[each]) for each in str(root.get("aria-labelledby")).split())


@given(PLACES)
def test_a_mirror_image_of_a_mirror_image_is_itself(place: places.Place) -> None:
    """Mirrored twice a place is where it was (geometry)."""
    assert places.mirror(places.mirror(place)) == place


@given(PLACES)
def test_mated_faces_mirror_each_other(place: places.Place) -> None:
    """Pin front is as socket rear, pin rear as socket front, and the two fronts mirror each other (geometry)."""
    pin_front = places.seen(place, Sex.PIN, Face.MATING_FACE)
    assert pin_front == place
    assert places.seen(place, Sex.SOCKET, Face.WIRE_SIDE) == pin_front
    assert places.seen(place, Sex.PIN, Face.WIRE_SIDE) == places.seen(place, Sex.SOCKET, Face.MATING_FACE)
    assert places.seen(place, Sex.SOCKET, Face.MATING_FACE) == places.mirror(pin_front)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 6, 7, 13, 22, 37, 55, 61, 79, 100, 128, 187])
def test_a_scheme_keeps_its_cavities_apart(count: int) -> None:
    """Whatever the number, all stand inside the insert and none nearer to another than the pitch."""
    layout = places.rings(count)
    assert len(layout.places) == count
    assert all(math.hypot(*each) + layout.pitch / 2 <= 1 + 1e-9 for each in layout.places)
    nearest = [math.dist(a, b) for at, a in enumerate(layout.places) for b in layout.places[:at]]
    assert not nearest or min(nearest) >= layout.pitch * (1 - 1e-9)


def test_the_insert_names_each_cavity_face_and_scheme() -> None:
    """Every id is written in the order of the insert, with the face seen and that the places are not the true ones."""
    cavities = [Cavity(each, "20") for each in ("C", "c", "AA")]
    drawing = insert.drawing("17-99", cavities, Sex.SOCKET, Face.WIRE_SIDE)
    assert words(drawing)[:3] == ["C", "c", "AA"]
    assert "Insert 17-99, wire side (rear)" in words(drawing)
    assert "of a socket insert" in words(drawing)
    assert "SCHEMATIC: not the true places" in words(drawing)
    assert "Insert 17-99, wire side (rear) 3 cavities for sockets, each with its id: 3 of size 20." in said(drawing)


def test_circles_grow_with_the_contact_size() -> None:
    """A larger contact has a larger circle, and sizes of one class the same."""
    sizes = ("22D", "23", "20", "16", "12")
    drawing = insert.drawing("x", [Cavity(each, each) for each in sizes], Sex.PIN, Face.MATING_FACE)
    circles = re.findall(r"<g><title>(\S+): size \S+</title><circle[^>]* r=\"([\d.]+)\"", drawing)
    radius = {size: float(r) for size, r in circles}
    assert radius["22D"] == radius["23"] < radius["20"] < radius["16"] < radius["12"]


def test_unknown_ids_are_left_blank() -> None:
    """Cavities whose ids are not known are drawn without any, and the description says so."""
    drawing = insert.drawing("25-35", [Cavity(None, "22D")] * 128, None, Face.MATING_FACE)
    assert len(words(drawing)) == 3
    assert "pins or sockets: not known" in words(drawing)
    assert "128 cavities for pins or sockets (not known), whose ids are not known: 128 of size 22D." in said(drawing)


def test_true_coordinates_are_drawn_as_such() -> None:
    """With coordinates each cavity is where they say, turned as the face shows it, and nothing is called schematic."""
    cavities = [Cavity("A", "20"), Cavity("B", "20")]
    coordinates = [(-2.0, 0.0), (2.0, 0.0)]
    front = insert.drawing("x", cavities, Sex.PIN, Face.MATING_FACE, coordinates)
    rear = insert.drawing("x", cavities, Sex.PIN, Face.WIRE_SIDE, coordinates)
    assert "true places" in words(front)
    assert "Places are true." in said(front)
    assert re.findall(r'<text x="(-?\d+)" [^>]*>([AB])<', front) == [("-90", "A"), ("90", "B")]
    assert re.findall(r'<text x="(-?\d+)" [^>]*>([AB])<', rear) == [("90", "A"), ("-90", "B")]


def test_keys_are_drawn_at_their_angles_with_their_names() -> None:
    """The angles of 38999 III shell 25 N (public transcription of figure 6), mirrored for a plug."""
    angles = (80, 142, 196, 293)
    drawing = keying.drawing("N", "25", angles, plug=False)
    assert re.findall(r"rotate\((-?\d+)\)", drawing) == ["0", "80", "142", "196", "293"]
    assert {"main", "AR 80°", "BR 142°", "CR 196°", "DR 293°"} <= set(words(drawing))
    assert "Shell 25, mating face of the receptacle" in words(drawing)
    assert "AR 80°, BR 142°, CR 196°, DR 293°" in said(drawing)
    plug = keying.drawing("N", "25", angles, plug=True)
    assert re.findall(r"rotate\((-?\d+)\)", plug) == ["0", "-80", "-142", "-196", "-293"]
    assert "Shell 25, mating face of the plug, so mirrored" in words(plug)


@pytest.mark.parametrize("angle", range(0, 360, 5))
def test_the_names_of_keys_stay_inside_the_drawing(angle: int) -> None:
    """Wherever a key stands, its name is not cut off (a character taken as 0.65 of its height)."""
    root = ET.fromstring(keying.drawing("N", "25", (angle, 90, 180, 270), plug=False))  # noqa: S314 - our own drawing
    left, top, width, height = map(float, str(root.get("viewBox")).split())
    for each in root.iter(f"{SVG}text"):
        x, y, size = (float(str(each.get(name))) for name in ("x", "y", "font-size"))
        reach = 0.65 * size * len(each.text or "")
        begin = x - reach * {"start": 0, "middle": 0.5, "end": 1}[str(each.get("text-anchor"))]
        assert left <= begin, each.text
        assert begin + reach <= left + width, each.text
        assert top + size <= y <= top + height, each.text


def test_bands_are_painted_in_reading_order_with_their_names() -> None:
    """Every band has its colour's name and its digit below it, from the wire barrel to the mating end."""
    bands = part_numbers.bands("360")
    drawing = contact.drawing("AS39029/58-360", bands, Sex.PIN)
    assert [each for each in words(drawing) if each in contact.PAINT] == ["orange", "blue", "black"]
    painted = [fill for fill in re.findall(r'fill="(#\w+)"', drawing) if fill in contact.PAINT.values()]
    assert painted == [contact.PAINT[each] for each in ("orange", "blue", "black")]
    assert "From the wire barrel towards the mating end: orange (3), blue (6), black (0)." in said(drawing)
    assert set(contact.PAINT) == {each.colour for each in part_numbers.bands("0123456789")}


@given(st.text())
def test_no_text_turns_into_an_element(shown: str) -> None:
    """Whatever is shown or stands in an attribute comes out as words."""
    made = element("a", text(shown), title=shown)
    assert re.fullmatch(r'<a title="[^<>"]*">[^<>]*</a>', made, re.DOTALL)
