"""Signs of wear: a shape and a pattern each, so that colour is never the only sign. The same as at the bench."""

from service.core.cycles import Wear
from service.core.markup import Markup, element, joined, text

_SHAPES = {
    Wear.WITHIN: "M12 4a8 8 0 1 0 .1 0z",
    Wear.NEARING: "M12 4a8 8 0 1 0 .1 0zM6 18L18 6",
    Wear.SPENT: "M4 4h16v16H4zM4 12h16",
    Wear.OVER: "M4 4l16 16M20 4L4 20",
    Wear.UNKNOWN: "M8 8a4 4 0 1 1 6 3.5c-2 1-2 2-2 3.5M12 19v2",
}
WORST_FIRST = (Wear.OVER, Wear.SPENT, Wear.NEARING, Wear.UNKNOWN, Wear.WITHIN)


def shape(wear: Wear) -> Markup:
    """The sign alone, for beside a word that says the same."""
    path = element("path", d=_SHAPES[wear], fill="none", stroke="currentColor", stroke_width="3")
    return element("svg", path, viewBox="0 0 24 24", aria_hidden="true", class_="sign")


def named(wear: Wear) -> Markup:
    """The sign with its word."""
    return element("span", shape(wear), text(wear.value), class_=f"wear wear-{wear}")


def patterns() -> Markup:
    """What areas are filled with; once on a page, before the first drawing that uses them."""
    drawn = joined(
        _pattern(Wear.NEARING, _bar("1.2", "4"), turned=True),
        _pattern(Wear.SPENT, _bar("4", "1.4")),
        _pattern(Wear.OVER, element("path", d="M0 0h4v4", class_="figure"), turned=True),
        _pattern(Wear.UNKNOWN, element("circle", cx="2", cy="2", r=".8", class_="figure")),
    )
    return element("svg", element("defs", drawn), width="0", height="0", aria_hidden="true", class_="patterns")


def fill(wear: Wear) -> str:
    """How an area of this wear is filled."""
    return f"url(#wear-{wear})"


def _pattern(wear: Wear, figure: Markup, *, turned: bool = False) -> Markup:
    ground = element("rect", width="4", height="4", class_="ground")
    return element(
        "pattern",
        element("g", ground, figure, class_=wear.value),
        id=f"wear-{wear}",
        width="4",
        height="4",
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)" if turned else None,
    )


def _bar(width: str, height: str) -> Markup:
    return element("rect", width=width, height=height, class_="figure")
