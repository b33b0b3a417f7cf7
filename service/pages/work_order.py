"""One work order: everything that its statement says, the form by which it is inspected or approved, and its records."""

from collections.abc import Sequence
from typing import Any

import msgspec
from litestar import Response
from litestar.response import Redirect
from msgspec import Struct

from service import record_messages as messages
from service import views
from service.api import records
from service.api.services import Services
from service.core.drawings import signs, worn
from service.core.markup import EMPTY, Markup, element, joined, text
from service.core.records.content import ConnectorLine, WorkOrderStatement
from service.core.records.progress import Lack, State
from service.core.tooling import Face
from service.pages import addresses, asking, door, layout, one_connector, sign_form, stated, wording, work_orders
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.signing_messages import Meaning
from service.workflow import pseudonyms, signing
from service.workflow import records as kept
from service.workflow import work_orders as orders
from service.workflow.access import Scope
from service.workflow.order_books import SUBJECT

_LEFT = (
    "Somebody whose work this is has left and stands under a pseudonym here. What is signed has to be shown as it is, so this "
    "order is signed through the API alone."
)
_DRAWN = 4
"""More connectors than these are not drawn: each has a page of its own."""


class Asking(Struct, frozen=True, forbid_unknown_fields=True):
    """What a form has just done."""

    signed: str | None = None


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The page of one work order."""
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    number = _number(request)
    async with (
        services.pool.acquire() as connection,
        connection.transaction(isolation="repeatable_read", readonly=True),
    ):
        view = await orders.view(connection, records.means(services), number)
        exception = (await signing.situation(connection, SUBJECT, number)).exception_allowed
        through = await pseudonyms.veiling(connection)
    shown = pseudonyms.message(view, through)
    told = shown.statement
    drawn = [await _drawn(services, each, told) for each in told.connectors[:_DRAWN]] if told.cavities else []
    content = (
        *_opening(shown, asked),
        stated.remarks(told),
        element("div", stated.counts(told), *_figures(drawn), class_="beside" if drawn else None),
        stated.life(told),
        stated.discrepancies(told),
        stated.planned(told),
        stated.done(told),
        stated.means(told),
        stated.performers(told),
        stated.signatures(told),
        _letter_by_letter(told),
        _sign(request, visitor, view, exception_allowed=exception) if shown is view else layout.note(text(_LEFT)),
        _recording(visitor, shown),
    )
    return Sheet(title=f"Work order {number}", content=content, path=addresses.WORK_ORDERS)


def _number(request: Asked) -> str:
    return str(request.path_params["number"]).removeprefix("/")


def _opening(view: messages.WorkOrderView, asked: Asking) -> tuple[Markup, ...]:
    told = view.statement
    said = element("p", text("Signed."), class_="said", role="status") if asked.signed else EMPTY
    return (
        layout.heading(f"Work order {view.number}", work_orders.flag(view.state)),
        said,
        element("p", element("b", text(told.title or "Not on the books: only entries name it"))),
        element("p", text(told.description)) if told.description else EMPTY,
        layout.pairs(
            ("Reference data", text(stated.reference(told))),
            ("Asset", link(told.asset, addresses.asset(told.asset)) if told.asset else text("-")),
            ("Independent inspection", text("required" if told.inspection_required else "not required")),
            ("Begun", wording.moment(told.began_at) if told.began_at else text("-")),
            ("Last work", wording.moment(told.completed_at) if told.completed_at else text("-")),
            ("Version", text(told.version or "none")),
            ("Entries that wait for their connector", text(told.waiting_entries)),
            ("Connectors", stated.connectors(told)),
        ),
        work_orders.lacking(view.lacks),
        _records(view),
    )


def _records(view: messages.WorkOrderView) -> Markup:
    if not view.records:
        return EMPTY
    items = (
        joined(
            link(f"Record {each.number}", addresses.record(each.number)),
            text(" of "),
            wording.moment(each.made_at),
            text(f", corrected by record {each.corrected_by}" if each.corrected_by else ""),
            text(", stands" if each.number == view.record else ""),
        )
        for each in view.records
    )
    changed = "The last record no longer says how the work stands: it needs one that corrects it."
    warned = element("p", text(changed), class_="flag grave") if view.record is None else EMPTY
    return joined(element("h2", text("Records")), warned, layout.lines(*items))


def _figures(drawn: Sequence[Markup]) -> tuple[Markup, ...]:
    if not drawn:
        return ()
    note = "Wire side. As each connector stands now; what this work touched is ringed."
    return (element("section", signs.patterns(), *drawn, layout.note(text(note)), worn.key()),)


async def _drawn(services: Services, line: ConnectorLine, told: WorkOrderStatement) -> Markup:
    head = await services.reader.one(line.connector)
    view = views.connector(head.definition, head.state, services.house, head.entries, head.hash.hex())
    known, reference = head.definition, services.reference
    ids = [each.id for each in known.cavities]
    places = await reference.layouts.drawn(services.pool, reference.arrangement(known), ids)
    touched = {each.cavity for each in told.cavities if each.connector == line.connector}
    svg = worn.drawing(
        [one_connector.drawn_cavity(each) for each in view.cavities],
        places.layout,
        reference.sex(known),
        Face.WIRE_SIDE,
        f"Insert of {line.serial}",
        marked=touched,
        which=f"-{line.connector}",
    )
    true = f"true places: {places.source}" if places.source else "SCHEMATIC: not the true places"
    return element("figure", svg, element("figcaption", text(f"{line.serial}, {true}")))


def _letter_by_letter(told: WorkOrderStatement) -> Markup:
    """The statement itself, so that nobody has to believe that the page shows all of it."""
    written = msgspec.json.format(msgspec.json.encode(told)).decode()
    return element(
        "details",
        element("summary", text("What is signed, letter by letter")),
        layout.note(text(f"SHA-256 of the facts: {told.facts_sha256}")),
        element("pre", text(written), tabindex="0"),
        class_="noprint",
    )


def _sign(request: Asked, visitor: Visitor, view: messages.WorkOrderView, *, exception_allowed: bool) -> Markup:
    meanings = _meanings(view)
    if not meanings:
        return EMPTY
    words = "What is signed is the whole of what stands above."
    if "approved" not in meanings and view.state is not State.CLOSED:
        words += " It can't be approved yet: see what it lacks."
    return element(
        "section",
        element("h2", text("Sign"), id="sign"),
        layout.note(text(words)),
        sign_form.form(
            request,
            visitor,
            subject="work_order",
            reference=view.number,
            statement=msgspec.to_builtins(view.statement),
            meanings=meanings,
            action=addresses.work_order(view.number),
            exception_allowed=exception_allowed,
        ),
        class_="noprint",
    )


def _meanings(view: messages.WorkOrderView) -> tuple[Meaning, ...]:
    """What makes sense now. A closed order may still be inspected: what is found then is not kept out."""
    if Lack.NO_WORK in view.lacks or Lack.NOT_ON_THE_BOOKS in view.lacks:
        return ()
    if view.state is State.CLOSED:
        return ("inspected",)
    ready = set(view.lacks) <= {Lack.APPROVAL, Lack.APPROVAL_OUTDATED}
    return ("performed", "inspected", "approved") if ready else ("performed", "inspected")


def _recording(visitor: Visitor, view: messages.WorkOrderView) -> Markup:
    may = visitor.session.bearer.allowed((Scope.BENCH, Scope.PLANNER))
    if view.state is not State.CLOSED or view.record is not None or not may:
        return EMPTY
    why = element("textarea", name="reason", required=True, maxlength=4000)
    needed = element("label", text("Why the last record has to be corrected"), why) if view.records else EMPTY
    return element(
        "section",
        element("h2", text("Make the record")),
        element(
            "form",
            element("input", type="hidden", name=door.FIELD, value=visitor.form_token),
            element("input", type="hidden", name="record", value="yes"),
            needed,
            element("button", text("Make the record"), type="submit", class_="main"),
            action=addresses.work_order(view.number),
            method="post",
            class_="sign-in",
        ),
        class_="noprint",
    )


async def take(request: Asked, visitor: Visitor) -> Response[Any]:
    """Sign what the page showed, or make the record of it. The first record is made together with its approval."""
    services: Services = request.app.state.services
    number = _number(request)
    form = {name: str(value).strip() for name, value in (await request.form()).items()}
    if form.get("record"):
        made = await _record(services, visitor, number, form.get("reason"))
        return Redirect(addresses.record(made), status_code=303)
    signature = await sign_form.take(request, "work_order", number)
    if signature.meaning == "approved":
        async with services.pool.acquire() as connection:
            view = await orders.view(connection, records.means(services), number)
        if view.state is State.CLOSED and not view.records:
            return Redirect(addresses.record(await _record(services, visitor, number, None)), status_code=303)
    return Redirect(addresses.work_order(number, signed=str(signature.id)), status_code=303)


async def _record(services: Services, visitor: Visitor, number: str, reason: str | None) -> int:
    asked = asking.filled({"work_order": number, "reason": reason or None}, messages.RecordRequest)
    async with services.pool.acquire() as connection:
        done = await kept.make(connection, records.means(services), asked, visitor.name, services.clock())
    return done.record.number
