"""Counts before and after the work, by the one fold, on tables of histories."""

from typing import Any

import pytest

from service.core import fold
from service.core.entries import HouseRule, Rating
from service.core.records import content, counts, scope, statement
from service.core.records.orders import Act, PlannedStep, Stated, WorkOrder
from service.core.records.scope import Ledger, Line
from service.core.records.statement import Books, Tool
from tests.histories import CONNECTOR, definition, read

ORDER = "WO-1"


def ledger(table: str, **changes: Any) -> Ledger:
    """The ledger that a table makes; lines of the order say `work_order=WO-1`."""
    known = definition(**changes)
    recorded = [each.recorded for each in read(table) if each.recorded is not None]
    lines = tuple(Line(CONNECTOR, number, each, bytes([number]) * 32) for number, each in enumerate(recorded, 1))
    return Ledger(known, fold.fold(known, recorded), lines)


def stated(table: str, order: WorkOrder | None = None, **changes: Any) -> content.WorkOrderStatement:
    """The statement of the order on that ledger."""
    return statement.make(
        Books(
            number=ORDER,
            stated=Stated(1, order or WorkOrder(title="Rework")),
            ledgers=(ledger(table, **changes),),
            meant={"EX-0001": CONNECTOR},
            tools={"LT-1": Tool("M81969/14-02", None)},
            people={},
            signatures=(),
            waiting=0,
            house=HouseRule(),
            notice="n",
        )
    )


# Table, then per cavity: cavity, begun before, begun after, other entries between.
COUNTED = {
    "a replacement": (
        """
        insertion C
        removal C work_order=WO-1
        insertion C work_order=WO-1
        """,
        {"C": (1, 2, 0)},
    ),
    "late work of another order counts before": (
        """
        insertion C
        removal C work_order=WO-1
        insertion C work_order=WO-1
        @-20 insertion C work_order=WO-0
        @-19 removal C work_order=WO-0
        """,
        {"C": (2, 3, 0)},
    ),
    "other work in between is in the count after, and said": (
        """
        insertion C
        removal C work_order=WO-1
        insertion C work_order=WO-2
        removal C work_order=WO-2
        insertion C work_order=WO-1
        """,
        {"C": (1, 3, 2)},
    ),
    "work after it is in no count of it": (
        """
        insertion C
        removal C work_order=WO-1
        insertion C work_order=WO-1
        removal C
        insertion C
        """,
        {"C": (1, 2, 0)},
    ),
    "an entry in error is no work, whenever it is corrected": (
        """
        insertion C
        removal C work_order=WO-1
        insertion C work_order=WO-1
        tine_entry C work_order=WO-1 #wrong
        removal A work_order=WO-1 #never
        correction corrects=wrong note=slip
        correction corrects=never note=slip
        """,
        {"C": (1, 2, 0)},
    ),
    "a renewal of all is in every cavity": (
        """
        insertion C
        removal C
        renewal work_order=WO-1
        """,
        {"A": (0, 0, 0), "C": (1, 0, 0), "c": (0, 0, 0)},
    ),
    "ids are case-sensitive": (
        """
        insertion c work_order=WO-1
        insertion C
        """,
        {"c": (0, 1, 0)},
    ),
    "entries of one instant are all after": (
        """
        insertion C
        @5 removal C
        @5 insertion C work_order=WO-1
        """,
        {"C": (1, 2, 1)},
    ),
}


@pytest.mark.parametrize("name", COUNTED)
def test_counts_before_and_after(name: str) -> None:
    """Before the first step in a cavity and after its last, whatever the order of recording."""
    table, wanted = COUNTED[name]
    found = {each.cavity: each for each in stated(table).cavities}
    assert {
        cavity: (each.before.cycles_begun, each.after.cycles_begun, each.other_entries)
        for cavity, each in found.items()
    } == wanted


def test_the_last_count_is_the_state_s() -> None:
    """Where nothing came after the work, the count after is what the state of the connector says."""
    table = "".join(f"{kind} C work_order=WO-1\n" for _ in range(4) for kind in ("insertion", "removal"))
    held = ledger(table)
    (line,) = stated(table).cavities
    now = held.state.cavity("C")
    assert now is not None
    assert line.after == counts.count(now, counts.figures(held.definition, HouseRule()))
    assert (line.after.cycles_begun, line.after.remaining) == (4, 6)


