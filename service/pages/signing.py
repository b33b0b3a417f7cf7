"""Signing in, with a token or by OpenID Connect, and out."""

from collections.abc import Sequence
from urllib.parse import urlencode

from litestar import Response, get, post
from litestar.datastructures import Cookie
from litestar.handlers import HTTPRouteHandler
from litestar.response import Redirect

from service import problems
from service.api.services import Services
from service.core.markup import EMPTY, Markup, element, text
from service.pages import door, layout, openid, signing_by
from service.pages.door import Asked
from service.pages.layout import Sheet
from service.pages.openid import OpenIdError, Provider
from service.workflow import sessions

_OPENID = f"{door.SIGN_IN}/openid"


def routes() -> list[HTTPRouteHandler]:
    """The routes of signing in and out."""
    return [show, sign_in, sign_out, leave, come_back, signing_by.leave]


@get(door.SIGN_IN, include_in_schema=False)
async def show(request: Asked) -> Response[bytes]:
    """The form, and the way to the provider where there is one."""
    return _form(request, request.query_params.get("next", door.HOME))


@post(door.SIGN_IN, include_in_schema=False, status_code=200)
async def sign_in(request: Asked) -> Response[bytes]:
    """Begin a session with the token that was typed in."""
    services: Services = request.app.state.services
    form = await request.form()
    target = door.local(str(form.get("next", "")))
    if not door.is_ours(str(form.get(door.FIELD, "")), door.form_secret(request)):
        return _form(request, target, "The form was too old, or not ours: try again.", status=403)
    try:
        async with services.pool.acquire() as connection:
            secret = await sessions.begin(connection, str(form.get("token", "")).strip(), services.clock())
    except problems.ProblemRaised as refused:
        return _form(request, target, refused.problem.detail, status=401)
    return _gone(target, [door.given(secret, request)])


@post(door.SIGN_OUT, include_in_schema=False, status_code=200)
async def sign_out(request: Asked) -> Response[bytes]:
    """End the session, here and in the browser."""
    services: Services = request.app.state.services
    visitor = await door.visitor(request)
    form = await request.form()
    if visitor is not None:
        if not door.is_ours(str(form.get(door.FIELD, "")), visitor.session.secret):
            return refused("The form was too old, or not ours: go back and try again.")
        async with services.pool.acquire() as connection:
            await sessions.end(connection, visitor.session.secret)
    return _gone(door.SIGN_IN, door.taken(request))


@get(_OPENID, include_in_schema=False)
async def leave(request: Asked) -> Response[bytes]:
    """Go to the provider."""
    provider: Provider | None = request.app.state.provider
    target = door.local(request.query_params.get("next", ""))
    if provider is None:
        return _form(request, target, "OpenID Connect is not set up here.", status=404)
    made = openid.attempt(target)
    try:
        address = await provider.address(made, f"{door.origin(request)}{openid.RETURN}")
    except OpenIdError as error:
        return _form(request, target, str(error), status=502)
    # Lax: the provider's page leads back here, and the browser must then bring it along.
    kept = door.cookie(openid.ATTEMPT, openid.kept(made), request, max_age=openid.ATTEMPT_S, strict=False)
    return _gone(address, [kept])


@get(openid.RETURN, include_in_schema=False)
async def come_back(request: Asked) -> Response[bytes]:
    """Back from the provider: a session, if it vouches for somebody who may come in."""
    services: Services = request.app.state.services
    provider: Provider | None = request.app.state.provider
    made = openid.recalled(door.read(openid.ATTEMPT, request))
    if provider is None or made is None:
        return _form(request, door.HOME, "This sign-in was not begun in this browser, or too long ago.", status=401)
    if made.signs is not None:
        return await signing_by.come_back(request, provider, made, made.signs)
    target = door.local(made.target)
    try:
        person = await provider.person(made, request.query_params, f"{door.origin(request)}{openid.RETURN}")
    except OpenIdError as error:
        return _form(request, target, str(error), status=401)
    async with services.pool.acquire() as connection:
        secret = await sessions.begin_vouched(connection, person.name, person.scopes, services.clock())
    over = door.cookie(openid.ATTEMPT, "", request, max_age=0, strict=False)
    return layout.onward(target, [door.given(secret, request), over])


def ask(request: Asked) -> Response[bytes]:
    """What somebody sees who is not signed in: the form, after which they go where they wanted."""
    target = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    if door.came_from_elsewhere(request):
        return layout.onward(target)
    if request.method != "GET":
        return refused("The session is over: sign in, then do it again.")
    return _gone(f"{door.SIGN_IN}?{urlencode({'next': door.local(target)})}")


def refused(words: str) -> Response[bytes]:
    """A form that is not taken."""
    content = (element("h1", text("Not done")), element("p", text(words), role="alert"), _again())
    return layout.response(Sheet(title="Not done", content=content, status=403), None, ())


def _again() -> Markup:
    return element("p", layout.link("Sign in", door.SIGN_IN))


def _gone(target: str, cookies: Sequence[Cookie] = ()) -> Response[bytes]:
    headers = {"cache-control": "no-store", "referrer-policy": "same-origin"}
    return Redirect(target, status_code=303, cookies=list(cookies), headers=headers)


def _form(request: Asked, target: str, wrong: str | None = None, *, status: int = 200) -> Response[bytes]:
    secret, target = door.form_secret(request), door.local(target)
    provider: Provider | None = request.app.state.provider
    content = (
        element("h1", text("Sign in")),
        EMPTY if wrong is None else element("p", text(wrong), class_="fault", role="alert"),
        _by_provider(provider, target),
        element(
            "form",
            element("label", text("Token"), for_="token"),
            element(
                "input",
                id="token",
                name="token",
                type="password",
                required=True,
                autocomplete="current-password",
                maxlength=400,
                spellcheck="false",
                aria_describedby="token-note",
            ),
            element("p", text("A token is made with "), element("code", text("tinebook token")), id="token-note"),
            element("input", type="hidden", name="next", value=target),
            element("input", type="hidden", name=door.FIELD, value=door.form_token(secret)),
            element("button", text("Sign in"), type="submit"),
            action=door.SIGN_IN,
            method="post",
            class_="sign-in",
        ),
    )
    sheet = Sheet(title="Sign in", content=content, status=status)
    return layout.response(sheet, None, (), cookies=[door.form_cookie(secret, request)])


def _by_provider(provider: Provider | None, target: str) -> Markup:
    if provider is None:
        return EMPTY
    href = f"{_OPENID}?{urlencode({'next': target})}"
    return element("p", layout.link(f"Sign in with {provider.host}", href, class_="button"))
