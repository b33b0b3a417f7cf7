"""The planner's pages as a table: address, who may see it, and what makes it. Routes, ways and refusals come from it."""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from typing import Any

from litestar import Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.response import Redirect
from msgspec import Struct

from service import problems
from service.core.markup import element, text
from service.core.states import StateError
from service.pages import (
    addresses,
    asking,
    asset,
    discrepancies,
    door,
    files,
    fleet,
    layout,
    new_order,
    one_connector,
    outlook,
    own_secret,
    papers,
    people,
    person,
    record,
    search,
    signals,
    signing,
    stock,
    visits,
    what_if,
    wording,
    work_order,
    work_orders,
)
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, Way
from service.store import database
from service.workflow.access import Scope
from service.workflow.recording import BusyError

_log = logging.getLogger("tinebook")

READING = (Scope.PLANNER, Scope.RECORDS)
ANYBODY = (Scope.BENCH, Scope.PLANNER, Scope.RECORDS)
PLANNING = (Scope.PLANNER,)

Made = Sheet | Response[Any]


class Page(Struct, frozen=True, kw_only=True):
    """One page: where it is, who may see it, what makes it; what takes its form where it has one, and from whom."""

    path: str
    scopes: tuple[Scope, ...]
    call: Callable[[Asked, Visitor], Awaitable[Made]]
    name: str | None = None
    take: Callable[[Asked, Visitor], Awaitable[Made]] | None = None
    takers: tuple[Scope, ...] = PLANNING


PAGES = (
    Page(path=addresses.FLEET, name="Fleet", scopes=READING, call=fleet.page),
    Page(
        path=addresses.DISCREPANCIES,
        name="Discrepancies",
        scopes=READING,
        call=discrepancies.page,
        take=discrepancies.resolve,
    ),
    Page(path=addresses.OUTLOOK, name="Outlook", scopes=READING, call=outlook.page),
    Page(path=addresses.STOCK, name="Stock", scopes=READING, call=stock.page),
    Page(path=addresses.VISITS, name="Visits", scopes=READING, call=visits.page),
    Page(path=addresses.WHAT_IF, name="What if", scopes=PLANNING, call=what_if.page),
    Page(path=addresses.SIGNALS, name="Signals", scopes=READING, call=signals.page),
    Page(path=f"{addresses.ASSETS}/{{asset:path}}", scopes=READING, call=asset.page),
    Page(path=f"{addresses.CONNECTORS}/{{connector:str}}", scopes=ANYBODY, call=one_connector.page),
    Page(path=f"{addresses.CONNECTORS}/{{connector:str}}/{papers.LOG_CARD}", scopes=ANYBODY, call=papers.log_card),
    Page(path=f"{addresses.CONNECTORS}/{{connector:str}}/{papers.TAG}", scopes=ANYBODY, call=papers.tag),
    Page(path=f"{addresses.FILES}/{{report:str}}", scopes=READING, call=files.page),
    Page(
        path=addresses.WORK_ORDERS,
        name="Work orders",
        scopes=ANYBODY,
        call=work_orders.page,
        take=new_order.take,
    ),
    Page(
        path=f"{addresses.WORK_ORDERS}/{{number:path}}",
        scopes=ANYBODY,
        call=work_order.page,
        take=work_order.take,
        takers=ANYBODY,  # the badge and the secret say who signs, whoever has signed in
    ),
    Page(path=addresses.RECORDS, name="Records", scopes=ANYBODY, call=record.listed),
    Page(path=f"{addresses.RECORDS}/{{record:str}}", scopes=ANYBODY, call=record.page),
    Page(path=f"{addresses.RECORDS}/{{record:str}}/document", scopes=READING, call=record.document),
    Page(path=addresses.PEOPLE, name="People", scopes=READING, call=people.page, take=people.take),
    Page(
        path=f"{addresses.PEOPLE}/{{badge:path}}",
        scopes=READING,
        call=person.page,
        take=person.take,
        takers=(Scope.ADMIN,),
    ),
    # The old secret says who it is, whoever has signed in.
    Page(path=addresses.OWN_SECRET, scopes=ANYBODY, call=own_secret.page, take=own_secret.take, takers=ANYBODY),
    Page(path=addresses.SEARCH, scopes=ANYBODY, call=search.page),
)
WAYS = tuple(Way(each.path, each.name, each.scopes) for each in PAGES if each.name)


