"""The view of an insert: each cavity with its id, its contact size by the size of its circle."""

from collections.abc import Sequence

from msgspec import Struct

from service.core.drawings import places
from service.core.drawings.places import Layout, Place
from service.core.drawings.words import INK, words
from service.core.markup import Markup, element, text
from service.core.part_numbers import Sex
from service.core.tooling import Face

_RADIUS = 100.0
_SHELL, _HOLE = "#eef2f6", "#ffffff"

# Smallest first: circles show the order of the sizes, not their dimensions.
_SIZES = (("23", "22D", "22M", "22"), ("20",), ("16",), ("12",), ("10",), ("8",), ("4",), ("0",))
STEP = 0.84
"""How much smaller the circle of the next smaller size is."""
FACES = {Face.MATING_FACE: "mating face (front)", Face.WIRE_SIDE: "wire side (rear)"}


class Cavity(Struct, frozen=True):
    """A cavity to draw. Without an id it is one of a number of which no more than the size is known."""

    id: str | None
    contact_size: str


def drawing(
    name: str,
    cavities: Sequence[Cavity],
    sex: Sex | None,
    face: Face,
    coordinates: Sequence[Place] | None = None,
    *,
    dense: bool = False,
) -> Markup:
    """The insert as this face shows it. Without true coordinates the drawing is schematic and says so, in itself too.

    Coordinates are those of the pin insert's mating face, one for each cavity. A dense drawing is marked as such, for
    a page that lets it keep its width.
    """
    layout = places.scaled(coordinates) if coordinates else places.rings(len(cavities))
    title = f"Insert {name}, {FACES[face]}"
    return element(
        "svg",
        element("title", text(title), id="insert-title"),
        element("desc", text(description(cavities, sex, schematic=not coordinates)), id="insert-desc"),
        element("circle", cx="0", cy="0", r=_RADIUS + 5, fill=_SHELL, stroke=INK, stroke_width="2"),
        *_holes(cavities, layout, sex, face),
        words(title, 0, 124, 11, weight="700"),
        words("pins or sockets: not known" if sex is None else f"of a {sex} insert", 0, 139, 11),
        words("true places" if coordinates else "SCHEMATIC: not the true places", 0, 155, 12, weight="700"),
        role="img",
        aria_labelledby="insert-title insert-desc",
        viewBox="-112 -110 224 272",
        class_="insert dense" if dense else "insert",
        xmlns="http://www.w3.org/2000/svg",
    )


def description(cavities: Sequence[Cavity], sex: Sex | None, *, schematic: bool) -> str:
    """What the drawing shows, for whoever can't see it."""
    held = {Sex.PIN: "pins", Sex.SOCKET: "sockets", None: "pins or sockets (not known)"}[sex]
    sizes = ", ".join(f"{count} of size {size}" for size, count in counted(cavities).items())
    named = "each with its id" if any(each.id for each in cavities) else "whose ids are not known"
    places_known = "Schematic: the cavities do not stand where they really are." if schematic else "Places are true."
    return f"{len(cavities)} cavities for {held}, {named}: {sizes}. {places_known}"


def counted(cavities: Sequence[Cavity]) -> dict[str, int]:
    """How many cavities of each size, in the order in which the sizes come."""
    found: dict[str, int] = {}
    for each in cavities:
        found[each.contact_size] = found.get(each.contact_size, 0) + 1
    return found


def _holes(cavities: Sequence[Cavity], layout: Layout, sex: Sex | None, face: Face) -> list[Markup]:
    ranks = [rank(each.contact_size) for each in cavities]
    most = max(ranks, default=0)
    longest = max((len(each.id or "") for each in cavities), default=0)
    found = []
    for each, own, place in zip(cavities, ranks, layout.places, strict=True):
        x, y = places.seen(place, sex, face)
        radius = min(layout.pitch * _RADIUS * 0.47, 24.0) * STEP ** min(most - own, 3)
        found.append(_hole(each, x * _RADIUS, -y * _RADIUS, radius, longest))
    return found


def _hole(cavity: Cavity, x: float, y: float, radius: float, longest: int) -> Markup:
    """One cavity; its id is written as small as the longest of the insert asks for."""
    circle = element("circle", cx=x, cy=y, r=radius, fill=_HOLE, stroke=INK, stroke_width=min(1.2, radius / 5))
    if cavity.id is None:
        return circle
    size = min(14.0, radius * (1.25, 1.05, 0.88)[min(longest, 3) - 1])
    shown = words(cavity.id, x, y + size * 0.36, size, weight="600")
    return element("g", element("title", text(f"{cavity.id}: size {cavity.contact_size}")), circle, shown)


def rank(size: str) -> int:
    """Larger for larger contacts; a kind may stand behind the size, as in `8 twinax`."""
    plain = size.split(" ", maxsplit=1)[0]
    return next((at for at, sizes in enumerate(_SIZES) if plain in sizes), 0)
