"""Marks against the vectors of the standards. `<GS>`, `<RS>`, `<EOT>` stand for the control characters themselves."""

import re

import msgspec
import numpy as np
import pytest
import zxingcpp

from service.core import marks
from service.core.marks import Meaning

CONTROLS = {"<GS>": "\x1d", "<RS>": "\x1e", "<EOT>": "\x04", "<FS>": "\x1c", "<US>": "\x1f"}


def raw(text: str) -> bytes:
    """The bytes of a text in which control characters are written by name."""
    return re.sub("<[A-Z]+>", lambda found: CONTROLS[found[0]], text).encode()


def message(code: str, *elements: str) -> bytes:
    """One envelope in a complete message."""
    return raw(f"[)><RS>{code}<GS>{'<GS>'.join(elements)}<RS><EOT>")


def codes(mark: marks.Mark) -> tuple[str, ...]:
    """The codes of a mark's faults."""
    return tuple(each.code for each in mark.faults)


# ISO/IEC 15434 envelopes; the hexadecimal form was printed by an encoder, the third message by a public explainer.
ENVELOPES = [
    ("18S0CVA5786950", "06", "5b293e1e30361d31385330435641353738363935301e04", {"18S": "0CVA5786950"}),
    (
        "17V0CVA5<GS>1P1234<GS>S786950",
        "06",
        "5b293e1e30361d31375630435641351d3150313233341d533738363935301e04",
        {"17V": "0CVA5", "1P": "1234", "S": "786950"},
    ),
    (
        "MFR 0CVA5<GS>SER 674A36458",
        "12",
        "5b293e1e31321d4d46522030435641351d534552203637344133363435381e04",
        {"MFR": "0CVA5", "SER": "674A36458"},
    ),
    (
        "CAG 0CVA5<GS>PNO 1234<GS>SEQ 786950",
        "12",
        "5b293e1e31321d4341472030435641351d504e4f20313233341d534551203738363935301e04",
        {"CAG": "0CVA5", "PNO": "1234", "SEQ": "786950"},
    ),
]


@pytest.mark.parametrize(("elements", "code", "hexadecimal", "fields"), ENVELOPES)
def test_an_envelope_gives_its_elements(elements: str, code: str, hexadecimal: str, fields: dict[str, str]) -> None:
    """A complete message is read element by element, without a deviation (ISO/IEC 15434)."""
    data = message(code, elements)
    assert data.hex() == hexadecimal
    mark = marks.read(data)
    assert mark.fields == fields
    assert mark.deviations == ()
    assert mark.meaning is Meaning.IUID


def test_a_message_may_hold_several_envelopes() -> None:
    """Each envelope is read in its own format (the example of ANSI MH10.8.2 under 34L)."""
    mark = marks.read(
        raw(
            "[)><RS>06<GS>25SUN123456789PA12345<GS>4LUS<GS>16D20131108<GS>34LHTTP://EXAMPLE/?SCAN="
            "<RS>05<GS>13131108<RS><EOT>"
        )
    )
    assert [(each.format, each.qualifier) for each in mark.elements] == [
        ("06", "25S"),
        ("06", "4L"),
        ("06", "16D"),
        ("06", "34L"),
        ("05", "13"),
    ]
    assert mark.fields["13"] == "131108"
    assert mark.identity == "UN123456789PA12345"


