"""The bench page on one origin with the API behind it: static files, a bounded proxy to one service, photo decoding."""

import base64
import re
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from typing import Any

import anyio
import anyio.to_thread
import httpx
import msgspec
from litestar import HttpMethod, Litestar, Request, Response, route
from litestar.datastructures import State
from litestar.exceptions import HTTPException
from litestar.params import FromPath
from litestar.types import Message, Scope
from msgspec import Struct

from scanner_client import decode, page_files, readings
from scanner_client.decode import UnreadableError

MOST_REQUEST_BYTES = 2_000_000
MOST_ANSWER_BYTES = 16_000_000
MOST_IMAGE_BYTES = 20_000_000
AT_ONCE = 2
"""Photos decoded at the same time; more would take memory from the rest of the machine."""
MOST_WAITING = 6
"""Photos received or waiting at the same time; more are told to come back."""

POLICY = (
    "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; object-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
)
"""No inline script or style, no eval, no other host. The decoder is WebAssembly, which needs a word of its own."""
_ALWAYS = ((b"x-content-type-options", b"nosniff"),)
_POLICED = (
    (b"content-security-policy", POLICY.encode()),
    (b"permissions-policy", b"camera=(self)"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    *_ALWAYS,
)
_ASKED = frozenset({"authorization", "content-type", "accept"})
_ANSWERED = frozenset({"content-type", "retry-after", "etag", "cache-control", "www-authenticate", "last-modified"})
_PATH = re.compile(r"/(?:v1|health)/[A-Za-z0-9._~/-]*")


class Problem(Struct, frozen=True):
    """RFC 9457 problem details of the page's own server."""

    type: str
    title: str
    status: int
    detail: str


class Symbol(Struct, frozen=True):
    """One symbol in a photo. `bytes_base64` and `symbology` go to the service as they are; `shown` is for people."""

    bytes_base64: str
    symbology: str | None
    text: str
    shown: str
    fault: str | None


class Decoded(Struct, frozen=True):
    """Every different symbol in a photo."""

    scans: tuple[Symbol, ...]


class FailedError(Exception):
    """A request that can't be carried out."""

    def __init__(self, status: int, kind: str, title: str, detail: str, retry_after_s: int | None = None) -> None:
        """Keep what the problem says."""
        super().__init__(detail)
        self.problem = Problem(f"urn:tinebook:bench:{kind}", title, status, detail)
        self.retry_after_s = retry_after_s


async def with_policy(message: Message, scope: Scope) -> None:
    """Put the security headers on every answer: static files, passed-on answers, and errors of the framework as well.

    A policy governs a document or a worker (W3C Content Security Policy Level 3, 4.2, from memory). On the sixty modules of a first
    visit it would be 25 kB that nothing reads, so a file that can be neither goes without, for what it says it is and no other.
    """
    if message["type"] == "http.response.start":
        known = page_files.shipped().get(_path(scope))
        message["headers"] = [*message["headers"], *(_POLICED if known is None or known.runs else _ALWAYS)]


@route(["/", "/{name:path}"], http_method=[HttpMethod.GET])
async def page(request: Request[Any, Any, State]) -> Response[bytes]:
    """Give a file of the page. A fixed list, and by the path as it was sent, so that no path leads anywhere else."""
    return _file(request, _path(request.scope))


@route(["/v1/{rest:path}", "/health/{rest:path}"], http_method=[HttpMethod.GET, HttpMethod.POST])
async def proxy(request: Request[Any, Any, State], rest: FromPath[str]) -> Response[bytes]:
    """Pass a request on to the service, and to nowhere else."""
    del rest
    path = request.url.path
    if not _PATH.fullmatch(path) or ".." in path or "//" in path:
        raise FailedError(404, "not_found", "Not found", "There is nothing under this path.")
    body = await _body(request, MOST_REQUEST_BYTES)
    client: httpx.AsyncClient = request.app.state.client
    sent = client.build_request(
        request.method,
        httpx.URL(path=path, query=request.scope["query_string"] or None),
        content=body or None,
        headers={name: value for name, value in request.headers.items() if name.lower() in _ASKED},
    )
    return await _answer(client, sent)


@route("/decode", http_method=[HttpMethod.POST])
async def decode_photo(request: Request[Any, Any, State]) -> Response[bytes]:
    """Read the symbols in a photo, for a device that can't itself. The body is the image file."""
    state = request.app.state
    if state.photos >= MOST_WAITING:
        raise FailedError(503, "busy", "Busy", "Other photos are being read just now. Try again in a moment.", 2)
    # Counted from here, since the room itself counts a photo only once a thread has it.
    state.photos += 1
    try:
        image = await _body(request, MOST_IMAGE_BYTES)
        found = await anyio.to_thread.run_sync(decode.scans, image, "The photo", limiter=state.room)
    except UnreadableError as error:
        raise FailedError(422, error.code, "No scan", str(error)) from None
    finally:
        state.photos -= 1
    return _json(Decoded(tuple(_symbol(each) for each in found)))


@route("/authority.crt", http_method=[HttpMethod.GET])
async def authority(request: Request[Any, Any, State]) -> Response[bytes]:
    """Give the certificate authority that devices are to trust: what a device needs before it can trust the page."""
    certificate: bytes | None = request.app.state.authority
    if certificate is None:
        raise FailedError(404, "not_found", "Not found", "This bench has no certificate authority of its own to give.")
    # The type by which phones offer to install it: common practice, no source.
    return Response(certificate, media_type="application/x-x509-ca-cert", headers={"cache-control": "no-cache"})


def build_app(
    service_url: str,
    answer_s: float = 10.0,
    transport: httpx.AsyncBaseTransport | None = None,
    authority_der: bytes | None = None,
) -> Litestar:
    """The page's server for one service. `authority_der` is the certificate authority to hand out, if any."""

    @asynccontextmanager
    async def opened(app: Litestar) -> AsyncIterator[None]:
        # Made now, for a second at most, so that the first visitor does not wait for it.
        page_files.shipped()
        app.state.room = anyio.CapacityLimiter(AT_ONCE)
        app.state.photos = 0
        app.state.authority = authority_der
        timeout = httpx.Timeout(answer_s, connect=2.0)
        async with httpx.AsyncClient(
            base_url=service_url, timeout=timeout, transport=transport, trust_env=False, follow_redirects=False
        ) as client:
            app.state.client = client
            yield

    return Litestar(
        route_handlers=[page, proxy, decode_photo, authority],
        lifespan=[opened],
        before_send=[with_policy],
        exception_handlers={FailedError: _failed, HTTPException: _refused},
        request_max_body_size=MOST_IMAGE_BYTES,
        openapi_config=None,
    )


def _file(request: Request[Any, Any, State], path: str) -> Response[bytes]:
    known = page_files.shipped().get(path)
    if known is None:
        raise FailedError(404, "not_found", "Not found", "There is nothing under this path.")
    headers = {"cache-control": "no-cache"}
    coding, form = None, known.plain
    if known.short:
        headers["vary"] = "Accept-Encoding"
        coding = _coding(known.short, request.headers.get("accept-encoding", ""))
        form = known.short[coding] if coding else form
    headers["etag"] = form.etag
    if form.etag in (each.strip() for each in request.headers.get("if-none-match", "").split(",")):
        return Response(b"", status_code=304, media_type=known.media_type, headers=headers)
    if coding:
        headers["content-encoding"] = coding
    return Response(form.body, media_type=known.media_type, headers=headers)


def _path(scope: Scope) -> str:
    return scope["raw_path"].decode("latin-1").partition("?")[0]


def _coding(offered: Iterable[str], told: str) -> str | None:
    """The first coding of ours that a browser takes (RFC 9110, 12.5.3); `gzip;q=0` says that it doesn't take gzip."""
    taken = {}
    for each in told.lower().split(","):
        name, _, weight = each.partition(";")
        taken[name.strip()] = weight.replace(" ", "") not in ("q=0", "q=0.0", "q=0.00", "q=0.000")
    return next((each for each in offered if taken.get(each)), None)


async def _body(request: Request[Any, Any, State], most: int) -> bytes:
    held = bytearray()
    async for piece in request.stream():
        held += piece
        if len(held) > most:
            raise FailedError(413, "too_large", "Too large", f"The request has more than {most // 1_000_000} MB.")
    return bytes(held)


async def _answer(client: httpx.AsyncClient, sent: httpx.Request) -> Response[bytes]:
    try:
        answer = await client.send(sent, stream=True)
        try:
            held = bytearray()
            async for piece in answer.aiter_bytes():
                held += piece
                if len(held) > MOST_ANSWER_BYTES:
                    raise FailedError(502, "too_large", "Too large", "The service's answer is too large to pass on.")
        finally:
            await answer.aclose()
    except httpx.TimeoutException:
        raise FailedError(504, "service_slow", "Service slow", "The service does not answer in time.", 5) from None
    except httpx.TransportError:
        raise FailedError(503, "service_away", "Service away", "The service can't be reached.", 5) from None
    headers = {name: value for name, value in answer.headers.items() if name.lower() in _ANSWERED}
    media_type = headers.pop("content-type", "application/octet-stream")
    return Response(bytes(held), status_code=answer.status_code, headers=headers, media_type=media_type)


def _symbol(reading: readings.Reading) -> Symbol:
    return Symbol(
        bytes_base64=base64.b64encode(reading.data).decode(),
        symbology=reading.symbology,
        text=reading.text,
        shown=reading.shown,
        fault=readings.fault(reading),
    )


def _json(value: Struct, status: int = 200, media_type: str = "application/json") -> Response[bytes]:
    return Response(msgspec.json.encode(value), status_code=status, media_type=media_type)


def _failed(_: Request[Any, Any, Any], error: FailedError) -> Response[bytes]:
    answer = _json(error.problem, error.problem.status, "application/problem+json")
    if error.retry_after_s is not None:
        answer.headers["retry-after"] = str(error.retry_after_s)
    return answer


def _refused(_: Request[Any, Any, Any], error: HTTPException) -> Response[bytes]:
    """Errors that the framework finds, in the same form."""
    problem = Problem(f"urn:tinebook:bench:status_{error.status_code}", error.detail, error.status_code, error.detail)
    return _json(problem, error.status_code, "application/problem+json")
