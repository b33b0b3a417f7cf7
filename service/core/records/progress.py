"""How far a work order has come, and what it lacks. It follows from entries and signatures; nobody ever sets it."""

import enum
from collections.abc import Sequence
from uuid import UUID

from msgspec import Struct

from service.core.records.content import WorkOrderStatement


class State(enum.StrEnum):
    """The states of a work order, each reached from the one before it, and left again where work comes after."""

    PLANNED = "planned"
    IN_WORK = "in_work"
    WORKED = "worked"
    INSPECTED = "inspected"
    CLOSED = "closed"


class Lack(enum.StrEnum):
    """What stands between an order and its being closed."""

    NOT_ON_THE_BOOKS = "not_on_the_books"
    NO_WORK = "no_work"
    STEPS_OPEN = "steps_open"
    INSPECTION = "inspection"
    INSPECTION_OUTDATED = "inspection_outdated"
    INSPECTION_REFUSED = "inspection_refused"
    REWORK = "rework"
    APPROVAL = "approval"
    APPROVAL_OUTDATED = "approval_outdated"


class Signed(Struct, frozen=True, kw_only=True):
    """A signature and what it is on: the facts, the entries of work, and what was open of them."""

    id: UUID
    meaning: str
    outcome: str
    facts_sha256: str
    entries: frozenset[UUID]
    opened: frozenset[tuple[UUID, str]]
    intact: bool = True

    @property
    def accepted(self) -> bool:
        """Whether it says yes, and is what was signed."""
        return self.intact and self.outcome == "accepted"


class Progress(Struct, frozen=True):
    """The state, what is lacking, and the approval that closed the order."""

    state: State
    lacks: tuple[Lack, ...]
    approval: UUID | None


def of(statement: WorkOrderStatement, signed: Sequence[Signed]) -> Progress:
    """How far an order has come. `signed`: its signatures, oldest first."""
    work = frozenset(each.entry for each in statement.done if each.counts)
    lacks = list(_before_approval(statement, work, signed))
    approval = _approval(statement, work, signed)
    if approval is None:
        stale = any(each.meaning == "approved" for each in signed)
        lacks.append(Lack.APPROVAL_OUTDATED if stale else Lack.APPROVAL)
    if not lacks and approval is not None:
        return Progress(State.CLOSED, (), approval.id)
    return Progress(_state(statement, work, signed), tuple(lacks), None)


def _before_approval(statement: WorkOrderStatement, work: frozenset[UUID], signed: Sequence[Signed]) -> list[Lack]:
    """What is lacking before anybody may approve."""
    lacks = []
    if statement.version == 0:
        lacks.append(Lack.NOT_ON_THE_BOOKS)
    if not work:
        lacks.append(Lack.NO_WORK)
    elif not _worked(statement, signed):
        lacks.append(Lack.STEPS_OPEN)
    inspection = _inspection(statement, signed)
    if inspection is not None:
        lacks.append(inspection)
    return lacks


def may_approve(statement: WorkOrderStatement, signed: Sequence[Signed]) -> tuple[Lack, ...]:
    """What is lacking before anybody may approve; nothing where somebody may."""
    work = frozenset(each.entry for each in statement.done if each.counts)
    return tuple(_before_approval(statement, work, signed))


def _state(statement: WorkOrderStatement, work: frozenset[UUID], signed: Sequence[Signed]) -> State:
    if not work:
        return State.PLANNED
    if not _worked(statement, signed):
        return State.IN_WORK
    inspected = any(each.meaning == "inspected" for each in signed)
    if inspected and _inspection(statement, signed) is None:
        return State.INSPECTED
    return State.WORKED


def _worked(statement: WorkOrderStatement, signed: Sequence[Signed]) -> bool:
    """Each planned step has its entries, or somebody who did the work signs that it is done."""
    if statement.planned and all(each.done for each in statement.planned):
        return True
    return any(
        each.meaning == "performed" and each.accepted and each.facts_sha256 == statement.facts_sha256 for each in signed
    )


def _inspection(statement: WorkOrderStatement, signed: Sequence[Signed]) -> Lack | None:
    """What is wrong with the inspection; None where it is not asked for, or the last one accepts the work as it is.

    A refusal stands for good: only work that it did not see, and a new inspection after that, lead past it.
    """
    inspections = [each for each in signed if each.meaning == "inspected"]
    refusals = [each for each in inspections if each.outcome == "refused"]
    if not inspections:
        return Lack.INSPECTION if statement.inspection_required else None
    if not statement.inspection_required and not refusals:
        return None
    last = inspections[-1]
    if last.outcome == "refused":
        return Lack.INSPECTION_REFUSED
    if not last.accepted or last.facts_sha256 != statement.facts_sha256:
        return Lack.INSPECTION_OUTDATED
    if any(last.entries <= each.entries for each in refusals):
        return Lack.REWORK
    return None


def _approval(statement: WorkOrderStatement, work: frozenset[UUID], signed: Sequence[Signed]) -> Signed | None:
    """The approval that holds: the last one, given on these facts, after everything that it had to come after.

    What was found open after it was given reopens the order; what was open then was seen, and settling it changes nothing.
    """
    last = max((at for at, each in enumerate(signed) if each.meaning == "approved"), default=None)
    if last is None:
        return None
    approval = signed[last]
    opened = frozenset((each.entry, each.code) for each in statement.discrepancies if each.of_this_work)
    holds = approval.accepted and approval.facts_sha256 == statement.facts_sha256 and opened <= approval.opened
    in_order = not _before_approval(statement, work, signed[:last])
    return approval if holds and in_order else None
