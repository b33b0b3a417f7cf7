"""The catalogue: its tables against the totals and rules that were read, and what it says about part numbers."""

from collections import Counter

import pytest

from service import catalog
from service.catalog import CautionKind, Status, Work, rows
from service.core.part_numbers import Sex
from service.core.tooling import Half, Release

BOOK = catalog.load()
MIL_1560, MIL_1554, MIL_1669 = "MIL-STD-1560", "MIL-STD-1554", "MIL-STD-1669"


def ids(arrangement: str) -> list[str]:
    """The cavity ids of an arrangement of MIL-STD-1560."""
    return [each.id for each in BOOK.cavities((MIL_1560, arrangement)) or ()]


def of_size(arrangement: str, size: str) -> str:
    """The ids of the cavities of one size, in order."""
    return " ".join(each.id for each in BOOK.cavities((MIL_1560, arrangement)) or () if each.contact_size == size)


@pytest.mark.parametrize(
    ("standard", "arrangement", "total"),
    [
        # public transcriptions of MIL-STD-1560C, MIL-STD-1554A, MIL-STD-1669A and MIL-STD-1651B
        (MIL_1560, "17-35", 55),
        (MIL_1560, "25-35", 128),
        (MIL_1560, "25-61", 61),
        (MIL_1560, "25-43", 43),
        (MIL_1560, "24-35", 128),
        (MIL_1554, "22-55", 55),
        (MIL_1669, "16-26", 26),
        ("MIL-STD-1651", "16-9", 4),
    ],
)
def test_totals_agree_with_the_standards(standard: str, arrangement: str, total: int) -> None:
    """An arrangement has the number of contacts that its standard lists."""
    found = BOOK.arrangement((standard, arrangement))
    assert found is not None
    assert found.total == total


def test_the_lists_are_whole() -> None:
    """All arrangements that were read are there: 97 and 64 for 38999, 32 shared by 83723 and 26500, 49 for 26482."""
    count = Counter((each.standard, each.families) for each in BOOK.arrangements.values())
    assert count[MIL_1560, ("38999-I", "38999-III", "38999-IV")] + count[MIL_1560, ("38999-I", "38999-III")] == 97
    assert count[MIL_1560, ("38999-II",)] == 64
    assert count[MIL_1554, ("83723-III", "26500")] == 32
    assert sum(each.standard == MIL_1669 for each in BOOK.arrangements.values()) == 49
    assert len(BOOK.cavity_rows) == 38
    assert sum(map(len, BOOK.cavity_rows.values())) == 778


def test_every_arrangement_adds_up() -> None:
    """Contacts by size add up to the total of each arrangement."""
    for each in BOOK.arrangements.values():
        assert sum(contacts.count for contacts in each.contacts) == each.total, each.name


def test_every_cavity_list_agrees_with_its_arrangement() -> None:
    """The cavities of an arrangement have its sizes in its numbers, each id once, in an unbroken order."""
    for key, cavities in BOOK.cavity_rows.items():
        counted = Counter(each.contact_size for each in cavities)
        assert counted == {each.size: each.count for each in BOOK.arrangements[key].contacts}, key
        assert len({each.cavity for each in cavities}) == len(cavities), key
        assert [each.order for each in cavities] == list(range(1, len(cavities) + 1)), key


def test_cavity_letters_keep_to_the_rules_that_were_found() -> None:
    """No cavity is lettered I, O, Q, l or o; layouts ending in -35 are numbered from 1 (derived, 778 cavities)."""
    for (_, name), cavities in BOOK.cavity_rows.items():
        found = [each.cavity for each in cavities]
        assert not set(found) & set("IOQlo"), name
        if name.endswith("-35"):
            assert found == [str(n) for n in range(1, len(found) + 1)], name


def test_the_largest_lettered_layout() -> None:
    """25-61 has 61 ids, ends with PP and uses both i and j (two public transcriptions)."""
    found = ids("25-61")
    assert (len(found), found[-1]) == (61, "PP")
    assert {"i", "j", "AA", "C", "c"} <= set(found)
    assert BOOK.cavities_status((MIL_1560, "25-61")) is Status.DERIVED


