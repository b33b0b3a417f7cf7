"""Reading tables: encodings, dividers, headers, cells; what is wrong, by row and column."""

import re
import uuid
from pathlib import Path

import pytest

from service.core.entries import Entry
from service.workflow import geometry_tables, sheets
from service.workflow.enrolling import CONNECTORS
from service.workflow.entry_tables import CARRY_INS, ENTRIES, PLACEMENTS
from service.workflow.geometry_tables import CAVITIES
from service.workflow.sheets import Flaw, Repeats, Row

HEADER = "connector,performed_at,performed_by,asset,zone,position"
ROW = "EX-1,2026-11-02T09:30:00+01:00,badge 117,TN-01,Z100,P1"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Where a table is written."""
    return tmp_path / "table.csv"


def rows(file: Path, content: str | bytes, form: sheets.Form[Entry] = PLACEMENTS) -> list[Row[Entry] | Flaw]:
    """What is read of a table."""
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    return list(sheets.read(file, form))


def entries(read: list[Row[Entry] | Flaw]) -> list[Entry]:
    """The entries of a table that has no flaw."""
    assert not [each for each in read if isinstance(each, Flaw)]
    return [each.value for each in read if isinstance(each, Row)]


@pytest.mark.parametrize("divider", [",", ";", "\t"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_how_a_table_is_written_does_not_matter(file: Path, divider: str, mark: bytes, end: str) -> None:
    """Comma, semicolon or tab, with or without a byte order mark, either line end: the same rows with the same ids."""
    plain = rows(file, f"{HEADER}\n{ROW}\n")
    text = f"{HEADER}{end}{ROW}{end}".replace(",", divider)
    assert rows(file, mark + text.encode()) == plain
    (entry,) = entries(plain)
    assert (entry.connector, entry.asset, entry.kind) == ("EX-1", "TN-01", "placement")
    assert entry.performed_at.isoformat() == "2026-11-02T09:30:00+01:00"


def test_the_header_alone_says_what_divides(file: Path) -> None:
    """Commas in the cells of a table divided by semicolons are data."""
    (entry,) = entries(rows(file, "connector;performed_at;performed_by;note\nA,B,C;2026-11-02T09:30:00Z;x;a,b\n"))
    assert (entry.connector, entry.note) == ("A,B,C", "a,b")


def test_a_scan_in_a_cell_survives(file: Path) -> None:
    """Group and record separators, blanks at the ends and quoted line breaks belong to the cell."""
    scan = "[)>\x1e06\x1d18S0CVA5EX-1\x1e\x04"
    text = f'connector,performed_at,performed_by,note\n{scan},2026-11-02T09:30:00Z, x ,"one\ntwo ""three"""\n'
    (entry,) = entries(rows(file, text))
    assert (entry.connector, entry.performed_by, entry.note) == (scan, " x ", 'one\ntwo "three"')


def test_order_of_columns_and_empty_cells_do_not_change_an_id(file: Path) -> None:
    """An id is made of what a row says, not of how its table is laid out; another cell gives another id."""
    one = entries(rows(file, f"{HEADER}\n{ROW}\n"))
    other = "position,asset,zone,note,performed_by,performed_at,connector"
    assert one == entries(rows(file, f"{other}\nP1,TN-01,Z100,,badge 117,2026-11-02T09:30:00+01:00,EX-1\n"))
    assert one[0].id != entries(rows(file, f"{HEADER}\n{ROW}a\n"))[0].id
    assert one[0].id != entries(rows(file, f"{HEADER},kind\n{ROW},placement\n", ENTRIES))[0].id


def test_an_id_is_a_name_based_uuid() -> None:
    """An id of content is a UUID of version 5 as the standard library makes them (RFC 9562), the same in every release."""
    made = sheets.content_id("entry", {"note": "\u00e9", "connector": "EX-1"})
    assert made == uuid.UUID("a9deb456-ff78-5c36-a669-2f9a57f078b5")
    text = '["entry",{"connector":"EX-1","note":"\u00e9"}]'
    assert made == uuid.uuid5(uuid.UUID("6f2b1f52-7f4f-4c55-9e0c-3f5d5c1c6a10"), text)


