"""Bars within the rows of a table: the figures stand beside them, so a bar says nothing that a reader could miss.

Lengths are shares of the cell, so that a bar fits any screen and its patterns are never stretched.
"""

from collections.abc import Mapping

from service.core.cycles import Wear
from service.core.drawings import signs
from service.core.markup import EMPTY, Markup, element, joined

_HEIGHT = 16


def stacked(counts: Mapping[Wear, int], most: int) -> Markup:
    """Counts of each wear after one another, the worst first; the whole cell is `most`."""
    parts, at = [], 0.0
    for wear in signs.WORST_FIRST:
        count = counts.get(wear, 0)
        if count and most:
            width = 100 * count / most
            parts.append(_box(at, width, fill=signs.fill(wear)))
            at += width
    return _bar(*parts)


def share(value: float) -> Markup:
    """A share from 0 to 1 of the cell."""
    return _bar(_box(0, 100, class_="plain"), _box(0, 100 * value, class_="strong"))


def at_least(value: float) -> Markup:
    """A share that is known to be at least this: what lies beyond it is open, so the bar has no edge there."""
    tick = element("line", x1=_percent(100 * value), x2=_percent(100 * value), y1="0", y2=_HEIGHT, class_="span")
    rest = element("line", x1=_percent(100 * value), x2="100%", y1=_HEIGHT / 2, y2=_HEIGHT / 2, class_="rest")
    return _bar(_box(0, 100 * value, class_="strong"), tick, rest)


def between(value: float, low: float, high: float, most: float) -> Markup:
    """A figure with its interval; the whole cell is `most`."""
    if most <= 0:
        return EMPTY
    middle = _HEIGHT / 2
    ends = [_percent(100 * each / most) for each in (low, high)]
    whisker = joined(
        element("line", x1=ends[0], x2=ends[1], y1=middle, y2=middle, class_="span"),
        *(element("line", x1=each, x2=each, y1="4", y2="12", class_="span") for each in ends),
    )
    return _bar(_box(0, 100 * value / most, class_="strong"), whisker)


def _bar(*parts: Markup) -> Markup:
    return element("svg", *parts, width="100%", height=_HEIGHT, aria_hidden="true", class_="plot bar")


def _box(left: float, width: float, **how: object) -> Markup:
    return element(
        "rect", x=_percent(left), y="1", width=_percent(width), height=_HEIGHT - 2, **{"class_": "edge", **how}
    )


def _percent(value: float) -> str:
    return f"{min(max(value, 0.0), 100.0):.2f}%"
