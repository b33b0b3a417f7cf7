"""The wire contract of work orders and of the records that are made of them."""

from datetime import datetime
from uuid import UUID

from service.core.entries import Note, Text
from service.core.records.content import MaintenanceRecord, WorkOrderStatement
from service.core.records.orders import WorkOrder
from service.core.records.progress import Lack, State
from service.messages import DECIDES, Reply, Request


class RecordLine(Reply, frozen=True, kw_only=True):
    """A record in a list. `sha256` is the hash of its content; `corrected_by` is the record that took its place."""

    number: int
    work_order: str
    corrects: int | None
    corrected_by: int | None
    sha256: str
    approval: UUID
    made_by: str
    made_at: datetime


class WorkOrderView(Reply, frozen=True, kw_only=True):
    """A work order: what was stated, how far it has come, and what it lacks to be closed.

    `state` follows from entries and signatures. `order` is null where entries name a number that nobody put on the books.
    `record`: the record that stands for it as it is now; null where there is none or work came after it.
    """

    number: str
    version: int
    state: State
    lacks: tuple[Lack, ...]
    order: WorkOrder | None
    recorded_by: str | None
    recorded_at: datetime | None
    statement: WorkOrderStatement
    records: tuple[RecordLine, ...]
    record: int | None
    notice: str = DECIDES


class WorkOrderLine(Reply, frozen=True, kw_only=True):
    """A work order in a list. `open` is how many discrepancies of its work are; `record` the one that stands for it now."""

    number: str
    version: int
    title: str | None
    asset: str | None
    state: State
    lacks: tuple[Lack, ...]
    inspection_required: bool
    connectors: tuple[str, ...]
    entries: int
    began_at: datetime | None
    completed_at: datetime | None
    open: int
    record: int | None
    records: int


class WorkOrderList(Reply, frozen=True, kw_only=True):
    """A page of the work orders on the books, those that came last first."""

    work_orders: tuple[WorkOrderLine, ...]
    next: str | None


class RecordRequest(Request, frozen=True, kw_only=True):
    """Which closed work order is to be recorded. Where a record of it is there already, the reason why another is needed."""

    work_order: Text
    reason: Note | None = None


class RecordView(Reply, frozen=True, kw_only=True):
    """A record. `intact`: its bytes still have the hash under which it was made, and its approval is as it was signed."""

    number: int
    sha256: str
    corrects: int | None
    corrected_by: int | None
    intact: bool
    record: MaintenanceRecord
    notice: str = DECIDES


class RecordList(Reply, frozen=True, kw_only=True):
    """A page of the records, newest first."""

    records: tuple[RecordLine, ...]
    next: str | None