def test_i_and_j_differ_by_layout() -> None:
    """Ids are data: 19-32 and 23-32 have j but no i, 23-53 and 25-43 have neither (public cavity table)."""
    assert [("i" in ids(name), "j" in ids(name)) for name in ("19-32", "23-32", "23-53", "25-43")] == [
        (False, True),
        (False, True),
        (False, False),
        (False, False),
    ]
    assert ids("23-53")[-1] == "HH"


@pytest.mark.parametrize(
    ("arrangement", "size", "expected"),
    [
        # public cavity table for MIL-STD-1560
        ("15-15", "16", "P"),
        ("15-97", "16", "C G L M"),
        ("17-99", "16", "W Z"),
        ("19-28", "16", "Z e"),
        ("19-30", "16", "e"),
        ("25-24", "16", "C F G H J K N U V W Z a"),
        ("17-2", "8 twinax", "39"),
        ("19-18", "8 twinax", "B F K P"),
    ],
)
def test_cavities_of_another_size(arrangement: str, size: str, expected: str) -> None:
    """The odd sizes of a mixed layout sit in the cavities that were read."""
    assert of_size(arrangement, size) == expected


def test_the_sizes_of_25_43_go_by_case() -> None:
    """In 25-43 capitals are size 20 and small letters size 16: an id is case-sensitive (public cavity table)."""
    assert all(each.id.isupper() == (each.contact_size == "20") for each in BOOK.cavities((MIL_1560, "25-43")) or ())
    assert {"C", "c"} <= set(ids("25-43"))


def test_unknown_ids_are_not_made_up() -> None:
    """An arrangement without a cavity list has none, though its numbers could be guessed."""
    assert BOOK.arrangement((MIL_1560, "25-35")) is not None
    assert BOOK.cavities((MIL_1560, "25-35")) is None
    assert BOOK.cavities_status((MIL_1560, "25-35")) is None
    assert BOOK.cavities((MIL_1554, "22-55")) is None
    assert BOOK.cavities((MIL_1560, "99-99")) is None


def test_series_ii_takes_the_cavities_of_its_twin() -> None:
    """A series II insert is the one of the other series in a shell one larger; its ids are marked as derived."""
    assert BOOK.cavities((MIL_1560, "16-35")) == BOOK.cavities((MIL_1560, "17-35"))
    assert BOOK.cavities_status((MIL_1560, "16-35")) is Status.DERIVED
    assert BOOK.cavities_status((MIL_1560, "17-35")) is Status.SECOND_HAND
    assert BOOK.cavities((MIL_1560, "18-96")) is None


def test_series_ii_twins_have_the_same_contacts() -> None:
    """Wherever both of a pair of twins are listed they have the same contacts: 60 pairs (derived, 0 differences)."""
    pairs = [
        (each, BOOK.arrangements.get((MIL_1560, f"{int(each.name.split('-')[0]) + 1}-{each.name.split('-')[1]}")))
        for each in BOOK.arrangements.values()
        if each.families == ("38999-II",)
    ]
    found = [(small, twin) for small, twin in pairs if twin is not None]
    assert len(found) == 60
    assert all(small.contacts == twin.contacts for small, twin in found)


def test_alternate_positions_are_those_of_the_standard() -> None:
    """Positions beside the normal one stand with each 26482 arrangement, and nowhere else (MIL-STD-1669A)."""
    for each in BOOK.arrangements.values():
        assert (each.alternates is not None) == (each.standard == MIL_1669), each.name
        assert set(each.alternates or ()) <= set("WXYZ"), each.name
    assert BOOK.arrangements[MIL_1669, "16-26"].alternates == ("W", "Y", "Z")
    assert BOOK.arrangements[MIL_1669, "8-98"].alternates == ()


def test_doubts_are_kept_with_their_rows() -> None:
    """The rows that two readings disagree about say so."""
    assert {(each.standard, each.name) for each in BOOK.arrangements.values() if each.doubt} == {
        (MIL_1560, "25-46"),
        (MIL_1560, "25-47"),
        (MIL_1560, "13-22"),
        (MIL_1560, "17-55"),
        (MIL_1669, "16-14"),
        (MIL_1669, "24-31"),
        (MIL_1554, "14-3"),
        (MIL_1554, "14-5"),
        (MIL_1554, "18-11"),
    }


