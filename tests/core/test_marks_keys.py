"""Marks: the keys under which a registered connector is found, and what must not find it."""

from uuid import UUID

import pytest

from service.core import identity, marks


def message(code: str, *elements: str) -> bytes:
    """One envelope in a complete message."""
    return f"[)>\x1e{code}\x1d{chr(0x1D).join(elements)}\x1e\x04".encode()


CONNECTOR = UUID("6f9619ff-8b86-4d01-b42d-00cf4fc964ff")


def test_a_connector_is_found_under_every_identity_it_can_bear() -> None:
    """Id, plain serial and both UIIs are keys where the elements are legal (MIL-STD-130N constructs 1 and 2)."""
    assert marks.keys("786950", "0CVA5", "1234", CONNECTOR) == (
        str(CONNECTOR),
        "786950",
        "D0CVA5786950",
        "D0CVA51234786950",
    )
    assert marks.keys("786950") == ("786950",)
    assert marks.keys("786950", None, "1234") == ("786950",)
    assert marks.keys("sn 1", "0CVA5", "1234") == ("sn 1",)
    assert marks.keys("786950", "0CVI5", "1234") == ("786950",)
    assert marks.keys("786950", "0CVA5", "12 34") == ("786950", "D0CVA5786950")
    assert marks.keys("1" * 44, "0CVA5", "1") == ("1" * 44, "D0CVA5" + "1" * 44)


@pytest.mark.parametrize(
    "data",
    [
        message("06", "17V0CVA5", "1P1234", "S786950"),
        message("12", "CAG 0CVA5", "PNO 1234", "SEQ 786950"),
        message("06", "18S0CVA5786950"),
        message("06", "25SD0CVA51234786950"),
        b"D0CVA51234786950",
        b"D0CVA5786950\r",
        b"786950",
        str(CONNECTOR).upper().encode(),
    ],
)
def test_every_way_to_scan_a_connector_finds_it(data: bytes) -> None:
    """A message, a typed UII, a plain serial and our own label all lead to the registered connector."""
    mark = marks.read(data)
    registered = marks.keys("786950", "0CVA5", "1234", CONNECTOR)
    assert set(marks.look_up_keys(mark)) & set(registered)
    assert not marks.contradicts(mark, "786950", "0CVA5", "1234")


@pytest.mark.parametrize(
    ("data", "serial", "part_number"),
    [
        (message("06", "17V0CVA5", "1P123", "S4786950"), "786950", "1234"),
        (message("06", "18S0CVA51234786950"), "786950", "1234"),
        (message("06", "17V0CVA5", "1T1234", "S786950"), "786950", "1234"),
    ],
)
def test_equal_text_of_other_elements_is_not_the_connector(data: bytes, serial: str, part_number: str) -> None:
    """Two items can concatenate to one UII text; the elements of the mark tell them apart."""
    mark = marks.read(data)
    assert set(marks.look_up_keys(mark)) & set(marks.keys(serial, "0CVA5", part_number))
    assert marks.contradicts(mark, serial, "0CVA5", part_number)


def test_another_enterprise_is_another_connector() -> None:
    """A mark contradicts a register that names another CAGE code, and not one that names none."""
    mark = marks.read(message("06", "17V0CVA5", "1P1234", "S786950"))
    assert marks.contradicts(mark, "786950", "0F3N5", "1234")
    assert not marks.contradicts(mark, "786950", None, "1234")
    assert not marks.contradicts(marks.read(message("06", "12V123456789", "1P1234", "S7")), "7", "0F3N5", "1234")


def test_a_whole_uii_as_serial_is_taken_at_its_word() -> None:
    """A connector registered by its UII text is found by the mark that gives that UII."""
    mark = marks.read(message("06", "17V0CVA5", "1T1234", "S786950"))
    assert marks.look_up_keys(mark) == ("D0CVA51234786950",)
    assert not marks.contradicts(mark, "D0CVA51234786950")


@pytest.mark.parametrize(
    ("text", "legal"),
    [
        # CAGE alphabet of GS1's TDT files.
        ("0CVA5", True),
        ("0F3N5", True),
        ("A3309", True),
        ("35962", True),
        ("0CVI5", False),
        ("0CVO5", False),
        ("CVA5", False),
        ("0CVA55", False),
        ("0cva5", False),
        ("0CVA5\n", False),
    ],
)
def test_the_form_of_a_cage_code(text: str, *, legal: bool) -> None:
    """A CAGE code has five characters of an alphabet without I and O."""
    assert identity.is_cage(text) is legal
