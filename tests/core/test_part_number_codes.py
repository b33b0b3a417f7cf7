"""Part numbers field by field: what each code means and how sure that is, and the number written again from its codes."""

import random
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core import part_numbers
from service.core.part_numbers import Contact, Decoded, Fault, Sex, Tool
from service.core.part_numbers.grammar import Form

EVERY = st.sampled_from(part_numbers.FORMS)

# The pattern of a number of each family, as its specification builds it: MIL-DTL-38999M 1.4.2, MIL-DTL-83723G 3.7.1,
# MIL-DTL-26482H 1.2.6 and AS39029, all second-hand.
PATTERNS = {
    "38999-III": r"^D38999/(\d{2})([A-Z]{1,2})([A-HJ])(\d{1,3})([PSHJABRMGUXZCD])([NABCDEKLMR])$",
    "38999-IV": r"^D38999/(\d{2})([A-Z]{1,2})([A-HJ])(\d{1,3})([PSHJABRMGUXZCD])([NABCDEKLMR])$",
    "83723-III": r"^M83723/(\d{2})([A-Z])(\d{1,2}?)(\d{2})([N1-9Y])$",
    "26482-1": r"^MS(31[12]\d)([A-Z])(\d{1,2})-(\d{1,3})([PSAB])([WXYZ])?([DTK])?$",
    "26482-2": r"^MS(347[0-6])([A-Z])(\d{1,2})-(\d{1,3})([PSAB])([WXYZ])?$",
    "AS39029": r"^(?:AS|M)39029/(\d{1,3})-(\d{3})$",
}


def legal(form: Form, seed: int) -> dict[str, str]:
    """One legal choice of a code for every field of a form."""
    chance = random.Random(seed)
    stated = {}
    for field in form.fields:
        if field.digits is not None:
            fewest, most = field.digits
            stated[field.name] = field.canonical(str(chance.randrange(10 ** chance.randint(fewest, most))))
        elif field.name:
            omitted = (field.omitted,) if field.omitted else ()
            stated[field.name] = chance.choice((*(each.code for each in field.codes), *omitted))
    return stated


def read(text: str) -> Decoded | Contact | Tool:
    """A number that must have a known form."""
    found = part_numbers.identify(text)
    assert not isinstance(found, Fault), found
    return found


@given(EVERY, st.integers(0, 2**32))
def test_what_is_written_is_read_again(form: Form, seed: int) -> None:
    """Every legal combination of codes makes a number that states exactly these codes, of the same family."""
    stated = legal(form, seed)
    text = part_numbers.encode(form.family, stated)
    assert isinstance(text, str), text
    found = read(text)
    assert found.codes == stated
    if isinstance(found, Decoded):
        assert found.family == form.family
    pattern = PATTERNS.get(form.family)
    assert pattern is None or re.fullmatch(pattern, text)


def test_each_code_of_each_form_is_read_again() -> None:
    """No code is shadowed by another form or a longer code: each is tried once, beside the first code of the others."""
    for form in part_numbers.FORMS:
        for field in (each for each in form.fields if each.name and each.codes):
            for code in field.codes:
                stated = legal(form, 1) | {field.name: code.code}
                text = part_numbers.encode(form.family, stated)
                assert isinstance(text, str), (form.family, stated)
                assert read(text).codes == stated, text


@pytest.mark.parametrize(
    ("text", "family", "canonical"),
    [
        # worked by hand
        ("D38999/26WE35SN", "38999-III", "D38999/26WE35SN"),
        ("D38999/26WE06SN", "38999-III", "D38999/26WE6SN"),
        ("M83723/95W10059", "83723-III", "M83723/95W10059"),
        ("M83723/72W808N", "83723-III", "M83723/72W808N"),  # printed example of MIL-DTL-83723G 3.7.1
        ("MS3114E12-10PYT", "26482-1", "MS3114E12-10PYT"),  # printed examples of MIL-DTL-26482H 1.1.1
        ("MS3470L12-10PY", "26482-2", "MS3470L12-10PY"),
        ("MS27467T17B35PN", "38999-I", "MS27467T17B35P"),
        ("MS3459KT10SL-03P", "50151", "MS3459KT10SL-3P"),
        ("MS24266R22B55SN", "26500", "MS24266R22B55SN"),  # from memory
        ("M39029/058-360", "AS39029", "AS39029/58-360"),
        ("AS81969/14-02", "AS81969", "M81969/14-02"),
        ("MS24256R16", "MS24256", "MS24256R16"),  # from memory
    ],
)
def test_a_number_has_one_spelling(text: str, family: str, canonical: str) -> None:
    """Read and written again a number has its one spelling, and that one stays as it is."""
    assert part_numbers.encode(family, read(text).codes) == canonical
    assert part_numbers.encode(family, read(canonical).codes) == canonical


