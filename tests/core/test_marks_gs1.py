"""GS1 marks against the vectors of GS1's own syntax engine and dictionary. `<GS>` stands for the separator."""

import msgspec
import numpy as np
import pytest
import zxingcpp
from biip.gs1_digital_link_uris import _PRIMARY_IDENTIFIERS
from biip.gs1_messages import GS1Message
from hypothesis import given
from hypothesis import strategies as st

from service.core import digital_link, identity, marks
from service.core.identity import Construct
from service.core.marks import Meaning
from tests.core.test_marks import codes, raw

SERIALISED = "https://id.gs1.org/01/12312312312333/21/"


def fields(text: str) -> dict[str, str]:
    """`01=123 10=A` as a dictionary."""
    return dict(each.split("=", 1) for each in text.split(" "))


# Scan data of the GS1 syntax engine's tests: what was scanned, and the elements that it states.
SCANNED = [
    ("]Q3011231231231233310ABC123<GS>99TESTING", "01=12312312312333 10=ABC123 99=TESTING"),
    ("]d2011231231231233310ABC123<GS>99TESTING", "01=12312312312333 10=ABC123 99=TESTING"),
    ("]C10112312312312333235XYZ<GS>10ABC", "01=12312312312333 235=XYZ 10=ABC"),
    (
        "]e0011231231231233310ABC123<GS>1199122598TESTING<GS>97XYZ",
        "01=12312312312333 10=ABC123 11=991225 98=TESTING 97=XYZ",
    ),
    ("]E02112345678900", "01=02112345678900"),
]


@pytest.mark.parametrize(("text", "elements"), SCANNED)
def test_scan_data_give_their_elements(text: str, elements: str) -> None:
    """GS1 data are told apart as the syntax engine does; a kind of item alone is no identity (GS1 syntax engine tests)."""
    mark = marks.read(raw(text))
    assert (mark.meaning, mark.fields, mark.deviations) == (Meaning.GS1, fields(elements), ())
    assert (mark.identity, codes(mark)) == (None, ("no_identity",))


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("]Q1TESTING", (Meaning.PLAIN_SERIAL, "TESTING")),
        ("]d1^TESTING", (Meaning.PLAIN_SERIAL, "^TESTING")),
        ("ABC", (Meaning.PLAIN_SERIAL, "ABC")),
        ("]", (Meaning.PLAIN_SERIAL, "]")),
        ("]X", (Meaning.PLAIN_SERIAL, "]X")),
        ("", (Meaning.UNREADABLE, None)),
        ("]XX", (Meaning.UNREADABLE, None)),
        ("]d2", (Meaning.UNREADABLE, None)),
        ("]Q3", (Meaning.UNREADABLE, None)),
        ("]C1", (Meaning.UNREADABLE, None)),
        ("]C101123123123133^10ABC", (Meaning.GS1, None)),
        ("]E02112345678901", (Meaning.GS1, None)),
        ("]E41234567", (Meaning.GS1, None)),
    ],
)
def test_what_is_no_gs1_data(text: str, meaning: tuple[Meaning, str | None]) -> None:
    """What the syntax engine does not take as GS1 data gives no GS1 identity here (GS1 syntax engine tests)."""
    mark = marks.read(raw(text))
    assert (mark.meaning, mark.identity) == meaning


@pytest.mark.parametrize(
    ("digits", "good"),
    [
        # GS1 syntax engine, lint_csum.c.
        ("09506000134352", True),
        ("12312312312333", True),
        ("09501101530003", True),
        ("00614141999996", True),
        ("09521234543213", True),
        ("09506000134353", False),
    ],
)
def test_a_wrong_check_digit_is_a_fault(digits: str, *, good: bool) -> None:
    """A GTIN with a wrong check digit forbids an identity, in a symbol, a message and a link alike."""
    for text in (f"]d201{digits}21X", f"[)><RS>05<GS>01{digits}<GS>21X<RS><EOT>", f"https://a/01/{digits}/21/X"):
        mark = marks.read(raw(text))
        assert codes(mark) == (() if good else ("check_digit",))
        assert mark.identity == (f"https://id.gs1.org/01/{digits}/21/X" if good else None)


# Each of the dictionary's linters `csum` that an element of ours can have.
@pytest.mark.parametrize("text", ["]d200006141411234567891", "]d24142112345678901", "]d2800309506000134353A1"])
def test_other_keys_have_check_digits_too(text: str) -> None:
    """A shipping container, a location and a returnable asset with a wrong check digit are refused."""
    assert "check_digit" in codes(marks.read(raw(text)))


