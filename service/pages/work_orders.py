"""The work orders on the books, each with the state that follows from its entries, and the way to any that entries name."""

from litestar.response import Redirect
from msgspec import Struct

from service import record_messages as messages
from service.api import reading, records
from service.api.services import Services
from service.core.entries import Text
from service.core.markup import EMPTY, Markup, element, joined, text
from service.core.records.progress import Lack, State
from service.pages import addresses, asking, layout, new_order, tables, wording
from service.pages.asking import Field
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.tables import Column
from service.store import database
from service.workflow import work_orders
from service.workflow.access import Scope
from service.workflow.work_orders import Cursor, Filters, Limit

STATES: dict[State, tuple[str, str]] = {
    State.PLANNED: ("", "planned"),
    State.IN_WORK: ("", "in work"),
    State.WORKED: ("middling", "worked"),
    State.INSPECTED: ("middling", "inspected"),
    State.CLOSED: ("", "closed"),
}
LACKS: dict[Lack, str] = {
    Lack.NOT_ON_THE_BOOKS: "to be put on the books: nobody stated what was to be done",
    Lack.NO_WORK: "work: no entry names it",
    Lack.STEPS_OPEN: "entries of every planned step, or the signature of who did the work that it is done",
    Lack.INSPECTION: "an independent inspection",
    Lack.INSPECTION_OUTDATED: "a new inspection: something changed since the last one",
    Lack.INSPECTION_REFUSED: "rework and a new inspection: the last one refused the work",
    Lack.REWORK: "rework: the inspection accepted just what another had refused",
    Lack.APPROVAL: "an approval",
    Lack.APPROVAL_OUTDATED: "a new approval: something changed since the last one",
}
_COLUMNS = (
    Column("Work order"),
    Column("State"),
    Column("What"),
    Column("Asset"),
    Column("Connectors"),
    Column("Last work"),
    Column("Open", number=True),
    Column("Record"),
)
_FIELDS = (
    Field("asset", "Asset"),
    Field("recorded", "In the record", (("", "All"), ("false", "not yet"), ("true", "yes"))),
)
_SERIALS = 3


class Asking(Struct, frozen=True, forbid_unknown_fields=True):
    """Which are wanted; or, with a number, which one."""

    number: Text | None = None
    asset: Text | None = None
    recorded: bool | None = None
    cursor: str | None = None
    limit: Limit = 25

    def address(self, **changes: addresses.Value) -> str:
        """The page with something else."""
        recorded = None if self.recorded is None else str(self.recorded).lower()
        told: dict[str, addresses.Value] = {"asset": self.asset, "recorded": recorded}
        return addresses.page(addresses.WORK_ORDERS, **(told | changes))


async def page(request: Asked, visitor: Visitor) -> Sheet | Redirect:
    """The list, those that came last first."""
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    if asked.number is not None:
        return Redirect(addresses.work_order(asked.number), status_code=303)
    filters = Filters(asset=asked.asset, recorded=asked.recorded)
    async with services.pool.acquire() as connection, database.report(connection):
        lines, following = await work_orders.page(
            connection, records.means(services), filters, reading.cursor(asked.cursor, Cursor), asked.limit
        )
    cursor = reading.encode_cursor(following)
    recorded = None if asked.recorded is None else str(asked.recorded).lower()
    content = (
        layout.heading("Work orders", layout.note(text("How far each has come follows from entries and signatures"))),
        asking.form(addresses.WORK_ORDERS, _FIELDS, {"asset": asked.asset, "recorded": recorded}),
        _find(),
        new_order.form(visitor) if visitor.session.bearer.allowed((Scope.PLANNER,)) else EMPTY,
        tables.listed("Those that came last first", _COLUMNS, [_row(each) for each in lines])
        if lines
        else layout.nothing("No work order that fits is on the books."),
        asking.pager(asked.address() if asked.cursor else None, asked.address(cursor=cursor) if cursor else None),
    )
    return Sheet(title="Work orders", content=content, path=addresses.WORK_ORDERS)


def _find() -> Markup:
    """Entries may name a number that nobody put on the books: it has a page too."""
    words = "Number of any work order"
    typed = element(
        "input", name="number", required=True, maxlength=200, autocomplete="off", aria_label=words, placeholder=words
    )
    return element(
        "form",
        typed,
        element("button", text("Open"), type="submit"),
        action=addresses.WORK_ORDERS,
        method="get",
        class_="find",
    )


def _row(each: messages.WorkOrderLine) -> tuple[Markup, ...]:
    shown = ", ".join(each.connectors[:_SERIALS]) + (" and more" if len(each.connectors) > _SERIALS else "")
    return (
        link(each.number, addresses.work_order(each.number)),
        flag(each.state),
        text(each.title or "-"),
        link(each.asset, addresses.asset(each.asset)) if each.asset else text("-"),
        text(shown or "-"),
        wording.moment(each.completed_at) if each.completed_at else text("-"),
        text(each.open),
        _record(each),
    )


def _record(each: messages.WorkOrderLine) -> Markup:
    if each.record is not None:
        return link(f"Record {each.record}", addresses.record(each.record))
    if each.records:
        return element("span", text("to be corrected"), class_="flag grave")
    return element("span", text("to be recorded"), class_="flag middling") if each.state is State.CLOSED else text("-")


def flag(state: State) -> Markup:
    """A state in a word."""
    kind, words = STATES[state]
    return element("span", text(words), class_=f"flag {kind}".strip())


def lacking(lacks: tuple[Lack, ...]) -> Markup:
    """What stands between an order and its being closed."""
    if not lacks:
        return EMPTY
    return joined(
        element("p", element("b", text("To be closed it lacks:"))),
        layout.lines(*(text(LACKS[each]) for each in lacks)),
    )
