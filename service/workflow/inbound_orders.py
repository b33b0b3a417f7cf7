"""People and work orders as another system states them: rows like the others, each kept as one alone would be."""

from collections.abc import Awaitable, Callable, Sequence
from datetime import datetime
from typing import TypeVar

from service import problems
from service.core.records.orders import WorkOrder
from service.inbound_messages import Outcome, PersonRow, WorkOrderRow
from service.messages import Problem
from service.signing_messages import PersonPut
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow import people, work_orders
from service.workflow.access import Bearer
from service.workflow.inbound import Upsert
from service.workflow.sheets import Form

R = TypeVar("R")


async def record_people(
    connection: Connection, rows: Sequence[PersonRow], bearer: Bearer, at: datetime
) -> list[Outcome | Problem]:
    """Keep what is said of people, each whole or not at all."""

    async def one(row: PersonRow) -> Outcome:
        asked = PersonPut(**{name: getattr(row, name) for name in PersonPut.__struct_fields__})
        await people.refuse_left(connection, row.badge)
        known = await connection.fetchval(SQL["person_name"], row.badge) is not None
        before = await people.show(connection, row.badge, at.date()) if known else None
        after = await people.put(connection, row.badge, asked, bearer, at)
        return "created" if before is None else "unchanged" if before == after else "changed"

    return await _each(connection, rows, one)


async def record_work_orders(
    connection: Connection, rows: Sequence[WorkOrderRow], bearer: Bearer, at: datetime
) -> list[Outcome | Problem]:
    """Keep what is said of work orders, each whole or not at all."""

    async def one(row: WorkOrderRow) -> Outcome:
        order = WorkOrder(**{name: getattr(row, name) for name in WorkOrder.__struct_fields__})
        return (await work_orders.put(connection, row.number, order, bearer.name, at)).outcome

    return await _each(connection, rows, one)


async def _each(
    connection: Connection, rows: Sequence[R], keep: Callable[[R], Awaitable[Outcome]]
) -> list[Outcome | Problem]:
    """Row by row in one transaction; what is refused of one is undone, and the others stay."""
    became: list[Outcome | Problem] = []
    async with connection.transaction():
        for row in rows:
            try:
                async with connection.transaction():
                    became.append(await keep(row))
            except problems.ProblemRaised as raised:
                became.append(raised.problem)
    return became


PEOPLE = Upsert(
    Form(name="person", made=PersonRow, columns=("badge", *PersonPut.__struct_fields__), needed=("badge", "name")),
    ("badge",),
    record_people,
)
WORK_ORDERS = Upsert(
    Form(
        name="work_order",
        made=WorkOrderRow,
        columns=("number", *WorkOrder.__struct_fields__),
        needed=("number", "title"),
    ),
    ("number",),
    record_work_orders,
)