# GS1 Digital Link vectors of the syntax engine.
LINKS = [
    ("https://a/01/12312312312333/22/TEST/10/ABC/21/XYZ", "01=12312312312333 22=TEST 10=ABC 21=XYZ"),
    ("https://a/01/12312312312333/22/ABC%2d123?99=ABC&98=XYZ%2f987", "01=12312312312333 22=ABC-123 99=ABC 98=XYZ/987"),
    ("https://a/01/12312312312333?unknown=666&99=ABC", "01=12312312312333 99=ABC"),
    ("https://a/8004/9520614141234567?01=09521234543213", "8004=9520614141234567 01=09521234543213"),
    ("https://a/00/faux/00/006141411234567890", "00=006141411234567890"),
    ("https://a/253/1231231231232TEST5678901234567", "253=1231231231232TEST5678901234567"),
    ("HTTPS://A/STEM/01/12312312312333/21/XYZ#about", "01=12312312312333 21=XYZ"),
    ("http://a/01/12312312312333/21/A%2BB?98=C%2BD", "01=12312312312333 21=A+B 98=C+D"),
]
IDENTITIES = {
    LINKS[0][0]: SERIALISED + "XYZ",
    LINKS[3][0]: "9520614141234567",
    LINKS[6][0]: SERIALISED + "XYZ",
    LINKS[7][0]: SERIALISED + "A%2BB",
}


@pytest.mark.parametrize("symbology", ["", "]Q1", "]d1"])
@pytest.mark.parametrize(("link", "elements"), LINKS)
def test_a_digital_link_gives_its_elements(symbology: str, link: str, elements: str) -> None:
    """The path and query of a GS1 Digital Link are elements, with an identifier of the symbol before it or without."""
    mark = marks.read((symbology + link).encode())
    assert (mark.meaning, mark.fields) == (Meaning.GS1, fields(elements))
    assert mark.identity == IDENTITIES.get(link)


NO_LINKS = [
    # GS1 syntax engine tests.
    "HtTp://a/b/00/006141411234567890",
    "https://00/006141411234567890",
    "https://a/stem/00/006141411234567890/",
    "https://a/01/12312312312333?99=",
    "https://a/01/12312312312333?99=ABC&999=faux",
    "https://a/253/1231231231232TEST56789012345678",
    "https://a/gtin/12312312312333",
    "https://a/01/2112345678900",
    "https://a/01/12312312312333/22/ABC%2d123?98=XYZ+987",
    # Ours, after the same rules.
    "https:///01/12312312312333/21/X",
    "https://a/01/12312312312333/21/",
    "https://a/01/12312312312333/21/X/10/A",
    "https://a/01/12312312312333/21/A%20B",
    "https://a/01/%D9%A112312312312333/21/X",
    "https://a/01/12312312312333/21/X?21=\u0661",
]


@pytest.mark.parametrize("link", NO_LINKS)
def test_a_broken_link_is_no_gs1_identity(link: str) -> None:
    """A web address that breaks a rule of GS1 Digital Link gives no GS1 identity; with a GS1 key in it, none at all."""
    with pytest.raises(digital_link.LinkError):
        digital_link.read(link)
    mark = marks.read(link.encode())
    if digital_link.is_meant(link):
        assert (mark.meaning, mark.identity, codes(mark)) == (Meaning.GS1, None, ("bad_link",))
    else:
        assert (mark.meaning, mark.identity) == (Meaning.PLAIN_SERIAL, link)


def test_the_keys_of_a_link_are_those_of_the_parser() -> None:
    """The list of keys that may begin a path is the parser's own."""
    assert {each.ai.ai for each in _PRIMARY_IDENTIFIERS} == digital_link.KEYS


# 8004, 8003 with a serial and 8002 are recognised equivalents of a UII (MIL-STD-130N w/Change 1, GS1).
EQUIVALENTS = [
    ("]d2800406141419999960MH80312", "06141419999960MH80312"),
    ("]C180030950600013435277A1", "0950600013435277A1"),
    ("]Q38002490154203237518", "490154203237518"),
    ("https://id.gs1.org/8004/06141419999960MH80312", "06141419999960MH80312"),
    ("https://id.gs1.org/8003/0950600013435277A1", "0950600013435277A1"),
    ("]d2010950600013435221ABC<GS>800406141419999960MH80312", "06141419999960MH80312"),
]


