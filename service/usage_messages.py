"""The wire contract of what is stated of assets: what they fly, and when they come in."""

from datetime import date, datetime
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from service.core.entries import Text
from service.messages import Problem, Reply, Request

Hours = Annotated[float, Meta(ge=0, le=1_000_000)]
FlightCycles = Annotated[int, Meta(ge=0, le=1_000_000)]


class UsageRow(Request, frozen=True, kw_only=True):
    """What an asset flew up to the end of a day, since the day of its row before; its first row is of one day, or of all before.

    A row a day, a month or a life: between two rows it is spread evenly. One for the same day replaces it, and all are kept.
    """

    asset: Text
    day: date
    flight_hours: Hours | None = None
    flight_cycles: FlightCycles | None = None


class VisitRow(Request, frozen=True, kw_only=True):
    """A planned visit of an asset by its name. The newest statement holds; without `starts_on` the visit is called off."""

    asset: Text
    name: Text
    starts_on: date | None = None


class RowsEnvelope(Request, frozen=True, kw_only=True):
    """Rows as they arrive: each is read on its own, so that one that can't be read does not sink the others."""

    rows: Annotated[tuple[msgspec.Raw, ...], Meta(min_length=1, max_length=1000)]


class UsageRequest(Request, frozen=True, kw_only=True):
    """Rows of usage."""

    rows: Annotated[tuple[UsageRow, ...], Meta(min_length=1, max_length=1000)]


class VisitsRequest(Request, frozen=True, kw_only=True):
    """Rows of visits."""

    rows: Annotated[tuple[VisitRow, ...], Meta(min_length=1, max_length=1000)]


class RowResult(Reply, frozen=True, kw_only=True):
    """What became of one row, by its place in the request, from 0."""

    row: int
    outcome: Literal["recorded", "already_recorded", "refused"]
    problem: Problem | None


class RowsReply(Reply, frozen=True, kw_only=True):
    """One result a row, in order."""

    results: tuple[RowResult, ...]


class UsageView(Reply, frozen=True, kw_only=True):
    """A statement of usage that holds."""

    asset: str
    day: date
    flight_hours: float | None
    flight_cycles: int | None
    recorded_by: str
    recorded_at: datetime


class UsageList(Reply, frozen=True, kw_only=True):
    """Statements of usage that hold, by asset and day."""

    usage: tuple[UsageView, ...]
    next: str | None


class VisitView(Reply, frozen=True, kw_only=True):
    """A visit that holds."""

    asset: str
    name: str
    starts_on: date
    recorded_by: str
    recorded_at: datetime


class VisitList(Reply, frozen=True, kw_only=True):
    """Visits that hold, by asset and day."""

    visits: tuple[VisitView, ...]
    next: str | None
