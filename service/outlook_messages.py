"""The wire contract of the outlook: what it rests on, and what it says."""

from datetime import date, datetime
from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta

from service.core.cycles import Wear
from service.core.entries import CavityId, Text
from service.core.outlook.prior import Basis, Exposure
from service.messages import DECIDES, PlaceView, Reply, Request

# --- what an outlook rests on


class Rested(Reply, frozen=True, kw_only=True):
    """What a run of the outlook rests on; it stands in every answer that comes from one.

    `as_of`: the moment whose ledger was read. `usage_from` and `usage_to`: the days for which usage was stated then; none means
    that rework was counted against days. `not_known`: connectors whose history or rating nobody knows; `retired` ones are only
    learnt from. `learnt`, `leaning`, `stated`: how many groups of connectors have a prior that the data teach, teach in part,
    or are too thin for. `thin` says in a sentence how far to trust it. `horizon_days`: up to when probabilities were kept.
    """

    run: int
    as_of: datetime
    computed_at: datetime
    computed_by: str
    connectors: int
    known: int
    not_known: int
    retired: int
    unreadable: int
    events: int
    usage_from: date | None
    usage_to: date | None
    groups: int
    learnt: int
    leaning: int
    stated: int
    thin: str
    horizon_days: tuple[int, ...]
    assumptions: tuple[str, ...]


class GroupView(Reply, frozen=True, kw_only=True):
    """Connectors that are expected to be reworked alike, and what is believed of them.

    `per_thousand`: events of rework in 1000 units of `exposure` of an average connector, with the 90 % interval of that average.
    `spread` is the coefficient of variation between connectors. `breadth`: cavities in an event on a large connector;
    `full_share`: events that touch all. `prior` and `touching` say where the figures come from.
    """

    family: str | None
    zone: str | None
    asset_type: str | None
    exposure: Exposure
    connectors: int
    events: int
    units_seen: float
    basis: Basis
    per_thousand: float
    per_thousand_low: float
    per_thousand_high: float
    spread: float
    breadth: float
    full_share: float
    prior: str
    touching: str


Band = Literal["known", "at_least", "not_known"]
"""How much a probability says: it is one; it is a lower bound; nothing."""


class OutlookLine(Reply, frozen=True, kw_only=True):
    """One connector: how probably it runs out within the horizon.

    `probability` is a lower bound where `band` is `at_least`, null where it is `not_known`. `probability_if_used_alike`: where
    the history is not known, the probability if it was used like its group before anybody counted; a supposition.
    `runs_out_in_days`: when, in the middle, and between which days with 90 %; null is later than all horizons. `due`: it has run
    out already. `left`: insertions that the limiting cavity still takes, at most where the history is not known. `moved_on`:
    something was recorded of it since the outlook was computed.
    """

    connector: UUID
    serial: str
    part_number: str | None
    family: str | None
    place: PlaceView
    band: Band
    due: bool
    probability: float | None
    probability_if_used_alike: float | None
    runs_out_in_days: float | None
    runs_out_in_days_low: float | None
    runs_out_in_days_high: float | None
    limiting_cavity: str | None
    left: int | None
    rating: int | None
    rating_verified: bool
    events: int
    units_seen: float
    exposure: Exposure
    basis: Basis
    moved_on: bool


class OutlookReport(Reply, frozen=True, kw_only=True):
    """Connectors by the probability to run out within the horizon, the most probable first.

    `rests_on` is null where no outlook was computed yet. `horizon_days` is the kept horizon that answers for the one asked for:
    the same or the next longer. Those whose history or rating is not known stand apart: all of them with `band=not_known`, by
    id; with `band=at_least` those that are at least so probable whatever the rest of their history.
    """

    rests_on: Rested | None
    horizon_days: int | None
    band: Band
    at_least: float
    connectors: tuple[OutlookLine, ...]
    groups: tuple[GroupView, ...]
    next: str | None
    notice: str = DECIDES


# --- demand, stock, visits


class DemandLine(Reply, frozen=True, kw_only=True):
    """What one part number is expected to need in one month: connectors of known history that run out, with a 90 % interval.

    Beside them, and in no figure: `due` have run out already; of `unknown` nobody knows, but that at least
    `unknown_at_least` of them are expected to run out in the month.
    """

    part_number: str | None
    family: str | None
    month: int
    begins_on: date
    ends_on: date
    expected: float
    low: int
    high: int
    due: int
    unknown: int
    unknown_at_least: float


class DemandReport(Reply, frozen=True, kw_only=True):
    """Demand by part number and month, the part number that needs most first. A connector counts once, when it first runs out."""

    rests_on: Rested | None
    months: int
    lines: tuple[DemandLine, ...]
    next: str | None
    notice: str = DECIDES