@pytest.mark.parametrize(("text", "uii"), EQUIVALENTS)
def test_an_equivalent_is_the_uii(text: str, uii: str) -> None:
    """The value of a GIAI, a serialised GRAI or a cellular id is the UII, whatever stands beside it (MIL-STD-130N)."""
    mark = marks.read(raw(text))
    assert (mark.meaning, mark.identity, mark.construct) == (Meaning.GS1, uii, Construct.EQUIVALENT)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("]d2010950600013435221ABCDEFGHIJKLMNOPQRSTU10X", "unknown_qualifier"),  # 21 characters of serial
        ("]d2010950600013435221ABCDEFGHIJKLMNOPQRST10LOT1", "unknown_qualifier"),  # no separator after the serial
        ("]d2\u0660\u0661\u0660\u0669\u0665", "unknown_qualifier"),
        ("]d28004abc", "illegal_character"),  # legal for GS1, not in a UII
        ("]d28004A<GS>8002B", "ambiguous_identity"),
        ("]d2010950600013435221A<GS>21B", "duplicate_qualifier"),
        ("]d2010950600013435221A<GS>80101231231XYZ<GS>80117", "ambiguous_identity"),
        ("]d221ABC", "no_identity"),
        ("]d28004A<GS>11991325", "unknown_qualifier"),  # month 13
        ("]d2010950600013435221A\x00B", "unknown_qualifier"),
        ("]C101095060001343522", "unknown_qualifier"),
        ("]E021123456789", "wrong_length"),
        ("[)><RS>06<GS>S1<RS>05<GS>0109506000134352<GS>21A<RS><EOT>", "no_enterprise"),
    ],
)
def test_nothing_doubtful_gives_a_gs1_identity(text: str, code: str) -> None:
    """A value of the wrong form, a lost separator or two identities are refused with a reason, never guessed."""
    mark = marks.read(raw(text))
    assert mark.identity is None
    assert code in codes(mark)
    assert marks.look_up_keys(mark) == ()


@pytest.mark.parametrize(
    ("text", "deviations"),
    [
        # GS1 syntax dictionary: what an identifier requires and excludes.
        ("]d28004A<GS>21B", ("gs1_association",)),
        ("]d28004A<GS>240B", ("gs1_association",)),
        ("]d2010950600013435221A<GS>235B", ("gs1_association",)),
        ("]d2010950600013435221A<GS>3712", ("gs1_association",)),
        ("]d20109506000134352250A<GS>21B", ()),
        ("]d28004A<GS>0209506000134352", ("gs1_association",)),
        ("]d28004A<GS>11991200", ()),
        ("]d28004A<GS>", ("extra_separator",)),
        ("[)><RS>05<GS>800406141419999960MH80312<GS>21MH80312<GS>950614141<GS>24099999<RS><EOT>", ("gs1_association",)),
    ],
)
def test_rules_of_association_are_only_noted(text: str, deviations: tuple[str, ...]) -> None:
    """Elements that need or exclude others are a deviation: marks of the DoD's practice break those rules."""
    mark = marks.read(raw(text))
    assert (mark.identity is not None, mark.deviations) == (True, deviations)


def test_a_gs1_key_in_a_message_is_one() -> None:
    """Format 05 gives the identity that the GS1 symbol gives; beside a UII of another format it is information."""
    symbol = marks.read(raw("]d2010950600013435221ABC"))
    message = marks.read(raw("[)><RS>05<GS>0109506000134352<GS>21ABC<RS><EOT>"))
    assert (message.meaning, message.identity) == (Meaning.GS1, symbol.identity)
    both = marks.read(raw("[)><RS>06<GS>18S0CVA51<RS>05<GS>0109506000134352<GS>21ABC<RS><EOT>"))
    assert (both.meaning, both.identity) == (Meaning.IUID, "D0CVA51")


def test_a_component_number_with_serial_is_a_key() -> None:
    """8010 with 8011 names one part (GS1 syntax dictionary)."""
    mark = marks.read(raw("]d280101231231XY/Z<GS>80117"))
    assert mark.identity == "https://id.gs1.org/8010/1231231XY%2FZ/8011/7"


def test_every_form_of_a_gs1_mark_finds_its_connector() -> None:
    """A connector whose serial is its Digital Link, on any domain, or its UII is found by symbol, message and link."""
    scans = (
        "]d2010950600013435221AB/C",
        "https://b/x/01/09506000134352/10/LOT/21/AB%2FC?99=X",
        "]C1010950600013435221AB/C",
    )
    for serial in (
        "https://id.gs1.org/01/09506000134352/21/AB%2FC",
        "https://shop.example/01/09506000134352/21/AB%2fC",
    ):
        for text in scans:
            mark = marks.read(text.encode())
            assert set(marks.look_up_keys(mark)) & set(marks.keys(serial))
            assert not marks.contradicts(mark, serial)
    asset = marks.read(b"]d2800406141419999960MH80312")
    assert set(marks.look_up_keys(asset)) & set(marks.keys("06141419999960MH80312"))
    assert marks.keys("https://a/01/09506000134353/21/X") == ("https://a/01/09506000134353/21/X",)


