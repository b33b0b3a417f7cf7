"""Who is called about what is recorded: making, changing, proving and replaying webhooks, and their log."""

import secrets
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import msgspec

from service import feed_messages as messages
from service import problems
from service.feed import addresses, events, signatures
from service.feed.events import Event, Item
from service.feed.posting import Attempt, Caller
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow import feeding

MOST = 32
"""Webhooks at most: each has a call of its own under way, so this bounds what delivering takes."""


async def make(connection: Connection, asked: messages.WebhookRequest, by: str, now: datetime) -> messages.WebhookMade:
    """Make a webhook. Its secret is in the answer and never shown again."""
    _check_url(asked.url)
    webhook = uuid4()
    async with connection.transaction():
        await database.run(connection, "lock_webhooks")
        await _check_free(connection, asked.url, None)
        if await connection.fetchval(SQL["count_webhooks"]) >= MOST:
            text = f"there are {MOST} webhooks already, which is the most: end one that is not needed"
            raise problems.raised(problems.Type.INVALID_REQUEST, text)
        await feeding.number(connection)
        position = await feeding.position(connection, asked.cursor, asked.start)
        await database.run(
            connection, "make_webhook", webhook, asked.url, list(asked.types), asked.connector, position, now, by
        )
        secret = await _new_secret(connection, webhook, now)
    return messages.WebhookMade(webhook=await show(connection, webhook, now), secret=secret)


async def show(connection: Connection, webhook: UUID, now: datetime) -> messages.WebhookView:
    """One webhook. Raises the problem if there is none."""
    found = await _views(connection, webhook, now)
    if not found:
        raise unknown(webhook)
    return found[0]


async def every(connection: Connection, now: datetime) -> messages.WebhookList:
    """All webhooks, those that have ended too."""
    return messages.WebhookList(webhooks=await _views(connection, None, now))


async def change(
    connection: Connection, webhook: UUID, asked: messages.WebhookChange, now: datetime
) -> messages.WebhookView:
    """Change a webhook's state, address or types. One that was disabled goes on where it stood."""
    async with connection.transaction():
        await database.run(connection, "lock_webhooks")
        if asked.url is not None:
            _check_url(asked.url)
            await _check_free(connection, asked.url, webhook)
        types = None if asked.types is None else list(asked.types)
        done = await database.fetch_one(connection, "change_webhook", webhook, asked.state, asked.url, types, now)
        if done is None:
            raise unknown(webhook)
        return await show(connection, webhook, now)


async def rotate(
    connection: Connection, webhook: UUID, asked: messages.Rotation, now: datetime
) -> messages.WebhookMade:
    """Give a webhook a new secret. The ones before it sign beside it until the overlap is over."""
    async with connection.transaction():
        if await database.fetch_one(connection, "lock_webhook", webhook) is None:
            raise unknown(webhook)
        await database.run(connection, "end_secrets", webhook, now + timedelta(hours=asked.overlap_hours))
        secret = await _new_secret(connection, webhook, now)
        return messages.WebhookMade(webhook=await show(connection, webhook, now), secret=secret)


async def replay(connection: Connection, webhook: UUID, asked: messages.Replay, now: datetime) -> messages.WebhookView:
    """Tell a webhook everything from a cursor on once more. Events keep their ids, so a receiver knows what it had."""
    await feeding.number(connection)
    position = await feeding.position(connection, asked.cursor, asked.start)
    if await database.fetch_one(connection, "replay_webhook", webhook, position, now) is None:
        raise unknown(webhook)
    return await show(connection, webhook, now)


async def log(
    connection: Connection, webhook: UUID, before: int | None, limit: int
) -> tuple[messages.DeliveryLine, ...]:
    """A page of a webhook's log, newest first."""
    rows = await database.fetch(connection, "deliveries", webhook, before, limit)
    return tuple(
        messages.DeliveryLine(number=row["delivery"], **{key: value for key, value in row.items() if key != "delivery"})
        for row in rows
    )


async def test(pool: Any, caller: Caller, webhook: UUID, now: datetime) -> messages.DeliveryLine:
    """Call a webhook at once, whatever its state, with an event that stands in no feed; say what came of it."""
    identity = uuid4()
    async with pool.acquire() as connection:
        view = await show(connection, webhook, now)
        signing = await current_secrets(connection, webhook, now)
        source = await feeding.origin(connection)
    body = msgspec.json.encode({"webhook": webhook, "text": "A call to see whether it arrives; nothing was recorded."})
    item = Item(position=0, id=identity, topic=events.TEST_TOPIC, recorded_at=now, body=body)
    event = events.event(item, source)
    # No connection is held meanwhile: the receiver may take its time.
    attempt = await call(caller, view.url, event, signing, now)
    async with pool.acquire() as connection:
        await keep(connection, webhook, event, None, 1, now, attempt)
        (line,) = await log(connection, webhook, None, 1)
    return line


async def call(caller: Caller, url: str, event: Event, signing: list[str], now: datetime) -> Attempt:
    """Send one event, signed."""
    body = msgspec.json.encode(event)
    return await caller.post(url, signatures.headers(str(event.id), now, body, signing), body, now)


async def keep(
    connection: Connection,
    webhook: UUID,
    event: Event,
    position: int | None,
    number: int,
    now: datetime,
    attempt: Attempt,
) -> None:
    """Write what came of a call into the log."""
    await database.run(
        connection,
        "log_delivery",
        *(webhook, event.id, event.type, position, number, now),
        *(attempt.took_ms, attempt.outcome, attempt.status, attempt.detail),
    )


async def current_secrets(connection: Connection, webhook: UUID, now: datetime) -> list[str]:
    """What calls are signed with now, the newest first."""
    return [row["secret"] for row in await database.fetch(connection, "secrets", webhook, now)]


def unknown(webhook: object) -> problems.ProblemRaised:
    """The problem for a webhook that is not there, or that has ended."""
    return problems.raised(problems.Type.NOT_FOUND, f"there is no webhook {webhook} that has not ended")


async def _views(connection: Connection, webhook: UUID | None, now: datetime) -> tuple[messages.WebhookView, ...]:
    # What has just been recorded is still to be told too.
    await feeding.number(connection, 1)
    last = await feeding.end(connection)
    return tuple(
        [
            messages.WebhookView(
                id=row["webhook"],
                url=row["url"],
                types=tuple(row["types"]),
                connector=row["connector"],
                state=row["state"],
                reason=row["reason"],
                cursor=await feeding.cursor(connection, row["position"]),
                behind=last - row["position"],
                attempts=row["attempts"],
                failing_since=row["failing_since"],
                due_at=row["due_at"],
                secrets=row["secrets"],
                created_at=row["created_at"],
                created_by=row["created_by"],
            )
            for row in await database.fetch(connection, "webhooks", webhook, now)
        ]
    )


async def _new_secret(connection: Connection, webhook: UUID, now: datetime) -> str:
    secret = signatures.secret(secrets.token_bytes(signatures.SECRET_BYTES))
    await database.run(connection, "make_secret", webhook, secret, now)
    return secret


def _check_url(url: str) -> None:
    found = addresses.target(url)
    if isinstance(found, str):
        raise problems.raised(problems.Type.INVALID_REQUEST, found, ("#/url", found))


async def _check_free(connection: Connection, url: str, but: UUID | None) -> None:
    taken = await connection.fetchval(SQL["webhook_by_url"], url)
    if taken not in (None, but):
        text = f"the webhook {taken} calls this address already: change it, or end it first"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/url", text))
