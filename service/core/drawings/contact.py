"""A contact with its colour bands, each with its name and digit: who can't tell the colours reads them."""

from collections.abc import Sequence

from service.core.drawings.words import INK, words
from service.core.markup import Markup, element, text
from service.core.part_numbers import Band, Sex

# How a band is painted. The name beside it says what it is; the paint only resembles it.
PAINT = {
    "black": "#000000",
    "brown": "#6b3a1e",
    "red": "#d11f1f",
    "orange": "#f28500",
    "yellow": "#ffe000",
    "green": "#1a8a3c",
    "blue": "#1c50c4",
    "violet": "#7b3fa8",
    "grey": "#8d9399",
    "white": "#ffffff",
}
_BODY = "#d9b45b"
_BAND, _LEFT, _TOP, _HEIGHT = 56.0, 96.0, 30.0, 44.0


def drawing(part_number: str, bands: Sequence[Band], sex: Sex | None) -> Markup:
    """The contact from its wire barrel on the left to its mating end on the right, which is the reading order."""
    right = _LEFT + _BAND * len(bands)
    named = ", ".join(f"{each.colour} ({each.digit})" for each in bands)
    key = part_number.replace("/", "-")
    return element(
        "svg",
        element("title", text(f"Bands of {part_number}"), id=f"{key}-title"),
        element("desc", text(f"From the wire barrel towards the mating end: {named}. Schematic."), id=f"{key}-desc"),
        _box(14, _TOP + 6, _LEFT - 14, _HEIGHT - 12, _BODY, 4),
        element("circle", cx=_LEFT - 22, cy=_TOP + _HEIGHT / 2, r="4", fill=INK),
        _mating_end(right, sex),
        *(_box(_LEFT + _BAND * at, _TOP, _BAND, _HEIGHT, PAINT[each.colour], 0) for at, each in enumerate(bands)),
        *(_named(each, _LEFT + _BAND * (at + 0.5)) for at, each in enumerate(bands)),
        words("wire", 54, 20, 13),
        words("reads this way →", _LEFT + _BAND * len(bands) / 2, 20, 13),
        words({Sex.PIN: "pin", Sex.SOCKET: "socket", None: "mating"}[sex], right + 40, 20, 13),
        role="img",
        aria_labelledby=f"{key}-title {key}-desc",
        viewBox=f"0 0 {right + 90:.0f} 114",
        class_="contact",
        xmlns="http://www.w3.org/2000/svg",
    )


def _mating_end(left: float, sex: Sex | None) -> Markup:
    """A pin is slender and round at its tip, a socket is wide and slit."""
    middle = _TOP + _HEIGHT / 2
    if sex is Sex.SOCKET:
        slit = element("line", x1=left + 26, y1=middle, x2=left + 76, y2=middle, stroke=INK, stroke_width="2")
        return element("g", _box(left, _TOP + 6, 76, _HEIGHT - 12, _BODY, 3), slit)
    return _box(left - 6, middle - 8, 82, 16, _BODY, 8)


def _named(band: Band, x: float) -> Markup:
    return element("g", words(band.colour, x, _TOP + _HEIGHT + 18, 14, weight="700"), words(band.digit, x, 109, 13))


def _box(x: float, y: float, width: float, height: float, fill: str, corner: float) -> Markup:
    return element("rect", x=x, y=y, width=width, height=height, rx=corner, fill=fill, stroke=INK, stroke_width="1.5")
