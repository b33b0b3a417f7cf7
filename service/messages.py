"""The wire contract: what the API reads and writes. Times are RFC 3339 UTC, units stand in field names."""

from datetime import date, datetime
from typing import Annotated, Any, Literal
from uuid import UUID

import msgspec
from msgspec import Meta, Struct

from service.core.answers import Action, Answer
from service.core.contacts import Contact, OtherContact
from service.core.cycles import Wear
from service.core.entries import (
    Cage,
    CavityDefinition,
    CavityId,
    Definition,
    Entry,
    HouseRule,
    MarkText,
    Note,
    Rating,
    Text,
    TextOrNothing,
)
from service.core.part_numbers import Sex
from service.core.states import ConnectorState
from service.core.tooling import Face, Half, Tooling
from service.core.ways import Sort

DECIDES = "Tinebook supports the work; the approved maintenance data, the local rules and the licensed person decide."
"""Stands on everything that could be taken as authority."""


class Request(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    """What a client sends: an unknown field is an error, since it may be a misspelt one that mattered."""


class Reply(Struct, frozen=True, kw_only=True):
    """What the service answers: every field is always there, null where there is nothing to say."""


# --- connectors


class Registration(Request, frozen=True, kw_only=True):
    """A connector to be registered, by its serial or by what its mark says (`mark`, or better the scan's `bytes_base64`).

    An empty serial is one that is not said.
    Cavities may be left out where the catalogue, or a cavity set of the shop's, knows them by part number; a rating where the
    shop states one for the part number or its family.
    """

    history: Literal["new", "unknown"]
    serial: TextOrNothing = ""
    mark: MarkText | None = None
    bytes_base64: Annotated[str, Meta(max_length=20_000)] | None = None
    symbology: Annotated[str, Meta(max_length=16)] | None = None
    id: UUID | None = None
    cage: Cage | None = None
    part_number: Text | None = None
    family: Text | None = None
    cavities: Annotated[tuple[CavityDefinition, ...], Meta(min_length=1, max_length=1000)] | None = None
    cavity_set: Text | None = None
    cavity_ids: Literal["given", "assumed"] = "given"
    rating: Rating | None = None
    mating_rating: Rating | None = None
    populated: bool | None = None
    nearing_fraction: Annotated[float, Meta(gt=0, le=1)] | None = None


class RatingRevision(Request, frozen=True, kw_only=True):
    """A new rating for a connector, with the reason for the change."""

    rating: Rating | None
    reason: Annotated[Note, Meta(min_length=1)]


class RatingView(Reply, frozen=True, kw_only=True):
    """A rating with its provenance. `nearing_from`: the `next` cycle from which an insertion is answered with a warning."""

    value: int
    unit: Literal["cycles"] = "cycles"
    basis: str
    document: str | None
    revision: str | None
    paragraph: str | None
    verified_by: str | None
    verified_on: str | None
    verified: bool
    first_insertion_counts: bool
    nearing_from: int


class CavityView(Reply, frozen=True, kw_only=True):
    """One cavity as it stands. Counts belong to the present retainer life; `left` is insertions still allowed."""

    id: str
    contact_size: str
    occupied: bool | None
    cycles_begun: int
    cycles_completed: int
    rating: RatingView | None
    wear: Wear
    left: int | None
    life: int
    history_known: bool
    insertions: int
    removals: int
    tine_entries: int
    seating_tests: int
    held: bool | None
    contact: str | None
    blocked: bool
    discrepancies: tuple[str, ...]


class OpenDiscrepancy(Reply, frozen=True, kw_only=True):
    """Something recorded that ought not to have been possible, still open. `entry` is the id to resolve or correct."""

    entry: UUID
    code: str
    text: str
    cavity: str | None


class MatingView(Reply, frozen=True, kw_only=True):
    """Mating cycles of the connector against their own rating."""

    matings: int
    unmatings: int
    mated: bool | None
    rating: RatingView | None


class PlaceView(Reply, frozen=True, kw_only=True):
    """Where a connector is, as last placed."""

    asset: str | None
    zone: str | None
    position: str | None


class ConnectorView(Reply, frozen=True, kw_only=True):
    """One connector with every cavity. Its wear is that of its limiting cavity. `handed_over`: its ledger goes on elsewhere."""

    id: UUID
    serial: str
    cage: str | None
    part_number: str | None
    family: str | None
    history: str
    cavity_ids: str
    rating: RatingView | None
    wear: Wear
    limiting_cavity: str | None
    left: int | None
    retired: bool
    place: PlaceView
    mating: MatingView
    cavities: tuple[CavityView, ...]
    discrepancies: tuple[OpenDiscrepancy, ...]
    entries: int
    chain_hash: str
    handed_over: bool = False
    notice: str = DECIDES


class ConnectorLine(Reply, frozen=True, kw_only=True):
    """One connector in a list."""

    id: UUID
    serial: str
    cage: str | None
    part_number: str | None
    family: str | None
    wear: Wear
    limiting_cavity: str | None
    left: int | None
    place: PlaceView


class ConnectorList(Reply, frozen=True, kw_only=True):
    """Connectors that a mark means, or a page of all; `next` is the cursor of the following page."""

    connectors: tuple[ConnectorLine, ...]
    next: str | None


class CautionView(Reply, frozen=True, kw_only=True):
    """A usual caution for the work: WARNING injury, CAUTION damage to equipment, NOTE helpful; the approved data's come first."""

    kind: Literal["WARNING", "CAUTION", "NOTE"]
    text: str
    status: str
    source: str


class DrawingView(Reply, frozen=True, kw_only=True):
    """Where the cavities stand in a drawing, in the order of the definition: inside a circle of radius 1, x right, y up.

    As the mating face of the pin insert shows them: a socket insert's mating face is the mirror image, and so is the wire
    side of a pin insert. `schematic`: not the true places. `pitch` is what neighbours keep apart at least.
    """

    schematic: bool
    sex: Sex | None
    source: str | None
    pitch: float
    places: tuple[tuple[float, float], ...]


class KeptCaution(CautionView, frozen=True, kw_only=True):
    """A caution with the actions that it goes with."""

    actions: tuple[Action, ...]


class Snapshot(Reply, frozen=True, kw_only=True):
    """What a bench keeps of a connector to go on answering while the service is away: the rule's own inputs.

    `contacts` are those made for it, `other_contacts` those that are known and are not.
    """

    definition: Definition
    state: ConnectorState
    house: HouseRule
    tooling: Tooling | None
    entries: int
    as_of: datetime
    drawing: DrawingView | None = None
    cautions: tuple[KeptCaution, ...] = ()
    contacts: tuple[Contact, ...] = ()
    other_contacts: tuple[OtherContact, ...] = ()


# --- plans


class PlannedStep(Request, frozen=True, kw_only=True):
    """One thing somebody is about to do. `tool`: a tool's mark or part number; `contact`: part number of what is to go in."""

    action: Action
    cavity: CavityId
    tool: Text | None = None
    contact: Text | None = None


class PlanRequest(Request, frozen=True, kw_only=True):
    """Steps in the order in which they will be done."""

    steps: Annotated[tuple[PlannedStep, ...], Meta(min_length=1, max_length=1000)]


class ReasonView(Reply, frozen=True, kw_only=True):
    """Why an answer is not a plain go: a stable code and a sentence."""

    code: str
    answer: Answer
    text: str


class WayView(Reply, frozen=True, kw_only=True):
    """A way out where a cavity takes no contact any more. None is permission: each holds only if the approved data allow it.

    Of a free cavity: its wear, the cycles begun there, and what an insertion there is answered. `needs`: what it takes first.
    """

    way: Sort
    cavity: str | None
    wear: Wear | None
    cycles: int | None
    answer: Answer | None
    needs: str
    text: str


class StepView(Reply, frozen=True, kw_only=True):
    """One step answered. `cycle` is what `cycles_begun` would be after one more insertion; `left_after` is what the step leaves.

    `ways` are the ways out of a no_go for a spent, blocked or retired cavity.
    """

    action: Action
    cavity: str
    contact_size: str
    answer: Answer
    reasons: tuple[ReasonView, ...]
    cycle: int
    left_after: int | None
    wear_after: Wear
    ways: tuple[WayView, ...] = ()


class ToolView(Reply, frozen=True, kw_only=True):
    """A tool that serves a half cycle; `status` says how sure the pairing is, `source` where it comes from."""

    part_number: str
    end: str
    status: str
    source: str


class PullView(Reply, frozen=True, kw_only=True):
    """The light pull of a seating test; never more than the wire's crimp allows. Not `verified`: a default, with its status."""

    force_n: float
    force_lbf: float
    verified: bool
    status: str
    source: str


class HandlingView(Reply, frozen=True, kw_only=True):
    """One half cycle of the work in its order. The contact itself always travels on the wire side.

    `seating_pull` follows an insertion, where a figure is known for the family and the size.
    """

    half: Half
    cavity: str
    contact_size: str
    tool_face: Face | None
    contact_face: Face
    tools: tuple[ToolView, ...]
    seating_pull: PullView | None


class LimitingView(Reply, frozen=True, kw_only=True):
    """The cavity that runs out first once the plan is carried out."""

    cavity: str
    wear: Wear
    cycles_begun: int
    left: int | None


class PlanView(Reply, frozen=True, kw_only=True):
    """The answer to a plan: that of its worst step, with the rating's provenance and the cautions for the work."""

    answer: Answer
    steps: tuple[StepView, ...]
    work: tuple[HandlingView, ...]
    limiting: LimitingView | None
    rating: RatingView | None
    cautions: tuple[CautionView, ...]
    notice: str = DECIDES


# --- entries


class EntriesEnvelope(Struct, frozen=True, forbid_unknown_fields=True):
    """The outer form of a batch; each entry is read on its own, so that a bad one does not sink its neighbours."""

    entries: Annotated[list[msgspec.Raw], Meta(min_length=1, max_length=1000)]
    sent_at: Annotated[datetime, Meta(tz=True)] | None = None


class EntriesRequest(Request, frozen=True, kw_only=True):
    """1 to 1 000 facts. `sent_at` is the sender's clock at the moment of sending: it shows a clock that is off."""

    entries: Annotated[tuple[Entry, ...], Meta(min_length=1, max_length=1000)]
    sent_at: Annotated[datetime, Meta(tz=True)] | None = None


Outcome = Literal["recorded", "already_recorded", "parked", "refused"]


class Problem(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """RFC 9457 problem details. `errors` point at what is wrong, as JSON pointers into the request."""

    type: str
    title: str
    status: int
    detail: str
    errors: tuple["ProblemError", ...] = ()
    results: tuple["EntryResult", ...] = ()
    connector: UUID | None = None


class ProblemError(Struct, frozen=True, kw_only=True):
    """One thing that is wrong: what, and where as a JSON pointer."""

    detail: str
    pointer: str


class EntryResult(Reply, frozen=True, kw_only=True):
    """What became of one entry. `id` is null only where none could be read."""

    id: UUID | None
    outcome: Outcome
    discrepancies: tuple[str, ...] = ()
    cavity: CavityView | None = None
    problem: Problem | None = None


class EntriesReply(Reply, frozen=True, kw_only=True):
    """One result per entry, in order."""

    results: tuple[EntryResult, ...]


class LedgerLine(Reply, frozen=True, kw_only=True):
    """One entry as it stands in the ledger. `performed_at` is UTC; `entry` is the fact exactly as it was sent."""

    number: int
    id: UUID
    kind: str
    cavity: str | None
    performed_at: datetime
    performed_by: str
    recorded_at: datetime
    recorded_by: str
    noted: tuple[str, ...]
    hash: str
    entry: Entry


class Ledger(Reply, frozen=True, kw_only=True):
    """A page of a connector's ledger in the order of recording."""

    entries: tuple[LedgerLine, ...]
    next: str | None


class EntryPlace(Reply, frozen=True, kw_only=True):
    """Where an entry is: in the ledger of a connector, or waiting for it."""

    id: UUID
    outcome: Literal["recorded", "parked"]
    connector: UUID | None
    line: LedgerLine | None


class ParkedLine(Reply, frozen=True, kw_only=True):
    """An entry whose connector is not registered (yet), or is not the only one that its mark means."""

    id: UUID
    mark: str
    recorded_at: datetime
    reason: str
    entry: Entry


class ParkedList(Reply, frozen=True, kw_only=True):
    """A page of parked entries, oldest first."""

    parked: tuple[ParkedLine, ...]
    next: str | None


class Assignment(Request, frozen=True, kw_only=True):
    """To which connector a parked entry belongs."""

    connector: UUID


# --- scans


class Scan(Request, frozen=True, kw_only=True):
    """What a reader read: the bytes (base64) or, where a reader gives no bytes, the text."""

    bytes_base64: Annotated[str, Meta(max_length=20_000)] | None = None
    text: MarkText | None = None
    symbology: Annotated[str, Meta(max_length=16)] | None = None


class ScanView(Reply, frozen=True, kw_only=True):
    """What a scan means (its fields, the identity it gives, what deviates from the standard) and what it matches."""

    meaning: str
    identity: str | None
    fields: dict[str, str]
    deviations: tuple[str, ...]
    faults: tuple[str, ...]
    connectors: tuple[ConnectorLine, ...]


# --- reports


class Health(Reply, frozen=True, kw_only=True):
    """Whether the service is up, and what it waits for."""

    status: Literal["up", "ready", "not_ready"]
    detail: str | None = None


class ToolPut(Request, frozen=True, kw_only=True):
    """A tool on the shop's list, by its part number. `due_on` is the last day on which its check holds, where it has one."""

    part_number: Text
    due_on: date | None = None


class Written(Reply, frozen=True, kw_only=True):
    """What was written, by its key."""

    key: str
    note: Note | None = None


def to_json(value: Any) -> bytes:
    """The JSON bytes of a message."""
    return msgspec.json.encode(value)
