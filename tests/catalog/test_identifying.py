"""Everything that is known of a part number, from its form and the reference tables together."""

import pytest

from service import catalog
from service.catalog import Status
from service.core import part_numbers
from service.part_number_messages import ConnectorKindView, PartNumberView
from service.workflow import identifying

BOOK = catalog.load()


def known(number: str) -> PartNumberView:
    """What is known of a number."""
    return identifying.identify(BOOK, number)


def connector(number: str) -> ConnectorKindView:
    """What is known of a connector's number."""
    found = known(number).connector
    assert found is not None
    return found


def test_a_connector_is_known_whole() -> None:
    """Fields, arrangement, cavities, keying, contacts and tools of one number (worked by hand, 17-35: 55 of 22D)."""
    view = known("D38999/26WE35SN")
    assert (view.kind, view.syntax, view.known, view.fault, view.doubts) == ("connector", "fine", True, None, ())
    found = connector("D38999/26WE35SN")
    assert (found.shell, found.shell_half, found.sex) == ("17", "plug", "socket")
    assert found.arrangement.total == 55
    assert [each.id for each in found.arrangement.cavities or ()] == [str(n) for n in range(1, 56)]
    assert found.arrangement.spare_contacts == 4  # AC 43.13-1B 11-234
    assert found.keying is not None
    assert found.keying.angles_deg == (80, 142, 196, 293)  # public transcription of MIL-DTL-38999M figure 6
    assert [each.part_number for each in found.contacts] == ["AS39029/56-348"]
    assert {each.part_number for each in found.tools} == {"M81969/14-01", "M81969/8-01", "M81969/8-02"}


@pytest.mark.parametrize(
    ("number", "arrangement", "total"),
    [
        # worked by hand from public transcriptions of MIL-STD-1560C, -1554A and -1669A
        ("D38999/26WD19SN", "15-19", 19),
        ("D38999/26WD35SA", "15-35", 37),
        ("D38999/20FJ61PE", "25-61", 61),
        ("M83723/76W1415N", "14-15", 15),
        ("M83723/75R1831N", "18-31", 31),
        ("MS3470L12-10PY", "12-10", 10),
        ("MS3476W16-26P", "16-26", 26),
    ],
)
def test_examples_have_their_contacts(number: str, arrangement: str, total: int) -> None:
    """Each worked example is on its list with the number of contacts that it states."""
    found = connector(number)
    assert (found.arrangement.name, found.arrangement.total) == (arrangement, total)
    assert known(number).fault is None


def test_syntax_and_list_are_two_answers() -> None:
    """The printed example of MIL-DTL-83723G is well formed, though its arrangement is on no list that was read."""
    view = known("M83723/72W808N")
    assert (view.syntax, view.known, view.fault) == ("fine", False, None)
    assert connector("M83723/72W808N").arrangement.inserts == ("2", "3", "98")
    assert any("8-8" in each for each in view.doubts)


def test_alternates_are_those_of_the_arrangement() -> None:
    """16-26 has W, Y and Z but no X (public transcription of MIL-STD-1669A), and says so at the letter."""
    view = known("MS3476W16-26PX")
    assert (view.syntax, view.known) == ("fine", True)
    assert view.fault is not None
    assert (view.fault.at, view.fault.character) == (13, "X")
    assert [(each.field, each.allowed) for each in view.fault.expected] == [("position", ("W", "Y", "Z")), ("end", ())]
    assert connector("MS3476W16-26PX").positions.allowed == ("N", "W", "Y", "Z")
    assert connector("D38999/26WE35SN").positions.allowed == ("N", "A", "B", "C", "D", "E")


def test_every_listed_arrangement_can_be_described() -> None:
    """For each arrangement and family some number exists that names it, and nothing about it is a fault."""
    for form in part_numbers.FORMS:
        for row in (each for each in BOOK.arrangements.values() if form.family in each.families):
            shell, insert = row.name.split("-")
            letters = {size: letter for letter, size in form.shells.items()}
            stated = {each.name: each.codes[0].code for each in form.fields if each.name and each.codes}
            stated |= {"shell": letters.get(shell, shell), "insert": insert, "position": "N"}
            number = part_numbers.encode(form.family, stated)
            if isinstance(number, part_numbers.Fault):
                assert number.code == "bad_shell", (form.family, row.name, number)
                continue
            view = known(number)
            assert (view.known, view.fault) == (True, None), (number, view.fault)
            assert view.canonical == number


def test_doubts_are_said() -> None:
    """Unknown codes, memory, inactive arrangements, unknown and derived ids each make a sentence."""
    assert any("from memory only" in each for each in known("MS24266R22B55SN").doubts)
    assert any("inactive" in each for each in known("D38999/26WF18PC").doubts)
    assert any("none are made up" in each for each in known("D38999/26WJ35PN").doubts)
    assert any("What Q means as class" in each for each in known("MS24266Q22B55SN").doubts)
    assert any("derived" in each for each in known("MS27484T16B35S").doubts)
    assert any("classes L and W only" in each for each in known("MS3475A12-10P").doubts)
    assert any("pins or sockets" in each for each in known("D38999/21YE35XN").doubts)