# MIL-STD-130N w/Change 1: Table A-II, its TEI examples as retold by a trade page, its Figure 8 (U11); U3-U10, U12 and
# U13 are derived from the table.
IDENTITIES = [
    ("U1", message("12", "MFR 0CVA5", "SER 674A36458"), "D0CVA5674A36458", "construct_1"),
    ("U2", message("12", "CAG A3309", "SER 1234567"), "DA33091234567", "construct_1"),
    ("U3", message("06", "18S0CVA5786950"), "D0CVA5786950", "construct_1"),
    ("U4", message("06", "17V0CVA5", "1P1234", "S786950"), "D0CVA51234786950", "construct_2"),
    ("U5", message("06", "17V0CVA5", "1T1234", "S786950"), "D0CVA51234786950", "construct_2"),
    ("U6", message("06", "12V123456789", "1P1234", "S786950"), "UN1234567891234786950", "construct_2"),
    ("U7", message("06", "7LW81X9C", "1P1234", "S786950"), "LDW81X9C1234786950", "construct_2"),
    ("U8", message("06", "25SUN123456789PA12345"), "UN123456789PA12345", "complete"),
    ("U9", message("12", "CAG 0CVA5", "PNO 1234", "SEQ 786950"), "D0CVA51234786950", "construct_2"),
    ("U10", message("12", "SPL 0F3N5", "UCN 10936"), "D0F3N510936", "construct_1"),
    ("U11", message("05", "800406141419999960MH80312"), "06141419999960MH80312", "equivalent"),
    (
        "U12",
        message("06", "17V0CVA5", "1P4202435-01", "S674A36458", "30P4202435-02"),
        "D0CVA54202435-01674A36458",
        "construct_2",
    ),
    ("U13", message("06", "25SD0CVA5786950", "17V0CVA5", "1P9", "S1"), "D0CVA5786950", "complete"),
    ("GS1 prefix", message("06", "3V061414199", "1P1234", "S786950"), "0614141991234786950", "construct_2"),
    ("agency code given", message("06", "18VD0CVA5", "1T1234", "S786950"), "D0CVA51234786950", "construct_2"),
    ("agency code beside", message("06", "17V0CVA5", "18VD0CVA5", "1P1", "S2"), "D0CVA512", "construct_2"),
    ("other agency", message("06", "18VLHA123", "1P1", "S2"), "LHA12312", "construct_2"),
    # ANSI MH10.8.2: agency code, enterprise, part number, plus sign, serial.
    ("self-delimiting", message("06", "37SD0CVA51234+786950"), "D0CVA51234786950", "construct_2"),
    ("self-delimiting, DUNS", message("06", "37SUN1234567891234+7"), "UN12345678912347", "construct_2"),
    ("VIN", message("06", "I1M8GDM9AXKP042788"), "1M8GDM9AXKP042788", "equivalent"),
    ("ESN", message("06", "22S80A0B1C2"), "80A0B1C2", "equivalent"),
    ("DUNS", message("12", "DUN 123456789", "UCN 10936"), "UN12345678910936", "construct_1"),
    ("GS1 prefix in text", message("12", "EUC 0614141", "LOT 77", "SEQ 5"), "0614141775", "construct_2"),
    ("legacy DD", message("DD", "MFR 0CVA5", "SER 674A36458"), "D0CVA5674A36458", "construct_1"),
    ("whole in text", message("12", "UID D0CVA5786950", "PNR 77"), "D0CVA5786950", "complete"),
    ("serialised asset", message("05", "80030950600013435277A1"), "0950600013435277A1", "equivalent"),
    ("cellular id", message("05", "8002490154203237518"), "490154203237518", "equivalent"),
]


@pytest.mark.parametrize(("name", "data", "uii", "construct"), IDENTITIES, ids=[each[0] for each in IDENTITIES])
def test_elements_make_the_identity(name: str, data: bytes, uii: str, construct: str) -> None:
    """The elements of a mark give the UII that MIL-STD-130N says."""
    mark = marks.read(data)
    assert (mark.meaning, mark.identity, mark.construct) == (Meaning.IUID, uii, construct), name
    assert mark.faults == ()


