"""The form that puts a work order on the books, for a shop whose planning has no system that would do it."""

from litestar.response import Redirect
from msgspec import Struct

from service import problems
from service.api.services import Services
from service.core.entries import Text
from service.core.markup import Markup, element, text
from service.core.records.orders import Act, WorkOrder
from service.pages import addresses, asking, people
from service.pages.door import Asked, Visitor
from service.workflow import order_books, work_orders

_ACTS = ", ".join(each.value for each in Act if each is not Act.OTHER)
_STEPS = "Steps, one a line: what, which connector, and behind a colon the cavities"


class Stated(Struct, frozen=True, kw_only=True):
    """What the form says. `steps` are lines, `inspection` is there where its box was ticked."""

    number: Text
    title: Text
    asset: Text | None = None
    document: Text | None = None
    revision: Text | None = None
    task: Text | None = None
    inspection: str | None = None
    steps: str = ""


def form(visitor: Visitor) -> Markup:
    """The form, folded away."""
    box = element("input", type="checkbox", name="inspection", value="yes")
    lines = element(
        "textarea", name="steps", rows=5, maxlength=20_000, spellcheck="false", aria_describedby="steps-are"
    )
    fields = (
        people.typed("number", "Number", required=True),
        people.typed("title", "What is to be done", required=True),
        people.typed("asset", "Asset"),
        people.typed("document", "Document that the work goes by"),
        people.typed("revision", "Its revision"),
        people.typed("task", "Task in it"),
        element("label", box, text("An independent inspection is required"), class_="choice"),
        element("label", text(_STEPS), lines),
        element(
            "p", text(f"Such as “replace A00077: E, F”, “unmate A00077”; else {_ACTS}."), id="steps-are", class_="note"
        ),
    )
    return element(
        "details",
        element("summary", text("Put a work order on the books")),
        people.form(visitor, addresses.WORK_ORDERS, "Put on the books", *fields),
    )


def order(stated: Stated) -> WorkOrder:
    """The work order that the form means. Raises the problem where it can't be one: what is wrong, and in which line."""
    if stated.document is None and (stated.revision or stated.task):
        raise problems.raised(problems.Type.INVALID_REQUEST, "a revision or a task is one of a document: say which")
    reference = {"document": stated.document, "revision": stated.revision, "task": stated.task}
    told = {
        "title": stated.title,
        "asset": stated.asset,
        "reference": reference if stated.document else None,
        "inspection_required": stated.inspection is not None,
        "steps": [step for number, line in enumerate(stated.steps.splitlines(), 1) for step in _steps(number, line)],
    }
    return asking.filled(told, WorkOrder)


def _steps(number: int, line: str) -> list[dict[str, str]]:
    """The steps of a line, one for each cavity. A mark with a colon of its own ends with one more."""
    if not line.strip():
        return []
    word, _, rest = line.strip().partition(" ")
    if word.lower() not in {each.value for each in Act} - {Act.OTHER.value} or not rest.strip():
        text = f"in the steps, line {number}: write one of {_ACTS}, then the connector, as in “replace A00077: E, F”"
        raise problems.raised(problems.Type.INVALID_REQUEST, text)
    mark, colon, cavities = rest.rpartition(":")
    step = {"act": word.lower(), "connector": (mark if colon else rest).strip()}
    named = cavities.replace(",", " ").split() if colon else []
    return [step | {"cavity": each} for each in named] or [step]


async def take(request: Asked, visitor: Visitor) -> Redirect:
    """Put it on the books and show it. One that is there already stays as it is."""
    services: Services = request.app.state.services
    told = {name: str(value).strip() for name, value in (await request.form()).items()}
    stated = asking.filled({name: value for name, value in told.items() if value}, Stated)
    asked = order(stated)
    async with services.pool.acquire() as connection, connection.transaction():
        before = await order_books.stated(connection, stated.number)
        if before is not None and before.order != asked:
            text = f"{stated.number} is on the books already, as “{before.order.title}”: take another number"
            raise problems.raised(problems.Type.INVALID_REQUEST, text)
        await work_orders.put(connection, stated.number, asked, visitor.name, services.clock())
    return Redirect(addresses.work_order(stated.number), status_code=303)
