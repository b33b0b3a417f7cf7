"""One person: certificates, what they may sign for and might once, what they signed; and an administrator's forms."""

from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from litestar import Response
from litestar.response import Redirect

from service import problems
from service import signing_messages as messages
from service.api.services import Services
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses, asking, layout, tables, wording
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.people import SECRET, WHAT, authority, form, typed
from service.pages.tables import Column
from service.store import database
from service.store.database import Connection
from service.workflow import people, proving
from service.workflow.access import Bearer

_AUTHORITY = (Column("May sign for"), Column("From"), Column("Given by"), Column("State"))
_CERTIFICATES = (Column("Certificate"), Column("Kind"), Column("From"), Column("Said by"))
_SIGNED = (Column("When"), Column("What"), Column("Meaning"))
_LATELY = 20


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The page of one person."""
    services: Services = request.app.state.services
    badge = _badge(request)
    async with services.pool.acquire() as connection:
        person = await people.show(connection, badge, services.clock().date())
        signed = await database.fetch(connection, "signatures_of_person", badge, _LATELY)
    admin = visitor.session.bearer.allowed(())
    content = (
        layout.heading(person.name, layout.note(text(f"Badge {person.badge}"))),
        _known(person),
        element("h2", text("Authority")),
        _authorities(person, visitor, admin=admin),
        element("h2", text("Certificates")),
        _certificates(person),
        element("h2", text("Signed lately")),
        _signed(signed),
        _forms(person, visitor) if admin else EMPTY,
    )
    return Sheet(title=person.name, content=content, path=addresses.PEOPLE)


def _badge(request: Asked) -> str:
    return str(request.path_params["badge"]).removeprefix("/")


def _known(person: messages.PersonView) -> Markup:
    held = person.certificate
    return layout.pairs(
        ("Certificate now", text("none" if held is None else f"{held.number}, {held.kind}")),
        ("Secret", text(SECRET[person.secret])),
        (
            "At the identity provider",
            text("not known" if person.identity is None else f"{person.identity.subject} at {person.identity.issuer}"),
        ),
    )


def _authorities(person: messages.PersonView, visitor: Visitor, *, admin: bool) -> Markup:
    if not person.authorities:
        return layout.nothing("None was ever given, so nothing can be signed.")
    rows = [
        (
            text(authority(each)),
            text(each.from_on),
            joined(text(f"{each.recorded_by}, "), wording.moment(each.recorded_at)),
            _state(each, person, visitor, admin=admin),
        )
        for each in person.authorities
    ]
    return tables.listed("In the order in which it was given", _AUTHORITY, rows)


def _state(given: messages.AuthorityView, person: messages.PersonView, visitor: Visitor, *, admin: bool) -> Markup:
    if given.withdrawn_at is not None:
        when = wording.moment(given.withdrawn_at)
        return joined(text("withdrawn "), when, text(f" by {given.withdrawn_by}: {given.withdrawn_because}"))
    state = text("holds" if given.holds else "does not hold today")
    if not admin:
        return state
    fields = typed("reason", "Why it is taken back", required=True)
    taking = form(
        visitor, addresses.person(person.badge), "Withdraw", fields, act="withdraw", authority=str(given.number)
    )
    return joined(state, element("details", element("summary", text("Withdraw")), taking))


def _certificates(person: messages.PersonView) -> Markup:
    if not person.certificates:
        return layout.nothing("None.")
    rows = [
        (
            text(each.number or "ended"),
            text(each.kind or ""),
            text(each.from_on),
            joined(text(f"{each.recorded_by}, "), wording.moment(each.recorded_at)),
        )
        for each in person.certificates
    ]
    return tables.listed("The last that has begun holds", _CERTIFICATES, rows)


def _signed(rows: Sequence[Any]) -> Markup:
    if not rows:
        return layout.nothing("Nothing.")
    shown = [
        (
            wording.moment(row["signed_at"]),
            link(f"Work order {row['reference']}", addresses.work_order(row["reference"]))
            if row["subject"] == "work_order"
            else text(f"{row['subject']} {row['reference'][:40]}"),
            text(row["meaning"] if row["outcome"] == "accepted" else f"{row['meaning']}: refused"),
        )
        for row in rows
    ]
    return tables.listed("The last first", _SIGNED, shown)


def _forms(person: messages.PersonView, visitor: Visitor) -> Markup:
    action = addresses.person(person.badge)
    kinds = (element("option", text(words), value=each) for each, words in WHAT.items())
    what = element("label", text("For"), element("select", *kinds, name="what"))
    forms = (
        (
            "Give authority",
            "authority",
            (
                what,
                typed("scope", "Scope: all, family:NAME or shop:NAME", required=True, value="all"),
                typed("from_on", "From", "date", required=True),
                typed("until_on", "Until, where it ends", "date"),
            ),
        ),
        (
            "State a certificate",
            "certificate",
            (
                typed("from_on", "From", "date", required=True),
                typed("number", "Number (nothing where it ends)"),
                typed("kind", "Kind"),
            ),
        ),
        (
            "Give out an initial secret",
            "secret",
            (
                typed("secret", "Initial secret: its owner changes it before it signs", "password", required=True),
                *(
                    (typed("reason", "Why the present one goes", required=True),)
                    if person.secret in ("initial", "own")
                    else ()
                ),
            ),
        ),
        (
            "Say who this is to the identity provider",
            "identity",
            (typed("issuer", "Issuer", required=True), typed("subject", "Subject", required=True)),
        ),
    )
    shown = (
        element("details", element("summary", text(title)), form(visitor, action, title, *fields, act=act))
        for title, act, fields in forms
    )
    return element("section", element("h2", text("For an administrator")), *shown, class_="noprint")


async def take(request: Asked, visitor: Visitor) -> Response[Any]:
    """Do what one of the forms says."""
    services: Services = request.app.state.services
    badge = _badge(request)
    told = {name: str(value) for name, value in (await request.form()).items()}
    told = {name: value if name == "secret" else value.strip() for name, value in told.items()}
    act = _ACTS.get(told.get("act", ""))
    if act is None:
        raise problems.raised(problems.Type.INVALID_REQUEST, "in the form: it is none of this page")
    kept = {name: value for name, value in told.items() if value}
    async with services.pool.acquire() as connection:
        await act(services, connection, badge, kept, visitor.session.bearer)
    services.reference.forget()
    return Redirect(addresses.person(badge), status_code=303)


_Act = Callable[[Services, Connection, str, dict[str, str], Bearer], Awaitable[object]]


def _putting(name: str, fields: tuple[str, ...]) -> _Act:
    """What says more of somebody: one part of what the API takes, from these fields of a form."""

    async def put(services: Services, connection: Connection, badge: str, told: dict[str, str], bearer: Bearer) -> None:
        held = await people.show(connection, badge, services.clock().date())
        part: Any = {each: told[each] for each in fields if each in told}
        asked = {"name": held.name, name: [part] if name == "authorities" else part}
        await people.put(connection, badge, asking.filled(asked, messages.PersonPut), bearer, services.clock())

    return put


async def _withdraw(
    services: Services, connection: Connection, badge: str, told: dict[str, str], bearer: Bearer
) -> None:
    asked = asking.filled({each: told[each] for each in ("authority", "reason") if each in told}, messages.Withdrawal)
    await people.withdraw(connection, badge, asked, bearer.name, services.clock())


async def _issue(services: Services, connection: Connection, badge: str, told: dict[str, str], bearer: Bearer) -> None:
    asked = asking.filled({each: told[each] for each in ("secret", "reason") if each in told}, messages.SecretIssue)
    await proving.issue(connection, services.prover, badge, asked, bearer.name, services.clock())


_ACTS: dict[str, _Act] = {
    "authority": _putting("authorities", ("what", "scope", "from_on", "until_on")),
    "certificate": _putting("certificate", ("number", "kind", "from_on")),
    "identity": _putting("identity", ("issuer", "subject")),
    "withdraw": _withdraw,
    "secret": _issue,
}