REFUSED = [
    # MIL-STD-130N; N1 after the CAGE alphabet of GS1's TDT files, N5 after the 50 characters of public IUID pages.
    ("N1 I in a CAGE code", message("06", "17V0CVI5", "1P1", "S1"), "bad_enterprise"),
    ("N2 serial alone", message("06", "17V0CVA5", "S1"), "serial_without_part"),
    ("N3 no enterprise", message("06", "1P1234", "S786950"), "no_enterprise"),
    ("N4 space", message("06", "17V0CVA5", "1P12 34", "S1"), "illegal_character"),
    ("N4 number sign", message("06", "17V0CVA5", "1P12#34", "S1"), "illegal_character"),
    ("N4 lower case", message("06", "17V0CVA5", "1P1234", "Sa1"), "illegal_character"),
    ("N5 51 characters", message("06", "17V0CVA5", "1P" + "1" * 32, "S" + "2" * 13), "too_long"),
    ("N6 two serials", message("06", "17V0CVA5", "1P1", "S1", "S2"), "duplicate_qualifier"),
    ("same serial twice", message("06", "17V0CVA5", "1P1", "S1", "S1"), "duplicate_qualifier"),
    ("empty value", message("06", "17V0CVA5", "1P", "S1"), "empty_value"),
    ("trailing separator", message("06", "17V0CVA5", "1P1", "S1", ""), "empty_value"),
    ("no qualifier", message("06", "17V0CVA5", "1P1", "S1", "?9"), "unknown_qualifier"),
    ("unassigned qualifier", message("06", "17V0CVA5", "1P1", "S1", "99S9"), "unknown_qualifier"),
    ("text without a space", message("12", "MFR 0CVA5", "SER674"), "unknown_qualifier"),
    ("between two assigned ones", message("06", "17V0CVA5", "1P1", "S1", "29S9"), "unknown_qualifier"),
    ("unknown application", message("05", "8004061414199", "68X"), "unknown_qualifier"),
    ("letter in an application", message("05", "8004061414199", "80A4X"), "unknown_qualifier"),
    ("part and lot", message("06", "17V0CVA5", "1P1", "1T2", "S1"), "ambiguous_identity"),
    ("two enterprises", message("12", "MFR 0CVA5", "SPL 0F3N5", "SER 1"), "ambiguous_identity"),
    ("two constructs", message("12", "MFR 0CVA5", "SER 1", "PNO 2", "SEQ 3"), "ambiguous_identity"),
    ("two whole ones", message("06", "25SUN123456789A1", "I1M8GDM9AXKP042788"), "ambiguous_identity"),
    ("bad CAGE in a whole one", message("06", "25SD0CVO5786950"), "bad_enterprise"),
    ("no plus sign", message("06", "37SD0CVA51234786950"), "bad_enterprise"),
    ("two plus signs", message("06", "37SD0CVA51234+78+6950"), "bad_enterprise"),
    ("no serial after the plus sign", message("06", "37SD0CVA51234+"), "bad_enterprise"),
    ("no part number before it", message("06", "37SD0CVA5+786950"), "bad_enterprise"),
    ("CAGE without a serial", message("06", "18S0CVA5"), "bad_enterprise"),
    ("lower-case CAGE", message("12", "MFR 0cva5", "SER 1"), "illegal_character"),
    ("short CAGE", message("12", "MFR CVA5", "SER 1"), "bad_enterprise"),
    ("long CAGE", message("12", "MFR 0CVA55", "SER 1"), "bad_enterprise"),
    ("whole one invalid", message("06", "25SD0CVI5786950", "17V0CVA5", "1P9", "S1"), "bad_enterprise"),
    ("kind of asset only", message("05", "800309506000134352"), "no_identity"),
    ("wrong check digit", message("05", "80030950600013435377A1"), "check_digit"),
    ("a date only", message("06", "16D20131108"), "no_identity"),
    ("split over envelopes", raw("[)><RS>06<GS>17V0CVA5<GS>1P1<RS>06<GS>S1<RS><EOT>"), "serial_without_part"),
    ("envelopes that differ", raw("[)><RS>06<GS>18S0CVA51<RS>12<GS>MFR 0CVA5<GS>SER 2<RS><EOT>"), "ambiguous_identity"),
]


@pytest.mark.parametrize(("name", "data", "code"), REFUSED, ids=[each[0] for each in REFUSED])
def test_nothing_doubtful_gives_an_identity(name: str, data: bytes, code: str) -> None:
    """A mark whose elements do not make exactly one legal identity gives none, and says why."""
    mark = marks.read(data)
    assert (mark.meaning, mark.identity) == (Meaning.NO_IDENTITY, None), name
    assert code in codes(mark)
    assert all(each.text.endswith(".") for each in mark.faults)
    assert mark.elements != ()
    assert marks.look_up_keys(mark) == ()


MALFORMED = [
    # ISO/IEC 15434, negatives.
    ("no RS", "[)>06<GS>17V0CVA5<RS><EOT>", "no_header"),
    ("one-digit format", "[)><RS>6<GS>18S0CVA51<RS><EOT>", "unknown_format"),
    ("no element", "[)><RS>06<GS><RS><EOT>", "no_element"),
    ("unassigned format", "[)><RS>99<GS>X<RS><EOT>", "unknown_format"),
    ("no GS after the code", "[)><RS>0618S0CVA51<GS>1P2<RS><EOT>", "no_separator"),
    ("no envelope between", "[)><RS>06<GS>18S0CVA51<RS><RS><EOT>", "unknown_format"),
    ("two scans run together", "[)><RS>06<GS>18S0CVA51<RS><EOT>[)><RS>06<GS>18S0CVA52<RS><EOT>", "data_after_end"),
    ("a line feed inside", "[)><RS>06<GS>18S0CVA51\n<GS>1P2<RS><EOT>", "control_characters"),
]