PRINTED = [
    ("(01)12312312312333(10)ABC123(99)TESTING", SCANNED[0][1]),
    ("(01)12312312312333(10)ABC(235)XYZ", "01=12312312312333 10=ABC 235=XYZ"),
    ("(8004)06141419999960MH80312", "8004=06141419999960MH80312"),
    ("(8003)0950600013435277A1", "8003=0950600013435277A1"),
    ("(01)09506000134352(21)ABC123(10)LOT1", "01=09506000134352 21=ABC123 10=LOT1"),
    ("(01)12312312312333(10)ABC123(11)991225(98)TESTING(97)XYZ", SCANNED[3][1]),
]


@pytest.mark.parametrize(("content", "elements"), PRINTED)
@pytest.mark.parametrize("kind", ["DataMatrix", "QRCode", "Code128", "DataBarExpanded"])
def test_a_printed_gs1_symbol_reads_like_its_data(kind: str, content: str, elements: str) -> None:
    """Every vector, printed as a GS1 symbol and read back, gives its elements."""
    symbol = zxingcpp.create_barcode(content, getattr(zxingcpp.BarcodeFormat, kind), gs1=True)
    (found,) = zxingcpp.read_barcodes(np.array(symbol.to_image(scale=4)))
    mark = marks.read(found.bytes, found.symbology_identifier)
    assert (mark.meaning, mark.fields) == (Meaning.GS1, fields(elements))
    assert mark == marks.read(f"{found.symbology_identifier}".encode() + found.bytes)


@pytest.mark.parametrize("link", [each[0] for each in LINKS] + NO_LINKS[:9])
@pytest.mark.parametrize("kind", ["DataMatrix", "QRCode"])
def test_a_printed_link_reads_like_its_text(kind: str, link: str) -> None:
    """Every Digital Link vector, printed and read back, is the same mark."""
    options = {"force_square": True} if kind == "DataMatrix" else {}
    symbol = zxingcpp.create_barcode(link, getattr(zxingcpp.BarcodeFormat, kind), **options)
    (found,) = zxingcpp.read_barcodes(np.array(symbol.to_image(scale=4)))
    mark = marks.read(found.bytes, found.symbology_identifier)
    assert msgspec.structs.replace(mark, symbology=None) == marks.read(link.encode())


@pytest.mark.parametrize(("digits", "kind"), [("2112345678900", "EAN13"), ("96385074", "EAN8")])
def test_a_retail_symbol_is_a_kind_of_item(digits: str, kind: str) -> None:
    """The bars on a box name a kind of item: they are never taken for a serial."""
    symbol = zxingcpp.create_barcode(digits, getattr(zxingcpp.BarcodeFormat, kind))
    (found,) = zxingcpp.read_barcodes(np.array(symbol.to_image(scale=4)))
    mark = marks.read(found.bytes, found.symbology_identifier)
    assert (mark.meaning, mark.identity, mark.fields) == (Meaning.GS1, None, {"01": digits.zfill(14)})


# CSET 82 of the GS1 syntax dictionary.
CSET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
serials = st.text(CSET_82, min_size=1, max_size=20)


@given(serials, st.text(CSET_82, min_size=1, max_size=20))
def test_any_serial_comes_back_the_same_in_every_form(serial: str, lot: str) -> None:
    """Any legal serial gives one identity in symbol, message and link, and it is GS1's canonical URI."""
    data = f"010950600013435221{serial}"
    canonical = GS1Message.parse(data).as_gs1_digital_link_uri().as_canonical_uri()
    forms = (f"]d2{data}\x1d10{lot}", f"]d210{lot}\x1d{data}", f"[)>\x1e05\x1d{data}\x1e\x04", canonical)
    for text in forms:
        mark = marks.read(text.encode())
        assert (mark.meaning, mark.identity, mark.serial) == (Meaning.GS1, canonical, serial)
        assert canonical in marks.keys(canonical)
    assert not identity.is_uii(canonical)


@given(
    st.lists(
        st.sampled_from(["01", "21", "10", "8004", "8003", "\x1d", "09506000134352", "A", "/", "?", "%"]) | serials
    )
)
def test_no_gs1_data_break_the_reader(parts: list[str]) -> None:
    """Whatever a GS1 symbol or link holds, the answer is a mark with either an identity or a reason."""
    for text in ("]d2" + "".join(parts), "https://a/" + "/".join(parts)):
        mark = marks.read(text.encode())
        assert (mark.identity is None) == bool(mark.faults)
        assert all(each.text.endswith(".") for each in mark.faults)