@pytest.mark.parametrize(
    ("family", "changes", "code", "at"),
    [
        ("38999-III", {"shell": "I"}, "bad_shell", 10),  # MIL-DTL-38999M Table I, second-hand: no shell I
        ("38999-III", {"position": "R"}, "bad_position", 14),
        ("38999-III", {"insert": "3 5"}, "bad_insert", 11),
        ("38999-III", {"insert": "1234"}, "bad_insert", 11),
        ("38999-III", {"insert": "٣"}, "bad_insert", 11),
        ("38999-III", {"contact": ""}, "bad_contact", 13),
        ("38999-III", {"colour": "red"}, "unknown_field", 0),
        ("38999-V", {}, "unknown_family", 0),
    ],
)
def test_codes_that_make_no_number_are_refused(family: str, changes: dict[str, str], code: str, at: int) -> None:
    """Writing refuses what reading would refuse, at the place where the field would start."""
    stated = {"sheet": "26", "class": "W", "shell": "E", "insert": "35", "contact": "S", "position": "N"} | changes
    found = part_numbers.encode(family, stated)
    assert isinstance(found, Fault)
    assert (found.code, found.at) == (code, at)


def test_a_position_that_is_not_written_need_not_be_given() -> None:
    """What a number says by leaving it out may be left out of its codes (MIL-DTL-26482H: the normal position)."""
    stated = {"sheet": "3476", "class": "W", "shell": "16", "insert": "26", "contact": "P"}
    assert part_numbers.encode("26482-2", stated) == part_numbers.encode("26482-2", stated | {"position": "N"})
    assert part_numbers.encode("26482-2", stated) == "MS3476W16-26P"


def test_every_code_says_what_it_means_and_how_that_is_known() -> None:
    """No code is without a meaning, a status of the closed list and a source; memory is admitted in the source."""
    for form in part_numbers.FORMS:
        for field in form.fields:
            for each in (*field.codes, *field.known) if field.name else ():
                assert each.meaning, (form.family, field.name, each)
                assert each.status in ("read", "second-hand", "derived", "memory", "unknown"), each
                assert each.status != "memory" or "memory" in each.source, each
                assert (each.status == "unknown") == (each.source == "no source"), each
        assert form.status != "memory" or "memory" in form.source


def meanings(text: str) -> dict[str, tuple[str, str]]:
    """Meaning and status of each field of a number."""
    return {each.name: (each.meaning, each.status) for each in read(text).parts}


def test_a_number_is_explained_field_by_field() -> None:
    """Each field has its meaning in words with how sure it is (MIL-DTL-38999M, second-hand)."""
    assert meanings("D38999/26WE35SN") == {
        "sheet": ("series III plug with grounding fingers", "second-hand"),
        "class": ("cadmium, olive drab", "second-hand"),
        "shell": ("shell size 17", "second-hand"),
        "insert": ("arrangement 17-35 of MIL-STD-1560", "second-hand"),
        "contact": ("sockets, 500 mating cycles", "second-hand"),
        "position": ("normal keying", "second-hand"),
    }


def test_what_is_known_from_memory_only_says_so() -> None:
    """Every field of a MIL-DTL-26500 number but its position is from memory; a class in no table is called unknown."""
    found = meanings("MS24266R22B55SN")
    # public transcription of MIL-STD-1554A figure 1
    assert found.pop("position") == ("normal position", "second-hand")
    assert {status for _, status in found.values()} == {"memory"}
    assert meanings("MS24266Q22B55SN")["class"] == ("in no table here", "unknown")
    assert meanings("MS3456LS18-1S")["class"] == ("in no table here", "unknown")


# makers' catalogues in a public dataset: number of the sheet and BIN, colours of the bands
TRIPLES = """
56-348 orange/yellow/grey; 56-351 orange/green/brown; 56-352 orange/green/red; 56-353 orange/green/orange;
56-527 green/red/violet; 57-354 orange/green/yellow; 57-357 orange/green/violet; 57-358 orange/green/grey;
57-359 orange/green/white; 58-360 orange/blue/black; 58-363 orange/blue/orange; 58-364 orange/blue/yellow;
58-365 orange/blue/green; 58-528 green/red/grey; 63-368 orange/blue/grey; 64-369 orange/blue/white;
83-508 green/black/grey; 84-509 green/black/white; 106-614 blue/brown/yellow; 106-615 blue/brown/green
"""
BANDED = [tuple(each.split()) for each in TRIPLES.replace("\n", " ").split(";")]


@pytest.mark.parametrize(("number", "colours"), BANDED)
def test_a_contact_has_the_bands_of_its_bin(number: str, colours: str) -> None:
    """The bands are the digits of the BIN in reading order (makers' catalogues in a public dataset)."""
    found = read(f"M39029/{number}")
    assert isinstance(found, Contact)
    assert "/".join(each.colour for each in part_numbers.bands(found.bin)) == colours
    assert f"{found.sheet}-{found.bin}" == number
    assert read(f"AS39029/{number}").codes == found.codes


