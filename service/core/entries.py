"""What is recorded: the kinds of entry, their fields, and which combinations make sense."""

import enum
from datetime import UTC, datetime
from typing import Annotated, Literal
from uuid import UUID

import msgspec
from msgspec import Meta, Struct

from service.core.discrepancies import Code

# C0 controls other than tab and line feed, DEL, and the noncharacters cannot be read by a person and some cannot be stored.
_PRINTABLE = "^[^\\x00-\\x08\\x0b-\\x1f\\x7f\\ufffe\\uffff]*$(?!\\n)"
# A whole ISO/IEC 15434 message carries GS, RS and EOT, so a mark may hold every control but NUL.
_MARK = "^[^\\x00]+$(?!\\n)"
_CAVITY = "^[^\\x00-\\x20\\x7f]+$(?!\\n)"

Text = Annotated[str, Meta(min_length=1, max_length=200, pattern=_PRINTABLE)]
TextOrNothing = Annotated[str, Meta(max_length=200, pattern=_PRINTABLE)]
Note = Annotated[str, Meta(max_length=4000, pattern=_PRINTABLE)]
MarkText = Annotated[str, Meta(min_length=1, max_length=2000, pattern=_MARK)]
CavityId = Annotated[str, Meta(min_length=1, max_length=16, pattern=_CAVITY)]
ContactSize = Annotated[str, Meta(min_length=1, max_length=16, pattern=_PRINTABLE)]
Instant = Annotated[datetime, Meta(tz=True)]
Count = Annotated[int, Meta(ge=0, le=1_000_000)]
Cage = Annotated[str, Meta(pattern="^[0-9A-HJ-NP-Z]{5}$(?!\\n)")]
Day = Annotated[str, Meta(pattern="^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$(?!\\n)")]
ForceN = Annotated[float, Meta(ge=0, le=10_000)]

EARLIEST = datetime(1950, 1, 1, tzinfo=UTC)
LATEST = datetime(2100, 1, 1, tzinfo=UTC)


_CODES = frozenset(Code)


class Kind(enum.StrEnum):
    """The closed list of what can be recorded."""

    INSERTION = "insertion"
    REMOVAL = "removal"
    TINE_ENTRY = "tine_entry"
    SEATING_TEST = "seating_test"
    FINDING = "finding"
    FINDING_CLOSED = "finding_closed"
    MATING = "mating"
    UNMATING = "unmating"
    PLACEMENT = "placement"
    RENEWAL = "renewal"
    RETIREMENT = "retirement"
    CARRY_IN = "carry_in"
    CORRECTION = "correction"
    ACCEPTANCE = "acceptance"
    RESOLUTION = "resolution"


ONE_CAVITY = frozenset({Kind.INSERTION, Kind.REMOVAL, Kind.TINE_ENTRY, Kind.SEATING_TEST})
"""Kinds that happen in exactly one cavity."""
WHOLE_CONNECTOR = frozenset({Kind.MATING, Kind.UNMATING, Kind.PLACEMENT, Kind.RETIREMENT})
"""Kinds that never name a cavity."""
SOME_CAVITIES = frozenset({Kind.RENEWAL, Kind.CARRY_IN})
"""Kinds that name one cavity, a list of them, or none for all."""
TOOLED = frozenset({Kind.INSERTION, Kind.REMOVAL, Kind.TINE_ENTRY})
"""Kinds in which a tool goes into the cavity."""
REFERRING = frozenset({Kind.CORRECTION, Kind.RESOLUTION, Kind.ACCEPTANCE})
"""Kinds whose meaning depends on the entry they refer to: they act on a whole history, not at its end."""