class StockLine(Reply, frozen=True, kw_only=True):
    """What to have on the shelf of one part number, those due today included.

    `met`: the probability that it suffices for connectors of known history; `short`: how many are expected to be missing;
    `pieces_at_most` would also replace every connector of which nobody knows.
    """

    part_number: str | None
    family: str | None
    pieces: int
    pieces_at_most: int
    due: int
    unknown: int
    expected: float
    low: int
    high: int
    met: float
    short: float


class StockReport(Reply, frozen=True, kw_only=True):
    """Shelf stock for a service level over a horizon, the largest first."""

    rests_on: Rested | None
    service_level: float
    horizon_days: int | None
    lines: tuple[StockLine, ...]
    next: str | None
    notice: str = DECIDES


class VisitLine(Reply, frozen=True, kw_only=True):
    """One connector to renew in its asset's next visit. Probabilities of running out are lower bounds where `band` says so."""

    connector: UUID
    serial: str
    part_number: str | None
    family: str | None
    place: PlaceView
    band: Band
    due: bool
    before_next: float
    before_after: float
    between: float


class AssetVisits(Reply, frozen=True, kw_only=True):
    """One asset's next visit: what to renew in it because it would not last until the one after.

    Of other connectors: `keep` of them last with the probability asked for, `not_known` need looking up or at. `problem` says why
    there is no advice: fewer than two visits are planned, or the second lies beyond the last horizon.
    """

    asset: str
    next_name: str
    next_on: date
    after_name: str | None
    after_on: date | None
    renew: tuple[VisitLine, ...]
    keep: int
    not_known: int
    problem: str | None


class VisitReport(Reply, frozen=True, kw_only=True):
    """Advice for the next visit of each asset that has one, the earliest first."""

    rests_on: Rested | None
    risk: float
    assets: tuple[AssetVisits, ...]
    next: str | None
    notice: str = DECIDES


# --- one connector, and what if


class HorizonView(Reply, frozen=True, kw_only=True):
    """How probably a connector runs out within so many days, and how many events of rework to expect, with a 90 % interval."""

    days: int
    probability: float | None
    probability_if_used_alike: float | None
    events_expected: float
    events_low: int
    events_high: int


class CavityOutlook(Reply, frozen=True, kw_only=True):
    """One cavity: how probably its retainer runs out within each horizon. Not to be multiplied: cavities are reworked together."""

    cavity: str
    left: int | None
    known: bool
    wear: Wear
    touches: int
    probability: tuple[float, ...]


class ConnectorOutlook(Reply, frozen=True, kw_only=True):
    """One connector's outlook from what is on the books now, with the prior of the newest run.

    `rests_on` is null where none was computed yet: then the prior is the one that is assumed before any data. `line` looks a year
    ahead, `horizons` from a month to two years.
    """

    rests_on: Rested | None
    as_of: datetime
    line: OutlookLine
    group: GroupView
    horizons: tuple[HorizonView, ...]
    cavities: tuple[CavityOutlook, ...]
    full_events: int
    days_seen: float
    units_a_day: float
    says: str
    notice: str = DECIDES


class WhatIfStep(Request, frozen=True, kw_only=True):
    """Connectors that a modification reworks: one, or those at a place or of a kind; which cavities (else all), how often each."""

    connector: UUID | None = None
    asset: Text | None = None
    zone: Text | None = None
    position: Text | None = None
    family: Text | None = None
    part_number: Text | None = None
    cavities: Annotated[tuple[CavityId, ...], Meta(max_length=1000)] = ()
    reworks: Annotated[int, Meta(ge=1, le=1000)] = 1


class WhatIf(Request, frozen=True, kw_only=True):
    """A planned modification: steps that add up where they meet in a cavity."""

    steps: Annotated[tuple[WhatIfStep, ...], Meta(min_length=1, max_length=500)]
    horizon_days: Annotated[int, Meta(ge=1, le=3650)] = 365


class WhatIfLine(Reply, frozen=True, kw_only=True):
    """What it does to one connector. `impossible`: cavities to be renewed before or in it; `used_up`: it takes the last."""

    connector: UUID
    serial: str
    part_number: str | None
    family: str | None
    place: PlaceView
    impossible: tuple[str, ...]
    used_up: tuple[str, ...]
    not_known: tuple[str, ...]
    band: Band
    probability_before: float | None
    probability_after: float | None


class WhatIfView(Reply, frozen=True, kw_only=True):
    """What a modification changes, the connectors that it does not fit first. Nothing is recorded by asking.

    `expected_before` and `expected_after`: connectors of known history that run out within the horizon, those that the
    modification itself uses up included. `steps_without`: numbers, from 0, of steps that meet no connector.
    """

    rests_on: Rested | None
    as_of: datetime
    horizon_days: int
    connectors: tuple[WhatIfLine, ...]
    reworked: int
    not_possible: int
    expected_before: float
    expected_after: float
    steps_without: tuple[int, ...]
    notice: str = DECIDES