def test_every_digit_is_confirmed_by_a_contact() -> None:
    """The twenty triples hold each of the ten digits and colours, one to one."""
    assert len(BANDED) == 20
    seen = {pair for number, colours in BANDED for pair in zip(number.split("-")[1], colours.split("/"), strict=True)}
    assert sorted(digit for digit, _ in seen) == list("0123456789")
    assert len({colour for _, colour in seen}) == 10


def test_a_bin_below_100_keeps_its_black_band() -> None:
    """A BIN always has three digits (from memory)."""
    found = read("AS39029/5-015")
    assert isinstance(found, Contact)
    assert [each.colour for each in part_numbers.bands(found.bin)] == ["black", "brown", "green"]


@pytest.mark.parametrize(
    ("text", "sex"),
    [
        ("AS39029/58-360", Sex.PIN),  # makers' catalogues in a public dataset
        ("AS39029/56-348", Sex.SOCKET),
        ("AS39029/87-471", Sex.PIN),  # title of the detail sheet
        ("AS39029/99-123", None),
    ],
)
def test_the_sheet_of_a_contact_says_its_sex(text: str, sex: Sex | None) -> None:
    """Pins and sockets are on sheets of their own; a sheet that no table has leaves it open."""
    found = read(text)
    assert isinstance(found, Contact)
    assert found.sex is sex


@pytest.mark.parametrize(
    ("text", "code", "at", "expected"),
    [
        ("AS39029/58-36", "incomplete", 13, {"bin": "0123456789"}),
        ("AS39029/58-3600", "surplus", 14, {"end": ""}),
        ("AS39029/-360", "bad_sheet", 8, {"sheet": "0123456789"}),
        ("AS39029/1234-360", "unknown_form", 11, {"": "-"}),
        ("M81969/14-2", "incomplete", 11, {"dash": "0123456789"}),
        ("MS24256B20", "bad_half", 7, {"half": "AR"}),
        ("D38999/26WI35SN", "bad_shell", 10, {"shell": "ABCDEFGHJ"}),  # MIL-DTL-38999M Table I, second-hand
        ("D38999/40FA35SN", "bad_shell", 10, {"shell": "BCDEFGHJ"}),
        ("MS3476L12-10PN", "bad_position", 13, {"position": "WXYZ", "end": ""}),  # MIL-DTL-26482H, second-hand
        ("M83723/76K1415N", "bad_class", 9, {"class": "AGHJLMNPRSTWYZ"}),  # 83723G 3.7.1: K is threaded only
        ("M83723/76W1415A", "bad_position", 14, {"position": "123456789NY"}),
        ("D38999/26WE35", "incomplete", 13, {"insert": "0123456789", "contact": "ABCDGHJMPRSUXZ"}),
    ],
)
def test_a_fault_says_what_would_be_allowed(text: str, code: str, at: int, expected: dict[str, str]) -> None:
    """At the wrong character stands which fields could go on, and with what."""
    found = part_numbers.identify(text)
    assert isinstance(found, Fault)
    assert (found.code, found.at) == (code, at)
    assert {each.field: "".join(each.allowed) for each in found.expected} == expected


@given(st.sampled_from([each for pair in BANDED for each in (f"AS39029/{pair[0]}", "M81969/14-02", "D38999/26WE35SN")]))
def test_each_character_that_is_named_as_allowed_leads_on(text: str) -> None:
    """Putting an allowed character in the place of the wrong one moves the fault on or ends it."""
    for at in range(len(text)):
        wrong = f"{text[:at]}~{text[at + 1 :]}"
        found = part_numbers.identify(wrong)
        assert isinstance(found, Fault)
        assert found.at == at
        for expected in found.expected:
            for allowed in expected.allowed:
                better = part_numbers.identify(wrong[: found.at] + allowed + wrong[found.at + 1 :])
                assert not isinstance(better, Fault) or better.at > found.at


def test_a_tool_is_read() -> None:
    """Sheet and dash number of a tool (makers' catalogues in a public dataset)."""
    found = read("M81969/14-02")
    assert isinstance(found, Tool)
    assert found.codes == {"sheet": "14", "dash": "02"}
    assert meanings("M81969/14-02")["sheet"][1] == "second-hand"
    assert meanings("M81969/17-01")["sheet"][1] == "memory"
    assert meanings("MS24256A20")["half"] == ("inserts", "memory")


def test_only_connectors_are_decoded_as_connectors() -> None:
    """A contact or a tool is no connector, however well its number is formed."""
    assert isinstance(part_numbers.decode("AS39029/58-360"), Fault)
    assert isinstance(part_numbers.decode("M81969/14-02"), Fault)
