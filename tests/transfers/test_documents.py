"""Documents: what is drawn, that nothing of it depends on chance or clock, and that it is PDF/A by another program's judgement."""

import base64
import hashlib
import html
import io
import os
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from playwright.sync_api import sync_playwright

from service.core import chain
from service.core.chain import DefinitionBody
from service.core.entries import HouseRule, Rating, Recorded
from service.core.transfers import card as cards
from service.core.transfers.card import Card
from service.messages import DECIDES
from service.records import archival, hypertext, lettering, log_card, qr, tag
from service.records.blocks import Column, Heading, Note, Pairs, Paper, Sign, Symbol, Table
from service.records.qr import SymbolError
from tests import histories
from tests.browser.modules import CHROMIUM, needs_chromium
from tests.histories import CONNECTOR, START

LINK = f"https://records.example/connectors/{CONNECTOR}"
HISTORY = """
    placement asset=TN-101 zone=Z410 position=P12           ->
    insertion C tool=T-1 work_order=WO-1                   ->
    removal C                                              ->
    insertion C                                            ->
    insertion C #twice                                     -> inserted_while_occupied
    correction corrects=twice note="Scanned twice"         ->
    removal A #odd                                         -> removed_while_empty
    resolution refers_to=odd note="It came with one in"    ->
    removal C                                              ->
    renewal C note="By the approved practice"              ->
    removal c note="ž Ω 日 שלום"                            -> removed_while_empty
    acceptance refers_to=odd accepted=false note="Look again"
"""


def made(table: str = HISTORY, **changes: object) -> Card:
    """The card of a table's history."""
    history = [each.recorded for each in histories.read(table) if each.recorded is not None]
    rating = Rating(value=10, basis="mandatory", document="CMM 24-31-07", revision="C", paragraph="3.2")
    base = {"cage": "0CVA5", "part_number": "D38999/26WE35SN", "rating": rating}
    known = histories.definition(**{**base, **changes})
    body = DefinitionBody(definition=known, recorded_at=START, recorded_by="x", reason="registered")
    return cards.card(cards.Source([body], history, _hashes(history), "00" * 32), HouseRule())


def _hashes(history: list[Recorded]) -> list[str]:
    return [chain.digest(chain.canonical(each)).hex() for each in history]


def test_the_card_tells_the_whole_life() -> None:
    """Every retainer life, what was corrected, what became of each discrepancy, by whom and why."""
    card = made()
    lives = {
        (each.cavity, each.life): (each.insertions, each.removals, each.from_entry, each.until_entry)
        for each in card.lives
    }
    assert lives == {
        ("A", 1): (0, 1, None, None),
        ("C", 1): (2, 2, None, 10),
        ("C", 2): (0, 0, 10, None),
        ("c", 1): (0, 1, None, None),
    }
    assert [each.corrected_by for each in card.entries] == [None] * 4 + [6] + [None] * 7
    outcomes = {(each.entry, each.code): (each.outcome, each.by_entry, each.reason) for each in card.discrepancies}
    assert outcomes[5, "inserted_while_occupied"] == ("corrected", 6, "Scanned twice")
    assert outcomes[7, "removed_while_empty"] == ("resolved", 8, "It came with one in")
    assert outcomes[11, "removed_while_empty"] == ("open", None, None)
    assert [each.asset for each in card.places] == ["TN-101"]
    text = html.unescape(re.sub("<[^>]+>", " ", hypertext.page(log_card.paper(card)).decode()))
    for words in (
        *(
            "TN-101",
            "WO-1",
            "ENTERED IN ERROR, see No. 6",
            "corrects No. 5",
            "about No. 7",
            "NOT VERIFIED",
            "CMM 24-31-07",
        ),
        *(card.hash, log_card.sha256(card), DECIDES, "By the approved practice", "日", "10 cycles, mandatory"),
    ):
        assert words in text, words


def test_the_same_ledger_is_the_same_bytes_in_any_process() -> None:
    """Another process with another seed, time zone and moment writes the same PDF, HTML, tag and drawing."""
    found = {_elsewhere({"PYTHONHASHSEED": seed, "TZ": zone}) for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))}
    assert found == {digests()}
    assert digests() != digests(made(HISTORY + "removal A -> removed_while_empty"))


def digests(card: Card | None = None) -> str:
    """The digests of every form."""
    card = card or made()
    drawn = tag.tag(card, LINK, "R-17")
    paper = log_card.paper(card)
    forms = (archival.pdf(paper), hypertext.page(paper), tag.pdf(drawn), tag.svg(drawn))
    return " ".join(hashlib.sha256(each).hexdigest() for each in forms)


def _elsewhere(environment: dict[str, str]) -> str:
    code = "from tests.transfers import test_documents; print(test_documents.digests())"
    run = subprocess.run(
        [sys.executable, "-c", code],
        check=True,
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, **environment},
    )
    return run.stdout.strip()


