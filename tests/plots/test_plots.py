"""Plots are SVG that holds what was given, nothing that runs or is fetched, and the same bytes each time."""

import xml.etree.ElementTree as ET
from collections.abc import Callable
from datetime import date

import pytest

from service.plots import ahead, behind
from service.plots.plot import Plot

SVG = "{http://www.w3.org/2000/svg}"
CHANCES = [ahead.Chance(30, 0.01, 0.05), ahead.Chance(365, 0.4, 0.6), ahead.Chance(730, 0.7, 0.9)]
NEEDS = [ahead.Need(date(2027, month, 1), 2.0 + month, 1.0, 9.0) for month in (1, 2, 3)]
EFFECTS = [
    behind.Effect("LT-<1>", 6.0, 3.0, 11.0, True),
    behind.Effect("LT-2", 1.1, 0.5, 2.2, False),
    behind.Effect("LT-3", None, 0.0, None, False),
]
PLOTS: dict[str, Callable[[], Plot]] = {
    "known": lambda: ahead.running_out(CHANCES, at_least=False),
    "at least": lambda: ahead.running_out(CHANCES[:1], at_least=True),
    "little need": lambda: ahead.needed(
        [("few", [ahead.Need(date(2027, 1, 1), 0.02, 0, 0), ahead.Need(date(2027, 2, 1), 3, 4, 9)])]
    ),
    "need": lambda: ahead.needed([("D38999/26FB5SN", NEEDS), ("not known", NEEDS)]),
    "spread": lambda: behind.spread({0: 100_000, 3: 5, 100: 1}, 100),
    "none spread": lambda: behind.spread({0: 0}, 100),
    "ratios": lambda: behind.standing_out(EFFECTS, "times the others' rate", ratio=True),
    "drifts": lambda: behind.standing_out(
        [behind.Effect("20 in F-1", -0.4, -0.7, -0.1, True), behind.Effect("16", 0.0, None, None, False)],
        "newtons a cycle",
        ratio=False,
    ),
}


def read(plot: Plot) -> ET.Element:
    """The picture's elements."""
    return ET.fromstring(plot.svg)  # noqa: S314 - our own


def texts(plot: Plot) -> list[str]:
    """What is written in it."""
    return [each.text or "" for each in read(plot).iter(f"{SVG}text")]


@pytest.mark.parametrize("name", PLOTS)
def test_a_plot_is_an_image_and_the_same_each_time(name: str) -> None:
    """Drawn twice it is the same to the byte; it has words for who does not see it, and nothing that runs or is fetched."""
    plot = PLOTS[name]()
    assert plot == PLOTS[name]()
    root = read(plot)
    assert root.tag == f"{SVG}svg"
    assert not list(root.iter(f"{SVG}script"))
    links = [value for each in root.iter() for key, value in each.attrib.items() if key.endswith("href")]
    assert all(each.startswith("#") for each in links)
    assert len(plot.told) > 20


def test_what_is_given_stands_in_it() -> None:
    """Names, axes and legends are texts of the picture, whatever signs they hold."""
    assert "LT-<1>" in texts(PLOTS["ratios"]())
    assert {"D38999/26FB5SN", "Jan 2027"} <= set(texts(PLOTS["need"]()))
    assert "100+" in texts(PLOTS["spread"]())
    assert {"at least", "open: not known", "if used like its group"} <= set(texts(PLOTS["at least"]()))
    assert "at least" not in texts(PLOTS["known"]())


def test_the_words_say_what_the_picture_shows() -> None:
    """The end of the curve, the units that stand out, and the counts are told."""
    assert "rising to 70 % in 24 months" in PLOTS["known"]().told
    assert "rising to at least 1 %" in PLOTS["at least"]().told
    assert "LT-<1> beyond it" in PLOTS["ratios"]().told
    assert "from 100,000 with none to 1 with 100" in PLOTS["spread"]().told


def test_a_curve_goes_through_its_points() -> None:
    """The line of the probabilities rises, and its last point stands where 70 % of the axis is."""
    root = read(PLOTS["known"]())
    lines = [
        each.attrib["d"].split() for each in root.iter(f"{SVG}path") if each.attrib["d"].count("L") == len(CHANCES) - 1
    ]
    heights = [[float(path[at + 2]) for at, word in enumerate(path) if word in "ML"] for path in lines]
    assert [each for each in heights if each == sorted(each, reverse=True) and len(set(each)) == len(CHANCES)]