@pytest.mark.parametrize(("name", "text", "code"), MALFORMED, ids=[each[0] for each in MALFORMED])
def test_a_broken_message_is_refused(name: str, text: str, code: str) -> None:
    """A message whose header or structure is wrong is refused whole."""
    mark = marks.read(raw(text))
    assert (mark.meaning, mark.identity, codes(mark)) == (Meaning.MALFORMED, None, (code,)), name


@pytest.mark.parametrize(
    "text",
    [
        "[)>0617V0CVA51P1234S786950",
        "[)><RS>0617V0CVA51P1234S786950<RS><EOT>",
        "[)>\u241e06\u241d17V0CVA5\u241d1P1234\u241dS786950\u241e\u2404",
        "[)>\uf70c06\uf70b17V0CVA5\uf70b1P1234\uf70bS786950\uf70c",
        "06\u241d17V0CVA5",
        "[)>~d03006~d02917V0CVA5",
    ],
)
def test_lost_separators_are_never_guessed(text: str) -> None:
    """A message without its separators is refused with a hint at the scanner's set-up (issue threads on wedges)."""
    mark = marks.read(raw(text))
    assert (mark.meaning, mark.identity) == (Meaning.SEPARATORS_LOST, None)
    assert "scanner set-up" in mark.faults[0].text


@pytest.mark.parametrize(
    ("end", "deviations"),
    [
        ("<RS><EOT>", ()),
        ("<RS>", ("missing_eot",)),
        ("<EOT>", ("missing_rs",)),
        ("", ("missing_eot", "missing_rs")),
        ("<RS><EOT>\r", ()),
        ("<RS><EOT>\r\n", ()),
        ("<RS>\t", ("missing_eot",)),
        ("\n", ("missing_eot", "missing_rs")),
    ],
)
def test_a_missing_end_is_forgiven_and_recorded(end: str, deviations: tuple[str, ...]) -> None:
    """A final RS or EOT that the scanner dropped, and one wedge suffix, change nothing but the deviations."""
    mark = marks.read(raw("[)><RS>06<GS>17V0CVA5<GS>1P1234<GS>S786950" + end))
    assert (mark.identity, mark.deviations) == ("D0CVA51234786950", deviations)


@pytest.mark.parametrize("suffix", ["\r\r", "\t\t", "\n\r", "\n\n"])
def test_only_one_suffix_is_taken_off(suffix: str) -> None:
    """A second wedge suffix is data, and no serial holds control characters."""
    assert codes(marks.read(f"SN1{suffix}".encode())) == ("control_characters",)


def test_the_identity_of_a_second_serial_is_recorded() -> None:
    """A whole UII stands; the serial beside it, which MIL-STD-130N Change 1 forbids, is a deviation."""
    mark = marks.read(message("06", "25SD0CVA5786950", "17V0CVA5", "1P9", "S1"))
    assert (mark.identity, mark.serial, mark.deviations) == ("D0CVA5786950", None, ("second_serial",))


@pytest.mark.parametrize(
    ("data", "uii"),
    [
        (message("12", "USN 0CVA5674"), "D0CVA5674"),
        (message("12", "UST 0F3N510936"), "D0F3N510936"),
        (message("12", "MFR 0CVA5", "BII 77", "SEQ 5"), "D0CVA5775"),
        (message("12", "USN 0CVA5674", "MFR 0CVA5", "SER 674"), "D0CVA5674"),
    ],
)
def test_qualifiers_known_from_memory_say_so(data: bytes, uii: str) -> None:
    """USN, UST and BII (from memory) give an identity, marked as resting on memory."""
    mark = marks.read(data)
    assert mark.identity == uii
    assert "qualifier_from_memory" in mark.deviations or "MFR" in mark.fields