def everything() -> Paper:
    """A document of every block, with texts that are awkward."""
    long = "x" * 900 + " " + "word " * 400
    return Paper(
        title="Title <b> & {nb} \ue000",
        number="No. 7 <script>",
        sha256="ab" * 32,
        dated=START,
        subtitle="sub",
        blocks=(
            Heading("One <i>"),
            Pairs((("name", "value\nsecond line"), ("long", long), ("odd", "third"))),
            Note("note & note"),
            Note("STRONG " * 30, strong=True),
            Heading("Two", 2),
            Table(
                (Column("a", 1, True), Column("b", 3)),
                (("1", long), *((str(n), "row") for n in range(90))),
                "none",
                "of rows",
            ),
            Table((Column("a", 1),), (), "Nothing is here."),
            Symbol(qr.rows(LINK), "leads to the connector"),
            Sign(("Name", "Date")),
        ),
    )


def test_a_page_is_only_text_and_style() -> None:
    """Whatever stands in a document, its page has no element of it; the policy allows its own style and nothing else."""
    page = hypertext.page(everything()).decode()
    assert "<script" not in page
    assert "<b>" not in page
    assert "Title &lt;b&gt; &amp; {nb}" in page
    style = re.search("<style>(.*?)</style>", page, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    policy = hypertext.headers()["content-security-policy"]
    assert f"style-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")
    assert "style=" not in page
    assert "Nothing is here." in page


PREFLIGHT = [
    Path("/usr/share/java") / f"{each}.jar"
    for each in (
        "preflight",
        "pdfbox2",
        "fontbox2",
        "xmpbox",
        "commons-logging",
        "commons-io",
        "javax.activation",
        "jaxb-api",
    )
]
OF_PART_1_ONLY = {"2.2.1", "3.1.11", "7.11.1", "7.11.2"}
"""What ISO 19005-1 forbids and 19005-2 allows: transparency groups, subsets without a CIDSet; and its own part and level."""


@pytest.mark.skipif(
    shutil.which("java") is None or not all(each.exists() for each in PREFLIGHT),
    reason="needs Java and a PDF/A-1 validator (Debian: apt install libpdfbox2-java libjaxb-api-java)",
)
@pytest.mark.parametrize("which", ["everything", "log card", "tag"])
def test_another_validator_finds_nothing_beyond_what_part_2_allows(which: str, tmp_path: Path) -> None:
    """The PDF/A-1b validator of Debian's libpdfbox2-java complains of nothing but what PDF/A-2 allows."""
    documents = {
        "everything": lambda: archival.pdf(everything()),
        "log card": lambda: archival.pdf(log_card.paper(made())),
        "tag": lambda: tag.pdf(tag.tag(made(), LINK)),
    }
    (tmp_path / "one.pdf").write_bytes(documents[which]())
    command = ["java", "-cp", ":".join(map(str, PREFLIGHT)), "org.apache.pdfbox.preflight.Validator_A1b", "one.pdf"]
    run = subprocess.run(command, check=False, capture_output=True, text=True, cwd=tmp_path)
    assert "PDF/A-1b file" in run.stdout + run.stderr, run.stdout + run.stderr
    codes = set(re.findall(r"^(\d[\d.]*) : ", run.stdout, re.MULTILINE))
    assert codes
    assert codes <= OF_PART_1_ONLY, run.stdout


def test_a_long_document_knows_its_pages() -> None:
    """A hundred pages and more: numbered through, without a word of warning from whatever draws them."""
    table = Table((Column("a", 1),), tuple((str(number),) for number in range(5_000)), "none")
    paper = Paper(title="T", number="N", sha256="ab", dated=START, blocks=(table,))
    count = len(re.findall(rb"/Type /Page\b(?!s)", archival.pdf(paper)))
    assert count > 100
    pdfium = pytest.importorskip("pypdfium2", reason="reads PDF")
    document = pdfium.PdfDocument(archival.pdf(paper))
    for page in (0, 8, 9, 99, count - 1):
        assert f"Page {page + 1} of {count}" in document[page].get_textpage().get_text_bounded()
    document.close()


def test_a_pdf_says_what_it_is() -> None:
    """Part 2, level U, its title, the moment of the newest fact and no other; its fonts are within."""
    data = archival.pdf(everything())
    assert data.startswith(b"%PDF-1.7")
    for told in (
        b"<pdfaid:part>2</pdfaid:part>",
        b"<pdfaid:conformance>U</pdfaid:conformance>",
        b"/GTS_PDFA1",
        b"/ToUnicode",
    ):
        assert told in data
    assert set(re.findall(rb"20\d\d-\d\d-\d\dT[0-9:]+", data)) == {START.isoformat()[:19].encode()}
    assert data.count(b"/FontFile2") == 2


