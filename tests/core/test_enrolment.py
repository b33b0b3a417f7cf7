"""What a connector is registered as by its mark."""

import pytest

from service.core import enrolment, marks
from service.core.enrolment import Named, Unfit

_GS, _RS, _EOT = "\x1d", "\x1e", "\x04"


def message(*elements: str) -> bytes:
    """A symbol of format 06 (ISO/IEC 15434)."""
    return f"[)>{_RS}06{_GS}{_GS.join(elements)}{_RS}{_EOT}".encode()


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        # MIL-STD-130N Table A-II: construct 1, construct 2, and identities that are given whole
        (message("18S0CVA5EX-0001", "1PD38999/26WE35SN"), Named("EX-0001", "0CVA5", "D38999/26WE35SN")),
        (message("17V0CVA5", "1PD38999/26WE35SN", "SEX-0001"), Named("EX-0001", "0CVA5", "D38999/26WE35SN")),
        (message("18S0CVA5EX-0001"), Named("EX-0001", "0CVA5")),
        (message("18S0CVA5EX-0001", "30PD38999/26WE35PN"), Named("EX-0001", "0CVA5", "D38999/26WE35PN")),
        (message("25SUN123456789EX7"), Named("UN123456789EX7")),
        (message("25SUN123456789EX7", "30PD38999/26WE35PN"), Named("UN123456789EX7", None, "D38999/26WE35PN")),
        # a lot is part of the identity, but of none that a register could make again
        (message("17V0CVA5", "1T7788", "SEX1"), Named("D0CVA57788EX1", "0CVA5")),
        (message("12V123456789", "1PX1", "SEX1"), Named("UN123456789X1EX1", None, "X1")),
        (b"EX-0042", Named("EX-0042")),
        (b"C-10 a", Named("C-10 a")),
    ],
)
def test_a_mark_registers_what_it_says(data: bytes, expected: Named) -> None:
    """Serial, CAGE code and part number come from the mark, and the mark finds what is registered so."""
    mark = marks.read(data)
    found = enrolment.named(mark)
    assert found == expected
    assert isinstance(found, Named)
    assert enrolment.finds(mark, found)


@pytest.mark.parametrize(
    ("data", "symbology", "said"),
    [
        (b"[)>061718S0CVA5EX-0001", None, "gives no identity"),
        (b"urn:tinebook:badge:117", None, "names a badge"),
        (b"019ac0de-0000-7000-8000-000000000001", None, "is the id of a connector here"),
        (b"0109506000134352", "]d2", "no identity"),
        (message("1PD38999/26WE35SN"), None, "no identity"),
        (b"", None, "nothing in this mark"),
    ],
)
def test_a_mark_that_registers_nothing_says_why(data: bytes, symbology: str | None, said: str) -> None:
    """A mark without an identity, or of something else, registers nothing and says what to do."""
    found = enrolment.named(marks.read(data, symbology))
    assert isinstance(found, Unfit)
    assert said in found.text


def test_a_gs1_mark_registers_its_whole_identity() -> None:
    """A GTIN with its serial is one item: it is registered under its Digital Link, by which every such mark finds it."""
    mark = marks.read(b"0109506000134352" + b"21EX-1", "]d2")
    found = enrolment.named(mark)
    assert found == Named(mark.identity or "")
    assert enrolment.finds(mark, Named(mark.identity or ""))