def test_other_text_elements_do_not_spoil_a_label() -> None:
    """A text element of the right form that says nothing about identity is kept and noted."""
    mark = marks.read(message("12", "MFR 0CVA5", "SER 674A36458", "DMF 20240131"))
    assert (mark.identity, mark.deviations) == ("D0CVA5674A36458", ("unlisted_qualifier",))
    assert mark.fields["DMF"] == "20240131"


def test_the_parts_of_an_identity_are_kept_apart() -> None:
    """Original and current part number, lot and serial of a mark stay apart (MIL-STD-130N Table IV notes)."""
    mark = marks.read(message("06", "17V0CVA5", "1P4202435-01", "S674A36458", "30P4202435-02"))
    assert (mark.cage, mark.part_number, mark.serial) == ("0CVA5", "4202435-01", "674A36458")
    assert mark.current_part_number == "4202435-02"
    assert "4202435-02" not in (mark.identity or "")
    lot = marks.read(message("06", "17V0CVA5", "1T1234", "S786950", "30T9"))
    assert (lot.part_number, lot.lot, lot.serial) == (None, "1234", "786950")


def test_a_self_delimiting_uii_keeps_its_parts_apart() -> None:
    """37S says where the part number ends, which the concatenation it stands for does not (ANSI MH10.8.2)."""
    mark = marks.read(message("06", "37SD0CVA5M-12/3+4786950"))
    assert (mark.cage, mark.part_number, mark.serial) == ("0CVA5", "M-12/3", "4786950")
    assert not marks.contradicts(mark, "4786950", "0CVA5", "M-12/3")
    assert marks.contradicts(mark, "786950", "0CVA5", "M-12/34")


def test_a_repeated_element_keeps_both_values() -> None:
    """Nothing that a mark holds is lost in its fields."""
    mark = marks.read(message("06", "18S0CVA5786950", "Q4", "Q5"))
    assert mark.fields == {"18S": "0CVA5786950", "Q": "4", "Q (2)": "5"}


def test_a_lenient_gs1_label_is_read() -> None:
    """Elements that GS1 would only allow beside others do not spoil a GIAI (MIL-STD-130N Figure 8 as retold)."""
    mark = marks.read(message("05", "800406141419999960MH80312", "21MH80312", "950614141", "24099999"))
    assert mark.identity == "06141419999960MH80312"
    assert mark.fields == {"8004": "06141419999960MH80312", "21": "MH80312", "95": "0614141", "240": "99999"}


def test_application_identifiers_of_fixed_length_need_no_separator() -> None:
    """An identifier of predefined length ends by itself (GS1 syntax dictionary, file header)."""
    mark = marks.read(message("05", "1199122598TESTING", "010950600013435221ABC123"))
    assert mark.fields == {"11": "991225", "98": "TESTING", "01": "09506000134352", "21": "ABC123"}
    assert mark.identity == "https://id.gs1.org/01/09506000134352/21/ABC123"


@pytest.mark.parametrize(
    ("text", "symbology", "expected"),
    [
        # ISO/IEC 15424, from scanner makers' tables.
        ("]d1[)><RS>06<GS>18S0CVA5786950<RS><EOT>", None, (Meaning.IUID, "D0CVA5786950", "]d1")),
        ("[)><RS>06<GS>18S0CVA5786950<RS><EOT>", "]d7", (Meaning.IUID, "D0CVA5786950", "]d7")),
        ("]Q1SN-00123", None, (Meaning.PLAIN_SERIAL, "SN-00123", "]Q1")),
        ("]C0SN-00123", "]d1", (Meaning.PLAIN_SERIAL, "SN-00123", "]C0")),
        ("SN]d1", None, (Meaning.PLAIN_SERIAL, "SN]d1", None)),
        (
            "]d2010950600013435221ABC123",
            None,
            (Meaning.GS1, "https://id.gs1.org/01/09506000134352/21/ABC123", "]d2"),
        ),
        ("0109506000134352", "]C1", (Meaning.GS1, None, "]C1")),
        ("]d1", None, (Meaning.UNREADABLE, None, "]d1")),
        ("]X", None, (Meaning.PLAIN_SERIAL, "]X", None)),
    ],
)
def test_a_symbology_identifier_is_taken_off(text: str, symbology: str | None, expected: tuple[object, ...]) -> None:
    """The identifier in front of the data is not data, and it tells GS1 symbols from others."""
    mark = marks.read(raw(text), symbology)
    assert (mark.meaning, mark.identity, mark.symbology) == expected


