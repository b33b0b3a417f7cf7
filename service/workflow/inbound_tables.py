"""What another system keeps in step here, as tables. A person, or a work order, may take several rows, one for each part."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any, Generic, TypeVar

from msgspec import Struct

from service.core.entries import CavityId, MarkText, Note, Text
from service.core.records.orders import Act, PlannedStep, Reference
from service.core.signing.authority import What
from service.inbound_messages import Outcome, PersonRow, WorkOrderRow
from service.messages import Problem
from service.signing_messages import AuthorityWord, CertificateWord, Scope
from service.store.database import Connection
from service.workflow import enrolling, inbound, inbound_orders, sheets
from service.workflow.access import Bearer
from service.workflow.inbound import Upsert
from service.workflow.sheets import Flaw, Form, Row

R = TypeVar("R")
C = TypeVar("C", bound=Struct)


class PersonCells(Struct, frozen=True, kw_only=True):
    """A row of the table of people: who, and one authority if it states one."""

    badge: Text
    name: Text
    certificate_number: Text | None = None
    certificate_kind: Text | None = None
    certificate_from_on: date | None = None
    authority: What | None = None
    scope: Scope | None = None
    from_on: date | None = None
    until_on: date | None = None


class WorkOrderCells(Struct, frozen=True, kw_only=True):
    """A row of the table of work orders: which, and one planned step if it states one."""

    number: Text
    title: Text
    description: Note | None = None
    asset: Text | None = None
    document: Text | None = None
    revision: Text | None = None
    task: Text | None = None
    inspection_required: bool = False
    step: Act | None = None
    connector: MarkText | None = None
    cavity: CavityId | None = None
    contact: Text | None = None
    tool: Text | None = None
    step_task: Text | None = None
    step_note: Note | None = None


def _person_faults(row: PersonCells) -> Iterator[tuple[str, str]]:
    told = [name for name in ("certificate_kind", "certificate_from_on") if getattr(row, name) is not None]
    if row.certificate_number is None:
        yield from ((name, "stands without a certificate_number") for name in told)
    else:
        wanted = ("certificate_kind", "certificate_from_on")
        yield from ((name, "is needed with a certificate_number") for name in wanted if name not in told)
    if row.authority is None:
        said = (name for name in ("scope", "from_on", "until_on") if getattr(row, name) is not None)
        yield from ((name, "stands without an authority") for name in said)
    elif row.from_on is None:
        yield "from_on", "an authority says from which day on it holds"
    elif row.until_on is not None and row.until_on < row.from_on:
        yield "until_on", f"authority that begins on {row.from_on} can't end before"


_STEP = ("connector", "cavity", "contact", "tool", "step_task", "step_note")


def _order_faults(row: WorkOrderCells) -> Iterator[tuple[str, str]]:
    if row.step is None:
        yield from ((name, "stands without a step") for name in _STEP if getattr(row, name) is not None)
    if row.document is None:
        yield from (
            (name, "stands without a document") for name in ("revision", "task") if getattr(row, name) is not None
        )


def _person(rows: Sequence[PersonCells]) -> PersonRow:
    first = rows[0]
    return PersonRow(
        badge=first.badge,
        name=first.name,
        certificate=None
        if first.certificate_number is None or first.certificate_from_on is None
        else CertificateWord(
            number=first.certificate_number, kind=first.certificate_kind, from_on=first.certificate_from_on
        ),
        authorities=tuple(
            AuthorityWord(what=each.authority, scope=each.scope or "all", from_on=each.from_on, until_on=each.until_on)
            for each in rows
            if each.authority is not None and each.from_on is not None
        ),
    )


def _work_order(rows: Sequence[WorkOrderCells]) -> WorkOrderRow:
    first = rows[0]
    reference = None
    if first.document is not None:
        reference = Reference(document=first.document, revision=first.revision, task=first.task)
    return WorkOrderRow(
        number=first.number,
        title=first.title,
        description=first.description,
        asset=first.asset,
        reference=reference,
        inspection_required=first.inspection_required,
        steps=tuple(
            PlannedStep(
                act=each.step,
                connector=each.connector,
                cavity=each.cavity,
                contact=each.contact,
                tool=each.tool,
                task=each.step_task,
                note=each.step_note,
            )
            for each in rows
            if each.step is not None
        ),
    )


class Table(Struct, Generic[R], frozen=True):
    """A kind of table: how it is read, what its rows become, how many of these are kept at once.

    `judged`: the books may refuse a row that can be read, so they are asked beforehand.
    """

    upsert: Upsert[R]
    read: Callable[[Path], Iterator[Row[R] | Flaw]]
    at_once: int
    judged: bool = False


def _plain(kind: Upsert[R]) -> Table[R]:
    def rows(path: Path) -> Iterator[Row[R] | Flaw]:
        first: dict[tuple[str, ...], int] = {}
        for each in sheets.read(path, kind.form):
            if isinstance(each, Row):
                before = first.setdefault(kind.key(each.value), each.number)
                yield each if before == each.number else Flaw(each.number, None, f"is about the same as row {before}")
            else:
                yield each

    return Table(kind, rows, 5_000)


def _grouped(
    form: Form[C], parts: Sequence[str], made: Callable[[Sequence[C]], R]
) -> Callable[[Path], Iterator[Row[R] | Flaw]]:
    """Rows of one person, or work order, together. But for its parts each of them says the same of it."""
    whole = [name for name in form.columns if name not in parts]

    def rows(path: Path) -> Iterator[Row[R] | Flaw]:
        groups: dict[str, list[Row[C]]] = {}
        for each in sheets.read(path, form):
            if isinstance(each, Flaw):
                yield each
                continue
            group = groups.setdefault(getattr(each.value, whole[0]), [])
            group.append(each)
            yield from _contradictions(group[0], each, whole)
        for group in groups.values():
            yield Row(group[0].number, made([each.value for each in group]), group[0].id)

    return rows


def _contradictions(first: Row[C], row: Row[C], whole: Iterable[str]) -> Iterator[Flaw]:
    for name in whole:
        if getattr(row.value, name) != getattr(first.value, name):
            yield Flaw(row.number, name, f"says otherwise than row {first.number}, which is about the same")


_PERSON_PARTS = ("authority", "scope", "from_on", "until_on")
_PEOPLE: Form[PersonCells] = Form(
    name="person",
    made=PersonCells,
    columns=PersonCells.__struct_fields__,
    needed=("badge", "name"),
    faults=_person_faults,
)
_ORDERS: Form[WorkOrderCells] = Form(
    name="work_order",
    made=WorkOrderCells,
    columns=WorkOrderCells.__struct_fields__,
    needed=("number", "title"),
    faults=_order_faults,
)

TABLES: Mapping[str, Table[Any]] = {
    "assets": _plain(inbound.ASSETS),
    "positions": _plain(inbound.POSITIONS),
    "tools": _plain(inbound.TOOLS),
    "people": Table(inbound_orders.PEOPLE, _grouped(_PEOPLE, _PERSON_PARTS, _person), 200, judged=True),
    "work-orders": Table(
        inbound_orders.WORK_ORDERS,
        _grouped(_ORDERS, ("step", *_STEP), _work_order),
        200,
        judged=True,
    ),
}
"""The tables by the name of the command that imports them."""


async def refused(
    connection: Connection, table: Table[R], rows: Sequence[Row[R]], bearer: Bearer, at: datetime
) -> list[Flaw]:
    """What the books would refuse of these rows, found by trying; nothing of it stays."""
    trial = connection.transaction()
    await trial.start()
    try:
        return (await _kept(connection, table, rows, bearer, at))[1]
    finally:
        await trial.rollback()


async def record(
    connection: Connection,
    table: Table[R],
    rows: Sequence[Row[R]],
    bearer: Bearer,
    clock: Callable[[], datetime],
    progress: Callable[[int], None],
) -> tuple[dict[Outcome, int], list[Flaw]]:
    """Keep rows that were checked, some at a time, each time whole: cut off and run again, it goes on where it was."""
    tally: dict[Outcome, int] = {"created": 0, "changed": 0, "unchanged": 0}
    flaws: list[Flaw] = []
    done = 0
    for chunk in enrolling.chunks(rows, table.at_once):
        became, late = await _kept(connection, table, chunk, bearer, clock())
        for each in became:
            tally[each] += 1
        flaws += late
        done += len(chunk)
        progress(done)
    return tally, flaws


async def _kept(
    connection: Connection, table: Table[R], rows: Sequence[Row[R]], bearer: Bearer, at: datetime
) -> tuple[list[Outcome], list[Flaw]]:
    found = await table.upsert.record(connection, [each.value for each in rows], bearer, at)
    flaws = [
        Flaw(row.number, _column(became), became.detail)
        for row, became in zip(rows, found, strict=True)
        if isinstance(became, Problem)
    ]
    return [each for each in found if not isinstance(each, Problem)], flaws


def _column(problem: Problem) -> str | None:
    """The column that a problem of the operation for one is about."""
    if not problem.errors:
        return None
    field = problem.errors[0].pointer.removeprefix("#/").split("/")[0]
    return {
        "certificate": "certificate_number",
        "authorities": "authority",
        "reference": "document",
        "steps": "step",
    }.get(field, field)
