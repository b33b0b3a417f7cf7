"""Part numbers: which connector, contact or tool a number states, field by field, and the number that states it.

Only the form is judged here, and only exactly as written: capitals, no blanks. Whether an arrangement exists, and in
which positions, is reference data: the catalogue says so. `decode` reads connectors only, `identify` everything.
"""

from collections.abc import Mapping

from service.core.part_numbers import connectors, contacts, grammar, tools
from service.core.part_numbers.connectors import position_fault
from service.core.part_numbers.contacts import Band, bands
from service.core.part_numbers.values import Code, Contact, Decoded, Expected, Fault, Part, Sex, Tool

__all__ = [
    "Band",
    "Code",
    "Contact",
    "Decoded",
    "Expected",
    "Fault",
    "Part",
    "Sex",
    "Tool",
    "bands",
    "decode",
    "encode",
    "identify",
    "position_fault",
]

FORMS = (*connectors.FORMS, contacts.FORM, *tools.FORMS)
"""Every form of number that is known."""


def decode(text: str) -> Decoded | Fault:
    """Read the part number of a connector."""
    found = grammar.read(connectors.FORMS, text)
    return found if isinstance(found, Fault) else connectors.decoded(found[0], text, found[1])


def identify(text: str) -> Decoded | Contact | Tool | Fault:
    """Read the part number of a connector, a contact or a tool."""
    found = grammar.read(FORMS, text)
    if isinstance(found, Fault):
        return found
    form, parts = found
    if form is contacts.FORM:
        return contacts.decoded(form, text, parts)
    if any(form is each for each in tools.FORMS):
        return tools.decoded(form, text, parts)
    return connectors.decoded(form, text, parts)


def encode(family: str, stated: Mapping[str, str]) -> str | Fault:
    """The number of a family with these codes by field, in its one spelling: the inverse of `identify`.

    What a field says by not being written may be left out or given (position N, finish W). A code that the family does
    not take is a fault at the place where its field would start.
    """
    return grammar.write([each for each in FORMS if each.family == family], stated)
