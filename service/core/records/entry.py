"""The record entry of a closed work order: what 14 CFR 43.9(a) asks for stands at its head, the whole statement below it."""

from datetime import datetime
from uuid import UUID

from msgspec import Struct

from service.core.records import phrases
from service.core.records.content import MaintenanceRecord, SignatureLine, WorkOrderStatement


class Occasion(Struct, frozen=True, kw_only=True):
    """What a record has beside the work: its number and id, where, when and by whom it was made, and what it corrects."""

    number: int
    id: UUID
    installation: UUID
    made_at: datetime
    made_by: str
    corrects: int | None = None
    reason: str | None = None


def make(statement: WorkOrderStatement, approval: SignatureLine, occasion: Occasion) -> MaintenanceRecord:
    """The record of a statement that was approved. Raises ValueError where there is no work to record."""
    if statement.completed_at is None or statement.completed_local is None:
        raise ValueError(statement.work_order)
    return MaintenanceRecord(
        number=occasion.number,
        id=occasion.id,
        installation=occasion.installation,
        made_at=occasion.made_at,
        made_by=occasion.made_by,
        corrects=occasion.corrects,
        correction_reason=occasion.reason,
        description=described(statement),
        reference=statement.reference,
        completed_at=statement.completed_at,
        completed_local=statement.completed_local,
        performed_by=statement.performers,
        inspections=tuple(each for each in statement.signatures if each.meaning == "inspected"),
        approval=approval,
        approves=phrases.english("approves"),
        statement=statement,
        notice=statement.notice,
    )


def described(statement: WorkOrderStatement) -> str:
    """The work in words (43.9(a)(1)): what the order says, then what was done, counted."""
    told = [each for each in (statement.title, statement.description) if each]
    counted: dict[str, int] = {}
    for line in statement.done:
        if line.counts:
            counted[line.kind] = counted.get(line.kind, 0) + 1
    done = ", ".join(f"{count} x {phrases.english(f'kind_{kind}')}" for kind, count in counted.items())
    where = ", ".join(_named(each.part_number, each.serial) for each in statement.connectors)
    return f"{'. '.join(each.rstrip('.') for each in told)}. Done: {done}. On: {where}."


def _named(part_number: str | None, serial: str) -> str:
    return f"{part_number} S/N {serial}" if part_number else f"S/N {serial}"