class Entry(Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True, kw_only=True):
    """One fact as its author states it. `id` is made by the client before sending; forces in newtons.

    `level` is what a look at the face gave: pins at one height, sockets flush. `tool_looked_at`: the tool's tip was
    looked at before it went in.
    """

    id: UUID
    connector: MarkText
    kind: Kind
    performed_at: Instant
    performed_by: Text
    cavity: CavityId | None = None
    cavities: Annotated[tuple[CavityId, ...], Meta(max_length=1000)] = ()
    tool: Text | None = None
    work_order: Text | None = None
    contact: Text | None = None
    force_n: ForceN | None = None
    held: bool | None = None
    level: bool | None = None
    tool_looked_at: bool | None = None
    note: Note | None = None
    bench: Text | None = None
    corrects: UUID | None = None
    refers_to: UUID | None = None
    code: Text | None = None
    accepted: bool | None = None
    blocks: bool | None = None
    asset: Text | None = None
    zone: Text | None = None
    position: Text | None = None
    insertions: Count | None = None
    removals: Count | None = None
    tine_entries: Count | None = None
    occupied: bool | None = None
    source: Note | None = None


class Recorded(Struct, frozen=True, kw_only=True):
    """An entry as it stands in the ledger: the fact, when it was recorded, by which token, and what was noted then."""

    entry: Entry
    recorded_at: datetime
    recorded_by: str
    noted: tuple[str, ...] = ()

    @property
    def ordered_at(self) -> datetime:
        """Where the entry stands in its history: nothing can have happened after it was recorded.

        A clock that runs ahead would otherwise push, say, a renewal past later work and hide cycles that were used.
        """
        return min(self.entry.performed_at, self.recorded_at)


class Fault(Struct, frozen=True):
    """What is wrong with an entry: the field and a sentence."""

    field: str
    text: str


def faults(entry: Entry) -> tuple[Fault, ...]:
    """What makes an entry malformed, beyond its types. An unwelcome fact is not malformed and never shows up here."""
    return (
        *_time_faults(entry),
        *_cavity_faults(entry),
        *_reference_faults(entry),
        *_count_faults(entry),
        *_placement_faults(entry),
        *_look_faults(entry),
    )


def _a(kind: Kind) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _time_faults(entry: Entry) -> list[Fault]:
    # Compared before any conversion: astimezone overflows near year 1 and year 9999.
    if EARLIEST <= entry.performed_at < LATEST:
        return []
    return [Fault("performed_at", f"must lie between {EARLIEST.year} and {LATEST.year}; check the clock that wrote it")]


def _cavity_faults(entry: Entry) -> list[Fault]:
    kind, found = entry.kind, []
    if kind in ONE_CAVITY and entry.cavity is None:
        found.append(Fault("cavity", f"{_a(kind)} happens in one cavity: name it"))
    if entry.cavity is not None and kind in WHOLE_CONNECTOR:
        found.append(Fault("cavity", f"{_a(kind)} concerns the whole connector: leave the cavity out"))
    if entry.cavities and kind not in SOME_CAVITIES:
        found.append(Fault("cavities", f"only a renewal or a carry_in names several cavities, not {_a(kind)}"))
    if entry.cavities and entry.cavity is not None:
        found.append(Fault("cavities", "give either cavity or cavities, not both"))
    if entry.cavities and len(set(entry.cavities)) != len(entry.cavities):
        found.append(Fault("cavities", "names a cavity twice"))
    return found


def _reference_faults(entry: Entry) -> list[Fault]:
    if entry.corrects is None and entry.refers_to is None and entry.kind not in REFERRING:
        return []
    kind, found = entry.kind, []
    if kind is Kind.CORRECTION and entry.corrects is None:
        found.append(Fault("corrects", "a correction names the id of the entry that was made in error"))
    if kind is not Kind.CORRECTION and entry.corrects is not None:
        found.append(Fault("corrects", f"only a correction corrects, not {_a(kind)}"))
    if entry.id in (entry.corrects, entry.refers_to):
        found.append(Fault("id", "an entry can't refer to itself"))
    if kind is Kind.RESOLUTION and entry.refers_to is None:
        found.append(Fault("refers_to", "a resolution names the id of the entry whose discrepancy it resolves"))
    if kind is Kind.RESOLUTION and entry.code is not None and entry.code not in _CODES:
        found.append(
            Fault("code", f"{entry.code!r} is no discrepancy's code; leave it out to resolve all of that entry's")
        )
    return found


