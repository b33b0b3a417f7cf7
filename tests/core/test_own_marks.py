"""Marks of our own: badge, tool, work order, cavity, bench."""

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from service.core import marks, own_marks
from service.core.marks import Meaning
from service.core.own_marks import Kind, OwnMarkError

SPELLED = [
    (Kind.BADGE, "117", "urn:tinebook:badge:117"),
    (Kind.BADGE, "badge 117", "urn:tinebook:badge:badge%20117"),
    (Kind.TOOL, "M81969/14-02", "urn:tinebook:tool:M81969/14-02"),
    (Kind.WORK_ORDER, "WO-2026-0412", "urn:tinebook:work_order:WO-2026-0412"),
    (Kind.CAVITY, "C", "urn:tinebook:cavity:C"),
    (Kind.CAVITY, "c", "urn:tinebook:cavity:c"),
    (Kind.BENCH, "Bench 3, \u00e9tage 2", "urn:tinebook:bench:Bench%203,%20%C3%A9tage%202"),
    (Kind.TOOL, "50% #1?", "urn:tinebook:tool:50%25%20%231%3F"),
]


@pytest.mark.parametrize(("kind", "name", "text"), SPELLED)
@pytest.mark.parametrize("symbol", ["DataMatrix", "QRCode", "Code128"])
def test_a_mark_of_ours_is_printed_and_read(kind: Kind, name: str, text: str, symbol: str) -> None:
    """What is printed is what RFC 8141 allows, and scanned it names the same thing and no connector."""
    assert own_marks.build(kind, name) == text
    printed = zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, symbol))
    (found,) = zxingcpp.read_barcodes(np.array(printed.to_image(scale=4)))
    mark = marks.read(found.bytes, found.symbology_identifier)
    assert (mark.meaning, mark.named, mark.fields) == (Meaning(kind.value), name, {kind.value: name})
    assert (mark.identity, mark.faults, mark.deviations) == (None, (), ())
    assert marks.look_up_keys(mark) == ()


FORGIVEN = [
    ("URN:TINEBOOK:badge:117", "117", ()),
    ("urn:Tinebook:bench:Bench%203,%20%c3%a9tage", "Bench 3, \u00e9tage", ()),
    ("]d1urn:tinebook:tool:T-20-03\r", "T-20-03", ()),
    ("urn:tinebook:badge:badge 117", "badge 117", ("not_escaped",)),
    ("urn:tinebook:bench:\u00e9tage <2>", "\u00e9tage <2>", ("not_escaped",)),
]


@pytest.mark.parametrize(("text", "name", "deviations"), FORGIVEN)
def test_what_label_programs_do_is_forgiven(text: str, name: str, deviations: tuple[str, ...]) -> None:
    """Capitals where RFC 8141 ignores case are the same mark; a raw space or letter is, with a note."""
    mark = marks.read(text.encode())
    assert (mark.named, mark.deviations, mark.faults) == (name, deviations, ())


REFUSED = [
    "urn:tinebook:",
    "urn:tinebook:badge",
    "urn:tinebook:badge:",
    "urn:tinebook:Badge:117",
    "urn:tinebook:connector:117",
    "urn:tinebook:badge:117#2",
    "urn:tinebook:badge:117?=x",
    "urn:tinebook:badge:%31",  # RFC 8141, 3.1: not the same name as 1
    "urn:tinebook:badge:1%2",
    "urn:tinebook:badge:100%",
    "urn:tinebook:badge:%FF",
    "urn:tinebook:badge:a%0Ab",
    "urn:tinebook:badge:%20117",
    "urn:tinebook:badge:117 ",
    "urn:tinebook:cavity:a%20b",
    "urn:tinebook:cavity:ABCDEFGHIJKLMNOPQ",
    "urn:tinebook:tool:" + "A" * 201,
]


@pytest.mark.parametrize("text", REFUSED)
def test_a_doubtful_mark_of_ours_names_nothing(text: str) -> None:
    """A mark that begins like one of ours and could be read in two ways is refused with its reason."""
    mark = marks.read(text.encode())
    assert (mark.meaning, mark.named, mark.identity) == (Meaning.MALFORMED, None, None)
    assert [each.code for each in mark.faults] == ["bad_own_mark"]
    assert mark.faults[0].text.endswith(".")


@pytest.mark.parametrize("name", ["", " ", "a\x1db", " a", "a\t", "A" * 201])
def test_a_name_that_could_not_be_read_back_is_not_printed(name: str) -> None:
    """An empty name, one with control characters or outer spaces, and one too long are refused when the mark is made."""
    with pytest.raises(OwnMarkError):
        own_marks.build(Kind.BADGE, name)


def test_every_kind_has_its_meaning() -> None:
    """A scan can mean each kind of mark of ours."""
    assert {each.value for each in Kind} <= {each.value for each in Meaning}


def test_our_label_of_a_connector_may_be_a_urn() -> None:
    """A connector's id is read in its standard URN form as well (RFC 9562)."""
    mark = marks.read(b"URN:UUID:6F9619FF-8B86-4D01-B42D-00CF4FC964FF")
    assert (mark.meaning, mark.identity) == (Meaning.CONNECTOR_ID, "6f9619ff-8b86-4d01-b42d-00cf4fc964ff")


names = st.text(min_size=1, max_size=60)


@given(st.sampled_from(Kind), names)
def test_every_name_that_can_be_printed_comes_back(kind: Kind, name: str) -> None:
    """Whatever can be made is plain ASCII without spaces and is read back as exactly the same name."""
    try:
        text = own_marks.build(kind, name)
    except OwnMarkError:
        return
    assert text.isascii()
    assert text.isprintable()
    assert " " not in text
    mark = marks.read(text.encode())
    assert (mark.meaning.value, mark.named, mark.deviations) == (kind.value, name, ())


@given(st.sampled_from(Kind), names)
def test_no_two_spellings_are_taken_for_one_name(kind: Kind, tail: str) -> None:
    """Whatever is read has one canonical spelling, and that is read as the same."""
    mark = marks.read(f"{own_marks.PREFIX}{kind}:{tail}".encode(errors="ignore"))
    assert mark.identity is None
    assert (mark.named is None) == bool(mark.faults)
    if mark.named is not None:
        again = marks.read(own_marks.build(kind, mark.named).encode())
        assert (again.named, again.deviations) == (mark.named, ())
