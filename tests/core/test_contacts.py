"""Whether a contact goes with a cavity, as a table: the contact, the insert, the size, what is found."""

import msgspec
import pytest

from service import catalog
from service.core import contacts, noting
from service.core.contacts import Contact, Contacts, OtherContact
from service.core.entries import Kind
from service.core.part_numbers import Sex
from tests import histories

BOOK = catalog.load()


def contact(number: str, sex: Sex, size: str, doubt: str = "") -> Contact:
    """An invented contact for the connector at hand."""
    return Contact(
        part_number=number, sex=sex, contact_size=size, wire_awg="24-20", doubt=doubt, status="invented", source="test"
    )


PIN_20 = contact("AS39029/58-900", Sex.PIN, "20")
PIN_16 = contact("AS39029/58-901", Sex.PIN, "16")
PIN_12_OR_SO = contact("AS39029/58-902", Sex.PIN, "12", "size not certain")
SOCKET_20 = contact("AS39029/56-900", Sex.SOCKET, "20")
OTHERS = (
    OtherContact(part_number="AS39029/56-900", sex=Sex.SOCKET, contact_size="20"),
    OtherContact(part_number="AS39029/4-900", sex=Sex.PIN, contact_size="20"),
    OtherContact(part_number="AS39029/4-901", sex=Sex.PIN, contact_size="16"),
)
PINS = Contacts(Sex.PIN, (PIN_20, PIN_16, PIN_12_OR_SO), OTHERS)
NOT_SAID = Contacts(None, (PIN_20, PIN_16, SOCKET_20), OTHERS[1:])
NO_FAMILY = Contacts(Sex.PIN, (), (*OTHERS, OtherContact(part_number="AS39029/58-900", sex=Sex.PIN, contact_size="20")))
NOBODY_KNOWS = Contacts(None, (), ())

TABLE = [
    # stated, the insert, size of the cavity -> fit
    (None, PINS, "20", "not_stated"),
    (None, NOBODY_KNOWS, "20", "not_stated"),
    ("AS39029/58-900", PINS, "20", "fits"),
    ("M39029/58-900", PINS, "20", "fits"),
    ("AS39029/58-901", PINS, "20", "wrong"),
    ("M39029/58-901", PINS, "20", "wrong"),
    ("AS39029/58-902", PINS, "12", "fits"),
    ("AS39029/58-902", PINS, "20", "unknown"),
    ("AS39029/56-900", PINS, "20", "wrong"),
    ("AS39029/4-900", PINS, "20", "unknown"),
    ("AS39029/4-901", PINS, "20", "wrong"),
    ("AS39029/58-999", PINS, "20", "unknown"),
    ("wire 17", PINS, "20", "unknown"),
    ("AS39029/58-900", NOT_SAID, "20", "unknown"),
    ("AS39029/56-900", NOT_SAID, "20", "unknown"),
    ("AS39029/58-901", NOT_SAID, "20", "wrong"),
    ("AS39029/58-900", NO_FAMILY, "20", "unknown"),
    ("AS39029/58-900", NO_FAMILY, "16", "wrong"),
    ("AS39029/56-900", NO_FAMILY, "20", "wrong"),
    ("AS39029/58-900", NOBODY_KNOWS, "20", "unknown"),
]


@pytest.mark.parametrize(("stated", "known", "size", "wanted"), TABLE)
def test_a_contact_goes_with_a_cavity_or_not(stated: str | None, known: Contacts, size: str, wanted: str) -> None:
    """Another size or the other sex is wrong; what can't be judged is unknown, and only where a contact is stated."""
    assert contacts.fit(stated, known, size) == wanted


@pytest.mark.parametrize(
    ("family", "sex", "stated", "size", "wanted"),
    [
        # Numbers and sizes as in the catalogue's table (makers' catalogues in a public dataset).
        ("38999-III", Sex.PIN, "AS39029/58-363", "20", "fits"),
        ("38999-III", Sex.PIN, "AS39029/58-360", "20", "wrong"),
        ("38999-III", Sex.PIN, "AS39029/56-351", "20", "wrong"),
        ("38999-III", Sex.SOCKET, "AS39029/56-351", "20", "fits"),
        ("38999-III", Sex.SOCKET, "AS39029/57-357", "20", "unknown"),
        ("38999-III", Sex.SOCKET, "AS39029/106-615", "20", "fits"),
        ("38999-III", None, "AS39029/56-351", "20", "unknown"),
        ("38999-III", None, "AS39029/56-351", "16", "wrong"),
        (None, Sex.PIN, "AS39029/58-363", "20", "unknown"),
        (None, None, "AS39029/58-363", "16", "wrong"),
        ("50151", Sex.PIN, "AS39029/29-212", "12", "unknown"),
    ],
)
def test_the_catalogue_judges_contacts(
    family: str | None, sex: Sex | None, stated: str, size: str, wanted: str
) -> None:
    """Contacts of the table are held against family, sex and size; a row in doubt refuses nothing."""
    assert contacts.fit(stated, BOOK.contacts(family, sex), size) == wanted


@pytest.mark.parametrize(
    ("kind", "stated", "wanted"),
    [
        (Kind.INSERTION, "AS39029/58-901", ("wrong_contact",)),
        (Kind.INSERTION, "AS39029/58-900", ()),
        (Kind.INSERTION, "wire 17", ()),
        (Kind.INSERTION, None, ()),
        (Kind.REMOVAL, "AS39029/58-901", ()),
    ],
)
def test_a_wrong_contact_is_noted_where_it_went_in(kind: Kind, stated: str | None, wanted: tuple[str, ...]) -> None:
    """A wrong contact is noted with its insertion; what can't be judged, and what came out, is not."""
    recorded = histories.read(f"{kind} A ->")[0].recorded
    assert recorded is not None
    entry = msgspec.structs.replace(recorded.entry, contact=stated)
    assert noting.contact(entry, histories.definition(), PINS) == wanted
