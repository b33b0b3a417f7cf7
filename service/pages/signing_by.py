"""Signing work by the identity provider: away with what is to be signed, asked anew, and back with who signs it.

What is to be signed waits here, for a few minutes and for one return; the browser holds what finds it.
"""

import secrets
from datetime import timedelta
from uuid import uuid4

import msgspec
from litestar import Response, post
from msgspec import Struct, structs

from service import problems
from service.api import signing as api
from service.api.services import Services
from service.core.markup import element, text
from service.pages import door, layout, openid, sign_form, wording
from service.pages.door import Asked
from service.pages.layout import Sheet
from service.pages.openid import Attempt, OpenIdError, Provider
from service.signing_messages import SignatureRequest
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow import access, signing
from service.workflow.signing import Act

_NOBODY = "-"
"""Stands for badge and secret in what waits: the provider says whose the signature is."""
_KEPT = timedelta(seconds=openid.ATTEMPT_S)


class _Waiting(Struct, frozen=True):
    asked: SignatureRequest
    back: str


@post(sign_form.BY_PROVIDER, include_in_schema=False, status_code=200)
async def leave(request: Asked) -> Response[bytes]:
    """Keep what is to be signed, and go to the provider."""
    provider: Provider | None = request.app.state.provider
    services: Services = request.app.state.services
    form = {name: str(value) for name, value in (await request.form()).items()}
    back = door.local(form.get("back", ""))
    visitor = await door.visitor(request)
    if visitor is None or not door.is_ours(form.get(door.FIELD, ""), visitor.session.secret):
        return _said("The form was too old, or not ours: load the page anew and try again.", back, 403)
    if provider is None:
        return _said("OpenID Connect is not set up here: sign with a secret.", back, 404)
    try:
        asked = structs.replace(sign_form.read(form, _NOBODY), badge=_NOBODY, secret=_NOBODY)
        asked = structs.replace(asked, id=asked.id or uuid4())
        made = openid.attempt(back, secrets.token_urlsafe(32))
        address = await provider.address(made, f"{door.origin(request)}{openid.RETURN}")
    except problems.ProblemRaised as refused:
        return _said(refused.problem.detail, back, refused.problem.status)
    except OpenIdError as error:
        return _said(str(error), back, 502)
    now = services.clock()
    async with services.pool.acquire() as connection:
        await database.run(connection, "forget_signing_attempts", now)
        kept = msgspec.json.encode(_Waiting(asked, back))
        await database.run(connection, "keep_signing_attempt", access.digest(made.signs or ""), kept, now, now + _KEPT)
    # A page of ours leads there: a form's answer may lead to no other site.
    cookie = door.cookie(openid.ATTEMPT, openid.kept(made), request, max_age=openid.ATTEMPT_S, strict=False)
    return layout.onward(address, [cookie])


async def come_back(request: Asked, provider: Provider, made: Attempt, kept: str) -> Response[bytes]:
    """Back from the provider: sign what waited, if it says that this is somebody who may."""
    services: Services = request.app.state.services
    now = services.clock()
    target = door.local(made.target)
    async with services.pool.acquire() as connection:
        row = await database.fetch_one(connection, "take_signing_attempt", access.digest(kept))
        if row is None or row["expires_at"] <= now:
            return _said("What was to be signed is no longer kept: look at it again and sign anew.", target, 401)
        try:
            origin = f"{door.origin(request)}{openid.RETURN}"
            signer = await provider.signer(made, request.query_params, origin, row["began_at"])
            await _sign(services, connection, msgspec.json.decode(row["request"], type=_Waiting).asked, signer)
        except OpenIdError as error:
            return _said(str(error), target, 401)
        except problems.ProblemRaised as refused:
            return _said(refused.problem.detail, target, refused.problem.status)
    over = door.cookie(openid.ATTEMPT, "", request, max_age=0, strict=False)
    return layout.onward(target, [over])


async def _sign(services: Services, connection: Connection, asked: SignatureRequest, signer: openid.Signer) -> None:
    badge = await connection.fetchval(SQL["badge_of_identity"], signer.issuer, signer.subject)
    if badge is None:
        words = "the provider knows you, the shop's list does not: an administrator adds your identity to your badge"
        raise problems.raised(problems.Type.NOT_AUTHORISED, words)
    told = {each: getattr(asked, each) for each in Act.__struct_fields__ if each not in ("method", "badge")}
    act = Act(method="openid", badge=badge, **told)
    await signing.sign(connection, act, services.clock(), api.statement_of(services, asked.subject))


def _said(words: str, back: str, status: int) -> Response[bytes]:
    content = (
        element("h1", text("Not signed")),
        element("p", text(wording.sentence(words)), role="alert"),
        element("p", layout.link("Back to what was to be signed", back)),
    )
    return layout.response(Sheet(title="Not signed", content=content, status=status), None, ())
