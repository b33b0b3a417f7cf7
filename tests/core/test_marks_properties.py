"""Marks: what holds for any input, and what must never happen."""

from hypothesis import assume, given
from hypothesis import strategies as st

from service.core import identity, marks
from service.core.marks import Meaning

LEGAL = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/"
cages = st.text("0123456789ABCDEFGHJKLMNPQRSTUVWXYZ", min_size=5, max_size=5)
parts = st.text(LEGAL, min_size=1, max_size=32)
serials = st.text(LEGAL, min_size=1, max_size=30)


def message(code: str, *elements: str) -> str:
    """A complete message of one envelope."""
    return f"[)>\x1e{code}\x1d{chr(0x1D).join(elements)}\x1e\x04"


@given(cages, parts, serials, st.data())
def test_elements_survive_their_message(cage: str, part: str, serial: str, data: st.DataObject) -> None:
    """Any legal elements of construct 2 come back from their message unchanged and find their connector."""
    code, symbol = data.draw(st.sampled_from(["06", "12", "DD"])), data.draw(st.sampled_from(["", "]d1", "]Q1"]))
    assume(len(part) + len(serial) <= 44)
    qualifiers = ("17V", "1P", "S") if code == "06" else ("MFR ", "PNO ", "SEQ ")
    elements = [qualifier + value for qualifier, value in zip(qualifiers, (cage, part, serial), strict=True)]
    text = symbol + message(code, *data.draw(st.permutations(elements)))
    mark = marks.read(text.encode() + data.draw(st.sampled_from([b"", b"\r", b"\n", b"\t"])))
    assert (mark.meaning, mark.cage, mark.part_number, mark.serial) == (Meaning.IUID, cage, part, serial)
    assert mark.identity == f"D{cage}{part}{serial}"
    assert marks.look_up_keys(mark)[0] in marks.keys(serial, cage, part)
    assert not marks.contradicts(mark, serial, cage, part)


@given(cages, st.text(LEGAL, min_size=2, max_size=20), st.data())
def test_no_other_split_of_a_uii_is_taken_for_the_connector(cage: str, tail: str, data: st.DataObject) -> None:
    """Wherever the same text is split otherwise, the mark contradicts the register."""
    at = data.draw(st.integers(1, len(tail) - 1))
    other = data.draw(st.integers(0, len(tail) - 1))
    assume(at != other)
    part, serial = tail[:other], tail[other:]
    elements = (f"17V{cage}", f"1P{part}", f"S{serial}") if part else (f"18S{cage}{serial}",)
    mark = marks.read(message("06", *elements).encode())
    assert mark.identity == f"D{cage}{tail}"
    assert marks.contradicts(mark, tail[at:], cage, tail[:at])


@given(
    st.binary(max_size=200) | st.text(max_size=100).map(str.encode), st.none() | st.sampled_from(["]d1", "]d2", "x"])
)
def test_no_bytes_break_the_reader(data: bytes, symbology: str | None) -> None:
    """Whatever is scanned, the answer is a mark with either an identity or a reason."""
    mark = marks.read(data, symbology)
    assert (mark.identity is None) == bool(mark.faults)
    named = (Meaning.IUID, Meaning.PLAIN_SERIAL, Meaning.CONNECTOR_ID)
    assert mark.meaning is Meaning.GS1 or (mark.identity is not None) == (mark.meaning in named)


pieces = st.sampled_from(
    [
        "\x1d",
        "\x1e",
        "\x04",
        "05",
        "06",
        "12",
        "DD",
        "99",
        "17V0CVA5",
        "1P1234",
        "S786950",
        "MFR 0CVA5",
        "SER 1",
        "8004X",
    ]
)


@given(st.lists(pieces | st.text(LEGAL, max_size=3), max_size=12))
def test_no_message_gives_an_illegal_identity(found: list[str]) -> None:
    """Whatever stands in a message, an identity that it gives keeps to the alphabet and length of a UII."""
    mark = marks.read(("[)>\x1e" + "".join(found)).encode())
    assert mark.identity is None or identity.is_uii(mark.identity)
    assert (mark.identity is None) == bool(mark.faults)


@given(serials.filter(lambda text: text[0] != "]"), st.sampled_from(list("\r\n\t")))
def test_a_plain_serial_is_its_own_key(serial: str, suffix: str) -> None:
    """A serial typed or scanned as it stands finds the connector registered under it."""
    mark = marks.read((serial + suffix).encode())
    assert marks.look_up_keys(mark) == (serial,)
    assert serial in marks.keys(serial)
