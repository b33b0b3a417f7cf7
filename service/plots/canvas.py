"""The paper that every plot is drawn on, and what is told of it to whoever does not see it.

Colours are of the Okabe-Ito set, which stays apart for all common kinds of colour blindness, and each goes with a shape, a
pattern or a line style of its own. The same figures always give the same bytes.
"""

import io
from collections.abc import Callable
from threading import Lock

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from service.plots.plot import Plot

INK, GRID = "#1b1f24", "#c9d1d9"
BLUE, ORANGE, RED, GREY = "#0072b2", "#e69f00", "#a63d00", "#5f6973"
_INCH = 1 / 100
"""A hundred pixels of the page to an inch: the texts then have the size of the page's small type."""
mpl.rcParams.update(
    {
        "svg.fonttype": "none",
        "svg.hashsalt": "tinebook",
        "font.family": "sans-serif",
        "font.size": 9,
        "axes.edgecolor": INK,
        "axes.labelcolor": INK,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.axisbelow": True,
        "xtick.color": INK,
        "ytick.color": INK,
        "text.color": INK,
        "hatch.linewidth": 0.8,
    }
)
_one_at_a_time = Lock()
"""The library keeps things between calls that two threads must not touch at once."""


def drawn(draw: Callable[[Axes], None], told: str, width: int = 760, height: int = 260) -> Plot:
    """A plot with one pair of axes that `draw` fills."""
    with _one_at_a_time:
        figure = Figure(figsize=(width * _INCH, height * _INCH), layout="constrained")
        draw(figure.subplots())
        found = io.BytesIO()
        figure.savefig(found, format="svg", metadata={"Date": None, "Creator": None})
    return Plot(found.getvalue(), width, height, told)
