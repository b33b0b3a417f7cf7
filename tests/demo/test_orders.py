"""The demo's work orders: what entries name stands on the books as it was planned, and one is still to be done."""

from service.core.records import progress
from service.core.records.progress import State
from service.demo import loading, orders
from service.store import database
from service.store.ledger import Definitions
from service.workflow import work_orders
from service.workflow.order_books import Means
from service.workflow.work_orders import Filters
from tests.conftest import run
from tests.demo.fleets import BOOK, HOUSE, SMALL, made


def test_all_but_one_are_worked(dsn: str) -> None:
    """Every step that was planned has its entries; the newest order has none yet."""
    fleet = made(size=SMALL)
    wanted = dict(orders.of(fleet))
    assert len(wanted) == 9

    async def work() -> None:
        await loading.load(dsn, HOUSE, BOOK, fleet, lambda *_: None)
        connection = await database.service_connection(dsn)
        try:
            means = Means(Definitions(), HOUSE)
            lines, _ = await work_orders.page(connection, means, Filters(), None, 50)
            assert {each.number for each in lines} == set(wanted)
            states = {each.number: each.state for each in lines}
            *done, planned = wanted
            assert {states[each] for each in done} == {State.WORKED}
            assert states[planned] is State.PLANNED
            found = await work_orders.find(connection, means, done[-1])
            assert progress.of(found.statement, found.signed).lacks
            assert all(each.done for each in found.statement.planned)
        finally:
            await connection.close()

    run(work())