@pytest.mark.parametrize(
    ("content", "flaws"),
    [
        (b"", [(1, None, "the first row names the columns: connector, performed_at")]),
        (b"connector,performed_at,performed_by,colour\n", [(1, "colour", "there is no such column; the columns are")]),
        (b"connector,performed_at\n", [(1, "performed_by", "is missing")]),
        (b"connector,asset,asset,performed_at,performed_by\n", [(1, "asset", "stands twice")]),
        ("connector,performed_at,performed_by\n".encode("utf-16"), [(1, None, "not in UTF-8")]),
        (f"{HEADER}\n{ROW}\n".encode() + b"\xe9,x,x,,,\n", [(3, None, "not in UTF-8")]),
        (f"{HEADER}\n{ROW},\n".encode(), [(2, None, "has 7 cells, the header has 6")]),
        (
            f"{HEADER}\n,2026-11-02,,,,\n".encode(),
            [
                (2, "connector", "is empty"),
                (2, "performed_at", "needs day, time and zone"),
                (2, "performed_by", "is empty"),
            ],
        ),
        (f"{HEADER}\nA,2026-11-02T09:30:00,x,,,\n".encode(), [(2, "performed_at", "needs day, time and zone")]),
        (f"{HEADER}\nA,1700000000,x,,,\n".encode(), [(2, "performed_at", "needs day, time and zone")]),
        (f"{HEADER}\nA,2026-13-02T09:30:00Z,x,,,\n".encode(), [(2, "performed_at", "RFC3339")]),
        (f"{HEADER}\nA,1026-11-02T09:30:00Z,x,,,\n".encode(), [(2, "performed_at", "must lie between")]),
        (f'{HEADER}\nA,2026-11-02T09:30:00Z,"x"y,,,\n'.encode(), [(2, None, "can't be read")]),
        (f'{HEADER}\nA,2026-11-02T09:30:00Z,"x,,,\n'.encode(), [(2, None, "can't be read")]),
    ],
)
def test_what_is_wrong_is_named(file: Path, content: bytes, flaws: list[tuple[int, str | None, str]]) -> None:
    """Each flaw has its row, counted as a spreadsheet does, and its column."""
    found = [each for each in rows(file, content) if isinstance(each, Flaw)]
    assert [(each.row, each.column) for each in found] == [(row, column) for row, column, _ in flaws]
    for each, (_, _, text) in zip(found, flaws, strict=True):
        assert text in each.text


@pytest.mark.parametrize(
    ("column", "cell", "said"),
    [
        ("insertions", "1.5", "is a whole number"),
        ("insertions", "null", "is a whole number"),
        ("insertions", "-1", ">= 0"),
        ("insertions", "1000001", "<= 1000000"),
        ("occupied", "yes", "is true or false"),
        ("cavity", "a b", "matching regex"),
    ],
)
def test_cells_are_what_they_look_like(file: Path, column: str, cell: str, said: str) -> None:
    """A number is written as one, a truth value as one; nothing is guessed."""
    text = f"connector,performed_at,performed_by,removals,{column}\nA,2026-11-02T09:30:00Z,x,1,{cell}\n"
    (flaw,) = rows(file, text, CARRY_INS)
    assert isinstance(flaw, Flaw)
    assert (flaw.row, flaw.column) == (2, column)
    assert said in flaw.text


def test_text_that_looks_like_something_else_stays_text(file: Path) -> None:
    """A serial of digits, or one called null or true, is a serial."""
    text = "".join(f"{each},2026-11-02T09:30:00Z,007,,,\n" for each in ("0042", "null", "true", "1e5"))
    assert [each.connector for each in entries(rows(file, f"{HEADER}\n{text}"))] == ["0042", "null", "true", "1e5"]


def test_empty_rows_are_passed_over_and_counted(file: Path) -> None:
    """Rows that a spreadsheet leaves empty are no rows, but the next one keeps its number."""
    read = rows(file, f"{HEADER}\n\n,,,,,\n{ROW}\n")
    assert [each.number for each in read if isinstance(each, Row)] == [4]


def test_an_id_of_its_own_is_kept(file: Path) -> None:
    """Where a table of entries has ids, those hold."""
    own = uuid.uuid4()
    text = f"id,kind,connector,performed_at,performed_by,cavity\n{own},insertion,A,2026-11-02T09:30:00Z,x,C\n"
    assert [each.id for each in entries(rows(file, text, ENTRIES))] == [own]


def test_columns_are_fields() -> None:
    """Every column of a form is a field of what its rows are read as, and the needed ones are among them."""
    for form in (PLACEMENTS, CARRY_INS, ENTRIES, CONNECTORS, CAVITIES, geometry_tables.COORDINATES):
        assert set(form.needed) <= set(form.columns) <= set(form.made.__struct_fields__), form.name
    assert "cavities" not in ENTRIES.columns


def test_the_readme_names_every_column() -> None:
    """Whoever makes a table finds its columns in the README, those that every row fills in bold."""
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text()
    for name, form in (
        ("connectors", CONNECTORS),
        ("cavities", CAVITIES),
        ("carry-ins", CARRY_INS),
        ("placements", PLACEMENTS),
        ("coordinates", geometry_tables.COORDINATES),
    ):
        (line,) = (each for each in readme.splitlines() if each.startswith(f"| {name} | **"))
        assert set(re.findall(r"`(\w+)`", line)) >= set(form.columns), name
        assert set(re.findall(r"\*\*`(\w+)`\*\*", line)) == set(form.needed), name


def test_repeats_name_the_earlier_row() -> None:
    """A key that was there before is a flaw that says where; without one there is none."""
    seen, keys = Repeats(), [uuid.uuid4() for _ in range(3)]
    for row, key in enumerate([*keys, keys[0], keys[0]], 2):
        seen.add(key, row)
    assert [str(each) for each in seen.flaws("serial", "is the same as")] == [
        "row 5, column serial: is the same as row 2",
        "row 6, column serial: is the same as row 2",
    ]
    assert not list(Repeats().flaws(None, ""))