def test_every_row_says_where_it_comes_from() -> None:
    """No row is without a source, each status is one of the closed list, and memory is admitted in the source."""
    found = [
        *((each.status, each.source) for each in BOOK.families.values()),
        *((each.status, each.source) for each in BOOK.arrangements.values()),
        *((each.status, each.source) for cavities in BOOK.cavity_rows.values() for each in cavities),
        *((each.tool.status, each.tool.source) for each in BOOK.tools),
        *((each.status, each.source) for each in BOOK.caution_rows),
        *((each.status, each.source) for each in BOOK.spare_rows),
    ]
    for status, source in found:
        assert source
        assert Status(status) is not Status.MEMORY or "from memory" in source, source
        assert (status == "common practice") == (source == "common practice, no source"), source


@pytest.mark.parametrize(
    ("family", "release", "status"),
    [
        ("38999-III", Release.REAR, Status.MEMORY),
        ("26482-2", Release.REAR, Status.SECOND_HAND),  # note on 22-96 in a transcription of MIL-STD-1669A
        ("26482-1", Release.FRONT, Status.MEMORY),
        ("26500", Release.FRONT, Status.MEMORY),
    ],
)
def test_a_family_has_its_release_side(family: str, release: Release, status: Status) -> None:
    """The side from which a family is released is known, with how sure that is."""
    found = BOOK.tooling(family)
    assert found is not None
    assert (found.release, found.release_status) == (release, status)


def test_tools_fit_sizes_that_their_families_have() -> None:
    """Every tool is for a family of the catalogue and a contact size that occurs in it, in both halves."""
    for each in BOOK.tools:
        for family in each.families:
            sizes = {c.size for a in BOOK.arrangements.values() if family in a.families for c in a.contacts}
            assert each.tool.contact_size in sizes, (family, each.tool)
            found = BOOK.tooling(family)
            assert found is not None
            assert all(found.serving(half, each.tool.contact_size) for half in Half)


def test_both_candidates_for_size_20_are_data() -> None:
    """Two sources disagree about the size-20 tool for 38999, so both are listed (maker's catalogues in a dataset)."""
    found = BOOK.tooling("38999-III")
    assert found is not None
    plastic = [each for each in found.serving(Half.REMOVE, "20") if each.part_number.startswith("M81969/14")]
    assert [(each.part_number, each.end) for each in plastic] == [
        ("M81969/14-02", "white end"),
        ("M81969/14-10", "orange end"),
    ]
    (plastic_22d,) = (each for each in found.serving(Half.INSERT, "22D") if each.part_number.startswith("M81969/14"))
    assert (plastic_22d.part_number, plastic_22d.end) == ("M81969/14-01", "coloured end, green")


def test_metal_tools_insert_odd_and_remove_even() -> None:
    """Of the metal tools the odd dash numbers insert and the even ones remove (maker's catalogue in a dataset)."""
    metal = [each.tool for each in BOOK.tools if each.tool.part_number.startswith("M81969/8-")]
    assert len(metal) == 10
    assert all((int(each.part_number[-2:]) % 2 == 1) == (each.half is Half.INSERT) for each in metal)


def test_a_family_that_is_not_listed_has_no_tooling() -> None:
    """Nothing is said about a family that the catalogue does not have."""
    assert BOOK.tooling("38999-V") is None


def test_every_family_of_the_decoder_is_in_the_catalogue() -> None:
    """Families have the same names in the decoder, the tables and the tools, on the same arrangement standard."""
    for part_number in ("D38999/26WE35SN", "D38999/46WE35SN", "MS27467T17B35P", "MS27484T16B35P", "M83723/76W1415N"):
        found = BOOK.describe(part_number)
        assert found.decoded is not None
        assert found.family is not None
        assert found.arrangement_known
        assert found.family.arrangement_standard == found.decoded.arrangement_standard
        assert found.family.specification == found.decoded.specification
    listed = {family for each in BOOK.arrangements.values() for family in each.families}
    assert listed == set(BOOK.families)
    assert {family for each in BOOK.tools for family in each.families} < set(BOOK.families)


