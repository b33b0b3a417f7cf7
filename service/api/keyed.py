"""Requests that may be sent twice: done once, and answered alike."""

from collections.abc import Awaitable, Callable

import msgspec

from service import messages, problems
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.store.database import Connection
from service.workflow import idempotency
from service.workflow.idempotency import Answer

_JSON = "application/json"
_PROBLEM = "application/problem+json"
_OWN_FAULT = 500


async def once(services: Services, call: Call, work: Callable[[Connection], Awaitable[Reply]]) -> Reply:
    """Do what a request asks, in one transaction with the answer that is kept under its Idempotency-Key, if it has one.

    A refusal is an answer too, and what was done before it is undone. A failure of ours is none: the same may be sent again.
    """
    if not call.key:
        async with services.pool.acquire() as connection:
            return await work(connection)
    under, client = idempotency.key(call.key), call.bearer.name
    async with services.pool.acquire() as connection, connection.transaction():
        before = await idempotency.answered(connection, client, under, call.fingerprint)
        if before is None:
            before = await _answer(connection, work)
            await idempotency.keep(connection, client, under, call.fingerprint, before, services.clock())
    message = msgspec.Raw(before.body) if before.media_type == _JSON else before.body
    return Reply(before.status, message, before.media_type)


async def _answer(connection: Connection, work: Callable[[Connection], Awaitable[Reply]]) -> Answer:
    try:
        async with connection.transaction():
            reply = await work(connection)
    except problems.ProblemRaised as raised:
        if raised.problem.status >= _OWN_FAULT:
            raise
        return Answer(raised.problem.status, _PROBLEM, messages.to_json(raised.problem))
    return Answer(reply.status, reply.media_type, messages.to_json(reply.message))
