"""What has been: how cycles are spread over the fleet's retainers, and which units stand out of their group."""

from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter
from msgspec import Struct

from service.plots import canvas
from service.plots.canvas import BLUE, GREY, GRID, INK, ORANGE, RED
from service.plots.plot import Plot

_ROW, _EDGES, _TICKS = 26, 70, 15


def spread(cavities: Mapping[int, int], beyond: int) -> Plot:
    """How many cavities have begun how many cycles; `beyond` is the step that counts all from there on."""
    steps = range(max(cavities, default=0) + 1)
    counts = [cavities.get(each, 0) for each in steps]

    def draw(axes: Axes) -> None:
        axes.bar(list(steps), counts, color=BLUE, edgecolor=INK, linewidth=0.8)
        axes.set_yscale("symlog", linthresh=1)
        axes.set_ylim(bottom=0)
        axes.set_xlim(-0.6, len(counts) - 0.4)
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
        ticks = list(range(0, len(counts), max(1, len(counts) // _TICKS)))
        axes.set_xticks(ticks if beyond not in cavities else [*ticks[:-1], beyond])
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:.0f}{'+' if value == beyond else ''}")
        axes.set_xlabel("cycles begun")
        axes.set_ylabel("cavities (powers of ten)")
        axes.grid(axis="y", color=GRID)

    most = max(steps, default=0)
    told = f"Cavities by cycles begun, from {counts[0] if counts else 0:,} with none to {cavities.get(most, 0):,} with {most}"
    return canvas.drawn(draw, told, height=220)


class Effect(Struct, frozen=True):
    """How far a unit is from its group, with the 90 % interval; None is without end."""

    name: str
    middle: float | None
    low: float | None
    high: float | None
    shown: bool


def standing_out(effects: Sequence[Effect], axis: str, *, ratio: bool) -> Plot:
    """Units one below the other with their intervals, against the line where nothing is other than in the group."""
    even = 1.0 if ratio else 0.0
    ends = [value for each in effects for value in (each.middle, each.low, each.high) if value is not None]
    ends = [each for each in ends if each > 0 or not ratio]
    least, most = min(ends, default=even), max(ends, default=even)
    left, right = (min(least, even / 2) / 1.3, max(most, even * 2) * 1.3) if ratio else _around(least, most)

    def draw(axes: Axes) -> None:
        if ratio:
            axes.set_xscale("log")
            axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        for row, each in enumerate(effects):
            low, high = (
                (left if each.low is None or each.low < left else each.low),
                right if each.high is None else each.high,
            )
            colour, mark = (RED, "D") if each.shown else (GREY, "o")
            axes.plot([low, high], [row, row], color=colour, linewidth=2 if each.shown else 1.2)
            if each.middle is not None and left <= each.middle <= right:
                axes.plot([each.middle], [row], color=colour, marker=mark, markersize=7)
        axes.axvline(even, color=ORANGE, linewidth=1.5, linestyle="--")
        axes.set_xlim(left, right)
        axes.set_ylim(len(effects) - 0.5, -0.5)
        axes.set_yticks(range(len(effects)), [each.name for each in effects])
        axes.set_xlabel(axis)
        axes.grid(axis="x", color=GRID)

    out = [each.name for each in effects if each.shown]
    named = f"{', '.join(out)} beyond it" if out else "none clearly beyond it"
    told = f"Effects with their 90 % intervals, the broken line where a unit is as its group; {named}"
    return canvas.drawn(draw, told, height=_EDGES + _ROW * len(effects))


def _around(least: float, most: float) -> tuple[float, float]:
    room = 0.1 * max(most - least, 1e-9) + 1e-9
    return min(least, 0.0) - room, max(most, 0.0) + room
