"""The page's eye in a real browser: what it tells of films and photos, byte by byte, under the policy it will have."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Page

from tests.browser import films, stage
from tests.browser.films import Film
from tests.client import symbols

pytestmark = pytest.mark.skipif(stage.CHROMIUM is None, reason="needs chromium (Debian: apt install chromium)")

PATIENCE_S = 60
"""For what must come at some time; how long it takes is measured by `python -m tests.browser.measure_eye`."""


def awaited(page: Page, expression: str, enough: Callable[[Any], bool]) -> Any:
    """The value of an expression, as soon as it is enough, or the last one. Waiting inside of the page would break its policy."""
    deadline = time.monotonic() + PATIENCE_S
    value = page.evaluate(expression)
    while not enough(value) and time.monotonic() < deadline:
        page.wait_for_timeout(50)
        value = page.evaluate(expression)
    return value


def begun(page: Page) -> None:
    """Open the eye of the stand-in page."""
    assert awaited(page, "Boolean(window.stage?.ready)", bool)
    page.evaluate("stage.open()")


def told(reads: list[dict[str, Any]]) -> set[tuple[bytes, str]]:
    """Which symbols were told."""
    return {(bytes.fromhex(each["bytes"]), each["symbology"]) for each in reads}


@pytest.mark.parametrize("film", films.FILMS, ids=[each.name for each in films.FILMS])
def test_what_a_film_shows_is_told(film: Film, tmp_path: Path) -> None:
    """Every symbol of a film is told with its very bytes, once while it stays in sight, and nothing else is."""
    path = films.written(film, tmp_path, empty_s=1, shown_s=1000 / films.RATE)
    with stage.served() as port, stage.opened(port, path) as page:
        begun(page)
        awaited(page, "stage.reads", lambda reads: told(reads) >= film.told)
        page.wait_for_timeout(1000)
        reads = page.evaluate("stage.reads")
        assert told(reads) == film.told
        assert len(reads) == len(film.told)
        assert page.evaluate("stage.states") == ["starting", "looking"]
        page.evaluate("stage.eye.stop()")
        assert page.evaluate("document.getElementById('video').srcObject") is None


def test_separators_are_in_the_films() -> None:
    """The films hold GS, RS and EOT, or their coming through would not be tested."""
    data = b"".join(data for film in films.FILMS for data, _ in film.told)
    assert {0x1D, 0x1E, 0x04} <= set(data)


@pytest.mark.parametrize("name", ["Data Matrix, degraded", "Data Matrix, dot peen"])
def test_the_hard_films_need_the_ladder(name: str) -> None:
    """The decoder alone reads none of the pictures of a hard film, so that what is told of it was rescued."""
    film = next(each for each in films.FILMS if each.name == name)
    assert [zxingcpp.read_barcodes(each) for each in films.takes(film)] == [[]] * len(list(films.takes(film)))


def test_nothing_is_told_where_there_is_no_symbol(tmp_path: Path) -> None:
    """Lettering, bars, dots and boards of squares pass by, twelve scenes of them, and nothing is told."""
    path = films.clutter(tmp_path, each_s=1)
    with stage.served() as port, stage.opened(port, path) as page:
        begun(page)
        assert awaited(page, "stage.states", lambda states: "looking" in states) == ["starting", "looking"]
        page.wait_for_timeout(14_000)
        assert page.evaluate("stage.reads") == []


def test_a_paused_eye_tells_nothing_and_a_resumed_one_tells_again(tmp_path: Path) -> None:
    """What is in sight is told once; after a pause nothing is; after `resume` the same symbol is told anew."""
    path = films.written(films.FILMS[0], tmp_path, empty_s=0, shown_s=2)
    with stage.served() as port, stage.opened(port, path) as page:
        begun(page)
        assert len(awaited(page, "stage.reads", lambda reads: len(reads) > 0)) == 1
        page.evaluate("stage.eye.pause()")
        page.wait_for_timeout(1500)
        assert len(page.evaluate("stage.reads")) == 1
        page.evaluate("stage.eye.resume()")
        assert len(awaited(page, "stage.reads", lambda reads: len(reads) > 1)) == 2


def test_a_symbol_that_left_and_came_back_is_told_again(tmp_path: Path) -> None:
    """A symbol out of sight for some seconds is told anew when it is back."""
    path = films.written(films.FILMS[0], tmp_path, empty_s=4, shown_s=2)
    with stage.served() as port, stage.opened(port, path) as page:
        begun(page)
        reads = awaited(page, "stage.reads", lambda reads: len(reads) > 1)
        assert told(reads) == films.FILMS[0].told
        assert reads[1]["at_ms"] - reads[0]["at_ms"] > 3000


def test_corners_lie_on_the_symbol(tmp_path: Path) -> None:
    """The corners of a symbol that was read as it is are those in the video's picture, to a module or so."""
    film = films.FILMS[0]
    path = films.written(film, tmp_path, empty_s=0, shown_s=2)
    with stage.served() as port, stage.opened(port, path) as page:
        begun(page)
        reads = awaited(page, "stage.reads", lambda reads: len(reads) > 0)
    scene = film.scene()
    for x, y in reads[0]["corners"]:
        nearest = min(((x - left) ** 2 + (y - top) ** 2) ** 0.5 for left, top in scene.corners)
        assert nearest < 2 * scene.pose.module_px


