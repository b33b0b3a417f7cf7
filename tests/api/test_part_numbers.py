"""Part numbers over HTTP: the operation, and the page that draws what it says."""

import html
import re

import httpx
import pytest

from service import catalog
from service.core.drawings.contact import PAINT
from service.pages import sheet
from service.workflow import arrangements
from service.workflow.arrangements import Drawing, Placed
from tests.api.test_snapshots import imported
from tests.conftest import Started, run

BOOK = catalog.load()


def page(service: Started, number: str, **query: str) -> httpx.Response:
    """The page for a number, asked for without a token."""

    async def work() -> httpx.Response:
        async with service() as client:
            return await client.get("/part-numbers", params={"number": number, **query}, headers={"Authorization": ""})

    found: httpx.Response = run(work())
    assert found.status_code == 200
    return found


def words(reply: httpx.Response) -> str:
    """The words of a page without its elements and style."""
    plain = re.sub(r"<style>.*?</style>", "", reply.text, flags=re.DOTALL)
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", plain)))


def test_the_operation_answers_right_and_wrong_numbers(service: Started) -> None:
    """A number with a slash in it goes in the query; a wrong one is an answer and not a refusal."""

    async def work() -> None:
        async with service() as client:
            good = await client.get("/v1/part-numbers", params={"number": "D38999/26WE35SN"})
            assert good.json()["connector"]["arrangement"]["name"] == "17-35"
            wrong = await client.get("/v1/part-numbers", params={"number": "D38999/26WI35SN"})
            assert wrong.status_code == 200
            assert (wrong.json()["fault"]["at"], wrong.json()["fault"]["character"]) == (10, "I")
            for query in ({}, {"number": ""}, {"number": "x" * 201}, {"nummer": "x"}):
                refused = await client.get("/v1/part-numbers", params=query)
                assert refused.status_code == 422, query
                assert refused.headers["content-type"] == "application/problem+json"

    run(work())


def test_the_page_needs_no_token_and_lets_nothing_run(service: Started) -> None:
    """It holds reference data only; its policy allows its own style, by hash, and nothing else."""
    reply = page(service, "D38999/26WE35SN")
    assert reply.headers["content-type"] == "text/html; charset=utf-8"
    policy = reply.headers["content-security-policy"]
    for each in ("default-src 'none'", "form-action 'self'", "frame-ancestors 'none'", "base-uri 'none'"):
        assert each in policy
    assert "unsafe" not in policy
    assert reply.headers["x-content-type-options"] == "nosniff"
    assert reply.headers["referrer-policy"] == "no-referrer"
    assert not re.search(r"<script|\son\w+=|\sstyle=|javascript:", reply.text)


def test_the_page_names_all_that_it_draws(service: Started) -> None:
    """Each cavity id, contact size, key and band stands in words too, and the drawing says that it is a scheme."""
    reply = page(service, "D38999/20FJ43PA")
    found = words(reply)
    cavities = BOOK.cavities(("MIL-STD-1560", "25-43")) or ()
    assert len(cavities) == 43
    row = {size: " ".join(each.id for each in cavities if each.contact_size == size) for size in ("16", "20")}
    assert all(each in found for each in row.values())
    assert "SCHEMATIC: not the true places" in found
    assert "Insert 25-43, wire side (rear)" in found
    assert "AR 135°, BR 170°, CR 200°, DR 310°" in found  # public transcription of MIL-DTL-38999M figure 6
    assert "orange, blue, orange" in found
    assert "orange, blue, yellow" in found
    drawings = re.findall(r"<svg.*?</svg>", reply.text, re.DOTALL)
    assert len(drawings) == 4
    for each in drawings:
        assert 'role="img"' in each
        named = re.findall(r'(?:<title|<desc) id="([^"]+)"', each)
        assert re.search(r'aria-labelledby="([^"]+)"', each)[1].split() == named  # type: ignore[index]
    ids = re.findall(r' id="([^"]+)"', reply.text)
    assert len(ids) == len(set(ids))


def test_the_page_shows_the_face_that_is_asked_for(service: Started) -> None:
    """The wire side is what is worked on; the mating face is shown on request, and mirrors it."""
    rear = page(service, "D38999/26WE6PN")
    front = page(service, "D38999/26WE6PN", face="mating_face")
    assert "Insert 17-6, mating face (front)" in words(front)
    place = re.compile(r'<text x="(-?[\d.]+)" y="[^"]+" [^>]*>B</text>')
    (left,), (right,) = place.findall(rear.text), place.findall(front.text)
    assert float(left) == -float(right)
    assert "wire side (rear)" in words(page(service, "D38999/26WE6PN", face="x"))


