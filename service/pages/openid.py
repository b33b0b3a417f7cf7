"""OpenID Connect, where it is configured: the authorisation code flow with PKCE and a nonce.

Of what the provider knows, two things are used to sign in: a name, and the groups that say what somebody may do here. Only groups
called `tinebook-` and a scope count: a directory's group "admin" is about something else. Whoever signs work by it is asked for
anew, and is who the provider's `sub` says.
"""

import base64
import hashlib
import hmac
import secrets
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, TypeVar, cast
from urllib.parse import urlencode, urlsplit

import httpx
import msgspec
from joserfc import jwt
from joserfc.errors import JoseError
from joserfc.jwk import KeySet
from msgspec import Struct

from service.workflow.access import Scope

T = TypeVar("T")

GROUP = "tinebook-"
_ALGORITHMS = ["RS256", "PS256", "ES256", "ES384", "RS384", "RS512", "PS384", "PS512", "EdDSA", "Ed25519"]
_LEEWAY_S = 60
_TIMEOUT_S = 10.0
_FRESH_S = 3600.0
ATTEMPT = "tinebook-openid"
"""The cookie that keeps an attempt, and how long."""
ATTEMPT_S = 600
RETURN = "/sign-in/openid/return"
"""Where the provider sends people back to, whatever they left for: it knows one address of ours."""
_NAMES = ("preferred_username", "email", "sub")


class OpenIdError(Exception):
    """Somebody can't be signed in this way: says why, in words for them."""


class Client(Struct, frozen=True, kw_only=True):
    """How this service is known to the provider, and which claim lists somebody's groups."""

    issuer: str
    client_id: str
    client_secret: str | None
    scope_claim: str


class Attempt(Struct, frozen=True):
    """What a browser keeps between leaving for the provider and coming back. `signs`: it left to sign, and what is kept here."""

    state: str
    nonce: str
    verifier: str
    target: str
    signs: str | None = None


class Person(Struct, frozen=True):
    """Somebody for whom the provider vouches."""

    name: str
    scopes: tuple[Scope, ...]


class Signer(Struct, frozen=True):
    """Somebody who has just shown the provider who they are: its issuer, and its subject for them."""

    issuer: str
    subject: str


class _Described(Struct, frozen=True):
    """What the provider says of itself (OpenID Connect Discovery 1.0, 3)."""

    issuer: str
    authorization_endpoint: str
    token_endpoint: str
    jwks_uri: str
    token_endpoint_auth_methods_supported: tuple[str, ...] = ("client_secret_basic",)


class _Answer(Struct, frozen=True):
    id_token: str


def attempt(target: str, signs: str | None = None) -> Attempt:
    """A new one, which nobody can guess."""
    state, nonce, verifier = (secrets.token_urlsafe(32) for _ in range(3))
    return Attempt(state, nonce, verifier, target, signs)


def kept(made: Attempt) -> str:
    """An attempt as a cookie holds it."""
    return base64.urlsafe_b64encode(msgspec.json.encode(made)).decode().rstrip("=")


def recalled(text: str | None) -> Attempt | None:
    """The attempt that a cookie holds, if it holds one."""
    if not text:
        return None
    try:
        return msgspec.json.decode(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)), type=Attempt)
    except (msgspec.DecodeError, UnicodeDecodeError, ValueError):
        return None