def test_two_in_view_are_told_as_such(tmp_path: Path) -> None:
    """Each of two symbols says that another one is beside it, so that nobody need take one for the other."""
    film = next(each for each in films.FILMS if each.name == "two in view")
    path = films.written(film, tmp_path, empty_s=0, shown_s=2)
    with stage.served() as port, stage.opened(port, path) as page:
        begun(page)
        reads = awaited(page, "stage.reads", lambda reads: len(reads) > 1)
        assert [each["beside"] for each in reads] == [1, 1]


PHOTOS = [
    ("a message", [symbols.MESSAGE.decode()], "DataMatrix"),
    ("bars", ["SN-1042"], "Code128"),
    ("two", ["SN-1042", "SN-1043"], "DataMatrix"),
    ("nothing", [], "DataMatrix"),
]


@pytest.mark.parametrize(("texts", "kind"), [each[1:] for each in PHOTOS], ids=[each[0] for each in PHOTOS])
def test_without_tls_there_is_no_camera_and_photos_are_read(tmp_path: Path, texts: list[str], kind: str) -> None:
    """On plain HTTP under a name of the network the eye says `insecure`, and a photo is decoded all the same."""
    form = getattr(zxingcpp.BarcodeFormat, kind)
    drawn = (
        symbols.page(*(symbols.symbol(each, form, 3) for each in texts)) if texts else Image.new("L", (300, 300), 200)
    )
    photo = tmp_path / "photo.png"
    drawn.save(photo)
    with stage.served() as port, stage.opened(port, host="bench.test") as page:
        begun(page)
        assert page.evaluate("stage.states") == ["starting", "insecure"]
        page.get_by_label("Photo").set_input_files(photo)
        photos = awaited(page, "stage.photos", lambda found: len(found) > 0)
        assert {bytes.fromhex(each["bytes"]).decode() for each in photos[0]["scans"]} == set(texts)
        assert photos[0]["unsure"] is False


def test_a_degraded_symbol_in_a_big_photo_is_rescued() -> None:
    """In a photo of twelve million pixels the middle is climbed at its full size, and all the time there is read."""
    film = next(each for each in films.FILMS if each.name == "Data Matrix, degraded")
    closer = Image.fromarray(next(films.takes(film))).resize((1280, 960), Image.Resampling.BICUBIC)
    photo = Image.new("L", (4000, 3000), 120)
    photo.paste(closer, (1360, 1020))
    assert zxingcpp.read_barcodes(np.asarray(photo)) == []
    with stage.served({"/stills/photo.raw": photo.tobytes()}) as port, stage.opened(port) as page:
        assert awaited(page, "Boolean(window.stage?.climbed)", bool)
        found = page.evaluate("stage.climbed('/stills/photo.raw', 4000, 3000)")
    assert {bytes.fromhex(each) for each in found} == {data for data, _ in film.told}


def test_a_file_that_is_no_image_is_refused(tmp_path: Path) -> None:
    """What can't be opened fails by its own error, so that the page can hand it to the server's decoder."""
    (tmp_path / "photo.jpg").write_bytes(b"no image")
    with stage.served() as port, stage.opened(port) as page:
        assert awaited(page, "Boolean(window.stage?.ready)", bool)
        page.get_by_label("Photo").set_input_files(tmp_path / "photo.jpg")
        assert awaited(page, "stage.photos", lambda found: len(found) > 0) == [{"failed": "NoImageError"}]


def test_a_missing_decoder_is_said(tmp_path: Path) -> None:
    """Without its wasm file the eye says `broken` and a photo fails by its own error; nothing hangs."""
    path = films.written(films.FILMS[0], tmp_path, empty_s=0, shown_s=1)
    symbols.page(symbols.symbol("SN-1042")).save(tmp_path / "photo.png")
    absent = frozenset({"/vendor/zxing_reader.wasm"})
    with stage.served(missing=absent) as port, stage.opened(port, path) as page:
        begun(page)
        assert awaited(page, "stage.states", lambda states: "broken" in states) == ["starting", "broken"]
        page.get_by_label("Photo").set_input_files(tmp_path / "photo.png")
        assert awaited(page, "stage.photos", lambda found: len(found) > 0) == [{"failed": "NoDecoderError"}]


def test_a_camera_that_is_refused_is_said() -> None:
    """Where the person says no, the eye says `denied`."""
    with stage.served() as port, stage.opened(port, grants=("--deny-permission-prompts",)) as page:
        begun(page)
        assert awaited(page, "stage.states", lambda states: len(states) > 1) == ["starting", "denied"]
