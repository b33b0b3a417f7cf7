"""The rescue ladder: what is believed, what each rung does, and what it reads of pictures damaged from seeds."""

import itertools
import subprocess
import sys

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from scanner_client import decode, finder, ladder, lattice, levels, spot, strips
from scanner_client.ladder import Part, Sight
from scanner_client.levels import Pixels
from scanner_client.readings import Channel, Reading
from tests.client import symbols
from tests.corpus import frames, report
from tests.corpus.frames import Kind, Split
from tests.corpus.report import Outcome

DATA_MATRIX = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.DataMatrix])
CODE_128 = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.Code128])
MATRIX, BARS = Reading(b"A", "]d1", Channel.PHOTO), Reading(b"A", "]C0", Channel.PHOTO)
OTHER, RECTANGLE = Reading(b"B", "]C0", Channel.PHOTO), Reading(b"A", "]d7", Channel.PHOTO)
CODE_39 = Reading(b"A", "]A0", Channel.PHOTO)

ABOVE, BELOW = (10, 10, 90, 40), (10, 60, 90, 90)


def line(look: str, reading: Reading, box: ladder.Box = ABOVE) -> Sight:
    """Seen by single lines across the bars."""
    return Sight(look, reading, Part.LINES, box)


def strip(look: str, reading: Reading, part: Part) -> Sight:
    """Seen in a strip of a part of the bars."""
    return Sight(look, reading, part, (0, 0, 400, 24))


BELIEVED = [
    ("nothing seen", [], (), ()),
    ("a matrix symbol once", [line("x", MATRIX)], (MATRIX,), ()),
    ("a rectangle once", [line("x", RECTANGLE)], (RECTANGLE,), ()),
    ("a bar code once", [line("x", BARS)], (), (BARS,)),
    ("twice in one look", [line("x", BARS), line("x", BARS, BELOW)], (), (BARS,)),
    ("two looks by lines: the same pixels", [line("x", BARS), line("y", BARS)], (), (BARS,)),
    ("three looks by lines", [line("x", BARS), line("y", BARS), line("z", BARS)], (BARS,), ()),
    ("lines and a strip", [line("x", BARS), strip("y", BARS, Part.WHOLE)], (BARS,), ()),
    ("both halves", [strip("x", BARS, Part.UPPER), strip("y", BARS, Part.LOWER)], (BARS,), ()),
    ("one half in two ways", [strip("x", BARS, Part.UPPER), strip("y", BARS, Part.UPPER)], (), (BARS,)),
    ("halves that differ", [strip("x", BARS, Part.UPPER), strip("y", OTHER, Part.LOWER)], (), (BARS, OTHER)),
    (
        "the same bars in two ways",
        [line("x", BARS), line("x", OTHER), strip("y", OTHER, Part.UPPER)],
        (),
        (BARS, OTHER),
    ),
    (
        "and then both halves",
        [line("x", BARS), line("x", OTHER), strip("y", BARS, Part.UPPER), strip("z", BARS, Part.LOWER)],
        (BARS,),
        (OTHER,),
    ),
    (
        "two bar codes beside each other",
        [line(look, *each) for look in "xyz" for each in ((BARS, ABOVE), (OTHER, BELOW))],
        (BARS, OTHER),
        (),
    ),
    ("the same text of another symbology", [line("x", BARS), strip("y", CODE_39, Part.WHOLE)], (), (BARS, CODE_39)),
    ("Code 39", [line("x", CODE_39), strip("y", CODE_39, Part.WHOLE)], (CODE_39,), ()),
    ("a matrix symbol over bars", [line("x", BARS), line("x", MATRIX)], (MATRIX,), (BARS,)),
]


@pytest.mark.parametrize(
    ("seen", "sure", "unsure"), [each[1:] for each in BELIEVED], ids=[each[0] for each in BELIEVED]
)
def test_what_is_believed(seen: list[Sight], sure: tuple[Reading, ...], unsure: tuple[Reading, ...]) -> None:
    """A matrix symbol is believed at once, a bar code when looks at different parts of it agree and none contradicts."""
    assert ladder.believed(seen) == sure
    assert ladder.doubted(seen) == unsure


SETTLED = [
    ("nothing yet", [], False),
    ("a matrix symbol", [line("x", MATRIX)], True),
    ("a bar code in doubt", [line("x", BARS)], False),
    ("a matrix symbol and a bar code in doubt", [line("x", MATRIX), line("x", BARS, BELOW)], False),
    (
        "a bar code that is sure, another reading in doubt",
        [line("x", OTHER), strip("y", BARS, Part.UPPER), strip("z", BARS, Part.LOWER)],
        True,
    ),
    (
        "a bar code that is sure, another one below it in doubt",
        [line("x", BARS), line("x", OTHER, BELOW), strip("y", BARS, Part.UPPER)],
        False,
    ),
]