@given(st.text(max_size=60), st.floats(2, 80))
def test_nothing_is_lost_where_lines_break(text: str, room_mm: float) -> None:
    """Every letter but spaces stands in some line, and no line is wider than its room, unless it is a single letter."""
    lines = lettering.lines(text, room_mm, 8)
    assert "".join(lines).replace(" ", "") == lettering.drawable(text).replace("\n", "").replace(" ", "")
    for each in lines:
        assert len(each) <= 1 or lettering.width_mm(each, 8) <= room_mm + 1e-9


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("é ž Ω Ж €", "é ž Ω Ж €"),
        ("日", "\\u65e5"),
        ("שלום", "\\u05e9\\u05dc\\u05d5\\u05dd"),
        ("a\u202eb\u200bc", "a\\u202eb\\u200bc"),
        ("a\tb\x07", "a\\u0009b\\u0007"),
        ("\U0001f9f5", "\\u1f9f5"),
        ("\ue000", "\\ue000"),
    ],
)
def test_what_the_font_lacks_or_hides_is_shown_as_its_code(text: str, shown: str) -> None:
    """Letters that can't be drawn, that run the other way or that nobody sees: on paper their code stands in their place."""
    assert lettering.drawable(text) == shown


def test_a_symbol_reads_back_or_is_not_drawn() -> None:
    """A link becomes a QR code; a text that none can hold is refused."""
    assert qr.rows(LINK) == qr.rows(LINK)
    with pytest.raises(SymbolError):
        qr.rows("x" * 5000)


def test_a_tag_says_where_the_life_stands() -> None:
    """Serial, part, status, limit with its source, what is open, and that the approved data decide."""
    told = " ".join(each.text for each in tag.tag(made(), LINK, "R-17").lines)
    for words in ("S/N EX-0001", "P/N D38999/26WE35SN", "CAGE 0CVA5", "WITHIN ITS RATING", "Record R-17", "TN-101"):
        assert words in told
    for words in ("Limit 10 (mandatory): CMM 24-31-07 rev. C para. 3.2; NOT VERIFIED", "1 OPEN DISCREPANCY", DECIDES):
        assert words in told
    plain = " ".join(
        each.text for each in tag.tag(made("", rating=None, cage=None, part_number=None), str(CONNECTOR)).lines
    )
    assert "no rating is recorded" in plain
    retired = " ".join(each.text for each in tag.tag(made("retirement ->"), LINK).lines)
    assert "RETIRED: not to be used" in retired


@pytest.mark.parametrize("length", [1, 24, 60, 200])
def test_a_tag_never_cuts_a_name_off(length: int) -> None:
    """Long names are made smaller and broken; every letter of them is on the tag, within its edges."""
    card = made(HISTORY, serial="W" * length, part_number="P" * length)
    drawn = tag.tag(card, LINK)
    told = "".join(each.text for each in drawn.lines)
    assert told.count("W") >= length
    for each in drawn.lines:
        assert 0 < each.base_mm < tag.HEIGHT_MM
        assert each.x_mm + lettering.width_mm(each.text, each.points, each.style) < tag.WIDTH_MM


def _read(picture: Image.Image) -> list[str]:
    found = zxingcpp.read_barcodes(np.asarray(picture.convert("L")))
    return [each.text for each in found if each.valid]


@needs_chromium
def test_the_drawn_tag_is_read_by_a_scanner() -> None:
    """The SVG as a browser draws it at the size of print: its code leads back to the connector."""
    drawing = tag.svg(tag.tag(made(), LINK)).decode()
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 420, "height": 300}, device_scale_factor=2)
        page.set_content(f"<body style='margin:0'>{drawing}</body>")
        picture = Image.open(io.BytesIO(page.screenshot()))
        browser.close()
    assert _read(picture) == [LINK]


def test_the_printed_tag_is_read_by_a_scanner() -> None:
    """The PDF at 200 dpi: one page of its own size, and its code leads back to the connector."""
    pdfium = pytest.importorskip("pypdfium2", reason="draws PDF")
    document = pdfium.PdfDocument(tag.pdf(tag.tag(made(), LINK)))
    assert len(document) == 1
    width, height = document[0].get_size()
    assert (round(width * 25.4 / 72), round(height * 25.4 / 72)) == (tag.WIDTH_MM, tag.HEIGHT_MM)
    assert _read(document[0].render(scale=200 / 72).to_pil()) == [LINK]
    document.close()


def test_the_moment_in_a_document_is_that_of_the_newest_fact() -> None:
    """A card made later of the same ledger is dated the same; one more entry dates it on."""
    first, more = made(), made(HISTORY + "@600 mating ->")
    assert first.as_of == max(each.recorded_at for each in first.entries)
    assert more.as_of > first.as_of
    assert more.as_of - first.as_of < timedelta(days=1)
    assert datetime.now(UTC) - more.as_of > timedelta(days=1)
