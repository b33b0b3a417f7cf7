"""The rows of the reference tables, and the reader that turns a table's text into them.

Every table has the columns `status` and `source`. A wrong word in a table is an error when it is read, not later.
"""

import csv
import enum
from collections.abc import Iterator
from importlib import resources
from typing import Any

import msgspec
from msgspec import Struct

from service.core import forces
from service.core.tooling import Half, Release, Tool


class Status(enum.StrEnum):
    """How sure a value is: read in the source itself, read second-hand, derived, or known without a source."""

    READ = "read"
    SECOND_HAND = "second-hand"
    DERIVED = "derived"
    COMMON_PRACTICE = "common practice"
    MEMORY = "memory"


class CautionKind(enum.StrEnum):
    """Signal words in their aerospace meaning: injury, damage to equipment, helpful."""

    WARNING = "WARNING"
    CAUTION = "CAUTION"
    NOTE = "NOTE"


class Work(enum.StrEnum):
    """The work that a caution goes with."""

    REMOVE = "remove"
    INSERT = "insert"
    SEATING_TEST = "seating_test"


class Family(Struct, frozen=True, kw_only=True):
    """A family of connectors. `status` and `source` are those of its release side."""

    family: str
    specification: str
    title: str
    arrangement_standard: str
    release: Release
    status: Status
    source: str


class Contacts(Struct, frozen=True):
    """How many cavities of one contact size an arrangement has."""

    size: str
    count: int


class Arrangement(Struct, frozen=True, kw_only=True):
    """An insert arrangement. `alternates` are its positions beside the normal one, None where the table has none.

    `families` are those that it may be had in; `doubt` says in a sentence what about the row is questionable.
    """

    standard: str
    revision: str
    name: str
    families: tuple[str, ...]
    contacts: tuple[Contacts, ...]
    total: int
    active: bool
    alternates: tuple[str, ...] | None
    doubt: str
    status: Status
    source: str


class Cavity(Struct, frozen=True, kw_only=True):
    """One cavity of an arrangement, with its printed id."""

    standard: str
    arrangement: str
    order: int
    cavity: str
    contact_size: str
    status: Status
    source: str


class FamilyTool(Struct, frozen=True):
    """A tool, and the families that it serves."""

    families: tuple[str, ...]
    tool: Tool


class Caution(Struct, frozen=True, kw_only=True):
    """A caution to show with the work. Empty `works` is any work; `release` None is either release side."""

    kind: CautionKind
    code: str
    works: tuple[Work, ...]
    release: Release | None
    text: str
    status: Status
    source: str


class Spares(Struct, frozen=True, kw_only=True):
    """How many spare contacts a connector of up to so many contacts is given; None is any number above."""

    contacts_up_to: int | None
    spares: int
    status: Status
    source: str


class Mating(Struct, frozen=True, kw_only=True):
    """How many mating cycles a family is built for. Empty `contact_styles` is any. Nobody's rating: the operator states that."""

    families: tuple[str, ...]
    contact_styles: tuple[str, ...]
    cycles: int
    doubt: str
    status: Status
    source: str


class Force(Struct, frozen=True, kw_only=True):
    """A force on a contact of one size in these families. Never by size alone: families differ."""

    families: tuple[str, ...]
    contact_size: str
    force_lbf: float
    doubt: str
    status: Status
    source: str

    @property
    def force_n(self) -> float:
        """The same in newtons."""
        return forces.newtons(self.force_lbf)


class SealingPlug(Struct, frozen=True, kw_only=True):
    """The plug that closes an unused hole of the grommet; an empty `colour` is one that is not known."""

    families: tuple[str, ...]
    contact_size: str
    part_number: str
    colour: str
    status: Status
    source: str


class ToolColour(Struct, frozen=True, kw_only=True):
    """The colour by which the tools for a contact size are told apart."""

    contact_size: str
    colour: str
    status: Status
    source: str


class Place(enum.StrEnum):
    """Where a connector is built in, as far as the rules for unused cavities differ."""

    FIREWALL = "firewall"
    UNPRESSURIZED = "unpressurized"
    PRESSURIZED = "pressurized"


class UnusedCavity(Struct, frozen=True, kw_only=True):
    """What is done with a cavity that carries no wire. `place` None is any place."""

    code: str
    place: Place | None
    text: str
    status: Status
    source: str


def families() -> tuple[Family, ...]:
    """All families."""
    return tuple(msgspec.convert(row, Family) for row in _table("families.csv"))


