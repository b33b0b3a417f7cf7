"""What lies ahead: when a connector runs out, and what the coming months are expected to need."""

from collections.abc import Sequence
from datetime import date

from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator
from msgspec import Struct

from service.plots import canvas
from service.plots.canvas import BLUE, GREY, GRID, INK, ORANGE
from service.plots.plot import Plot

_MONTH_DAYS = 365.25 / 12


class Chance(Struct, frozen=True):
    """The probability of having run out within so many days, and what it would be if the unseen past was like the others'."""

    days: int
    probability: float
    supposed: float | None = None


def running_out(chances: Sequence[Chance], *, at_least: bool) -> Plot:
    """The probability of having run out, over the coming two years; a lower bound is drawn as one."""
    months = [each.days / _MONTH_DAYS for each in chances]
    values = [100 * each.probability for each in chances]
    supposed = [
        (at, 100 * each.supposed) for at, each in zip(months, chances, strict=True) if each.supposed is not None
    ]

    def draw(axes: Axes) -> None:
        if at_least:
            axes.fill_between(
                months, values, 100, facecolor="white", edgecolor=GRID, hatch="////", label="open: not known"
            )
        axes.plot(months, values, color=BLUE, marker="o", label="at least" if at_least else "probability")
        if supposed:
            axes.plot(
                *zip(*supposed, strict=True), color=ORANGE, marker="s", linestyle="--", label="if used like its group"
            )
        axes.set_ylim(0, 100)
        axes.set_xlim(0, max(months))
        axes.xaxis.set_major_locator(MultipleLocator(3))
        axes.set_xlabel("months from now")
        axes.set_ylabel("runs out, %")
        axes.grid(color=GRID)
        if at_least or supposed:
            axes.legend(loc="upper left", frameon=True)

    least = "at least " if at_least else ""
    last = chances[-1]
    told = f"Probability of running out, rising to {least}{100 * last.probability:.0f} % in {months[-1]:.0f} months"
    return canvas.drawn(draw, told)


class Need(Struct, frozen=True):
    """What one month is expected to need, with its 90 % interval."""

    begins_on: date
    expected: float
    low: float
    high: float


def needed(needs: Sequence[tuple[str, Sequence[Need]]]) -> Plot:
    """The months of some part numbers side by side, each with its 90 % interval."""
    patterns = (("o", BLUE, "-"), ("s", ORANGE, "--"), ("^", INK, ":"), ("D", GREY, "-."))

    def draw(axes: Axes) -> None:
        for number, ((name, months), (mark, colour, line)) in enumerate(zip(needs, patterns, strict=False)):
            at = [place + (number - (len(needs) - 1) / 2) * 0.12 for place in range(len(months))]
            middle = [each.expected for each in months]
            # Whole connectors have whole limits: where few are expected, the middle may lie beyond both.
            around = [
                [max(0.0, each.expected - each.low) for each in months],
                [max(0.0, each.high - each.expected) for each in months],
            ]
            axes.errorbar(
                at, middle, yerr=around, fmt=mark, color=colour, linestyle=line, capsize=4, label=name, linewidth=1.2
            )
        axes.set_xticks(range(len(needs[0][1])), [f"{each.begins_on:%b %Y}" for each in needs[0][1]])
        axes.set_ylabel("connectors, 90 % interval")
        axes.set_ylim(bottom=0)
        axes.grid(axis="y", color=GRID)
        axes.legend(loc="upper left", bbox_to_anchor=(1, 1), frameon=False)

    names = ", ".join(name for name, _ in needs)
    return canvas.drawn(draw, f"Need by month with its 90 % interval, of {names}; the figures stand in the table")
