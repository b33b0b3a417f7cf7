"""What is stated of a work order, and what its record holds. Everything is always there, null where nothing is known.

The statement is what the screen shows and what is signed: it depends on what is on the books alone, never on when it is asked
for. Its fields are those that 14 CFR 43.9(a), 43.10 and M.A.305 ask of an entry.
"""

from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.core.cycles import Wear
from service.core.discrepancies import Seriousness
from service.core.entries import Day, Instant
from service.core.records.orders import Act, Reference

Hash = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
"""SHA-256 in hexadecimal digits."""
Offset = Annotated[str, Meta(pattern="^[+-][0-9]{2}:[0-9]{2}$")]
"""What was added to UTC where the work was done."""
Basis = Literal["mandatory", "recommended", "house"]


class Limit(Struct, frozen=True, kw_only=True):
    """A rating with where it comes from. One that nobody verified says so."""

    value: int
    unit: Literal["cycles"] = "cycles"
    basis: Basis
    document: str | None
    revision: str | None
    paragraph: str | None
    verified_by: str | None
    verified_on: Day | None
    verified: bool


class Count(Struct, frozen=True, kw_only=True):
    """Where a retainer stands at a moment, by the one fold. `remaining`: insertions still allowed, null where nobody knows."""

    retainer_life: int
    history_known: bool
    insertions: int
    removals: int
    tine_entries: int
    cycles_begun: int
    cycles_completed: int
    remaining: int | None
    wear: Wear
    occupied: bool | None


class CavityLine(Struct, frozen=True, kw_only=True):
    """A cavity that the work touched, before its first step in it and after its last.

    `other_entries`: steps of other work in between, which are in the count after but are not this work's.
    """

    connector: UUID
    serial: str
    cavity: str
    contact_size: str
    before: Count
    after: Count
    limit: Limit | None
    held: bool | None
    blocked: bool
    other_entries: int


class ConnectorLine(Struct, frozen=True, kw_only=True):
    """A connector that the work was on: its identity, where it was when the work ended, and its mating cycles."""

    connector: UUID
    serial: str
    cage: str | None
    part_number: str | None
    uii: str | None
    asset: str | None
    zone: str | None
    position: str | None
    retired: bool
    matings_before: int
    matings_after: int
    mating_limit: Limit | None


class LifeStatus(Struct, frozen=True, kw_only=True):
    """The current status of a part whose limit is mandatory (43.10): that of the cavity that runs out first, or of its mating.

    `as_of` is the end of this work; `removals` are contacts that it took out, at each of which the status changes.
    """

    connector: UUID
    serial: str
    part_number: str | None
    of: Literal["retainers", "mating"]
    cavity: str | None
    limit: Limit
    accumulated: int
    remaining: int | None
    history_known: bool
    as_of: Instant
    removals: int


class PlannedLine(Struct, frozen=True, kw_only=True):
    """A step as it was planned, the entries that show that it was done, and in what those differ from the plan."""

    step: int
    act: Act
    connector: str | None
    cavity: str | None
    contact: str | None
    tool: str | None
    task: str | None
    note: str | None
    done: bool
    entries: tuple[UUID, ...]
    differs: tuple[Literal["contact", "tool"], ...]


class DoneLine(Struct, frozen=True, kw_only=True):
    """An entry of this work as it stands in its ledger. `step`: the planned step that it belongs to, if any.

    `counts`: whether it is work; findings, acceptances, corrections and resolutions are said about it. `noted` was found
    at recording.
    """

    entry: UUID
    connector: UUID
    serial: str
    number: int
    hash: Hash
    kind: str
    counts: bool
    step: int | None
    cavity: str | None
    cavities: tuple[str, ...]
    performed_at: Instant
    local_offset: Offset
    performed_by: str
    recorded_at: Instant
    tool: str | None
    contact: str | None
    force_n: float | None
    held: bool | None
    level: bool | None
    accepted: bool | None
    note: str | None
    noted: tuple[str, ...]