def arrangements() -> tuple[Arrangement, ...]:
    """All arrangements; the table has one row for each contact size of one."""
    rows: dict[tuple[str, str], list[dict[str, str]]] = {}
    for row in _table("arrangements.csv"):
        rows.setdefault((row["standard"], row["arrangement"]), []).append(row)
    return tuple(_arrangement(found) for found in rows.values())


def _arrangement(rows: list[dict[str, str]]) -> Arrangement:
    first = rows[0]
    stated = first["alternates"]
    return Arrangement(
        standard=first["standard"],
        revision=first["revision"],
        name=first["arrangement"],
        families=_words(first["families"]),
        contacts=tuple(Contacts(row["contact_size"], int(row["count"])) for row in rows),
        total=int(first["total"]),
        active=first["active"] == "yes",
        alternates=None if stated == "" else () if stated == "none" else _words(stated),
        doubt=first["doubt"],
        status=Status(first["status"]),
        source=first["source"],
    )


def cavities() -> tuple[Cavity, ...]:
    """All cavities, in the order of their inserts."""
    return tuple(msgspec.convert(row, Cavity, strict=False) for row in _table("cavities.csv"))


def tools() -> tuple[FamilyTool, ...]:
    """All tools, one row for each half of the job and contact size."""
    return tuple(
        FamilyTool(
            _words(row["families"]),
            Tool(
                part_number=row["part_number"],
                contact_size=row["contact_size"],
                half=Half(row["half"]),
                end=row["end"],
                status=Status(row["status"]),
                source=row["source"],
            ),
        )
        for row in _table("tools.csv")
    )


def cautions() -> tuple[Caution, ...]:
    """All cautions: warnings first, then cautions, then notes."""
    found = [
        Caution(
            kind=CautionKind(row["kind"]),
            code=row["code"],
            works=() if row["work"] == "any" else tuple(Work(word) for word in _words(row["work"])),
            release=None if row["release"] == "any" else Release(row["release"]),
            text=row["text"],
            status=Status(row["status"]),
            source=row["source"],
        )
        for row in _table("cautions.csv")
    ]
    order = list(CautionKind)
    return tuple(sorted(found, key=lambda each: order.index(each.kind)))


def spares() -> tuple[Spares, ...]:
    """The table of spare contacts, smallest connectors first."""
    rows = ({**row, "contacts_up_to": row["contacts_up_to"] or None} for row in _table("spares.csv"))
    return tuple(msgspec.convert(row, Spares, strict=False) for row in rows)


def mating() -> tuple[Mating, ...]:
    """Mating durability by family and contact style."""
    return tuple(
        msgspec.convert({**_listed(row), "contact_styles": _any(row["contact_styles"])}, Mating, strict=False)
        for row in _table("mating.csv")
    )


def retention() -> tuple[Force, ...]:
    """The axial load that a contact has to be retained under, by family and size."""
    return tuple(msgspec.convert(_listed(row), Force, strict=False) for row in _table("retention.csv"))


def pulls() -> tuple[Force, ...]:
    """The light pull after an insertion, by family and size.

    The trade states it for circular connectors of front release and rear removal, so only such families have it, and of
    these only those whose retention load is known. Rear-release families retain in another way, some sizes under no more
    than this pull: there the shop states its own, and nothing stands in for it.
    """
    return tuple(msgspec.convert(_listed(row), Force, strict=False) for row in _table("pulls.csv"))


def sealing_plugs() -> tuple[SealingPlug, ...]:
    """Sealing plugs by family and size."""
    return tuple(msgspec.convert(_listed(row), SealingPlug) for row in _table("sealing_plugs.csv"))


def tool_colours() -> tuple[ToolColour, ...]:
    """Tool colours by size."""
    return tuple(msgspec.convert(row, ToolColour) for row in _table("tool_colours.csv"))


def unused_cavities() -> tuple[UnusedCavity, ...]:
    """What is done with unused cavities."""
    rows = ({**row, "place": None if row["place"] == "any" else row["place"]} for row in _table("unused_cavities.csv"))
    return tuple(msgspec.convert(row, UnusedCavity) for row in rows)


def _listed(row: dict[str, str]) -> dict[str, Any]:
    return {**row, "families": _words(row["families"])}


def _any(cell: str) -> tuple[str, ...]:
    return () if cell == "any" else _words(cell)


def _words(cell: str) -> tuple[str, ...]:
    return tuple(cell.split(" ")) if cell else ()


def _table(name: str) -> Iterator[dict[str, str]]:
    text = resources.files("service.catalog").joinpath(name).read_text(encoding="utf-8")
    yield from csv.DictReader(text.splitlines(), strict=True)