def test_facts_change_with_the_work_alone() -> None:
    """A rating that is revised or a discrepancy that is resolved changes no fact; an entry, a correction, an earlier count does."""
    table = """
        insertion C
        removal C work_order=WO-1 noted=wrong_tool #out
        insertion C work_order=WO-1
        """
    same = stated(table).facts_sha256
    assert stated(table, rating=Rating(value=8, basis="mandatory")).facts_sha256 == same
    assert stated(f"{table}\nresolution refers_to=out note=checked").facts_sha256 == same
    assert stated(f"{table}\nremoval C").facts_sha256 == same
    for more in ("removal C work_order=WO-1", "correction corrects=out note=slip", "@-5 insertion C"):
        assert stated(f"{table}\n{more}").facts_sha256 != same, more


def test_what_is_wrong_is_said() -> None:
    """An unverified limit, an open discrepancy, a contact that did not hold, a missing tool and an undone step are remarked."""
    order = WorkOrder(
        title="Rework",
        steps=(
            PlannedStep(act=Act.REPLACE, connector="EX-0001", cavity="C", tool="LT-1", contact="M39029/4-110"),
            PlannedStep(act=Act.INSERT, cavity="A"),
        ),
    )
    told = stated(
        """
        insertion C
        removal C work_order=WO-1 tool=LT-2
        insertion C work_order=WO-1 contact=M39029/5-115
        insertion C work_order=WO-1
        seating_test C held=false work_order=WO-1
        """,
        order,
    )
    assert {each.code for each in told.remarks} == {
        "no_reference_data",
        "step_without_entry",
        "other_contact",
        "other_tool",
        "not_planned",
        "limit_not_verified",
        "did_not_hold",
        "discrepancies_open",
        "tool_not_stated",
        "person_not_listed",
    }
    assert [each.done for each in told.planned] == [True, False]
    assert [each.code for each in told.discrepancies] == ["inserted_while_occupied"]


def test_who_did_nothing_but_look_is_no_performer() -> None:
    """Findings, acceptances and corrections are said about work: who records them has done none of it."""
    told = stated(
        """
        insertion C by=amy work_order=WO-1 #in
        finding C by=bob note=bent work_order=WO-1
        acceptance by=eve refers_to=in accepted=true work_order=WO-1
        """
    )
    assert [each.badge for each in told.performers] == ["amy"]
    assert [each.counts for each in told.done] == [True, False, False]


@pytest.mark.parametrize("basis", ["mandatory", "recommended", "house"])
def test_life_status_only_where_the_limit_is_mandatory(basis: Any) -> None:
    """A retainer count is a life-limited part's record only where the operator declared the limit so (14 CFR 43.10)."""
    told = stated(
        "insertion C work_order=WO-1\nremoval C work_order=WO-1\ninsertion c\nremoval c\ninsertion c",
        rating=Rating(value=10, basis=basis),
    )
    assert bool(told.life_status) is (basis == "mandatory")
    for each in told.life_status:
        # As of the end of this work: what came after it is not in it.
        assert (each.cavity, each.accumulated, each.remaining, each.removals) == ("C", 1, 9, 1)


def test_an_unknown_history_leaves_nothing_to_count_on() -> None:
    """Where a part of the life is not known, what remains of a mandatory limit is not known either."""
    told = stated("insertion C work_order=WO-1", history="unknown", rating=Rating(value=10, basis="mandatory"))
    (status,) = told.life_status
    assert (status.remaining, status.history_known) == (None, False)
    assert "history_not_known" in {each.code for each in told.remarks}


def test_work_is_what_names_the_order_whole() -> None:
    """An order whose number begins alike is another one."""
    held = ledger("insertion C work_order=WO-1\ninsertion A work_order=WO-11\ninsertion c work_order=wo-1")
    assert [each.entry.cavity for each in scope.find(held, ORDER).done] == ["C"]
