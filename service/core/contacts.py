"""Whether the contact that somebody means to push in goes with the cavity: its size, and pin or socket."""

import enum

from msgspec import Struct

from service.core.part_numbers import Sex

_OLDER = "M39029/"
_PRESENT = "AS39029/"


class ContactFit(enum.StrEnum):
    """What is known of the contact somebody means to push in."""

    NOT_STATED = "not_stated"
    FITS = "fits"
    UNKNOWN = "unknown"
    WRONG = "wrong"


class Contact(Struct, frozen=True, kw_only=True):
    """A contact for a family of connectors. `contact_size` is that of its mating end, by which cavities are matched.

    `doubt` says in a sentence what about it is questionable; `status` how sure the rest is.
    """

    part_number: str
    sex: Sex
    contact_size: str
    wire_awg: str | None
    doubt: str
    status: str
    source: str


class OtherContact(Struct, frozen=True, kw_only=True):
    """A contact for other connectors or for the other half: enough to say that it is wrong."""

    part_number: str
    sex: Sex
    contact_size: str


class Contacts(Struct, frozen=True):
    """What a connector's insert holds, the contacts made for it, and the others that are known beyond doubt.

    Without `sex` both are listed as made for it; where the family is not known, none is.
    """

    sex: Sex | None
    fitting: tuple[Contact, ...]
    others: tuple[OtherContact, ...]


def number(stated: str) -> str:
    """The part number of a contact in its one spelling: M39029 is the older marking of AS39029."""
    return f"{_PRESENT}{stated.removeprefix(_OLDER)}" if stated.startswith(_OLDER) else stated


def fit(stated: str | None, known: Contacts, contact_size: str) -> ContactFit:
    """Whether a contact goes with a cavity of that size.

    Another size is wrong, and so is the other sex. What no table lists, what is made for other families, and what can't
    be held against the insert's sex is unknown: neither a row in doubt nor a gap in a table refuses anything.
    """
    if stated is None:
        return ContactFit.NOT_STATED
    name = number(stated)
    made_for = next((each for each in known.fitting if each.part_number == name), None)
    if made_for is not None:
        if made_for.contact_size == contact_size:
            return ContactFit.UNKNOWN if known.sex is None else ContactFit.FITS
        return ContactFit.UNKNOWN if made_for.doubt else ContactFit.WRONG
    other = next((each for each in known.others if each.part_number == name), None)
    if other is None:
        return ContactFit.UNKNOWN
    other_half = known.sex is not None and other.sex is not known.sex
    return ContactFit.WRONG if other_half or other.contact_size != contact_size else ContactFit.UNKNOWN