def routes() -> list[HTTPRouteHandler]:
    """A route for every page, and those of the frame."""
    return [*(_showing(each) for each in PAGES), *_forms(), layout.style, *signing.routes()]


def _showing(page: Page) -> HTTPRouteHandler:
    async def show(request: Asked) -> Response[Any]:
        return await _served(request, page, page.call)

    return route(page.path, http_method="GET", include_in_schema=False)(show)


def _forms() -> list[HTTPRouteHandler]:
    return [_taking(each, each.take) for each in PAGES if each.take is not None]


def _taking(page: Page, take: Callable[[Asked, Visitor], Awaitable[Made]]) -> HTTPRouteHandler:
    async def taken(request: Asked) -> Response[Any]:
        return await _served(request, page, take, page.takers)

    return route(page.path, http_method="POST", status_code=200, include_in_schema=False)(taken)


async def _served(
    request: Asked,
    page: Page,
    make: Callable[[Asked, Visitor], Awaitable[Made]],
    scopes: tuple[Scope, ...] | None = None,
) -> Response[Any]:
    visitor = None
    try:
        visitor = await door.visitor(request)
        if visitor is None:
            return signing.ask(request)
        _admit(visitor, scopes or page.scopes)
        if request.method == "POST":
            form = await request.form()
            if not door.is_ours(str(form.get(door.FIELD, "")), visitor.session.secret):
                return signing.refused("The form was too old, or not ours: go back, load the page anew and try again.")
        tidied = asking.tidied(request)
        if tidied is not None and request.method == "GET":
            return Redirect(tidied, status_code=303)
        made = await make(request, visitor)
    except Exception as error:  # noqa: BLE001 - whatever it is, somebody looks at a page and not at JSON
        made = _trouble(request, error)
    if isinstance(made, Response):
        return made
    return layout.response(made, visitor, WAYS, search=request.query_params.get("mark", ""))


def _admit(visitor: Visitor, scopes: tuple[Scope, ...]) -> None:
    bearer = visitor.session.bearer
    if not bearer.allowed(scopes):
        wanted = " or ".join(sorted({*scopes, Scope.ADMIN}))
        text = f"this needs the scope {wanted}; {visitor.name} has {', '.join(sorted(bearer.scopes))}"
        raise problems.raised(problems.Type.FORBIDDEN, text)


def _trouble(request: Asked, error: Exception) -> Sheet:
    """A failure as a page: what is wrong and what to do, without the insides."""
    if isinstance(error, asyncio.CancelledError):
        raise error
    title, words, status = "Something went wrong", "It is written to the service's log.", 500
    if isinstance(error, problems.ProblemRaised):
        title, words, status = error.problem.title.rstrip("."), error.problem.detail, error.problem.status
    elif isinstance(error, BusyError):
        title, words, status = (
            "Too busy",
            "Too much waits to be recorded; nothing of this was taken: send it again.",
            503,
        )
    elif isinstance(error, StateError):
        title, status = "State unreadable", 503
        words = "The state that is kept of this connector can't be read: have the system owner run tinebook rebuild."
    elif database.is_away(error):
        title, words, status = "The database can't be reached", "Load the page again in a moment.", 503
    if status >= 500:  # noqa: PLR2004 - HTTP: ours
        _log.error("%s: %r", request.url.path, error, exc_info=error)
    content = (element("h1", text(title)), element("p", text(wording.sentence(words)), role="alert"))
    return Sheet(title=title, content=content, status=status)
