"""The wire contract of what another system keeps in step here: assets, positions, tools, people, work orders."""

from datetime import date, datetime
from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta

from service.core.entries import Note, Text
from service.core.records.orders import WorkOrder
from service.messages import DECIDES, Problem, Reply, Request
from service.signing_messages import PersonPut

Rows = Meta(min_length=1, max_length=1000)
Outcome = Literal["created", "changed", "unchanged"]


class AssetRow(Request, frozen=True, kw_only=True):
    """What an asset is. A row says all of it: what is left out is not said any more. `withdrawn_on`: its first day out of use."""

    asset: Text
    type: Text | None = None
    serial: Text | None = None
    withdrawn_on: date | None = None


class PositionRow(Request, frozen=True, kw_only=True):
    """A place on an asset, and the part number of connector that belongs there. `present` is false once the place is no more."""

    asset: Text
    position: Text
    zone: Text | None = None
    part_number: Text | None = None
    present: bool = True


class ToolRow(Request, frozen=True, kw_only=True):
    """A tool of the shop's under its mark. `due_on` is the last day on which its check holds, where it has one."""

    mark: Text
    part_number: Text
    due_on: date | None = None


class PersonRow(PersonPut, frozen=True, kw_only=True):
    """Somebody on the shop's list under their badge. What is left out stays as it is; all but the name is for an administrator."""

    badge: Text


class WorkOrderRow(WorkOrder, frozen=True, kw_only=True):
    """A work order under its number, as the shop's planning states it. A row says all of it; every version is kept."""

    number: Text


class AssetsRequest(Request, frozen=True, kw_only=True):
    """Rows of assets."""

    rows: Annotated[tuple[AssetRow, ...], Rows]


class PositionsRequest(Request, frozen=True, kw_only=True):
    """Rows of positions."""

    rows: Annotated[tuple[PositionRow, ...], Rows]


class ToolsRequest(Request, frozen=True, kw_only=True):
    """Rows of tools."""

    rows: Annotated[tuple[ToolRow, ...], Rows]


class PeopleRequest(Request, frozen=True, kw_only=True):
    """Rows of people."""

    rows: Annotated[tuple[PersonRow, ...], Rows]


class WorkOrdersRequest(Request, frozen=True, kw_only=True):
    """Rows of work orders."""

    rows: Annotated[tuple[WorkOrderRow, ...], Rows]


class UpsertResult(Reply, frozen=True, kw_only=True):
    """What became of one row, by its place in the request, from 0; `key` is what it is about, null where that can't be read."""

    row: int
    key: str | None
    outcome: Outcome | Literal["refused"]
    problem: Problem | None


class UpsertReply(Reply, frozen=True, kw_only=True):
    """One result a row, in order."""

    results: tuple[UpsertResult, ...]


class AssetView(Reply, frozen=True, kw_only=True):
    """What is stated of an asset."""

    asset: str
    type: str | None
    serial: str | None
    withdrawn_on: date | None
    recorded_by: str
    recorded_at: datetime


class AssetList(Reply, frozen=True, kw_only=True):
    """What is stated of assets, by asset."""

    assets: tuple[AssetView, ...]
    next: str | None


class Standing(Reply, frozen=True, kw_only=True):
    """A connector that is recorded to be at a place. `expected` is null where nobody says what belongs there, or what it is."""

    connector: UUID
    serial: str
    part_number: str | None
    expected: bool | None


class PositionView(Reply, frozen=True, kw_only=True):
    """A place, what belongs there, and which connectors are recorded to be there now."""

    asset: str
    zone: str | None
    position: str
    part_number: str | None
    connectors: tuple[Standing, ...]
    recorded_by: str
    recorded_at: datetime


class PositionList(Reply, frozen=True, kw_only=True):
    """Places by asset, zone and position."""

    positions: tuple[PositionView, ...]
    next: str | None
    notice: str = DECIDES


class Departure(Request, frozen=True, kw_only=True):
    """Somebody who left is to stand under a pseudonym from now on. `also_as`: other texts under which they stand in the books.

    `left_on` is their last day. Before the time is over for which the law has records of work kept with the name,
    `despite_retention` says why it may be done nevertheless.
    """

    left_on: date
    reason: Note
    also_as: Annotated[tuple[Text, ...], Meta(max_length=20)] = ()
    despite_retention: Note | None = None


class Departed(Reply, frozen=True, kw_only=True):
    """Under what they stand from now on, and what keeps their name: how many signatures, which the law has kept as signed."""

    pseudonym: str
    left_on: date
    signatures: int
    recorded_at: datetime