class Provider:
    """The provider, and what it said of itself within the last hour."""

    def __init__(
        self, client: Client, clock: Callable[[], datetime], transport: httpx.AsyncBaseTransport | None = None
    ) -> None:
        self._client, self._clock, self._transport = client, clock, transport
        self._described: tuple[datetime, _Described] | None = None

    @property
    def host(self) -> str:
        """What to call it on a button."""
        return urlsplit(self._client.issuer).hostname or self._client.issuer

    async def address(self, made: Attempt, redirect_uri: str) -> str:
        """Where to send the browser."""
        described = await self._description()
        challenge = base64.urlsafe_b64encode(hashlib.sha256(made.verifier.encode()).digest()).decode().rstrip("=")
        asked = {
            "response_type": "code",
            "client_id": self._client.client_id,
            "redirect_uri": redirect_uri,
            "scope": "openid profile email",
            "state": made.state,
            "nonce": made.nonce,
            "code_challenge": challenge,
            "code_challenge_method": "S256",
        }
        if made.signs is not None:
            asked |= {"prompt": "login", "max_age": "0"}
        joint = "&" if urlsplit(described.authorization_endpoint).query else "?"
        return f"{described.authorization_endpoint}{joint}{urlencode(asked)}"

    async def person(self, made: Attempt, returned: Mapping[str, str], redirect_uri: str) -> Person:
        """Who came back. Raises OpenIdError where anything does not fit."""
        claims = await self._returned(made, returned, redirect_uri)
        scopes = _scopes(claims.get(self._client.scope_claim))
        name = next((claims[each] for each in _NAMES if isinstance(claims.get(each), str) and claims[each]), None)
        if name is None:
            raise OpenIdError("the provider does not say who this is")
        if not scopes:
            wanted = ", ".join(f"{GROUP}{each}" for each in Scope)
            raise OpenIdError(f"{name} is in none of the groups that open this: {wanted}")
        return Person(name[:200], scopes)

    async def signer(self, made: Attempt, returned: Mapping[str, str], redirect_uri: str, since: datetime) -> Signer:
        """Who came back to sign, if the provider asked them anew since then (Core 1.0, 3.1.2.1: `max_age`, `auth_time`)."""
        claims = await self._returned(made, returned, redirect_uri)
        shown = claims.get("auth_time")
        if not isinstance(shown, int) or isinstance(shown, bool) or shown < since.timestamp() - _LEEWAY_S:
            raise OpenIdError(
                "the provider did not ask anew who this is, so nothing is signed by it: sign with a secret"
            )
        return Signer(self._client.issuer, str(claims["sub"]))

    async def _returned(self, made: Attempt, returned: Mapping[str, str], redirect_uri: str) -> dict[str, Any]:
        """What the provider states of whoever came back."""
        if not hmac.compare_digest(returned.get("state", "").encode(), made.state.encode()):
            raise OpenIdError("the answer belongs to another sign-in than this browser began: begin again")
        if returned.get("iss", self._client.issuer) != self._client.issuer:  # RFC 9207
            raise OpenIdError("the answer comes from another provider than the one that was asked")
        if "code" not in returned:
            raise OpenIdError(f"the provider refused: {returned.get('error', 'no code in its answer')[:200]}")
        return await self._claims(await self._id_token(made, returned["code"], redirect_uri), made.nonce)

    async def _id_token(self, made: Attempt, code: str, redirect_uri: str) -> str:
        described, client = await self._description(), self._client
        form = {
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": redirect_uri,
            "code_verifier": made.verifier,
        }
        basic = None
        if client.client_secret is None:
            form["client_id"] = client.client_id
        elif "client_secret_basic" in described.token_endpoint_auth_methods_supported:
            basic = httpx.BasicAuth(_encoded(client.client_id), _encoded(client.client_secret))
        else:
            form |= {"client_id": client.client_id, "client_secret": client.client_secret}
        answer = await self._asked(_Answer, "POST", described.token_endpoint, data=form, auth=basic)
        return answer.id_token

    async def _claims(self, id_token: str, nonce: str) -> dict[str, Any]:
        """The claims of an ID token that is the provider's, for us, for this sign-in, and not over (Core 1.0, 3.1.3.7)."""
        keys = await self._asked(dict[str, Any], "GET", (await self._description()).jwks_uri)
        must = jwt.JWTClaimsRegistry(
            now=int(self._clock().timestamp()),
            leeway=_LEEWAY_S,
            iss={"essential": True, "value": self._client.issuer},
            aud={"essential": True, "value": self._client.client_id},
            sub={"essential": True},
            exp={"essential": True},
            iat={"essential": True},
            nonce={"essential": True, "value": nonce},
        )
        try:
            claims = jwt.decode(id_token, KeySet.import_key_set(cast("Any", keys)), algorithms=_ALGORITHMS).claims
            must.validate(claims)
        except (JoseError, ValueError, TypeError, KeyError) as error:
            raise OpenIdError(f"the provider's statement does not hold: {error}") from error
        if claims.get("azp", self._client.client_id) != self._client.client_id:
            raise OpenIdError("the provider's statement is for another service")
        return dict(claims)

    async def _description(self) -> _Described:
        now = self._clock()
        if self._described is not None and (now - self._described[0]).total_seconds() < _FRESH_S:
            return self._described[1]
        where = f"{self._client.issuer.rstrip('/')}/.well-known/openid-configuration"
        found = await self._asked(_Described, "GET", where)
        if found.issuer != self._client.issuer:
            raise OpenIdError(f"the provider calls itself {found.issuer}, the setting says {self._client.issuer}")
        self._described = (now, found)
        return found

    async def _asked(self, wanted: type[T], method: str, where: str, **more: Any) -> T:
        try:
            async with httpx.AsyncClient(timeout=_TIMEOUT_S, transport=self._transport) as client:
                reply = await client.request(method, where, headers={"accept": "application/json"}, **more)
                reply.raise_for_status()
                return msgspec.json.decode(reply.content, type=wanted)
        except (httpx.HTTPError, httpx.InvalidURL, msgspec.DecodeError) as error:
            raise OpenIdError(f"the provider does not answer as it should: {error}") from error


def _encoded(value: str) -> str:
    """As RFC 6749, 2.3.1 wants it in basic credentials."""
    return urlencode({"": value})[1:]


def _scopes(claim: object) -> tuple[Scope, ...]:
    """What the groups of a claim open: a list of them, or a text with blanks between."""
    groups = claim.split() if isinstance(claim, str) else claim if isinstance(claim, list) else []
    return tuple(each for each in Scope if f"{GROUP}{each.value}" in groups)
