"""Rows as CSV, NDJSON, a workbook and paper: the same rows in each, the same bytes each time, nothing that a program runs."""

import csv
import io
import json
import tempfile
import uuid
import zlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, get_args

import openpyxl
import pytest

from service.core.cycles import Wear
from service.fleet_messages import CavityLimitLine
from service.messages import DECIDES, PlaceView
from service.reports import contents, forms, separated, tables
from service.reports.forms import FORMS
from service.reports.tables import Head

AT = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
HEAD = Head(contents.CAVITIES.title, AT, (("asset", "TN-101 & more"),), ("The worst first.",))
NASTY = ("=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "\uff1dx", "'x", 'a "b", c', "two\r\nlines", " ", "Ж é €")


def line(serial: str, **more: Any) -> CavityLimitLine:
    """A cavity that is over a rating that nobody verified, unless said otherwise."""
    told: dict[str, Any] = {
        "connector": uuid.UUID(int=7),
        "serial": serial,
        "part_number": "D38999/26WE35SN",
        "family": None,
        "place": PlaceView(asset="TN-101", zone=None, position="P1"),
        "bench": None,
        "cavity": "C",
        "wear": Wear.OVER,
        "retainer_life": 1,
        "occupied": None,
        "cycles_begun": 11,
        "cycles_completed": 10,
        "rating": 10,
        "rating_verified": False,
        "left": 0,
    }
    return CavityLimitLine(**told | more)


def write(form: forms.Name, rows: list[Any], table: tables.Table = contents.CAVITIES, at_once: int = 3) -> bytes:
    """Rows in a form, a few at a time."""
    writer = FORMS[form].writer(table, HEAD)
    parts = [writer.begin(), *(writer.add(rows[n : n + at_once]) for n in range(0, len(rows), at_once)), writer.end()]
    writer.close()
    return b"".join(parts)


def pages(pdf: bytes) -> list[str]:
    """What is drawn on each page of a PDF, as its operators."""
    found = []
    for part in pdf.split(b"stream\n")[1:]:
        body = part.partition(b"\nendstream")[0]
        try:
            told = zlib.decompress(body).decode("latin-1")
        except zlib.error:
            continue
        if " Tj" in told:
            found.append(told.replace(") Tj (", "").replace("\\(", "(").replace("\\)", ")"))
    return found


@pytest.mark.parametrize("form", get_args(forms.Name))
def test_same_rows_give_same_bytes(form: forms.Name) -> None:
    """However many rows come at a time, and whenever it is written, the bytes are the same."""
    rows = [line(f"EX-{n}") for n in range(120)]
    assert write(form, rows) == write(form, rows, at_once=50) != write(form, rows[:-1])


def test_every_form_holds_the_same_rows() -> None:
    """CSV, NDJSON and the workbook say of each row the same, whatever characters its texts have; times are to the second."""
    rows = [line(each, occupied=n % 2 == 0, rating_verified=n % 3 == 0) for n, each in enumerate(NASTY)]
    whole = [json.loads(each) for each in write("ndjson", rows).splitlines()]
    assert [each["serial"] for each in whole] == list(NASTY)
    told = list(csv.DictReader(io.StringIO(write("csv", rows).decode(), newline="")))
    names = [each.name for each in contents.CAVITIES.columns]
    assert list(told[0]) == names
    sheet = openpyxl.load_workbook(io.BytesIO(write("xlsx", rows)))["Report"]
    header, *lines = sheet.iter_rows(values_only=True)
    assert list(header) == names
    for as_json, as_csv, as_sheet in zip(whole, told, lines, strict=True):
        flat = {**as_json, **as_json["place"]}
        for name, cell in zip(names, as_sheet, strict=True):
            value = flat[name]
            assert as_csv[name].removeprefix("'") == ("" if value is None else tables.text(value)) or value == "'x"
            assert cell == value or (name == "serial" and str(cell).replace("_x000D_", "\r") == value), name
    assert not any(cell.data_type == "f" for row in sheet.iter_rows() for cell in row)


@pytest.mark.parametrize("text", NASTY)
def test_no_text_is_taken_for_a_formula(text: str) -> None:
    """A text that begins like a formula gets an apostrophe; who drops a leading apostrophe has each text as it was."""
    told = separated.guarded(text)
    assert told[0] not in "=+-@\t\r\uff1d"
    assert told.removeprefix("'") == text


def test_figures_are_not_guarded() -> None:
    """A negative figure stays a figure; what is not known is empty."""
    assert [separated.guarded(each) for each in (-1, -0.5, None, True, AT)] == [
        "-1",
        "-0.5",
        "",
        "true",
        "2026-11-25T12:00:00Z",
    ]


def test_csv_is_that_of_the_rfc() -> None:
    """Lines end in CRLF, quotes are doubled, texts with commas, quotes and line ends are quoted (RFC 4180 section 2); no BOM."""
    data = write("csv", [line('a "b", c', cavity="x\ny")])
    assert data.startswith(b"connector,serial,")
    assert data.endswith(b"\r\n")
    assert b'"a ""b"", c"' in data
    assert b'"x\ny"' in data


def test_unverified_ratings_are_marked_in_every_form() -> None:
    """Wherever a rating stands it says that nobody verified it, and of a verified one it does not."""
    rows = [line("EX-1"), line("EX-2", rating_verified=True), line("EX-3", rating=None)]
    told = csv.DictReader(io.StringIO(write("csv", rows).decode(), newline=""))
    assert [(each["rating"], each["rating_verified"]) for each in told] == [
        ("10", "false"),
        ("10", "true"),
        ("", "false"),
    ]
    sheet = openpyxl.load_workbook(io.BytesIO(write("xlsx", rows)))["Report"]
    places = contents.CAVITIES.places()
    marks = [row[places["rating"]].number_format for row in sheet.iter_rows(min_row=2)]
    assert ["not verified" in each for each in marks] == [True, False, False]
    assert "".join(pages(write("pdf", rows))).count("not verified") == 1


def test_paper_says_what_it_is_on_each_page() -> None:
    """Each page has the title, who decides, its number and the headings; the first has moment and filters; no row is lost."""
    drawn = pages(write("pdf", [line(f"EX-{n:03}") for n in range(200)]))
    assert len(drawn) > 3
    for number, page in enumerate(drawn, 1):
        assert DECIDES in page
        assert f"Page {number} of {len(drawn)}" in page
        assert contents.CAVITIES.title in page
        assert "Serial" in page
    assert "As of 2026-11-25T12:00:00Z" in drawn[0]
    assert "asset: TN-101 & more" in drawn[0]
    assert all(f"EX-{n:03}" in "".join(drawn) for n in range(200))


def test_paper_loses_no_letter() -> None:
    """What the font of PDF lacks is printed as its code, and a word that is too long goes on in the next line."""
    drawn = "".join(pages(write("pdf", [line("Ж" + "W" * 100)])))
    assert "\\u0416" in drawn.replace("\\\\", "\\")
    assert drawn.count("W") >= 100
    others = "".join(pages(write("pdf", [line(each) for each in NASTY])))
    assert "\\u20ac" in others.replace("\\\\", "\\")
    assert "é" in others


def test_the_workbook_says_what_it_is() -> None:
    """A second sheet has title, moment, filters, notes and who decides; each printed page the last of these."""
    book = openpyxl.load_workbook(io.BytesIO(write("xlsx", [line("EX-1")])))
    about = {str(row[0] or ""): row[1] for row in book["About"].iter_rows(values_only=True)}
    assert about["Report"] == contents.CAVITIES.title
    assert about["As of"] == "2026-11-25T12:00:00Z"
    assert about["asset"] == "TN-101 & more"
    assert about["Note"] == "The worst first."
    assert about["Rows"] == "1"
    assert about[""] == DECIDES
    footer = book["Report"].oddFooter
    assert footer is not None
    assert footer.left.text == DECIDES


def test_a_workbook_that_is_given_up_leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Rows that were kept in files go with the workbook, whether it was finished or not."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    for finished in (False, True):
        writer = FORMS["xlsx"].writer(contents.CAVITIES, HEAD)
        writer.begin()
        writer.add([line("EX-1")])
        assert list(tmp_path.iterdir())
        if finished:
            writer.end()
        writer.close()
        assert not list(tmp_path.iterdir())
