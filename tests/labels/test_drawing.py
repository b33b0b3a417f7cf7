"""Labels as files, read back by two decoders that share no code."""

from uuid import UUID
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from service.core.own_marks import Kind
from service.labels import content, drawing, layout, paper
from service.labels.layout import Label
from service.labels.symbols import LabelError
from tests.labels import readers

CONNECTOR = UUID("6f9619ff-8b86-4d01-b42d-00cf4fc964ff")
CONTENTS = {
    "uii": content.connector(CONNECTOR, "EX-0001", "0CVA5", "D38999/26WB35SN"),
    "whole": content.connector(CONNECTOR, "EX-0001", "0CVA5", None),
    "id": content.connector(CONNECTOR, "<EX&1>", None, None),
    "bench": content.own(Kind.BENCH, "B\u00e4nk 3"),
    "wedge": content.wedge_check(),
}


@pytest.fixture(scope="module")
def labels() -> dict[str, Label]:
    """Labels for a printer of 300 dpi."""
    return {name: layout.label(held, 0.33, 300) for name, held in CONTENTS.items()}


def pictures(label: Label) -> dict[str, readers.Grey]:
    """A label in each format, as pixels."""
    return {
        "png": readers.png(drawing.draw("png", label)),
        "svg": readers.svg(drawing.draw("svg", label)),
        "pdf": readers.pdf(drawing.draw("pdf", label), label.dpi)[0],
    }


@pytest.mark.parametrize("name", CONTENTS)
def test_every_format_reads_back_with_two_decoders(labels: dict[str, Label], name: str) -> None:
    """SVG, PNG and PDF of a label hold exactly its text, by zxing-cpp and by libdmtx."""
    for kind, grey in pictures(labels[name]).items():
        assert readers.zxing(grey) == [CONTENTS[name].text.encode()], kind
        assert readers.dmtx(grey) == [CONTENTS[name].text.encode()], kind


@pytest.mark.parametrize("name", CONTENTS)
def test_the_formats_show_the_same_dots(labels: dict[str, Label], name: str) -> None:
    """Where the symbol is, the three formats agree dot for dot: every module is as many whole dots as it should."""
    label = labels[name]
    left, top = (12 + each for each in label.origin)
    side = label.symbol.modules * label.dots
    square = (slice(2 * top, 2 * (top + side)), slice(2 * left, 2 * (left + side)))
    cut = {kind: grey[square] for kind, grey in pictures(label).items()}
    expected = np.kron(np.array(label.symbol.rows), np.ones((2 * label.dots, 2 * label.dots), dtype=bool))
    for kind, grey in cut.items():
        assert np.array_equal(grey == 0, expected), kind


def test_the_same_label_gives_the_same_bytes(labels: dict[str, Label]) -> None:
    """A file depends on its label alone, not on when or in what order it is drawn."""
    again = {name: layout.label(held, 0.33, 300) for name, held in CONTENTS.items()}
    for name, label in labels.items():
        for kind in ("svg", "png", "pdf"):
            assert drawing.draw(kind, label) == drawing.draw(kind, again[name])
    sheet = list(labels.values()) * 5
    assert paper.sheets(sheet, paper.Sheet()) == paper.sheets(sheet, paper.Sheet())


def test_a_drawing_has_its_true_size_and_its_text(labels: dict[str, Label]) -> None:
    """The SVG is well-formed, sized in mm, and names what a person reads, whatever characters that has."""
    for label in labels.values():
        root = ET.fromstring(drawing.svg(label))  # noqa: S314 - our own
        assert float((root.get("width") or "").removesuffix("mm")) == pytest.approx(label.width * 25.4 / 300, abs=1e-3)
        found = [each.text for each in root.iter("{http://www.w3.org/2000/svg}text")]
        assert tuple(found) == label.lines


def test_a_full_sheet_reads_back(labels: dict[str, Label]) -> None:
    """96 labels fill as many pages as they need; every one of them reads back, in order, none overlaps another."""
    wanted = [labels[name] for name in ("uii", "bench", "id", "whole")] * 24
    pages = readers.pdf(paper.sheets(wanted, paper.Sheet()), 300)
    found = [text for page in pages for text in readers.zxing(page[::2, ::2])]
    assert sorted(found) == sorted(each.symbol.text.encode() for each in wanted)


def test_a_label_that_no_sheet_holds_is_refused(labels: dict[str, Label]) -> None:
    """A label larger than the sheet is refused by its size."""
    with pytest.raises(LabelError, match="does not fit on the sheet"):
        paper.sheets([labels["wedge"]], paper.Sheet(width_mm=50, height_mm=50))