def test_contacts_fit_by_sex_size_and_mating_cycles() -> None:
    """Sockets of 1500 mating cycles are other contacts than those of 500 (makers' catalogues in a public dataset)."""
    assert [each.part_number for each in connector("D38999/26WE35JN").contacts] == ["AS39029/106-614"]
    assert [each.part_number for each in connector("D38999/26WE35PN").contacts] == ["AS39029/58-360"]
    assert [each.part_number for each in connector("D38999/26WE99PN").contacts] == [
        "AS39029/58-363",
        "AS39029/58-364",
    ]
    assert connector("D38999/21YE35XN").contacts == ()
    assert [each.part_number for each in connector("MS27484T16B35S").contacts] == ["AS39029/57-354"]


@pytest.mark.parametrize("written", ["AS39029/58-360", "M39029/58-360"])
def test_a_contact_is_known_by_both_markings(written: str) -> None:
    """Bands, sex, size and wire of a contact (makers' catalogues in a public dataset)."""
    view = known(written)
    assert (view.kind, view.known, view.fault, view.canonical) == ("contact", True, None, "AS39029/58-360")
    assert view.contact is not None
    assert [each.colour for each in view.contact.bands] == ["orange", "blue", "black"]
    assert (view.contact.sex, view.contact.mating_size, view.contact.wire_awg) == ("pin", "22D", "28-22")


def test_a_bin_is_of_one_sheet_only() -> None:
    """No two contacts share a BIN (public transcription of AS39029), so a known one under another sheet is a fault."""
    view = known("AS39029/56-360")
    assert view.fault is not None
    assert (view.fault.code, view.fault.at, view.known) == ("number_of_other_sheet", 8, False)
    assert view.fault.expected[0].allowed == ("58",)
    assert len({each.part_number[-3:] for each in BOOK.contact_rows}) == len(BOOK.contact_rows)


def test_an_unlisted_contact_still_has_its_bands() -> None:
    """The bands follow from the number, whether or not a list has it."""
    view = known("AS39029/99-217")
    assert (view.known, view.contact and view.contact.known) == (False, False)
    assert [each.colour for each in known("AS39029/22-605").contact.bands] == ["blue", "black", "green"]  # type: ignore[union-attr]


def test_a_tool_says_what_it_does() -> None:
    """Both ends of a plastic tool (makers' catalogues in a public dataset), and one that no list has."""
    view = known("M81969/14-01")
    assert (view.kind, view.known) == ("tool", True)
    assert {(each.half, each.contact_size, each.end) for each in view.tools if each.status == "second-hand"} == {
        ("insert", "22D", "coloured end, green"),
        ("remove", "22D", "white end"),
    }
    assert known("MS24256R20").tools[0].half == "remove"
    assert not known("M81969/14-99").known


def test_contact_rows_agree_with_their_numbers() -> None:
    """Each row is a number in its one spelling whose sheet has the row's sex; memory is admitted in the source."""
    for row in BOOK.contact_rows:
        found = part_numbers.identify(row.part_number)
        assert isinstance(found, part_numbers.Contact)
        assert found.sex is row.sex, row
        assert part_numbers.encode("AS39029", found.codes) == row.part_number
        assert set(row.families) <= set(BOOK.families), row
        assert row.status is not Status.MEMORY or "from memory" in row.source, row
        assert row.duty in ("standard", "extended")


def test_keyings_are_whole_and_tell_apart() -> None:
    """Six keyings for each of the nine shells, rising angles, no two alike in a shell (MIL-DTL-38999M figure 6)."""
    shells = [str(size) for size in range(9, 27, 2)]
    for shell in shells:
        rows = [each for each in BOOK.keying_rows if shell in each.shells]
        assert sorted(each.position for each in rows) == list("ABCDEN")
        assert len({each.angles_deg for each in rows}) == 6
        assert all(list(each.angles_deg) == sorted(each.angles_deg) for each in rows)
        assert all(0 < angle < 360 for each in rows for angle in each.angles_deg)


@pytest.mark.parametrize(
    ("number", "at"),
    [
        ("MS3476L12-10PN", 13),  # MIL-DTL-26482H, second-hand: the normal position is not written
        ("D38999/26WI35SN", 10),
        ("d38999/26WE35SN", 0),
        ("AS39029/58-36", 13),
        ("", 0),
    ],
)
def test_a_wrong_number_is_answered_with_its_place(number: str, at: int) -> None:
    """What is malformed has no kind and no fields, but the place and what would be allowed there."""
    view = known(number)
    assert (view.kind, view.syntax, view.known, view.fields, view.canonical) == (None, "wrong", False, (), None)
    assert view.fault is not None
    assert view.fault.at == at
    assert view.fault.expected
    assert view.fault.character == (number[at] if at < len(number) else None)
