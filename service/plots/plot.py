"""What a plot is, without what draws it: that takes long to load."""

from msgspec import Struct


class Plot(Struct, frozen=True):
    """A plot: its SVG, its size in pixels of the page, and in words what it shows."""

    svg: bytes
    width: int
    height: int
    told: str
