"""Everything that is on the books of work orders, read in few statements, as the core takes it."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date
from typing import Any
from uuid import UUID

import msgspec
from msgspec import Struct

from service.core import chain
from service.core.entries import HouseRule
from service.core.records import orders, scope, statement
from service.core.records.content import SignatureLine, WorkOrderStatement
from service.core.records.orders import Stated, WorkOrder
from service.core.records.progress import Signed
from service.core.records.scope import Ledger, Line
from service.core.records.statement import Books, Person, Tool
from service.messages import DECIDES
from service.signing_messages import Signature
from service.store import database, ledger
from service.store.database import Connection
from service.store.ledger import Definitions
from service.workflow import finding, signing

SUBJECT = "work_order"
"""What signatures on a work order are on."""


class Means(Struct, frozen=True):
    """What every reading goes by."""

    definitions: Definitions
    house: HouseRule


class Found(Struct, frozen=True):
    """A work order as it stands, with its signatures and who put it on the books when."""

    statement: WorkOrderStatement
    signed: tuple[Signed, ...]
    signatures: tuple[Signature, ...]
    order: WorkOrder | None
    recorded_by: str | None
    recorded_at: Any


async def read(connection: Connection, means: Means, numbers: Sequence[str]) -> dict[str, Found]:
    """These work orders as they stand, on the books or only named by entries."""
    stated = {row["number"]: row for row in await database.fetch(connection, "work_orders", list(numbers))}
    known = {number: _stated(row) for number, row in stated.items()}
    meant = await _meant(connection, known.values())
    on = await _worked_on(connection, numbers)
    for number, each in known.items():
        on[number] |= {there for step in each.order.steps if (there := meant.get(step.connector or "")) is not None}
    ledgers = await _ledgers(connection, means.definitions, {each for found in on.values() for each in found})
    waiting = {row["number"]: row["waiting"] for row in await database.fetch(connection, "waiting_work", list(numbers))}
    found = {}
    for number in numbers:
        held = tuple(ledgers[each] for each in sorted(on[number]) if each in ledgers)
        signatures = await signing.of(connection, SUBJECT, number)
        books = Books(
            number=number,
            stated=known.get(number),
            ledgers=held,
            meant=meant,
            **await _lists(connection, number, held),
            signatures=tuple(line(each) for each in signatures),
            waiting=waiting.get(number, 0),
            house=means.house,
            notice=DECIDES,
        )
        row = stated.get(number)
        found[number] = Found(
            statement.make(books),
            tuple(signed(each) for each in signatures),
            signatures,
            known[number].order if number in known else None,
            row["recorded_by"] if row else None,
            row["recorded_at"].astimezone(UTC) if row else None,
        )
    return found


def _stated(row: Any) -> Stated:
    reference = None
    if row["document"] is not None:
        reference = orders.Reference(document=row["document"], revision=row["revision"], task=row["task"])
    order = WorkOrder(
        title=row["title"],
        description=row["description"],
        asset=row["asset"],
        reference=reference,
        inspection_required=row["inspection_required"],
        steps=msgspec.json.decode(row["steps"], type=tuple[orders.PlannedStep, ...]),
    )
    return Stated(row["version"], order)


async def stated(connection: Connection, number: str) -> Stated | None:
    """What holds of a work order on the books."""
    row = await database.fetch_one(connection, "work_orders", [number])
    return None if row is None else _stated(row)


async def _meant(connection: Connection, known: Iterable[Stated]) -> dict[str, UUID]:
    """The connector that each mark of a planned step means, where it means just one."""
    marks = {step.connector for each in known for step in each.order.steps if step.connector is not None}
    found = await finding.meant(connection, {mark: finding.read(mark) for mark in sorted(marks)})
    return {mark: connectors[0] for mark, connectors in found.items() if len(connectors) == 1}


async def _worked_on(connection: Connection, numbers: Sequence[str]) -> dict[str, set[UUID]]:
    found: dict[str, set[UUID]] = {number: set() for number in numbers}
    for row in await database.fetch(connection, "worked_on", list(numbers)):
        found[row["number"]].add(row["connector"])
    return found


async def _ledgers(connection: Connection, definitions: Definitions, wanted: set[UUID]) -> dict[UUID, Ledger]:
    heads = await ledger.heads(connection, definitions, sorted(wanted), lock=False)
    lines: dict[UUID, list[Line]] = {each: [] for each in heads}
    for row in await database.fetch(connection, "whole_ledgers", sorted(heads)):
        recorded = chain.decode_body(row["body"]).recorded
        if row["elsewhere"]:
            # A work order of another owner's is none of ours, though it may have the number of one of ours.
            recorded = msgspec.structs.replace(recorded, entry=msgspec.structs.replace(recorded.entry, work_order=None))
        lines[row["connector"]].append(Line(row["connector"], row["number"], recorded, row["hash"]))
    return {each: Ledger(head.definition, head.state, tuple(lines[each])) for each, head in heads.items()}


async def _lists(connection: Connection, number: str, held: Sequence[Ledger]) -> dict[str, Mapping[str, Any]]:
    """The tools and the people that the work names, as the shop's lists have them."""
    steps = [each for work in statement.works(number, held) for each in work.done]
    tools = sorted({each.entry.tool for each in steps if each.entry.tool is not None})
    rows = await database.fetch(connection, "tools_named", tools) if tools else []
    return {
        "tools": {row["mark"]: Tool(row["part_number"], row["due_on"]) for row in rows},
        "people": await _people(connection, steps),
    }


async def _people(connection: Connection, steps: Sequence[Line]) -> dict[str, Person]:
    """Everybody by name, with the certificate that had begun on the day of that person's last step."""
    days: dict[str, date] = {}
    for each in (each for each in steps if scope.is_work(each.entry.kind)):
        day = each.recorded.ordered_at.astimezone(UTC).date()
        days[each.entry.performed_by] = max(day, days.get(each.entry.performed_by, day))
    if not days:
        return {}
    held: dict[str, tuple[str | None, str | None]] = {}
    for row in await database.fetch(connection, "certificates", sorted(days), None):
        if row["from_on"] <= days[row["badge"]]:
            held[row["badge"]] = (row["certificate_number"], row["certificate_kind"])
    rows = await database.fetch(connection, "people_named", sorted(days))
    return {row["badge"]: Person(row["name"], *held.get(row["badge"], (None, None))) for row in rows}


def line(signature: Signature) -> SignatureLine:
    """A signature as a statement lists it."""
    names = [each for each in SignatureLine.__struct_fields__ if each != "signed_at"]
    told = {name: getattr(signature, name) for name in names}
    return SignatureLine(**told, signed_at=signature.signed_at.astimezone(UTC))


class _Line(Struct):
    entry: UUID
    counts: bool


class _Open(Struct):
    entry: UUID
    code: str
    of_this_work: bool


class _Signed(Struct):
    facts_sha256: str
    done: tuple[_Line, ...]
    discrepancies: tuple[_Open, ...]


def signed(signature: Signature) -> Signed:
    """What a signature is on. One that is on something else, or that was altered, is on no facts at all."""
    try:
        on = msgspec.json.decode(signature.statement, type=_Signed)
    except msgspec.DecodeError:
        on = _Signed("", (), ())
    return Signed(
        id=signature.id,
        meaning=signature.meaning,
        outcome=signature.outcome,
        facts_sha256=on.facts_sha256,
        entries=frozenset(each.entry for each in on.done if each.counts),
        opened=frozenset((each.entry, each.code) for each in on.discrepancies if each.of_this_work),
        intact=signature.intact,
    )
