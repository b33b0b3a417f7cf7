"""The table of contacts: sex, mating size and wire of each, and the connectors that it goes into."""

import csv
from collections.abc import Iterable
from importlib import resources

import msgspec
from msgspec import Struct

from service.catalog.rows import Status
from service.core import contacts as core
from service.core.part_numbers import Sex


class Contact(Struct, frozen=True, kw_only=True):
    """One contact. Cavities are matched by `mating_size`; an empty `wire_awg` is a range that is not known.

    `families` are those of the catalogue that take it, `serves` says in words what it is made for, `duty` is extended
    for contacts of 1500 mating cycles. `doubt` says in a sentence what about the row is questionable.
    """

    part_number: str
    sex: Sex
    mating_size: str
    wire_awg: str
    families: tuple[str, ...]
    serves: str
    duty: str
    doubt: str
    status: Status
    source: str


def load() -> tuple[Contact, ...]:
    """All contacts."""
    text = resources.files("service.catalog").joinpath("contacts.csv").read_text(encoding="utf-8")
    found = csv.DictReader(text.splitlines(), strict=True)
    return tuple(msgspec.convert({**row, "families": row["families"].split()}, Contact) for row in found)


def made_for(table: Iterable[Contact], family: str | None, sex: Sex | None) -> core.Contacts:
    """The contacts for a family and an insert, and the others; a row in doubt can only speak for what it is made for."""
    fitting, others = [], []
    for row in table:
        if family in row.families and sex in (None, row.sex):
            fitting.append(_known(row))
        elif not row.doubt:
            others.append(core.OtherContact(part_number=row.part_number, sex=row.sex, contact_size=row.mating_size))
    return core.Contacts(sex, tuple(fitting), tuple(others))


def _known(row: Contact) -> core.Contact:
    return core.Contact(
        part_number=row.part_number,
        sex=row.sex,
        contact_size=row.mating_size,
        wire_awg=row.wire_awg or None,
        doubt=row.doubt,
        status=row.status,
        source=row.source,
    )
