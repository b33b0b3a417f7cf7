"""Words in a drawing, all in one ink: it stands 17:1 against white."""

from service.core.markup import Markup, element, text

INK = "#0b1622"


def words(shown: str, x: float, y: float, size: float, *, anchor: str = "middle", weight: str = "400") -> Markup:
    """A line of words at a place."""
    return element(
        "text",
        text(shown),
        x=x,
        y=y,
        font_size=size,
        text_anchor=anchor,
        fill=INK,
        font_family="sans-serif",
        font_weight=weight,
    )
