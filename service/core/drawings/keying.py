"""The keying of a shell: the main key at the top, the others at their angles, each with its name and figure."""

import math
from collections.abc import Sequence

from service.core.drawings.words import INK, words
from service.core.markup import Markup, element, text

_PAPER, _FILL = "#ffffff", "#0a3a6b"
_RADIUS = 70.0
NAMES = ("AR", "BR", "CR", "DR")
SENSE = "Counted clockwise on the receptacle's mating face; that sense is from memory."


def drawing(position: str, shell: str, angles_deg: Sequence[int], *, plug: bool) -> Markup:
    """The mating face of a shell. The angles are the receptacle's, so a plug is drawn as its mirror image."""
    half = "plug, so mirrored" if plug else "receptacle"
    title = f"Keying {position} of shell {shell}, mating face of the {half}"
    pairs = tuple(zip(NAMES, angles_deg, strict=True))
    listed = ", ".join(f"{name} {angle}°" for name, angle in pairs)
    return element(
        "svg",
        element("title", text(title), id="keying-title"),
        element("desc", text(f"Main key at the top, the others from it: {listed}. {SENSE}"), id="keying-desc"),
        element("circle", cx="0", cy="0", r=_RADIUS, fill="#eef2f6", stroke=INK, stroke_width="3"),
        element("circle", cx="0", cy="0", r=_RADIUS - 16, fill=_PAPER, stroke=INK, stroke_width="1"),
        _key(0, 15),
        words("main", 0, -_RADIUS - 10, 12, weight="700"),
        *(_key(-angle if plug else angle, 9) for _, angle in pairs),
        *(_label(name, angle, -angle if plug else angle) for name, angle in pairs),
        words(f"{position}", 0, 8, 24, weight="700"),
        words("keying", 0, 24, 11),
        words(f"Shell {shell}, mating face of the {half}", 0, _RADIUS + 50, 11, weight="700"),
        role="img",
        aria_labelledby="keying-title keying-desc",
        viewBox="-150 -100 300 226",
        class_="keying",
        xmlns="http://www.w3.org/2000/svg",
    )


def _key(angle_deg: float, width: float) -> Markup:
    return element(
        "rect",
        x=-width / 2,
        y=-_RADIUS,
        width=width,
        height="14",
        fill=_FILL,
        transform=f"rotate({angle_deg})",
    )


def _label(name: str, angle_deg: int, drawn_deg: int) -> Markup:
    turn = math.radians(drawn_deg)
    x, y = (_RADIUS + 12) * math.sin(turn), -(_RADIUS + 14) * math.cos(turn) + 4
    anchor = "start" if x > 20 else "end" if x < -20 else "middle"  # noqa: PLR2004 - about the width of a label
    return words(f"{name} {angle_deg}°", x, y, 12, anchor=anchor)
