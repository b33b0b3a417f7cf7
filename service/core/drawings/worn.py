"""An insert with the wear of each cavity: as a colour, as a pattern and as the number of cycles begun.

Colours are the style's, by class, so that the drawing follows dark and bright.
"""

from collections.abc import Collection, Sequence

from msgspec import Struct

from service.core.cycles import Wear
from service.core.drawings import insert, places, signs
from service.core.drawings.places import Layout
from service.core.markup import EMPTY, Markup, element, joined, text
from service.core.part_numbers import Sex
from service.core.tooling import Face

_RADIUS = 100.0
_LETTERS = (1.2, 1.0, 0.8, 0.65)
_COUNTS_FROM = 8.5
"""From this radius on there is room for the number below the id."""


class Cavity(Struct, frozen=True):
    """A cavity as it stands."""

    id: str
    contact_size: str
    wear: Wear
    cycles: int
    rating: int | None
    occupied: bool | None
    blocked: bool


def drawing(
    cavities: Sequence[Cavity],
    layout: Layout,
    sex: Sex | None,
    face: Face,
    name: str,
    *,
    marked: Collection[str] = (),
    which: str = "",
) -> Markup:
    """The insert as this face shows it. `marked` are cavities to point out; `which` tells several drawings of a page apart."""
    radii = _radii(cavities, layout)
    title, key = f"{name}, {insert.FACES[face]}", f"worn{which}-{face}"
    holes = (
        _hole(each, *places.seen(place, sex, face), radius, marked=each.id in marked)
        for each, place, radius in zip(cavities, layout.places, radii, strict=True)
    )
    return element(
        "svg",
        element("title", text(title), id=f"{key}-title"),
        element("desc", text(described(cavities)), id=f"{key}-desc"),
        element("circle", r=_RADIUS + 6, class_="shell"),
        *holes,
        role="img",
        aria_labelledby=f"{key}-title {key}-desc",
        viewBox="-112 -112 224 224",
        class_="worn dense" if min(radii, default=_RADIUS) < _COUNTS_FROM else "worn",
        xmlns="http://www.w3.org/2000/svg",
    )


def described(cavities: Sequence[Cavity]) -> str:
    """What the drawing shows, for whoever can't see it: the cavities of each wear but those within their rating."""
    told = []
    for wear in signs.WORST_FIRST:
        found = [each.id for each in cavities if each.wear is wear]
        if found and wear is not Wear.WITHIN:
            told.append(f"{wear}: {', '.join(found)}")
    within = sum(each.wear is Wear.WITHIN for each in cavities)
    return "; ".join([*told, f"within: {within} of {len(cavities)} cavities"]) + ". The table below has every one."


def key() -> Markup:
    """What the signs mean, beside the drawing."""
    shown = [joined(_example(_wear(each, 0, 0, 10)), text(each.value)) for each in reversed(signs.WORST_FIRST)]
    contact = element("circle", r="7.5", class_="contact")
    shown.append(joined(_example(contact), text("contact in")))
    return element("ul", *(element("li", each) for each in shown), class_="key", aria_label="Signs")


def _example(inside: Markup) -> Markup:
    rim = element("circle", r="10", class_="rim")
    return element("svg", rim, inside, viewBox="-12 -12 24 24", aria_hidden="true", class_="hole")


def _radii(cavities: Sequence[Cavity], layout: Layout) -> list[float]:
    ranks = [insert.rank(each.contact_size) for each in cavities]
    most = max(ranks, default=0)
    return [min(layout.pitch * _RADIUS * 0.47, 24.0) * insert.STEP ** min(most - each, 3) for each in ranks]


def _hole(cavity: Cavity, across: float, up: float, radius: float, *, marked: bool) -> Markup:
    x, y = across * _RADIUS, -up * _RADIUS
    letter = min(14.0, radius * _LETTERS[min(len(cavity.id), 4) - 1])
    counts = radius >= _COUNTS_FROM
    halo = element("circle", cx=x, cy=y, r=radius + 1.5, class_="halo") if marked else EMPTY
    return element(
        "g",
        element("title", text(named(cavity))),
        halo,
        element("circle", cx=x, cy=y, r=radius, class_="rim"),
        _wear(cavity.wear, x, y, radius),
        _contact(cavity, x, y, radius),
        _words(cavity.id, x, y if counts else y + letter * 0.36, letter),
        _words(_count(cavity), x, y + radius * 0.58, radius * 0.46) if counts else EMPTY,
        _blocked(x, y, radius) if cavity.blocked else EMPTY,
        class_="hole",
    )


def named(cavity: Cavity) -> str:
    """One cavity in words."""
    held = {True: "contact in", False: "empty", None: "not known whether a contact is in"}[cavity.occupied]
    cycles = f"{cavity.cycles} of {cavity.rating} cycles" if cavity.rating else f"{cavity.cycles} cycles, no rating"
    return f"{cavity.id}: {cavity.wear}, {cycles}, {held}{', blocked' if cavity.blocked else ''}"


def _count(cavity: Cavity) -> str:
    return f"{cavity.cycles}/{cavity.rating}" if cavity.rating else str(cavity.cycles)


def _wear(wear: Wear, x: float, y: float, radius: float) -> Markup:
    if wear is Wear.WITHIN:
        return EMPTY
    return element("circle", cx=x, cy=y, r=radius * 0.97, fill=signs.fill(wear))


def _contact(cavity: Cavity, x: float, y: float, radius: float) -> Markup:
    if cavity.occupied is False:
        return EMPTY
    doubt = " doubtful" if cavity.occupied is None else ""
    return element("circle", cx=x, cy=y, r=radius * 0.86, class_=f"contact{doubt}")


def _blocked(x: float, y: float, radius: float) -> Markup:
    across = radius * 0.7
    return element("path", d=f"M{x - across:.2f} {y - across:.2f}l{2 * across:.2f} {2 * across:.2f}", class_="blocked")


def _words(shown: str, x: float, y: float, size: float) -> Markup:
    return element("text", text(shown), x=x, y=y, font_size=size)
