"""The shop's people at a glance: who may sign for what, by which certificate; and the switch for inspections of own work."""

from typing import Any

from litestar import Response
from litestar.response import Redirect
from msgspec import Struct

from service import problems
from service import signing_messages as messages
from service.api.services import Services
from service.core.entries import Text
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses, asking, layout, tables, wording
from service.pages.asking import Field
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.tables import Column
from service.workflow import people, signing
from service.workflow.access import Scope

WHAT = {"performs": "performing work", "inspects": "inspecting work of others", "approves": "approving work"}
SECRET = {"none": "none", "initial": "initial: signs nothing yet", "own": "their own"}
_COLUMNS = (
    Column("Badge"),
    Column("Name"),
    Column("Certificate"),
    Column("May sign for"),
    Column("Secret"),
)
_FIELDS = (Field("like", "Badge or name"),)


class Asking(Struct, frozen=True, forbid_unknown_fields=True):
    """Who is looked for, and from where on."""

    like: Text | None = None
    cursor: Text | None = None
    said: Text | None = None


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The list, by badge."""
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    async with services.pool.acquire() as connection:
        found, following = await people.page(connection, asked.cursor, 50, services.clock().date(), asked.like)
        words = await signing.said(connection)
    rest = addresses.page(addresses.PEOPLE, like=asked.like, cursor=following) if following else None
    content = (
        layout.heading("People", link("Change your secret", addresses.OWN_SECRET)),
        asking.form(addresses.PEOPLE, _FIELDS, {"like": asked.like}),
        tables.listed("By badge", _COLUMNS, [_row(each) for each in found])
        if found
        else layout.nothing("Nobody is on the list."),
        asking.pager(addresses.page(addresses.PEOPLE, like=asked.like) if asked.cursor else None, rest),
        _adding(visitor) if visitor.session.bearer.allowed((Scope.PLANNER,)) else EMPTY,
        _rules(words, visitor),
    )
    return Sheet(title="People", content=content, path=addresses.PEOPLE)


def _row(person: messages.PersonView) -> tuple[Markup, ...]:
    return (
        link(person.badge, addresses.person(person.badge)),
        text(person.name),
        text("none" if person.certificate is None else f"{person.certificate.number}, {person.certificate.kind}"),
        _held(person),
        text(SECRET[person.secret]),
    )


def _held(person: messages.PersonView) -> Markup:
    held = [text(authority(each)) for each in person.authorities if each.holds]
    return layout.lines(*held) if held else text("nothing")


def authority(given: messages.AuthorityView) -> str:
    """What somebody may sign for, in words."""
    kind, _, name = given.scope.partition(":")
    where = {"all": "everywhere", "family": f"on connectors of {name}", "shop": f"at benches of {name}"}[kind]
    until = "" if given.until_on is None else f", until {given.until_on}"
    return f"{WHAT[given.what]} {where}{until}"


def typed(name: str, words: str, kind: str = "text", **more: object) -> Markup:
    """A field of a form below its words."""
    box = element("input", name=name, type=kind, maxlength=200, autocomplete="off", **more)
    return element("label", text(words), box)


def form(visitor: Visitor, action: str, button: str, *fields: Markup, **hidden: str) -> Markup:
    """A form of these pages; what it carries unseen says which it is."""
    kept = (element("input", type="hidden", name=name, value=value) for name, value in hidden.items())
    press = element("button", text(button), type="submit")
    return element(
        "form", layout.form_token(visitor), *kept, *fields, press, action=action, method="post", class_="sign-in"
    )


def _adding(visitor: Visitor) -> Markup:
    fields = (typed("badge", "Badge", required=True), typed("name", "Name", required=True))
    return element(
        "details",
        element("summary", text("Add somebody")),
        form(visitor, addresses.PEOPLE, "Add", *fields, act="person"),
    )


def _rules(words: messages.RuleList, visitor: Visitor) -> Markup:
    on = next((each.allowed for each in words.rules), False)
    told = (
        joined(
            wording.moment(each.recorded_at),
            text(f" {'allowed' if each.allowed else 'forbidden'} by {each.recorded_by}: {each.reason}"),
        )
        for each in words.rules
    )
    may = visitor.session.bearer.allowed(())
    return element(
        "section",
        element("h2", text("Inspection of one's own work")),
        element(
            "p",
            text("Whoever did a step of some work does not inspect it. "),
            element("b", text("Exceptions are allowed." if on else "There is no exception.")),
            text(" Where they are, each has its reason and is marked as one; nowhere where 14 CFR 121.371 applies."),
        ),
        layout.lines(*told),
        _switch(visitor, on=on) if may else EMPTY,
    )


def _switch(visitor: Visitor, *, on: bool) -> Markup:
    button = "Forbid exceptions" if on else "Allow exceptions"
    fields = (typed("reason", "Why, and by which procedure", required=True),)
    return element(
        "details",
        element("summary", text(button)),
        form(visitor, addresses.PEOPLE, button, *fields, act="rule", allowed="" if on else "yes"),
    )


async def take(request: Asked, visitor: Visitor) -> Response[Any]:
    """Add somebody, or say a word on the switch."""
    services: Services = request.app.state.services
    told = {name: str(value).strip() for name, value in (await request.form()).items()}
    now, bearer = services.clock(), visitor.session.bearer
    async with services.pool.acquire() as connection:
        if told.get("act") == "rule":
            if not bearer.allowed(()):
                raise problems.raised(problems.Type.FORBIDDEN, "only an administrator says this")
            word = asking.filled(
                {"allowed": bool(told.get("allowed")), "reason": told.get("reason", "")}, messages.RuleWord
            )
            await signing.say(connection, signing.SAME_PERSON, word, visitor.name, now)
            return Redirect(addresses.PEOPLE, status_code=303)
        badge = asking.filled({"badge": told.get("badge", "")}, _Badge).badge
        asked = asking.filled({"name": told.get("name", "")}, messages.PersonPut)
        await people.put(connection, badge, asked, bearer, now)
    services.reference.forget()
    return Redirect(addresses.person(badge), status_code=303)


class _Badge(Struct, frozen=True):
    badge: Text
