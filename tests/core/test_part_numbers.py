"""Part numbers: the examples that the specifications print, worked by hand, and the ways in which a number is wrong."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core import part_numbers
from service.core.part_numbers import Decoded, Fault, Sex

# text, family, arrangement standard, arrangement, sex, class, sheet, position, removable
GOOD = [
    # MIL-DTL-38999 (fields second-hand; worked by hand)
    ("D38999/26WE35SN", "38999-III", "MIL-STD-1560", "17-35", Sex.SOCKET, "W", "26", "N", True),
    ("D38999/26WD19SN", "38999-III", "MIL-STD-1560", "15-19", Sex.SOCKET, "W", "26", "N", True),
    ("D38999/26WD35SA", "38999-III", "MIL-STD-1560", "15-35", Sex.SOCKET, "W", "26", "A", True),
    ("D38999/20FJ61PE", "38999-III", "MIL-STD-1560", "25-61", Sex.PIN, "F", "20", "E", True),
    ("D38999/24ZA98HB", "38999-III", "MIL-STD-1560", "9-98", Sex.PIN, "Z", "24", "B", True),
    ("D38999/26AAB5JN", "38999-III", "MIL-STD-1560", "11-5", Sex.SOCKET, "AA", "26", "N", True),
    ("D38999/26WE06SN", "38999-III", "MIL-STD-1560", "17-6", Sex.SOCKET, "W", "26", "N", True),
    ("D38999/21YE35XN", "38999-III", "MIL-STD-1560", "17-35", None, "Y", "21", "N", False),
    ("D38999/46WB35PR", "38999-IV", "MIL-STD-1560", "11-35", Sex.PIN, "W", "46", "R", True),
    ("D38999/40FJ35SK", "38999-IV", "MIL-STD-1560", "25-35", Sex.SOCKET, "F", "40", "K", True),
    # MIL-DTL-38999 series I and II (form from memory)
    ("MS27467T17B35PA", "38999-I", "MIL-STD-1560", "17-35", Sex.PIN, "T", "27467", "A", None),
    ("MS27484T16B35S", "38999-II", "MIL-STD-1560", "16-35", Sex.SOCKET, "T", "27484", "N", None),
    # MIL-DTL-83723G 3.7.1; the third is its printed example
    ("M83723/76W1415N", "83723-III", "MIL-STD-1554", "14-15", Sex.PIN, "W", "76", "N", True),
    ("M83723/75R1831N", "83723-III", "MIL-STD-1554", "18-31", Sex.SOCKET, "R", "75", "N", True),
    ("M83723/72W808N", "83723-III", "MIL-STD-1554", "8-8", Sex.PIN, "W", "72", "N", True),
    ("M83723/95W10059", "83723-III", "MIL-STD-1554", "10-5", Sex.SOCKET, "W", "95", "9", True),
    # MIL-DTL-26482H 1.1.1: printed examples and worked ones
    ("MS3114E12-10PYT", "26482-1", "MIL-STD-1669", "12-10", Sex.PIN, "E", "3114", "Y", False),
    ("MS3126F20-41S", "26482-1", "MIL-STD-1669", "20-41", Sex.SOCKET, "F", "3126", "N", True),
    ("MS3470L12-10PY", "26482-2", "MIL-STD-1669", "12-10", Sex.PIN, "L", "3470", "Y", True),
    ("MS3476W16-26P", "26482-2", "MIL-STD-1669", "16-26", Sex.PIN, "W", "3476", "N", True),
    # MIL-DTL-5015H 6.6: examples seen in public lists
    ("MS3456L18-1S", "50151", "MIL-STD-1651", "18-1", Sex.SOCKET, "L", "3456", "N", True),
    ("MS3106A18-1SW", "50151", "MIL-STD-1651", "18-1", Sex.SOCKET, "A", "3106", "W", False),
    ("MS3102E20-27PX", "50151", "MIL-STD-1651", "20-27", Sex.PIN, "E", "3102", "X", False),
    ("MS3459KT10SL-3P", "50151", "MIL-STD-1651", "10SL-3", Sex.PIN, "KT", "3459", "N", True),
    # MIL-DTL-26500 (from memory)
    ("MS24266R22B55SN", "26500", "MIL-STD-1554", "22-55", Sex.SOCKET, "R", "24266", "N", True),
    ("MS24264R14T7P6", "26500", "MIL-STD-1554", "14-7", Sex.PIN, "R", "24264", "6", True),
]


@pytest.mark.parametrize("stated", GOOD, ids=[each[0] for each in GOOD])
def test_a_part_number_states_its_connector(stated: tuple[object, ...]) -> None:
    """Family, arrangement, contacts, class, sheet and position are read from the number."""
    text = str(stated[0])
    decoded = part_numbers.decode(text)
    assert isinstance(decoded, Decoded)
    assert stated == (
        decoded.text,
        decoded.family,
        decoded.arrangement_standard,
        decoded.arrangement,
        decoded.sex,
        decoded.shell_class,
        decoded.sheet,
        decoded.position,
        decoded.removable,
    )
    assert all(text[each.at :].startswith(each.code) for each in decoded.parts)


BAD = [
    ("MS3476L12-10PN", "bad_position", 13),  # MIL-DTL-26482H: the normal position is not written
    ("D38999/26WI35SN", "bad_shell", 10),  # MIL-DTL-38999 Table I: no shell I
    ("D38999/40FA35SN", "bad_shell", 10),  # series IV has no shell 9
    ("D38999/26WE35SR", "bad_position", 14),  # R is a position of series IV only
    ("D38999/26WE35QN", "bad_contact", 13),
    ("D38999/26WESN", "bad_insert", 11),
    ("D38999/22WE35SN", "bad_sheet", 8),
    ("d38999/26WE35SN", "unknown_form", 0),
    ("D38999/26we35SN", "bad_class", 9),
    ("D38999/26WE35S", "incomplete", 14),
    ("D38999/26WE35SNN", "surplus", 15),
    ("D38999/26WE35SN ", "surplus", 15),
    (" D38999/26WE35SN", "unknown_form", 0),
    ("D38999/26 WE35SN", "bad_class", 9),
    ("M83723/76W1515N", "bad_shell", 11),  # MIL-STD-1554A: shells are even
    ("M83723/79W1415N", "bad_sheet", 8),
    ("M83723/72W803Y", "bad_position", 13),  # MIL-STD-1554A figure 1: shell 8 has N and 6 to 9
    ("M83723/76W1415", "incomplete", 14),
    ("MS3476W16-26PT", "bad_position", 13),  # a finish is written in series 1 only
    ("MS3476W1626P", "unknown_form", 9),
    ("MS3456L18-1A", "bad_contact", 11),
    ("MS27467T16B35P", "bad_shell", 9),  # shells of series I are odd
    ("", "incomplete", 0),
    ("CONNECTOR", "unknown_form", 0),
]


@pytest.mark.parametrize(("text", "code", "at"), BAD)
def test_a_wrong_part_number_is_shown_where_it_is_wrong(text: str, code: str, at: int) -> None:
    """The fault names the first character that no known form allows."""
    found = part_numbers.decode(text)
    assert isinstance(found, Fault)
    assert (found.code, found.at) == (code, at)
    assert found.text.endswith(".")


def test_an_insert_may_come_without_its_contacts() -> None:
    """Contact codes A and B are a pin and a socket insert without contacts (MIL-DTL-38999 1.4.2)."""
    pins, sockets = (part_numbers.decode("D38999/26WE35AN"), part_numbers.decode("D38999/26WE35BN"))
    assert isinstance(pins, Decoded)
    assert isinstance(sockets, Decoded)
    assert (pins.sex, pins.contacts_supplied) == (Sex.PIN, False)
    assert (sockets.sex, sockets.contacts_supplied) == (Sex.SOCKET, False)
    with_contacts = part_numbers.decode("D38999/26WE35PN")
    assert isinstance(with_contacts, Decoded)
    assert with_contacts.contacts_supplied


def test_the_shell_letters_have_no_i() -> None:
    """Shells 9 to 25 are lettered A to J without I (MIL-DTL-38999 Table I)."""
    shells = [part_numbers.decode(f"D38999/26W{letter}35SN") for letter in "ABCDEFGHJ"]
    assert [each.shell for each in shells if isinstance(each, Decoded)] == [str(size) for size in range(9, 27, 2)]


@pytest.mark.parametrize(
    ("text", "alternates", "at"),
    [
        ("MS3476W16-26PX", "WYZ", 13),  # MIL-STD-1669A: 16-26 allows W, Y and Z
        ("MS3470L12-10PY", "WXYZ", None),
        ("MS3476W16-26P", "", None),
        ("MS3470L8-98PW", "", 12),
    ],
)
def test_a_position_must_be_one_of_its_arrangement(text: str, alternates: str, at: int | None) -> None:
    """An alternate position that the arrangement does not have is a fault at its letter."""
    decoded = part_numbers.decode(text)
    assert isinstance(decoded, Decoded)
    fault = part_numbers.position_fault(decoded, alternates)
    assert (fault.at if fault else None) == at


ALPHABET = "DMS3899/26WEPN0147-AXY "


@given(st.text(max_size=30) | st.text(ALPHABET, max_size=20) | st.text(ALPHABET, max_size=8).map("D38999/26W".__add__))
def test_any_text_is_decoded_or_faulted_within_itself(text: str) -> None:
    """No text breaks the decoder, and a fault points into the text or to its end."""
    found = part_numbers.decode(text)
    if isinstance(found, Fault):
        assert 0 <= found.at <= len(text)
    else:
        assert found.text == text


@given(st.sampled_from([each[0] for each in GOOD]), st.integers(0, 30), st.characters(codec="ascii"))
def test_one_wrong_character_never_points_behind_itself(text: str, at: int, char: str) -> None:
    """A fault that one changed character causes is found at that character or after it, never before."""
    at %= len(text)
    found = part_numbers.decode(text[:at] + char + text[at + 1 :])
    assert isinstance(found, Decoded) or found.at >= at
