"""What a label holds."""

from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core import marks, wedge_profile
from service.core.marks import Meaning
from service.core.own_marks import Kind
from service.labels import content

CONNECTOR = UUID("6f9619ff-8b86-4d01-b42d-00cf4fc964ff")
ID = str(CONNECTOR)

HELD = [
    # ANSI MH10.8.2: 37S is agency code, enterprise, part number, plus sign, serial; 25S has no part number.
    ("786950", "0CVA5", "1234", "[)>\x1e06\x1d37SD0CVA51234+786950\x1e\x04"),
    ("EX-0001", "0CVA5", "D38999/26WB35SN", "[)>\x1e06\x1d37SD0CVA5D38999/26WB35SN+EX-0001\x1e\x04"),
    ("786950", "0CVA5", None, "[)>\x1e06\x1d25SD0CVA5786950\x1e\x04"),
    ("786950", None, "1234", ID),
    ("786950", None, None, ID),
    ("sn 1", "0CVA5", "1234", ID),
    ("786950", "0CVA5", "12 34", ID),
    ("1" * 30, "0CVA5", "2" * 15, ID),  # 51 characters of UII
    ("https://id.gs1.org/01/09506000134352/21/A", None, None, ID),
    ("urn:tinebook:badge:117", None, None, ID),
]


@pytest.mark.parametrize(("serial", "cage", "part_number", "text"), HELD)
def test_a_label_holds_the_uii_or_the_id(serial: str, cage: str | None, part_number: str | None, text: str) -> None:
    """Where the elements make a legal UII the label holds it with its parts apart, else the connector's own id."""
    assert content.connector(CONNECTOR, serial, cage, part_number).text == text


words = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40)
legal = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/", min_size=1, max_size=30)


@given(legal | words, st.sampled_from([None, "0CVA5", "0F3N5", "0CVI5"]), st.none() | legal | words)
def test_every_label_finds_its_connector(serial: str, cage: str | None, part_number: str | None) -> None:
    """Whatever a connector is registered as, a scan of its label finds it and does not contradict the register."""
    held = content.connector(CONNECTOR, serial, cage, part_number)
    mark = marks.read(held.text.encode())
    assert set(marks.look_up_keys(mark)) & set(marks.keys(serial, cage, part_number, CONNECTOR))
    assert not marks.contradicts(mark, serial, cage, part_number)
    assert held.text.isascii()
    assert all(
        len(line) <= content.LINE_CHARACTERS and line.isprintable() and line <= "\xff" * 24 for line in held.lines
    )


def test_a_person_reads_what_the_register_says() -> None:
    """Part number, serial and CAGE code stand beside the symbol; nothing is cut, and what can't be printed is spelled out."""
    assert content.connector(CONNECTOR, "EX-0001", "0CVA5", "M1").lines == ("P/N M1", "S/N EX-0001", "CAGE 0CVA5")
    long = content.connector(CONNECTOR, "A" * 30, None, None).lines
    assert "".join(long) == "S/N " + "A" * 30
    assert content.connector(CONNECTOR, "\u0416\t1", None, None).lines == ("S/N \\u0416\\t1",)


def test_our_own_marks_have_labels() -> None:
    """A badge, tool, work order, cavity or bench gets its mark and its name to read."""
    for kind in Kind:
        held = content.own(kind, "A 1" if kind is not Kind.CAVITY else "c")
        mark = marks.read(held.text.encode())
        assert (mark.meaning, mark.named) == (Meaning(kind.value), held.lines[1])
    assert content.own(Kind.WORK_ORDER, "7").lines == ("WORK ORDER", "7")
    assert content.wedge_check().text == wedge_profile.CHECK
