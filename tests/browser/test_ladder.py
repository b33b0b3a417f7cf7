"""The page's own ladder and what it believes: the tables of the terminal's, run in the browser, and damaged pictures."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Page

from scanner_client.ladder import Sight
from tests.browser import stage, stills
from tests.browser.stills import Outcome
from tests.client import test_ladder
from tests.corpus.frames import Frame, Kind

pytestmark = pytest.mark.skipif(stage.CHROMIUM is None, reason="needs chromium (Debian: apt install chromium)")


PICTURES = ((Kind.DATA_MATRIX, 1), (Kind.CODE_128, 1), (Kind.DOT_PEEN, 1), (Kind.NOTHING, 8))


@pytest.fixture(scope="module")
def pictures() -> list[Frame]:
    """Some fifty of the tuning pictures."""
    return stills.tuning(PICTURES)


@pytest.fixture(scope="module")
def page(pictures: list[Frame]) -> Iterator[Page]:
    """The stand-in page, with the modules of the ladder."""
    with stills.opened(pictures) as opened:
        yield opened


def told(sight: Sight) -> dict[str, Any]:
    """A sight as the page has it."""
    return {
        "look": sight.look,
        "part": sight.part.name.lower(),
        "bytes": list(sight.reading.data),
        "symbology": sight.reading.symbology,
        "box": list(sight.box),
        "corners": None,
    }


CALL = """([name, sights]) => {
  const found = stage.belief[name](sights.map((each) => ({ ...each, bytes: Uint8Array.from(each.bytes) })));
  return Array.isArray(found) ? found.map((each) => [Array.from(each.bytes), each.symbology]) : found;
}"""


@pytest.mark.parametrize(
    ("seen", "sure", "unsure"),
    [each[1:] for each in test_ladder.BELIEVED],
    ids=[each[0] for each in test_ladder.BELIEVED],
)
def test_of_one_picture_the_page_believes_what_the_terminal_does(page: Page, seen: Any, sure: Any, unsure: Any) -> None:
    """The rule of agreement is one: its table is run in both languages."""
    for name, expected in (("believed", sure), ("doubted", unsure)):
        found = page.evaluate(CALL, [name, [told(each) for each in seen]])
        assert found == [[list(each.data), each.symbology] for each in expected]


@pytest.mark.parametrize(
    ("seen", "settled"), [each[1:] for each in test_ladder.SETTLED], ids=[each[0] for each in test_ladder.SETTLED]
)
def test_the_page_stops_looking_when_the_terminal_does(page: Page, seen: Any, *, settled: bool) -> None:
    """When no further look is worth its time is one rule as well."""
    assert page.evaluate(CALL, ["settled", [told(each) for each in seen]]) is settled


M, D = ("M", "]d1", "lines"), ("M", "]d1", "drawn")
B, U, L, W = ("B", "]C0", "lines"), ("B", "]C0", "upper"), ("B", "]C0", "lower"), ("B", "]C0", "whole")
X = ("X", "]C0", "lines")
WATCHED = [
    ("a matrix symbol at once", [[M]], ["M"]),
    ("and once only", [[M], [M], [M]], ["M"]),
    ("another one after it", [[M], [("N", "]d1", "lines")]], ["M", "N"]),
    ("drawn anew: not by one frame", [[D]], []),
    ("drawn anew twice", [[D], [D]], ["M"]),
    ("drawn anew, then as it is", [[D], [M]], ["M"]),
    ("bars once", [[B]], []),
    ("bars by two parts of one frame", [[B, U]], []),
    ("bars by the same lines again and again", [[B], [B], [B], [B]], []),
    ("bars by two parts of two frames", [[B, U], [B]], ["B"]),
    ("both halves", [[U], [], [L]], ["B"]),
    ("bars, others, bars: begun anew", [[B, U], [X], [B]], []),
    ("and confirmed at last", [[B, U], [X], [B], [B, W]], ["B"]),
    ("two readings of the same bars in one frame", [[B, X], [U]], []),
    ("bars and a matrix symbol", [[B, M], [U]], ["M", "B"]),
]
WATCH = """(frames) => {
  let [memory, told] = [stage.belief.blank(), []];
  const all = [];
  frames.forEach((frame, place) => {
    const sights = frame.map(([text, symbology, part]) => (
      { look: part, part, bytes: new TextEncoder().encode(text), symbology, box: [0, 0, 9, 9], corners: null }));
    [memory, told] = stage.belief.watch(memory, sights, place * 100);
    all.push(...told.map((each) => String.fromCharCode(...each.bytes)));
  });
  return all;
}"""


@pytest.mark.parametrize(("seen", "expected"), [each[1:] for each in WATCHED], ids=[each[0] for each in WATCHED])
def test_what_a_camera_is_believed(page: Page, seen: list[list[tuple[str, str, str]]], expected: list[str]) -> None:
    """Over the frames of a camera a matrix symbol is told at once, bars and redrawn symbols once two frames agree."""
    assert page.evaluate(WATCH, seen) == expected


def test_one_rung_a_frame_each_in_its_turn(page: Page, pictures: list[Frame]) -> None:
    """A frame gets the look as it is and one rung; all rungs come round; what is new in sight begins with the first."""
    seen = page.evaluate(
        "asked => stage.looksTaken(...asked)", ["/stills/0.raw", *reversed(pictures[0].grey.shape), 40, [30]]
    )
    rungs = turns(seen["frames"])
    assert set(seen["matrix"]) - set(rungs[:30]) <= JOINED
    assert rungs[1] == rungs[31] == seen["matrix"][0]
    assert rungs[1:5] == rungs[31:35]


def test_an_unsteady_hand_keeps_no_rung_from_its_turn(page: Page, pictures: list[Frame]) -> None:
    """Where every frame is new, all rungs come round as well."""
    shown = ["/stills/0.raw", *reversed(pictures[0].grey.shape), 40, list(range(40))]
    seen = page.evaluate("asked => stage.looksTaken(...asked)", shown)
    assert set(seen["matrix"]) - set(turns(seen["frames"])) <= JOINED


JOINED = {"light dots joined", "dark dots joined"}
"""These have nothing to show where no dots repeat."""


def turns(frames: list[list[str]]) -> list[str | None]:
    """The rung of each frame, after the look as it is."""
    assert all(each[0] == "as it is" and len(each) <= 2 for each in frames)
    return [each[1] if len(each) > 1 else None for each in frames]


@pytest.fixture(scope="module")
def read(page: Page, pictures: list[Frame]) -> list[Outcome]:
    """What was told of them, each shown up to forty times."""
    return list(stills.outcomes(page, pictures, 40))


LEAST = [(Kind.DATA_MATRIX, 0.7), (Kind.CODE_128, 0.6), (Kind.DOT_PEEN, 0.75)]


@pytest.mark.parametrize(("kind", "least"), LEAST, ids=[each[0] for each in LEAST])
def test_the_ladder_reads_what_the_decoder_alone_does_not(read: list[Outcome], kind: Kind, least: float) -> None:
    """Of damaged pictures so many are told, and a sixth more than the decoder alone reads."""
    found = [each for each in read if each.kind is kind]
    rate = sum(each.data in each.told for each in found) / len(found)
    assert rate >= least
    assert rate >= sum(each.data in each.plain for each in found) / len(found) + 1 / 6


def test_nothing_is_ever_told_wrong(read: list[Outcome]) -> None:
    """Whatever is told is what the symbol says, and nothing is told where there is none."""
    assert [(each.kind, each.damage, each.wrong) for each in read if each.wrong] == []
    assert len(read) > 40
