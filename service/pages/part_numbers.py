"""The page /part-numbers: a number typed in, and everything that is known of it, drawn.

No token is asked for. What the page shows is the published reference data that ships with every Tinebook, the same for
everybody, and where cavities stand if the shop imported that, which is no secret. It reads no ledger and takes no file, so
it says nothing of anybody's connectors, and a bench, a store-room or a student may look a number up without an account. It
works while the database is away: then inserts are drawn as a scheme. The API stays behind its tokens.
"""

from typing import Any

from litestar import Request, Response, get
from litestar.datastructures import State
from litestar.handlers import HTTPRouteHandler

from service import part_number_messages as messages
from service.api.services import Services
from service.core import part_numbers
from service.core.drawings import insert
from service.core.markup import EMPTY, Markup, element, joined, text
from service.core.tooling import Face
from service.pages import connector, sheet
from service.pages.sheet import code, how, listed, paragraph
from service.workflow import identifying
from service.workflow.arrangements import Drawing

PATH = "/part-numbers"
MOST_CHARACTERS = 200
_EXAMPLES = ("D38999/26WE35SN", "M83723/76W1415N", "MS3470L12-10PY", "AS39029/58-360", "M81969/14-03")
_NAMES = {"bin": "BIN", "dash": "dash number"}
_STATUSES = (
    "read in the source itself; second-hand, from a public transcription; derived from other values; common practice "
    "without a source; memory: check it before you rely on it; unknown: in no table here"
)


def routes() -> list[HTTPRouteHandler]:
    """The route of this page."""
    return [show]


@get(PATH, include_in_schema=False)
async def show(request: Request[Any, Any, State]) -> Response[bytes]:
    """The form, and what is known of the number that stands in it."""
    services: Services = request.app.state.services
    number = request.query_params.get("number", "")[:MOST_CHARACTERS].strip()
    face = Face.MATING_FACE if request.query_params.get("face") == Face.MATING_FACE else Face.WIRE_SIDE
    if not number:
        return sheet.response("Part number", *_opening(number, face), _examples())
    view = identifying.identify(services.reference.catalog, number)
    drawing = await _imported(services, view)
    return sheet.response(f"Part number {number}", *_opening(number, face), *_result(view, face, drawing))


async def _imported(services: Services, view: messages.PartNumberView) -> Drawing | None:
    if view.connector is None or not view.connector.arrangement.known:
        return None
    arrangement = view.connector.arrangement
    return await services.reference.layouts.if_reachable(services.pool, (arrangement.standard, arrangement.name))


def _opening(number: str, face: Face) -> tuple[Markup, ...]:
    chosen = (
        element("option", text(words), value=each.value, selected=each is face) for each, words in insert.FACES.items()
    )
    return (
        element("h1", text("Part number")),
        element(
            "form",
            element(
                "label",
                text("Number of a connector, a contact or a tool"),
                element(
                    "input",
                    name="number",
                    value=number,
                    maxlength=MOST_CHARACTERS,
                    required=True,
                    autocomplete="off",
                    autocapitalize="characters",
                    spellcheck="false",
                ),
                class_="number",
            ),
            element("label", text("Insert seen from"), element("select", *chosen, name="face")),
            element("button", text("Read it"), type="submit"),
            action=PATH,
            method="get",
        ),
    )


def _examples() -> Markup:
    links = (element("a", code(each), href=f"{PATH}?number={each}") for each in _EXAMPLES)
    return joined(paragraph(text("For example:")), listed(*links))


def _result(view: messages.PartNumberView, face: Face, drawing: Drawing | None) -> tuple[Markup, ...]:
    return (
        _written(view),
        _states(view),
        _fault(view),
        _doubts(view),
        _fields(view),
        connector.shown(view.connector, face, drawing) if view.connector else EMPTY,
        joined(element("h2", text("The contact")), connector.contact(view.contact)) if view.contact else EMPTY,
        connector.tools("What the tool does", view.tools, families=True)
        if view.kind == "tool" and view.tools
        else EMPTY,
        paragraph(element("small", text(f"How a thing is known: {_STATUSES}."))),
    )


def _written(view: messages.PartNumberView) -> Markup:
    """The number as it was typed, its wrong character marked."""
    at = view.fault.at if view.fault else None
    if at is None:
        return element("p", text(view.number), class_="written")
    wrong = view.number[at : at + 1] or "?"
    marked = element("mark", text(wrong), title="here")
    return element("p", text(view.number[:at]), marked, text(view.number[at + 1 :]), class_="written")


def _states(view: messages.PartNumberView) -> Markup:
    """Syntax and lists, one apart from the other."""
    lists = {"connector": "Arrangement", "contact": "Contact", "tool": "Tool"}
    pairs = [("Syntax", "fine" if view.syntax == "fine" else "wrong")]
    if view.kind is not None:
        pairs.append((lists[view.kind], "on the list" if view.known else "on no list that is known here"))
    if view.form is not None:
        pairs.append(("Form", ", ".join(dict.fromkeys((view.form.specification, view.form.family)))))
    if view.canonical not in (None, view.number):
        pairs.append(("One spelling", str(view.canonical)))
    shown = (joined(element("dt", text(name)), element("dd", text(value))) for name, value in pairs)
    return element("dl", *shown, class_="states")


def _fault(view: messages.PartNumberView) -> Markup:
    if view.fault is None:
        return EMPTY
    fault = view.fault
    where = f"Character {fault.at + 1}" if fault.character is not None else "At the end"
    return element(
        "div",
        paragraph(element("strong", text(f"{where}: ")), text(fault.text)),
        _meant(view.number),
        class_="fault",
        role="status",
    )


def _meant(number: str) -> Markup:
    """The number in capitals without blanks, where that reads: offered, never taken."""
    tidied = "".join(number.upper().split())
    if tidied == number or isinstance(part_numbers.identify(tidied), part_numbers.Fault):
        return EMPTY
    link = element("a", code(tidied), href=f"{PATH}?number={tidied}")
    return paragraph(text("Numbers are read exactly as they are written. Is this one meant? "), link)


def _doubts(view: messages.PartNumberView) -> Markup:
    if not view.doubts:
        return EMPTY
    return element("div", element("strong", text("Doubts")), listed(*map(text, view.doubts)), class_="doubts")


def _fields(view: messages.PartNumberView) -> Markup:
    if not view.fields:
        return EMPTY
    rows = [
        (
            code(each.code),
            joined(element("b", text(f"{_NAMES.get(each.name, each.name)}: ")), text(each.meaning)),
            how(each.status, each.source),
        )
        for each in view.fields
    ]
    heads = ("Code", "Meaning", "How it is known")
    return joined(element("h2", text("Field by field")), sheet.table("The fields of the number", heads, rows))