def _count_faults(entry: Entry) -> list[Fault]:
    if entry.insertions is None and entry.removals is None and entry.tine_entries is None:
        if entry.kind is Kind.CARRY_IN:
            return [Fault("insertions", "a carry_in states insertions, removals or tine_entries so far")]
        return []
    if entry.kind is Kind.CARRY_IN:
        return []
    given = (("insertions", entry.insertions), ("removals", entry.removals), ("tine_entries", entry.tine_entries))
    return [
        Fault(name, f"only a carry_in states counts, not {_a(entry.kind)}")
        for name, value in given
        if value is not None
    ]


def _placement_faults(entry: Entry) -> list[Fault]:
    if entry.kind is Kind.PLACEMENT or (entry.asset is None and entry.zone is None and entry.position is None):
        return []
    given = (("asset", entry.asset), ("zone", entry.zone), ("position", entry.position))
    return [
        Fault(name, f"only a placement states where it is, not {_a(entry.kind)}")
        for name, value in given
        if value is not None
    ]


def _look_faults(entry: Entry) -> list[Fault]:
    found = []
    if entry.level is not None and entry.kind is not Kind.SEATING_TEST:
        found.append(
            Fault("level", f"only a seating_test states whether the contact stands level, not {_a(entry.kind)}")
        )
    if entry.tool_looked_at is not None and entry.kind not in TOOLED:
        found.append(
            Fault("tool_looked_at", f"only where a tool goes in is it looked at before, not with {_a(entry.kind)}")
        )
    return found


def is_pull(entry: Entry) -> bool:
    """Whether a seating test loaded the retainer. One that states nothing but a look did not; one that states nothing may have."""
    return entry.level is None or entry.held is not None or entry.force_n is not None


def cavities_of(entry: Entry) -> tuple[str, ...]:
    """The cavities that an entry names; empty means the whole connector."""
    return (entry.cavity,) if entry.cavity is not None else entry.cavities


def concerns(entry: Entry, cavity: str) -> bool:
    """Whether an entry is part of the history of a cavity: it names it, or it names none."""
    named = cavities_of(entry)
    return not named or cavity in named


class CavityDefinition(Struct, frozen=True, forbid_unknown_fields=True):
    """One position in the insert: its printed id (case-sensitive) and the size of contact it takes."""

    id: CavityId
    contact_size: ContactSize


class Rating(Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True, kw_only=True):
    """How many cycles a retainer may have, with where the figure comes from."""

    value: Annotated[int, Meta(ge=1, le=100_000)]
    basis: Literal["mandatory", "recommended", "house"]
    document: Text | None = None
    revision: Text | None = None
    paragraph: Text | None = None
    verified_by: Text | None = None
    verified_on: Day | None = None
    first_insertion_counts: bool = True
    nearing_fraction: Annotated[float, Meta(gt=0, le=1)] | None = None

    @property
    def verified(self) -> bool:
        """A figure counts as verified once somebody put a name and a day to it, and said which document."""
        return is_verified(self.document, self.verified_by, self.verified_on)


def is_verified(document: str | None, verified_by: str | None, verified_on: str | None) -> bool:
    """Whether a figure counts as verified: never by a name alone, nor by a document that nobody looked into."""
    return None not in (document, verified_by, verified_on)


CavityIds = Literal["given", "published", "derived", "assumed"]
"""Where cavity ids come from: the person registering, a published list, a twin's list, or an assumption that is said."""


class Definition(Struct, frozen=True, omit_defaults=True, kw_only=True):
    """What a connector is: its identity, its cavities, and the ratings its retainers are judged by."""

    connector: UUID
    serial: str
    cavities: tuple[CavityDefinition, ...]
    history: Literal["new", "unknown"]
    cage: str | None = None
    part_number: str | None = None
    family: str | None = None
    cavity_ids: CavityIds = "given"
    rating: Rating | None = None
    mating_rating: Rating | None = None
    populated: bool | None = None
    nearing_fraction: float | None = None


class HouseRule(Struct, frozen=True, forbid_unknown_fields=True):
    """What a shop may make stricter: the answer where the count or the rating is unknown, and when nearing begins."""

    unknown: Literal["warn", "no_go"] = "warn"
    nearing_fraction: Annotated[float, Meta(gt=0, le=1)] = 0.8


EntryDecoder = msgspec.json.Decoder(Entry)
