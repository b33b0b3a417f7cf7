"""The form by which somebody signs what stands on a page, and what takes it: for every page that has something to sign.

The page shows the statement in its own way, and gives it here whole: it travels with the form, and has to be what is so when
the form comes back. Whoever has signed in to the page is not the one who signs by that: badge and secret say who signs, or the
identity provider, which is then asked anew.
"""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import uuid4

import msgspec

from service import problems
from service import signing_messages as messages
from service.api import reading, signing
from service.api.services import Services
from service.core.markup import EMPTY, Markup, element, joined, text
from service.core.signing import seals
from service.pages import door, layout
from service.pages.door import Asked, Visitor
from service.pages.openid import Provider
from service.signing_messages import Meaning, Signature, SignatureRequest, Subject

BY_PROVIDER = "/signing/openid"
MEANINGS: dict[str, str] = {
    "performed": "Performed: the work was done as stated",
    "inspected": "Inspected: I did none of it, and have looked at it",
    "approved": "Approved: the work that is stated here is satisfactory",
}
_HIDDEN = ("id", "subject", "reference", "statement")


def form(
    request: Asked,
    visitor: Visitor,
    *,
    subject: Subject,
    reference: str,
    statement: Mapping[str, Any],
    meanings: Sequence[Meaning],
    action: str,
    exception_allowed: bool = False,
) -> Markup:
    """The form. `statement` is all that the page shows as what is signed; `action` is the page's own address, which takes it."""
    provider: Provider | None = request.app.state.provider
    hidden = {
        door.FIELD: visitor.form_token,
        "id": str(uuid4()),
        "subject": subject,
        "reference": reference,
        "statement": seals.canonical(statement).decode(),
        "back": action,
    }
    return element(
        "form",
        *(element("input", type="hidden", name=name, value=value) for name, value in hidden.items()),
        _meanings(meanings),
        _inspection(exception_allowed) if "inspected" in meanings else EMPTY,
        _choice("checkbox", "read", "yes", "I have read what stands above, and sign all of it", required=True),
        element(
            "fieldset",
            element("legend", text("Sign with your secret")),
            _typed("badge", "Your badge", "username"),
            _secret(required=provider is None),
            element("button", text("Sign"), type="submit", class_="main"),
        ),
        _by_provider(provider),
        action=action,
        method="post",
        class_="sign-in",
        autocomplete="off",
    )


def _meanings(meanings: Sequence[Meaning]) -> Markup:
    choices = (
        _choice("radio", "meaning", each, MEANINGS[each], required=True, checked=len(meanings) == 1)
        for each in meanings
    )
    return element("fieldset", element("legend", text("What the signature means")), *choices)


def _inspection(exception_allowed: bool) -> Markup:
    outcomes = (
        _choice("radio", "outcome", "accepted", "The inspection accepts the work", checked=True),
        _choice("radio", "outcome", "refused", "The inspection refuses the work: it stands, and rework follows"),
    )
    exception = element(
        "details",
        element("summary", text("I did this work myself, and nobody else is there")),
        _lines("exception_reason", "Why nobody else could be foreseen or called"),
    )
    return joined(
        element("fieldset", element("legend", text("Where you inspect")), *outcomes),
        _lines("remark", "What the inspection found (needed where it refuses)"),
        exception if exception_allowed else EMPTY,
    )


def _by_provider(provider: Provider | None) -> Markup:
    if provider is None:
        return EMPTY
    return element(
        "fieldset",
        element("legend", text(f"Sign by {provider.host}")),
        layout.note(text("It asks anew who you are: type neither badge nor secret here.")),
        element("button", text(f"Sign by {provider.host}"), type="submit", formaction=BY_PROVIDER),
    )


def _choice(kind: str, name: str, value: str, words: str, **more: object) -> Markup:
    box = element("input", type=kind, name=name, value=value, **more)
    return element("div", element("label", box, text(words), class_="choice"))


def _typed(name: str, words: str, autocomplete: str) -> Markup:
    typed = element(
        "input", name=name, maxlength=200, autocomplete=autocomplete, spellcheck="false", autocapitalize="none"
    )
    return element("label", text(words), typed)


def _secret(*, required: bool) -> Markup:
    # Not kept by the browser: on a bench's computer it would be everybody's.
    typed = element("input", name="secret", type="password", maxlength=200, autocomplete="off", required=required)
    return element("label", text("Your secret"), typed)


def _lines(name: str, words: str) -> Markup:
    return element("label", text(words), element("textarea", name=name, maxlength=4000))


async def take(request: Asked, subject: Subject, reference: str) -> Signature:
    """Sign what the form of this page brought back. Raises the problem where it can't be, with what to do."""
    services: Services = request.app.state.services
    asked = read({name: str(value) for name, value in (await request.form()).items()})
    if (asked.subject, asked.reference) != (subject, reference):
        raise problems.raised(problems.Type.INVALID_REQUEST, "in the form: it belongs to another page than this one")
    async with services.pool.acquire() as connection:
        return (await signing.signed(services, connection, asked)).signature


def read(form: Mapping[str, str], secret: str | None = None) -> SignatureRequest:
    """A form as a request; `secret` stands for the one that nobody types where the identity provider says who signs."""
    if not form.get("read"):
        words = "in the form: nothing is signed unread; tick that you have read it"
        raise problems.raised(problems.Type.INVALID_REQUEST, words)
    told: dict[str, Any] = {
        name: value if name in ("secret", *_HIDDEN) else value.strip()
        for name, value in form.items()
        if name in SignatureRequest.__struct_fields__ and value.strip()
    }
    if secret is not None:
        told |= {"secret": secret, "badge": told.get("badge", secret)}
    if told.get("meaning") != "inspected":
        told = {name: value for name, value in told.items() if name not in ("outcome", "remark", "exception_reason")}
    try:
        told["statement"] = msgspec.json.decode(told.get("statement", ""))
        return msgspec.convert(told, messages.SignatureRequest)
    except (msgspec.ValidationError, msgspec.DecodeError, RecursionError) as error:
        words = f"in the form: {reading.explain(str(error))[0]}"
        raise problems.raised(problems.Type.INVALID_REQUEST, words) from error
