"""The wire contract of the fleet's reports: API, pages, exports and the command line give the same rows of these."""

from datetime import datetime
from typing import Literal
from uuid import UUID

from service.core.cycles import Wear
from service.core.discrepancies import Code, Seriousness
from service.core.entries import Entry, Text
from service.messages import DECIDES, LedgerLine, PlaceView, Reply, Request

# --- wear


class CycleLimitLine(Reply, frozen=True, kw_only=True):
    """One connector in the fleet's list: where its limiting cavity stands. `bench` is the one that recorded last."""

    connector: UUID
    serial: str
    part_number: str | None
    family: str | None
    place: PlaceView
    bench: str | None
    wear: Wear
    limiting_cavity: str | None
    cycles_begun: int
    rating: int | None
    rating_verified: bool
    left: int | None
    worn_cavities: int
    unknown_cavities: int


class CavityLimitLine(Reply, frozen=True, kw_only=True):
    """One cavity in the fleet's list: where its retainer stands, and the connector that it belongs to."""

    connector: UUID
    serial: str
    part_number: str | None
    family: str | None
    place: PlaceView
    bench: str | None
    cavity: str
    wear: Wear
    retainer_life: int
    occupied: bool | None
    cycles_begun: int
    cycles_completed: int
    rating: int | None
    rating_verified: bool
    left: int | None


class CycleLimitReport(Reply, frozen=True, kw_only=True):
    """The fleet's list, worst first: of connectors or of cavities. `next` is the cursor of the following page.

    As of a past moment it comes in the order of the connectors' ids, and a page may be short although another follows.
    """

    of: Literal["connectors", "cavities"]
    as_of: datetime | None
    connectors: tuple[CycleLimitLine, ...] = ()
    cavities: tuple[CavityLimitLine, ...] = ()
    next: str | None
    notice: str = DECIDES


By = Literal["asset", "asset_type", "zone", "position", "family", "part_number", "bench", "shop"]
"""By what wear is counted together."""


class WearGroup(Reply, frozen=True, kw_only=True):
    """How many cavities of a group stand where. `name` is null for those of which it is not known."""

    name: str | None
    connectors: int
    cavities: int
    within: int
    nearing: int
    spent: int
    over: int
    unknown: int
    discrepancies: int


class CyclesGroup(Reply, frozen=True, kw_only=True):
    """How many cavities of a family and a rating have begun how many cycles; the last step counts all beyond it."""

    family: str | None
    rating: int | None
    rating_verified: bool
    cycles_begun: int
    cavities: int


class WearReport(Reply, frozen=True, kw_only=True):
    """Wear counted together, the worst groups first. `total` is the whole fleet's. Retired connectors are left out."""

    by: By
    groups: tuple[WearGroup, ...]
    total: WearGroup
    next: str | None
    notice: str = DECIDES


class CyclesReport(Reply, frozen=True, kw_only=True):
    """How cycles are spread over the fleet's retainers."""

    groups: tuple[CyclesGroup, ...]
    notice: str = DECIDES


# --- discrepancies


class WayView(Reply, frozen=True, kw_only=True):
    """One way to resolve a discrepancy. `draft` are the fields of the entry to send; the person adds id, time, badge and reason.

    `connectors`: for a merge, the others that this one may be the double of.
    """

    way: Literal["correction", "renewal", "acceptance", "merge"]
    text: str
    draft: dict[str, str] | None = None
    connectors: tuple[UUID, ...] = ()


class DiscrepancyLine(Reply, frozen=True, kw_only=True):
    """One open discrepancy. `before` and `after` are its entry's neighbours in time at the same cavity, nearest first."""

    connector: UUID
    serial: str
    part_number: str | None
    family: str | None
    place: PlaceView
    bench: str | None
    code: Code
    text: str
    seriousness: Seriousness
    cavity: str | None
    performed_at: datetime
    recorded_at: datetime
    age_days: float
    entry: LedgerLine
    before: tuple[LedgerLine, ...]
    after: tuple[LedgerLine, ...]
    ways: tuple[WayView, ...]


class DiscrepancyReport(Reply, frozen=True, kw_only=True):
    """What is open, the most serious first and of those the oldest. `open` is how many there are in all, unfiltered."""

    discrepancies: tuple[DiscrepancyLine, ...]
    open: int
    next: str | None
    notice: str = DECIDES


class MergeStep(Reply, frozen=True, kw_only=True):
    """One entry of the doubled connector: the correction to record there, and the fact to record anew in the other's ledger.

    `fact` is null where the other holds it already, or can't hold it: `text` says which and why.
    """

    entry: LedgerLine
    correction: Entry | None
    fact: Entry | None
    text: str


class MergeProposal(Reply, frozen=True, kw_only=True):
    """What a person may send to POST /v1/entries, all or in part, to merge a doubled connector. Nothing is recorded by asking.

    The entries' ids are made of what they say: sent twice, they are recorded once.
    """

    doubled: UUID
    into: UUID
    steps: tuple[MergeStep, ...]
    retirement: Entry | None
    next: str | None
    notice: str = DECIDES


# --- benches


class BenchPut(Request, frozen=True, kw_only=True):
    """The shop that a bench belongs to."""

    shop: Text


class BenchView(Reply, frozen=True, kw_only=True):
    """A bench and its shop."""

    name: str
    shop: str


class BenchList(Reply, frozen=True, kw_only=True):
    """The benches of which the shop is known, by name."""

    benches: tuple[BenchView, ...]
    next: str | None