@pytest.mark.parametrize(
    "text",
    [
        "6F9619FF-8B86-4D01-B42D-00CF4FC964FF",
        "6f9619ff-8b86-4d01-b42d-00cf4fc964ff\r",
        "https://records.example/connectors/6F9619FF-8B86-4D01-B42D-00CF4FC964FF",
        "http://127.0.0.1:8600/connectors/6f9619ff-8b86-4d01-b42d-00cf4fc964ff",
    ],
)
def test_our_own_label_is_a_connector_id(text: str) -> None:
    """A UUID is the id of a connector, however its letters are printed, and so is the address of its page on a tag."""
    mark = marks.read(text.encode())
    assert (mark.meaning, mark.identity) == (Meaning.CONNECTOR_ID, "6f9619ff-8b86-4d01-b42d-00cf4fc964ff")


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"\r", "empty"),
        (b"   ", "empty"),
        (b"SN\xff\xfe", "not_utf8"),
        (b"\xe8" + b"0109506000134352", "not_utf8"),
        (b"SN\x001", "control_characters"),
        (b"17V0CVA5\x1d1P1\x1dS1", "control_characters"),
        (b"x[)>\x1e06\x1d18S0CVA51\x1e\x04", "control_characters"),
        (b"A" * 2001, "too_long"),
        (b"A" * 201, "too_long"),
    ],
)
def test_what_cannot_be_read_says_why(data: bytes, code: str) -> None:
    """Unreadable data is a mark with its reason, never an error."""
    mark = marks.read(data)
    assert (mark.meaning, mark.identity, codes(mark)) == (Meaning.UNREADABLE, None, (code,))


def test_a_plain_serial_is_taken_exactly() -> None:
    """Neither case nor spaces of a serial are changed; spaces at its ends are noted."""
    assert marks.read(b"sn-0042").identity == "sn-0042"
    for text in (" SN 0042", "SN 0042 ", " SN 0042 "):
        mark = marks.read(text.encode())
        assert (mark.identity, mark.deviations) == (text, ("outer_spaces",))
    assert marks.read(b"SN 0042").deviations == ()


def test_the_limits_themselves_are_allowed() -> None:
    """50 characters of UII, 200 of a serial and 2 000 bytes of a message are still read."""
    assert marks.read(message("06", "17V0CVA5", "1P" + "1" * 31, "S" + "2" * 13)).meaning is Meaning.IUID
    assert marks.read(b"A" * 200).meaning is Meaning.PLAIN_SERIAL
    longest = message("06", "18S0CVA51", "Z" + "x" * 1980)
    assert len(longest) == 2000
    assert marks.read(longest).identity == "D0CVA51"
    assert marks.read(longest + b"\r").meaning is Meaning.UNREADABLE


def test_only_a_cage_code_is_kept_as_one() -> None:
    """The enterprise of another agency is not a CAGE code; one given with its agency code D is."""
    assert marks.read(message("06", "18VD0CVA5", "1T1234", "S786950")).cage == "0CVA5"
    assert marks.read(message("06", "18VLHA123", "1P1", "S2")).cage is None
    assert marks.read(message("06", "7LW81X9C", "1P1234", "S786950")).cage is None


PRINTED = [
    *((each[0], each[1]) for each in IDENTITIES),
    *((each[0], each[1]) for each in REFUSED),
    *((each[0], raw(each[1])) for each in MALFORMED),
]


@pytest.mark.parametrize(("name", "data"), PRINTED, ids=[each[0] for each in PRINTED])
@pytest.mark.parametrize("kind", ["DataMatrix", "QRCode", "PDF417"])
def test_a_printed_mark_reads_like_its_text(name: str, data: bytes, kind: str) -> None:
    """Every vector, printed as a symbol and read back, gives its bytes and the same mark."""
    options = {"force_square": True} if kind == "DataMatrix" else {}
    symbol = zxingcpp.create_barcode(data.decode(), getattr(zxingcpp.BarcodeFormat, kind), **options)
    (found,) = zxingcpp.read_barcodes(np.array(symbol.to_image(scale=4)))
    assert found.bytes == data, name
    mark = marks.read(found.bytes, found.symbology_identifier)
    assert msgspec.structs.replace(mark, symbology=None) == marks.read(data)
