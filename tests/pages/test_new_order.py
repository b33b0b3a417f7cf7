"""A work order put on the books by a form: what its lines mean, and what is refused."""

import pytest

from service.core.records.orders import Act
from service.pages import new_order
from service.pages.new_order import Stated
from service.problems import ProblemRaised
from service.workflow.access import Scope
from tests.conftest import run
from tests.pages.visiting import fields, visitor, words, worn

AFTER = "Put a work order on the books"


def test_lines_are_steps() -> None:
    """Each cavity behind the last colon is a step of its own; a line without one is about the whole connector."""
    lines = "Replace A00077: E, f 14\r\n\r\nunmate A:1:\nseating_test 7-00002"
    steps = new_order.order(Stated(number="WO-1", title="T", steps=lines)).steps
    assert [(each.act, each.connector, each.cavity) for each in steps] == [
        (Act.REPLACE, "A00077", "E"),
        (Act.REPLACE, "A00077", "f"),
        (Act.REPLACE, "A00077", "14"),
        (Act.UNMATE, "A:1", None),
        (Act.SEATING_TEST, "7-00002", None),
    ]


@pytest.mark.parametrize("steps", ["mend A00077: 1", "replace", "other look at it"])
def test_a_line_that_is_no_step_is_named(steps: str) -> None:
    """What can't be meant is said, with its line, and nothing is put on the books."""
    with pytest.raises(ProblemRaised) as refused:
        new_order.order(Stated(number="WO-1", title="T", steps=f"mate A00077\n{steps}"))
    assert "line 2" in str(refused.value.problem.detail)


def test_a_task_is_one_of_a_document() -> None:
    """Reference data begin with the document."""
    with pytest.raises(ProblemRaised, match="say which"):
        new_order.order(Stated(number="WO-1", title="T", task="4.2"))


def test_the_form_puts_it_on_the_books(dsn: str) -> None:
    """Sent, it has its page with its steps; sent again nothing changes; another under its number is refused."""

    async def work() -> None:
        await worn(dsn, "N-8", 8)
        async with visitor(dsn) as client:
            page = await client.get("/work-orders")
            told = {
                **fields(page.text, AFTER),
                "number": "WO 1/7",
                "title": "Rework A",
                "document": "HP-12",
                "task": "4.2",
                "revision": "",
                "inspection": "yes",
                "steps": "replace N-8: A\nmate N-8",
            }
            for _ in range(2):
                done = await client.post("/work-orders", data=told)
                assert done.status_code == 303, words(done)
            shown = words(await client.get(done.headers["location"]))
            for each in ("WO 1/7", "Rework A", "HP-12", "replace N-8 A", "required", "Version 1"):
                assert each in shown, each
            refused = await client.post("/work-orders", data=told | {"title": "Another"})
            assert refused.status_code == 422
            assert "is on the books already" in words(refused)
            assert "Rework A" in words(await client.get("/work-orders"))

    run(work())


def test_only_a_planner_may(dsn: str) -> None:
    """Who may only look is shown no form, and what is sent all the same is refused."""

    async def work() -> None:
        async with visitor(dsn, Scope.RECORDS) as client:
            page = await client.get("/work-orders")
            assert AFTER not in words(page)
            told = {**fields((await client.get("/work-orders")).text), "number": "WO-1", "title": "T"}
            assert (await client.post("/work-orders", data=told)).status_code == 403

    run(work())
