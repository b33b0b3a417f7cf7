"""From HTTP to an operation and back. Every failure leaves as a problem."""

import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

import asyncpg
import msgspec
from litestar import Request, Response, get, route
from litestar.datastructures import State
from litestar.exceptions import HTTPException
from litestar.handlers import HTTPRouteHandler
from litestar.response import Stream

from service import messages, problems
from service.api import exports, reading, records
from service.api.contract import OPERATIONS, Operation
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.core.states import StateError
from service.store import database
from service.workflow import idempotency
from service.workflow.recording import BusyError

_log = logging.getLogger("tinebook")
_JSON = "application/json"
_PROBLEM = "application/problem+json"


def routes() -> list[HTTPRouteHandler]:
    """A route for every operation of the contract, and the ones that need no token."""
    return [*(_route(each) for each in OPERATIONS), live, ready, openapi, records.schema]


def _route(operation: Operation) -> HTTPRouteHandler:
    path = operation.path.replace("}", ":str}")
    return route(path, http_method=operation.method, name=operation.name, include_in_schema=False)(_serving(operation))


def _serving(operation: Operation) -> Callable[..., Awaitable[Response[Any]]]:
    async def serve(request: Request[Any, Any, State]) -> Response[Any]:
        services: Services = request.app.state.services
        bearer = await services.doorkeeper.admit(request.headers.get("authorization"), operation.scopes)
        sent = await request.body() if operation.body is not None else b""
        body = reading.body(sent, operation.body) if operation.body is not None else None
        query = reading.query(request.query_params, operation.query)
        accept = request.headers.get("accept", "")
        key = ", ".join(request.headers.getall("idempotency-key", [])) if operation.keyed else ""
        mark = idempotency.fingerprint(request.method, f"{request.url.path}?{request.url.query}", sent) if key else b""
        call = Call(bearer, request.path_params, query, body, accept, key, mark)
        if operation.report is not None and query.format != "json":
            return response(await exports.reply(services, call, operation.report))
        reply = await operation.call(services, call)
        return response(reply if operation.verbatim else await _veiled(services, reply))

    return serve


async def _veiled(services: Services, reply: Reply) -> Reply:
    """A reply in JSON that names nobody who left. Files see to that where their rows are made."""
    through = await services.veil.veil() if reply.media_type == _JSON else None
    if not through:
        return reply
    return msgspec.structs.replace(reply, message=msgspec.Raw(through.document(messages.to_json(reply.message))))


def response(reply: Reply) -> Response[Any]:
    """What an operation answered, on the wire."""
    if isinstance(reply.message, AsyncIterator):
        return Stream(reply.message, status_code=reply.status, media_type=reply.media_type, headers=reply.headers)
    content = messages.to_json(reply.message) if reply.media_type == _JSON else reply.message
    return Response(content, status_code=reply.status, media_type=reply.media_type, headers=reply.headers)


@get("/health/live", include_in_schema=False)
async def live() -> Response[bytes]:
    """Whether the program runs."""
    return Response(messages.to_json(messages.Health(status="up")), media_type=_JSON)


@get("/health/ready", include_in_schema=False)
async def ready(request: Request[Any, Any, State]) -> Response[bytes]:
    """Whether it can take work: its database answers."""
    services: Services = request.app.state.services
    try:
        async with services.pool.acquire(timeout=5) as connection:
            await connection.fetchval("select 1", timeout=5)
    except (*database.UNREACHABLE, asyncpg.PostgresError) as error:
        _log.warning("not ready: %s", error)
        health = messages.Health(status="not_ready", detail="the database does not answer")
        return Response(messages.to_json(health), status_code=503, media_type=_JSON)
    return Response(messages.to_json(messages.Health(status="ready")), media_type=_JSON)


@get("/schema/openapi.json", include_in_schema=False)
async def openapi(request: Request[Any, Any, State]) -> Response[bytes]:
    """The OpenAPI document."""
    document: bytes = request.app.state.openapi
    return Response(document, media_type=_JSON)


def on_problem(_: Request[Any, Any, State], error: problems.ProblemRaised) -> Response[bytes]:
    """A problem that the service itself raised."""
    return respond(error.problem, error.headers)


def on_http(request: Request[Any, Any, State], error: HTTPException) -> Response[bytes]:
    """A refusal of the framework's, in our words."""
    kinds = {404: problems.Type.NOT_FOUND, 405: problems.Type.METHOD_NOT_ALLOWED, 413: problems.Type.TOO_LARGE}
    kind = kinds.get(error.status_code, problems.Type.MALFORMED_BODY)
    details = {
        404: f"there is no {request.url.path}; the operations are listed at /schema/openapi.json",
        405: f"{request.method} is not possible on {request.url.path}",
        413: "the body is larger than this service takes: send fewer entries at a time",
    }
    return respond(problems.problem(kind, details.get(error.status_code, str(error.detail))), error.headers or {})


def on_busy(_: Request[Any, Any, State], _error: BusyError) -> Response[bytes]:
    """Too much waits for the disk."""
    detail = "too many entries wait to be recorded; none of these was taken: send the same again after Retry-After"
    return respond(problems.problem(problems.Type.BUSY, detail), {"Retry-After": "1"})


def on_anything(request: Request[Any, Any, State], error: Exception) -> Response[bytes]:
    """A database that is away is 503; anything else is a fault of ours, logged whole and told without its insides."""
    if database.is_away(error):
        _log.warning("database unreachable: %r", error)
        detail = "the database can't be reached; what was not answered may be sent again with the same ids"
        return respond(problems.problem(problems.Type.UNAVAILABLE, detail), {"Retry-After": "2"})
    if isinstance(error, StateError):
        _log.error("%s: %s", request.url.path, error)
        detail = "the state that is kept of this connector can't be read: have the system owner run `tinebook rebuild`"
        return respond(problems.problem(problems.Type.STATE_UNREADABLE, detail), {"Retry-After": "60"})
    _log.error("unexpected failure in %s %s", request.method, request.url.path, exc_info=error)
    detail = "an unexpected failure, written to the service's log; the same may be sent again with the same ids"
    return respond(problems.problem(problems.Type.INTERNAL, detail), {})


def respond(problem: messages.Problem, headers: dict[str, str]) -> Response[bytes]:
    """A problem on the wire."""
    return Response(messages.to_json(problem), status_code=problem.status, headers=headers, media_type=_PROBLEM)