def test_the_page_draws_true_places_where_somebody_brought_them(service: Started, dsn: str) -> None:
    """Imported coordinates are drawn without a token, with their source, seen from the face that is asked for."""
    points = (Placed("C", 0.0, -2.0), Placed("A", 1.5, 1.0), Placed("B", -1.5, 1.0))
    run(imported(dsn, Drawing("MIL-STD-1560", "9-98", points, "invented for a test")))
    place = re.compile(r'<text x="(-?[\d.]+)" y="[^"]+" [^>]*>([ABC])</text>')
    for face, sides in (("wire_side", "+-"), ("mating_face", "-+")):
        reply = page(service, "D38999/26WA98SN", face=face)
        assert "true places" in words(reply)
        assert "SCHEMATIC" not in words(reply)
        assert "imported : invented for a test" in words(reply)
        stand = {name: float(x) for x, name in place.findall(reply.text)}
        assert stand == {"A": float(f"{sides[0]}67.5"), "B": float(f"{sides[1]}67.5"), "C": 0.0}


def test_the_page_draws_cavities_that_only_coordinates_name(service: Started, dsn: str) -> None:
    """Where the catalogue lists no cavities, those of the coordinates are drawn, with their ids."""
    points = tuple(Placed(f"X{each}", float(each), 1.0) for each in range(128))
    run(imported(dsn, Drawing("MIL-STD-1560", "25-35", points, "invented for a test")))
    found = words(page(service, "D38999/26WJ35SN"))
    assert "X127: size 22D" in found
    assert "128 cavities for sockets, each with its id: 128 of size 22D. Places are true." in found


def test_the_page_works_while_the_database_is_away(service: Started, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the database the insert is drawn as a scheme, and the database is left in peace for a moment."""
    asked = []

    async def away(*_: object) -> None:
        asked.append(1)
        raise ConnectionRefusedError

    monkeypatch.setattr(arrangements, "newest", away)

    async def work() -> None:
        async with service() as client:
            for _ in range(3):
                reply = await client.get("/part-numbers?number=D38999%2F26WA98SN")
                assert (reply.status_code, "SCHEMATIC" in words(reply)) == (200, True)

    run(work())
    assert len(asked) == 1


@pytest.mark.parametrize(
    ("number", "marked", "said"),
    [
        ("D38999/26WI35SN", 'D38999/26W<mark title="here">I</mark>35SN', "Character 11: 'I' fits no known shell here."),
        ("MS3476W16-26PX", '16-26P<mark title="here">X</mark>', "it has: normal, W, Y, Z."),
        ("AS39029/58-36", '58-36<mark title="here">?</mark>', "At the end: The part number ends too early."),
        ("<b>&", '<mark title="here">&lt;</mark>b&gt;&amp;', "Character 1:"),
    ],
)
def test_the_page_marks_the_wrong_character(service: Started, number: str, marked: str, said: str) -> None:
    """A wrong number is shown with its wrong character and what would be allowed there; none of it becomes markup."""
    reply = page(service, number)
    assert marked in reply.text
    assert said in words(reply)


def test_the_page_offers_the_number_in_capitals(service: Started) -> None:
    """What reads once it is in capitals and without blanks is offered as a link, and not taken by itself."""
    reply = page(service, " d38999/26we 35sn ")
    assert 'href="/part-numbers?number=D38999/26WE35SN"' in reply.text
    assert "Field by field" not in words(reply)
    assert "Is this one meant?" not in words(page(service, "nonsense"))


@pytest.mark.parametrize("number", ["M83723/72W808N", "AS39029/99-217", "M81969/14-99", "D38999/21YE35XN", ""])
def test_the_page_says_what_is_not_known(service: Started, number: str) -> None:
    """Numbers of which little is known, or none at all, still make a page."""
    found = words(page(service, number))
    assert "licensed person decide" in found
    assert "on no list" in found if number in ("M83723/72W808N", "AS39029/99-217", "M81969/14-99") else found


def test_all_ink_of_the_pages_is_dark_enough() -> None:
    """Every pair of ink and ground stands at least 7:1 (WCAG 2.2, 1.4.6)."""
    colours = dict(re.findall(r"--(\w+): (#\w{6})", sheet.style()))
    pairs = [
        *((colours[ink], colours[ground]) for ink in ("ink", "dim", "link", "bad") for ground in ("paper", "wash")),
        (PAINT["white"], colours["bad"]),
        (PAINT["white"], colours["link"]),
    ]
    for one, other in pairs:
        assert contrast(one, other) >= 7, (one, other)


def contrast(one: str, other: str) -> float:
    """The contrast ratio of two colours (WCAG 2.2, definition of contrast ratio)."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def luminance(colour: str) -> float:
    """The relative luminance of a colour (WCAG 2.2)."""
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
