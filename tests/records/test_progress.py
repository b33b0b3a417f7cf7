"""How far a work order has come: states that follow from entries and signatures, as tables."""

import uuid
from typing import Any

import pytest
from msgspec import structs

from service.core.records import progress
from service.core.records.content import WorkOrderStatement
from service.core.records.orders import Act, PlannedStep, WorkOrder
from service.core.records.progress import Lack, Signed, State
from tests.records.test_counts import stated

WORK = "removal C work_order=WO-1\ninsertion C work_order=WO-1\n"
MORE = "tine_entry C work_order=WO-1\n"
PLAN = (PlannedStep(act=Act.REPLACE, cavity="C"),)


def on(told: WorkOrderStatement, meaning: str, outcome: str = "accepted", **changes: Any) -> Signed:
    """A signature on a statement."""
    made = Signed(
        id=uuid.uuid4(),
        meaning=meaning,
        outcome=outcome,
        facts_sha256=told.facts_sha256,
        entries=frozenset(each.entry for each in told.done if each.counts),
        opened=frozenset((each.entry, each.code) for each in told.discrepancies if each.of_this_work),
    )
    return structs.replace(made, **changes)


def order(*, inspected: bool, planned: bool = True) -> WorkOrder:
    """An order with or without a plan and an inspection."""
    return WorkOrder(title="Rework", inspection_required=inspected, steps=PLAN if planned else ())


# Inspection required, planned, then signatures as (on how much of the work, meaning, outcome); what it comes to.
# "1" is the first work, "2" the first and the rework.
_ACCEPT, _REFUSE = ("inspected", "accepted"), ("inspected", "refused")
TABLE: list[tuple[bool, bool, str, list[tuple[str, str, str]], State, list[Lack]]] = [
    (False, True, "", [], State.PLANNED, [Lack.NO_WORK, Lack.APPROVAL]),
    (False, True, "1", [], State.WORKED, [Lack.APPROVAL]),
    (False, False, "1", [], State.IN_WORK, [Lack.STEPS_OPEN, Lack.APPROVAL]),
    (False, False, "1", [("1", "performed", "accepted")], State.WORKED, [Lack.APPROVAL]),
    (False, False, "2", [("1", "performed", "accepted")], State.IN_WORK, [Lack.STEPS_OPEN, Lack.APPROVAL]),
    (False, True, "1", [("1", "approved", "accepted")], State.CLOSED, []),
    (False, True, "2", [("1", "approved", "accepted")], State.WORKED, [Lack.APPROVAL_OUTDATED]),
    (True, True, "1", [("1", "approved", "accepted")], State.WORKED, [Lack.INSPECTION, Lack.APPROVAL_OUTDATED]),
    (True, True, "1", [("1", *_ACCEPT)], State.INSPECTED, [Lack.APPROVAL]),
    (True, True, "1", [("1", *_ACCEPT), ("1", "approved", "accepted")], State.CLOSED, []),
    # Approved before it was inspected is not approved after.
    (True, True, "1", [("1", "approved", "accepted"), ("1", *_ACCEPT)], State.INSPECTED, [Lack.APPROVAL_OUTDATED]),
    (True, True, "2", [("1", *_ACCEPT)], State.WORKED, [Lack.INSPECTION_OUTDATED, Lack.APPROVAL]),
    (True, True, "1", [("1", *_REFUSE)], State.WORKED, [Lack.INSPECTION_REFUSED, Lack.APPROVAL]),
    # A refusal stands: accepting the very same work does not lead past it, rework and a new inspection do.
    (True, True, "1", [("1", *_REFUSE), ("1", *_ACCEPT)], State.WORKED, [Lack.REWORK, Lack.APPROVAL]),
    (True, True, "2", [("1", *_REFUSE), ("2", *_ACCEPT)], State.INSPECTED, [Lack.APPROVAL]),
    (True, True, "2", [("1", *_REFUSE), ("2", *_ACCEPT), ("2", "approved", "accepted")], State.CLOSED, []),
    # It holds up an order too that asks for no inspection, and one that was closed.
    (False, True, "1", [("1", *_REFUSE)], State.WORKED, [Lack.INSPECTION_REFUSED, Lack.APPROVAL]),
    (
        False,
        True,
        "1",
        [("1", "approved", "accepted"), ("1", *_REFUSE)],
        State.WORKED,
        [Lack.INSPECTION_REFUSED],
    ),
]


@pytest.mark.parametrize("case", range(len(TABLE)))
def test_the_state_follows(case: int) -> None:
    """The state and what is lacking, from the work and the signatures on it."""
    required, planned, worked, signatures, state, lacks = TABLE[case]
    tables = {"": "insertion C\n", "1": "insertion C\n" + WORK, "2": "insertion C\n" + WORK + MORE}
    at = {name: stated(table, order(inspected=required, planned=planned)) for name, table in tables.items()}
    signed = [on(at[name], meaning, outcome) for name, meaning, outcome in signatures]
    found = progress.of(at[worked], signed)
    assert (found.state, list(found.lacks)) == (state, lacks)
    assert (found.approval is not None) == (state is State.CLOSED)


def test_an_order_that_nobody_stated_is_never_closed() -> None:
    """Entries may name an order that is not on the books: it has work, and can't be closed."""
    told = structs.replace(stated("insertion C\n" + WORK), version=0)
    found = progress.of(told, [on(told, "performed"), on(told, "approved")])
    assert (found.state, found.lacks) == (State.WORKED, (Lack.NOT_ON_THE_BOOKS, Lack.APPROVAL_OUTDATED))


def test_what_opens_later_reopens_and_what_is_settled_does_not() -> None:
    """A discrepancy that the approver saw may be settled; one that nobody saw asks for a new approval."""
    noted = "insertion C\nremoval C work_order=WO-1 noted=wrong_tool #out\ninsertion C work_order=WO-1\n"
    plan = order(inspected=False)
    seen, settled = stated(noted, plan), stated(noted + "resolution refers_to=out note=checked\n", plan)
    refused = stated(noted + "acceptance refers_to=out accepted=false by=eve\n", plan)
    approval = on(seen, "approved")
    assert [progress.of(each, [approval]).state for each in (seen, settled, refused)] == [
        State.CLOSED,
        State.CLOSED,
        State.WORKED,
    ]


def test_a_signature_that_was_altered_counts_for_nothing() -> None:
    """What is not as it was signed closes nothing; a refusal stands even so."""
    told = stated("insertion C\n" + WORK, order(inspected=True))
    inspection, approval = on(told, "inspected"), on(told, "approved")
    broken = structs.replace(inspection, intact=False)
    assert progress.of(told, [inspection, approval]).state is State.CLOSED
    assert progress.of(told, [broken, approval]).state is State.WORKED
    assert progress.of(told, [inspection, structs.replace(approval, intact=False)]).state is State.INSPECTED
    refusal = on(told, "inspected", "refused", intact=False)
    assert Lack.INSPECTION_REFUSED in progress.of(told, [refusal]).lacks