def test_a_part_number_is_described_whole() -> None:
    """Form, family, arrangement, cavities and tools of a number come together."""
    found = BOOK.describe("D38999/26WE35SN")
    assert found.fault is None
    assert found.decoded is not None
    assert found.decoded.sex is Sex.SOCKET
    assert found.cavities == BOOK.cavities(found.decoded)
    assert [each.id for each in found.cavities or ()] == [str(n) for n in range(1, 56)]
    assert found.cavities_status is Status.SECOND_HAND
    assert found.tooling == BOOK.tooling("38999-III")


def test_form_and_arrangement_are_apart() -> None:
    """A well-formed number of an arrangement on no list is only unknown (printed example of MIL-DTL-83723G)."""
    found = BOOK.describe("M83723/72W808N")
    assert found.decoded is not None
    assert (found.fault, found.arrangement_known, found.cavities) == (None, False, None)


@pytest.mark.parametrize(
    ("part_number", "code", "at"),
    [
        ("MS3476W16-26PX", "position_not_allowed", 13),  # MIL-STD-1669A: 16-26 allows W, Y, Z
        ("MS3470L8-98PW", "position_not_allowed", 12),
        ("MS3476L12-10PN", "bad_position", 13),  # MIL-DTL-26482H: the normal position is not written
        ("MS3476L22-96P", "arrangement_not_in_family", 10),  # MIL-STD-1669A note: not in series 2
        ("M83723/76W1403N", "arrangement_not_in_family", 12),  # MIL-STD-1554A: 14-3 is of 26500 only
    ],
)
def test_a_wrong_part_number_has_a_fault(part_number: str, code: str, at: int) -> None:
    """What the standards rule out is a fault where it stands."""
    fault = BOOK.describe(part_number).fault
    assert fault is not None
    assert (fault.code, fault.at) == (code, at)


@pytest.mark.parametrize("part_number", ["MS3470L12-10PY", "MS3476W16-26P", "MS3476W16-26PW", "MS3114E12-10PYT"])
def test_an_allowed_position_has_none(part_number: str) -> None:
    """A position that the arrangement has is no fault (MIL-STD-1669A)."""
    assert BOOK.describe(part_number).fault is None


def test_soldered_contacts_have_no_tools() -> None:
    """A connector whose contacts have no retainer is worked on with no insertion or removal tool."""
    assert BOOK.describe("MS3114E12-10PYT").tooling is None
    assert BOOK.describe("D38999/21YE35XN").tooling is None


def test_cautions_come_warnings_first() -> None:
    """Whatever the work, warnings stand before cautions and those before notes."""
    order = list(CautionKind)
    for work in Work:
        kinds = [order.index(each.kind) for each in BOOK.cautions([work], Release.REAR)]
        assert kinds == sorted(kinds)
        assert kinds[0] == 0
    assert BOOK.cautions([])[0].code == "power_off"


def test_cautions_are_those_of_the_work_and_the_release_side() -> None:
    """A caution is shown with its own work only, and one about a release side only where that is known."""
    removal = {each.code for each in BOOK.cautions([Work.REMOVE], Release.FRONT)}
    assert {"power_off", "no_turning", "tool_side_front"} <= removal
    assert not removal & {"tool_side_rear", "ends", "test_once", "one_push"}
    assert {"tool_side_rear", "ends"} <= {each.code for each in BOOK.cautions(["remove", "insert"], Release.REAR)}
    assert not {each.code for each in BOOK.cautions(["remove", "insert"]) if each.release is not None}
    assert "test_once" in {each.code for each in BOOK.cautions([Work.SEATING_TEST])}


def test_caution_codes_are_unique_and_texts_are_sentences() -> None:
    """A caution can be named by its code and read aloud."""
    assert len({each.code for each in BOOK.caution_rows}) == len(BOOK.caution_rows)
    assert all(each.text[0].isupper() and each.text.endswith(".") for each in BOOK.caution_rows)


@pytest.mark.parametrize(("contacts", "spares"), [(1, 2), (25, 2), (26, 4), (100, 4), (101, 6), (128, 6)])
def test_spare_contacts(contacts: int, spares: int) -> None:
    """Up to 25 contacts 2 spares, up to 100 4, above that 6 (AC 43.13-1B 11-234)."""
    assert BOOK.spares(contacts) == spares


def test_a_wrong_word_in_a_table_is_an_error() -> None:
    """Statuses are read from a closed list."""
    with pytest.raises(ValueError, match="rumour"):
        rows.Status("rumour")