@pytest.mark.parametrize(("seen", "settled"), [each[1:] for each in SETTLED], ids=[each[0] for each in SETTLED])
def test_when_no_further_look_is_taken(seen: list[Sight], *, settled: bool) -> None:
    """Looks go on while all that there is is in doubt, and not to find agreement for what a sure reading contradicts."""
    assert ladder.settled(seen) is settled


def picture(kind: zxingcpp.BarcodeFormat = zxingcpp.BarcodeFormat.DataMatrix) -> Pixels:
    """A clean symbol in the middle of a camera's picture."""
    paper = Image.new("L", (640, 480), 235)
    drawn = symbols.symbol("SN-1042", kind, 8 if kind == zxingcpp.BarcodeFormat.DataMatrix else 3)
    paper.paste(drawn, ((640 - drawn.width) // 2, (480 - drawn.height) // 2))
    return np.asarray(paper)


def test_darkest_and_lightest_are_those_of_the_square() -> None:
    """The fast extremes equal Pillow's rank filter, but for the rim, where Pillow pads in its own way."""
    from PIL import ImageFilter  # noqa: PLC0415 - only as the second opinion

    grey = np.random.default_rng(5).integers(0, 256, (40, 50), dtype=np.uint8)
    for side in (3, 5, 7):
        for ours, theirs in ((levels.darkest, ImageFilter.MinFilter), (levels.lightest, ImageFilter.MaxFilter)):
            expected = np.asarray(Image.fromarray(grey).filter(theirs(side)))
            assert (ours(grey, side)[side:-side, side:-side] == expected[side:-side, side:-side]).all()


def test_a_finder_pattern_is_found_in_every_turn_and_polarity() -> None:
    """Wherever a square lies in the field, whichever way up, dark on light or light on dark: place and turn come out."""
    rng = np.random.default_rng(6)
    for size, turns, polarity in itertools.product((10, 16, 26), range(4), (1, -1)):
        inside = np.where(rng.random((size, size)) < 0.5, 1, -1)
        border = finder.pattern(size)
        field = rng.uniform(-0.3, 0.3, (36, 40))
        field[4 : 4 + size, 7 : 7 + size] = np.rot90(np.where(border == 0, inside, border), -turns) * polarity
        found = finder.best(field)[0]
        assert (found.size, found.row, found.column, found.turns, found.polarity) == (size, 4, 7, turns, polarity)


def test_a_symbol_without_a_quiet_zone_is_drawn_anew() -> None:
    """In a frame that touches all its sides nothing is read as it is; the lattice gives the symbol back."""
    made = np.array(symbols.symbol("SN-1042", scale=10))
    dark = np.argwhere(made < 128)
    (top, left), (bottom, right) = dark.min(axis=0), dark.max(axis=0)
    paper = np.full((480, 640), 235, np.uint8)
    symbol = made[top : bottom + 1, left : right + 1]
    paper[180 : 180 + len(symbol), 260 : 260 + len(symbol)] = symbol
    for line in (slice(172, 180), slice(180 + len(symbol), 188 + len(symbol))):
        paper[line, 200:480] = 20
    for line in (slice(252, 260), slice(260 + len(symbol), 268 + len(symbol))):
        paper[120:400, line] = 20
    assert decode.read(paper, budget_s=0).sure == ()
    drawn = lattice.redrawn(spot.patch(ladder.reticle(paper)))
    read = (zxingcpp.read_barcodes(each, formats=DATA_MATRIX) for each in drawn)
    assert next(bytes(each[0].bytes) for each in read if each) == b"SN-1042"
    assert [each.data for each in decode.read(paper).sure] == [b"SN-1042"]


@pytest.mark.parametrize("degrees", [-40, -25, 0, 15, 30, 60])
def test_bars_are_turned_upright(degrees: int) -> None:
    """However the bars are turned, the strips of them are read."""
    paper = Image.fromarray(picture(zxingcpp.BarcodeFormat.Code128)).rotate(degrees, fillcolor=235)
    has_bars, found = spot.bars(np.asarray(paper))
    assert has_bars
    read = [
        zxingcpp.read_barcodes(strip, formats=CODE_128)
        for _, strip in strips.strips(strips.upright(np.asarray(paper), found))
    ]
    assert {bytes(each[0].bytes) for each in read if each} == {b"SN-1042"}


@pytest.mark.parametrize(("budget_s", "looks"), [(0.05, 3), (0.0, 1)])
def test_the_budget_is_asked_before_each_look(monkeypatch: pytest.MonkeyPatch, budget_s: float, looks: int) -> None:
    """When each look takes 20 ms, a picture of nothing gets three of them in 50 ms, and one when there is no time."""
    taken: list[float] = []

    def slow(*_: object, **__: object) -> list[zxingcpp.Barcode]:
        taken.append(0.02)
        return []

    monkeypatch.setattr(zxingcpp, "read_barcodes", slow)
    seen = decode.read(np.full((480, 640), 128, np.uint8), budget_s=budget_s, clock=lambda: sum(taken))
    assert seen == decode.Seen(())
    assert len(taken) == looks


SIZES = [(0, 0), (0, 9), (1, 1), (1, 5000), (5000, 1), (47, 47), (48, 48), (49, 3000), (3000, 50), (64, 64)]


@pytest.mark.parametrize("size", SIZES, ids=[f"{high}x{wide}" for high, wide in SIZES])
@pytest.mark.parametrize("content", ["white", "noise"])
def test_pictures_of_any_shape_give_nothing_and_no_error(size: tuple[int, int], content: str) -> None:
    """Empty, tiny, narrow, flat and noisy pictures run through the whole ladder and give no reading."""
    white = np.full(size, 255, np.uint8)
    grey = white if content == "white" else np.random.default_rng(7).integers(0, 256, size, dtype=np.uint8)
    for aimed in (True, False):
        assert decode.read(grey, budget_s=60, aimed=aimed) == decode.Seen(())


@pytest.fixture(scope="module")
def subset() -> list[Outcome]:
    """Some sixty pictures of the tuning set, with all the time they need, so that the result is the same everywhere."""
    sizes = ((Kind.DATA_MATRIX, 2), (Kind.CODE_128, 1), (Kind.DOT_PEEN, 1), (Kind.NOTHING, 8))
    made = (frames.made(Split.TUNING, (kind,), each) for kind, each in sizes)
    return list(report.outcomes(itertools.chain.from_iterable(made), 1000, report.own()))


LEAST = [(Kind.DATA_MATRIX, 0.7), (Kind.CODE_128, 0.6), (Kind.DOT_PEEN, 0.75)]


@pytest.mark.parametrize(("kind", "least"), LEAST, ids=[each[0] for each in LEAST])
def test_the_ladder_reads_what_the_decoder_alone_does_not(subset: list[Outcome], kind: Kind, least: float) -> None:
    """Of damaged pictures so many are read, and a sixth more than by the decoder alone."""
    found = [each for each in subset if each.kind is kind]
    rate = sum(each.ladder for each in found) / len(found)
    assert rate >= least
    assert rate >= sum(each.plain for each in found) / len(found) + 1 / 6


def test_nothing_is_ever_read_wrong(subset: list[Outcome]) -> None:
    """Whatever is believed is what the symbol says, and nothing is read where there is none."""
    assert [(each.kind, each.damage, each.wrong) for each in subset if each.wrong] == []
    assert len(subset) > 55


def test_the_sets_share_no_picture() -> None:
    """The hold-out is made from other seeds."""
    tuning, spent, holdout = (next(frames.made(split, (Kind.DATA_MATRIX,), 1)) for split in Split)
    assert len({tuning.data, spent.data, holdout.data}) == 3
    again = next(frames.made(Split.TUNING, (Kind.DATA_MATRIX,), 1))
    assert (again.grey == tuning.grey).all()


def test_two_bar_codes_on_one_photo_are_both_read() -> None:
    """Bar codes above each other do not contradict each other, wherever they lie."""
    photo = Image.new("L", (900, 700), 220)
    for place, text in (((40, 60), "SN-1041"), ((380, 560), "PN-2207")):
        photo.paste(symbols.symbol(text, zxingcpp.BarcodeFormat.Code128, 3), place)
    assert {each.data for each in decode.read(np.asarray(photo)).sure} == {b"SN-1041", b"PN-2207"}


def test_the_report_is_printed() -> None:
    """The command prints a line for each damage and how many pictures were read wrong."""
    asked = [sys.executable, "-m", "tests.corpus", "--kind", "dot peen", "--each", "1"]
    told = subprocess.run(asked, capture_output=True, text=True, check=True, timeout=120)
    assert "dot peen, shaded dots" in told.stdout
    assert "Frames with a wrong read: 0 of 8" in told.stdout
