"""Drawings of wear: the same signs as at the bench, each cavity in words, faces that mirror each other, bars that add up."""

import re
from pathlib import Path

import pytest

from service.core.cycles import Wear
from service.core.drawings import bars, places, signs, worn
from service.core.part_numbers import Sex
from service.core.tooling import Face

PAGE = Path(__file__).resolve().parents[2] / "scanner_client" / "page"
STYLE = Path(__file__).resolve().parents[2] / "service" / "pages" / "planner.css"


def cavity(name: str, wear: Wear = Wear.WITHIN, occupied: bool | None = True, *, blocked: bool = False) -> worn.Cavity:
    """A cavity of a drawing."""
    return worn.Cavity(name, "20", wear, 3, 10, occupied, blocked)


@pytest.mark.parametrize("wear", Wear)
def test_a_sign_is_the_bench_s(wear: Wear) -> None:
    """Whoever knows a sign from the bench knows it here: the same path, and where there is one the same pattern and colours."""
    told = (PAGE / "view" / "shapes.js").read_text()
    path = re.findall(r'd="([^"]+)"', signs.shape(wear))[0]
    assert f'{wear}: "{path}"' in told
    for name in ("ground", "figure"):
        theirs = re.search(rf"\.{name}\.{wear} {{ (.+?) }}", (PAGE / "bench.css").read_text())
        if theirs is not None:
            assert f".{wear} .{name} {{ {theirs[1]} }}" in STYLE.read_text()
            assert f'id="wear-{wear}"' in signs.patterns()
    assert f"</svg>{wear}" in signs.named(wear)


def test_the_faces_mirror_each_other() -> None:
    """What is left on the wire side is right on the mating face, at the same height."""
    cavities = [cavity(each) for each in "ABCDE"]
    layout = places.rings(5)
    found = [
        re.findall(
            r'cx="(-?[\d.]+)" cy="(-?[\d.]+)" r="[\d.]+" class="rim"',
            worn.drawing(cavities, layout, Sex.PIN, face, "x"),
        )
        for face in Face
    ]
    assert len(found[0]) == 5
    for (left, up), (right, also) in zip(*found, strict=True):
        assert -float(left) == pytest.approx(float(right), abs=0.01)
        assert up == also


def test_every_cavity_is_told_in_words() -> None:
    """Who can't see the drawing hears which cavities ask for attention, and each cavity has its own words."""
    cavities = [
        cavity("A"),
        cavity("a", Wear.OVER, occupied=None, blocked=True),
        cavity("B", Wear.NEARING, occupied=False),
    ]
    drawn = worn.drawing(cavities, places.rings(3), None, Face.WIRE_SIDE, "Insert <1>", marked=("B",))
    assert "Insert &lt;1&gt;, wire side (rear)" in drawn
    assert "over: a; nearing: B; within: 1 of 3 cavities." in drawn
    assert "a: over, 3 of 10 cycles, not known whether a contact is in, blocked" in drawn
    assert "B: nearing, 3 of 10 cycles, empty" in drawn
    assert drawn.count('class="halo"') == 1
    assert drawn.count('class="contact') == 2
    assert drawn.count('class="blocked"') == 1


def test_a_crowded_insert_leaves_the_numbers_to_the_table() -> None:
    """Where a hole is too small for two lines it has its id alone."""
    few, many = (
        worn.drawing([cavity(str(at)) for at in range(count)], places.rings(count), None, Face.WIRE_SIDE, "x")
        for count in (6, 128)
    )
    assert few.count("3/10") == 6
    assert "3/10</text>" not in many
    assert many.count("<text") == 128


def test_bars_add_up_and_stay_inside() -> None:
    """The parts of a bar are as long as their counts, one after the other; nothing reaches beyond its cell."""
    drawn = bars.stacked({Wear.OVER: 1, Wear.SPENT: 0, Wear.NEARING: 3, Wear.WITHIN: 4}, 8)
    found = re.findall(r'x="([\d.]+)%" y="1" width="([\d.]+)%"', drawn)
    assert [(float(x), float(width)) for x, width in found] == [(0, 12.5), (12.5, 37.5), (50, 50)]
    assert bars.stacked({Wear.OVER: 1}, 0).count("<rect") == 0
    for each in (bars.share(1.2), bars.at_least(2), bars.between(3, 1, 9, 4)):
        assert all(float(share) <= 100 for share in re.findall(r'"([\d.]+)%"', each))
    assert bars.between(0, 0, 0, 0) == ""