class ErrorLine(Struct, frozen=True, kw_only=True):
    """An entry of this work that was entered in error: it stays readable, with who said so and why."""

    line: DoneLine
    corrected_by: UUID
    corrected_at: Instant
    corrected_by_person: str
    reason: str


class ContactLine(Struct, frozen=True, kw_only=True):
    """A contact that was put in, as it was noted: part number and lot. Null where an insertion names none."""

    contact: str | None
    insertions: int


class ToolLine(Struct, frozen=True, kw_only=True):
    """A tool that was used. `overdue`: some use lay after the last day of its check, as the shop's list has it."""

    tool: str | None
    part_number: str | None
    due_on: Day | None
    overdue: bool
    uses: int


class PersonLine(Struct, frozen=True, kw_only=True):
    """Who did work in scope, with the certificate that was held then, and how many entries name that person."""

    badge: str
    name: str | None
    certificate_number: str | None
    certificate_kind: str | None
    entries: int


class DiscrepancyLine(Struct, frozen=True, kw_only=True):
    """What is open: of this work's entries, or else at a cavity that it touched."""

    entry: UUID
    connector: UUID
    serial: str
    cavity: str | None
    code: str
    text: str
    seriousness: Seriousness
    of_this_work: bool


class SignatureLine(Struct, frozen=True, kw_only=True):
    """A signature that was given before, with the certificate as of then and the hash of what it is on."""

    id: UUID
    meaning: str
    outcome: str
    remark: str | None
    badge: str
    name: str
    certificate_number: str | None
    certificate_kind: str | None
    method: str
    exception_reason: str | None
    sha256: Hash
    signed_at: Instant


class Remark(Struct, frozen=True, kw_only=True):
    """Something that whoever signs must not miss."""

    code: str
    text: str
    about: str | None


class WorkOrderStatement(Struct, frozen=True, kw_only=True):
    """A work order as it stands: planned, done, with what, by whom, counts before and after, what is open, who signed.

    `facts_sha256` is over the order's version, its entries and the counts alone: as long as it is the same, no work was done,
    corrected or found since. `version` 0: entries name the order, but nobody put it on the books.
    """

    format: Literal["tinebook-work-order-1"] = "tinebook-work-order-1"
    work_order: str
    version: int
    title: str | None
    description: str | None
    asset: str | None
    reference: Reference | None
    inspection_required: bool
    began_at: Instant | None
    completed_at: Instant | None
    completed_local: Instant | None
    connectors: tuple[ConnectorLine, ...]
    planned: tuple[PlannedLine, ...]
    done: tuple[DoneLine, ...]
    entered_in_error: tuple[ErrorLine, ...]
    waiting_entries: int
    cavities: tuple[CavityLine, ...]
    life_status: tuple[LifeStatus, ...]
    contacts: tuple[ContactLine, ...]
    tools: tuple[ToolLine, ...]
    performers: tuple[PersonLine, ...]
    discrepancies: tuple[DiscrepancyLine, ...]
    remarks: tuple[Remark, ...]
    signatures: tuple[SignatureLine, ...]
    facts_sha256: Hash
    notice: str


class MaintenanceRecord(Struct, frozen=True, kw_only=True):
    """The maintenance record entry of a closed work order. Frozen when it was made: every export is of these bytes.

    `statement` is what the approver signed, word for word, and `approval` the signature: its `sha256` is the hash of the
    RFC 8785 form of `statement`. `corrects`: the record that this one takes the place of.
    """

    format: Literal["tinebook-record-1"] = "tinebook-record-1"
    number: int
    id: UUID
    installation: UUID
    language: Literal["en"] = "en"
    made_at: Instant
    made_by: str
    corrects: int | None
    correction_reason: str | None
    description: str
    reference: Reference | None
    completed_at: Instant
    completed_local: Instant
    performed_by: tuple[PersonLine, ...]
    inspections: tuple[SignatureLine, ...]
    approval: SignatureLine
    approves: str
    statement: WorkOrderStatement
    notice: str
