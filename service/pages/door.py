"""Who comes in: the session's cookie, what proves that a form is ours, and where somebody goes who is not signed in.

The cookie can't be read by a script, is sent to this site alone and only from this site's own pages, and over HTTPS only
where it was given over HTTPS. What a form carries is derived from it, so a page of somebody else's can't know it.
"""

import hashlib
import hmac
import secrets
from typing import Any
from urllib.parse import urlsplit

from litestar import Request
from litestar.datastructures import Cookie, State
from msgspec import Struct

from service.api.services import Services
from service.workflow import sessions
from service.workflow.sessions import Session

Asked = Request[Any, Any, State]

SIGN_IN, SIGN_OUT = "/sign-in", "/sign-out"
HOME = "/fleet"
FIELD = "form_token"
_SESSION, _FORM = "tinebook", "tinebook-form"
_LOCAL_MOST = 2000


class Visitor(Struct, frozen=True):
    """Somebody who has signed in, and what the forms that are shown to them carry."""

    session: Session
    form_token: str

    @property
    def name(self) -> str:
        """Who it is, by the token's name or the identity provider's."""
        return self.session.bearer.name


async def visitor(request: Asked) -> Visitor | None:
    """Who has signed in, asked anew at each request: a token that was revoked a moment ago opens nothing."""
    services: Services = request.app.state.services
    secret = request.cookies.get(_name(_SESSION, request))
    if not secret:
        return None
    async with services.pool.acquire() as connection:
        session = await sessions.find(connection, secret, services.clock())
    return None if session is None else Visitor(session, _form_token(secret))


def given(secret: str, request: Asked) -> Cookie:
    """The cookie that holds a session."""
    return cookie(_SESSION, secret, request)


def taken(request: Asked) -> list[Cookie]:
    """What makes the browser forget the session."""
    return [cookie(_SESSION, "", request, max_age=0)]


def form_secret(request: Asked) -> str:
    """What a form belongs to that is filled in before anybody is signed in: the browser's own, new where it has none."""
    return request.cookies.get(_name(_FORM, request)) or secrets.token_urlsafe(32)


def form_cookie(secret: str, request: Asked) -> Cookie:
    """The cookie that holds it."""
    return cookie(_FORM, secret, request)


def form_token(secret: str) -> str:
    """What a form carries that belongs to this secret."""
    return _form_token(secret)


def is_ours(shown: str, secret: str) -> bool:
    """Whether a form that carries this was shown by us, to this browser."""
    return hmac.compare_digest(shown.encode(), _form_token(secret).encode())


def cookie(name: str, value: str, request: Asked, *, max_age: int | None = None, strict: bool = True) -> Cookie:
    """A cookie as all of ours are. Over HTTPS its name keeps other hosts of the domain from setting it."""
    return Cookie(
        key=_name(name, request),
        value=value,
        path="/",
        httponly=True,
        samesite="strict" if strict else "lax",
        secure=is_secure(request),
        max_age=max_age,
    )


def read(name: str, request: Asked) -> str | None:
    """What a cookie of ours holds."""
    return request.cookies.get(_name(name, request))


def is_secure(request: Asked) -> bool:
    """Whether the browser speaks HTTPS. What a proxy says of it is believed, since it can only make the cookie stricter."""
    return request.url.scheme == "https" or request.headers.get("x-forwarded-proto", "").lower() == "https"


def origin(request: Asked) -> str:
    """Where the browser believes to be."""
    return f"{'https' if is_secure(request) else 'http'}://{request.headers.get('host', '')}"


def came_from_elsewhere(request: Asked) -> bool:
    """Whether a link of another site, a mail's for instance, led here: the browser then keeps the strict cookie back."""
    return request.method == "GET" and request.headers.get("sec-fetch-site") in ("cross-site", "same-site")


def local(target: str) -> str:
    """Where to go afterwards: a path of ours, whatever was asked for. What a browser could read as another host is none."""
    parts = urlsplit(target)
    odd = parts.scheme or parts.netloc or "\\" in target or any(ord(each) < 33 for each in target)  # noqa: PLR2004 - blanks and controls
    if odd or not target.startswith("/") or target.startswith("//") or len(target) > _LOCAL_MOST:
        return HOME
    return target


def _name(name: str, request: Asked) -> str:
    return f"__Host-{name}" if is_secure(request) else name


def _form_token(secret: str) -> str:
    return hmac.new(secret.encode(), b"form", hashlib.sha256).hexdigest()
