"""Delivering: in the background, each webhook by itself, in the order of the feed, at least once.

One process of several delivers: the one whose connection holds a lock in the database. Nothing that records waits for it.
"""

import asyncio
import logging
import random
from collections.abc import Callable
from datetime import datetime, timedelta
from uuid import UUID

import asyncpg
from msgspec import Struct

from service.feed import events, schedule
from service.feed.posting import Attempt, Caller
from service.store import database
from service.store.statements import SQL
from service.workflow import feeding, pseudonyms, webhooks
from service.workflow.feeding import Wanted

_log = logging.getLogger("tinebook")


class Pace(Struct, frozen=True, kw_only=True):
    """How often is looked for news, when a failed call is made again, how long the log is kept."""

    look_s: float = 0.5
    lead_s: float = 3.0
    delays_s: tuple[float, ...] = schedule.DELAYS_S
    log_days: int = 90
    tidy_s: float = 3_600.0


class _Called(Struct, frozen=True):
    """A webhook as it stood when its items were read."""

    webhook: UUID
    url: str
    types: list[str]
    connector: UUID | None
    position: int
    revision: int
    attempts: int
    failing_since: datetime | None
    secrets: list[str]


_AT_ONCE = 20
"""Events that are read for a webhook at once."""
_LEAST_PAUSE_S = 1.0


class Deliverer:
    """The background task that calls receivers. Memory and connections are bounded: one connection, one call a webhook."""

    def __init__(self, dsn: str, caller: Caller, clock: Callable[[], datetime], pace: Pace) -> None:
        self._dsn = dsn
        self._caller = caller
        self._clock = clock
        self._pace = pace
        self._task: asyncio.Task[None] | None = None
        self._calls: dict[UUID, asyncio.Task[None]] = {}
        # The connection can do one thing at a time; nobody holds it while a receiver takes its time.
        self._turn = asyncio.Lock()

    def start(self) -> None:
        """Begin to deliver, once no other process does."""
        self._task = asyncio.create_task(self._work(), name="deliverer")

    async def close(self) -> None:
        """Stop. A call that is under way is given up, and made again by whoever delivers next."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)

    async def _work(self) -> None:
        while True:
            try:
                connection = await database.service_connection(self._dsn)
                try:
                    await self._serve(connection)
                finally:
                    await self._stop_calls()
                    connection.terminate()
            except Exception as error:  # noqa: BLE001 - whatever it is, receivers are not to wait for a person
                if database.is_away(error):
                    _log.warning("delivering waits for the database: %r", error)
                else:
                    _log.exception("delivering stopped and begins anew")
            await asyncio.sleep(max(self._pace.lead_s, _LEAST_PAUSE_S))

    async def _serve(self, connection: asyncpg.Connection) -> None:
        """Deliver for as long as the connection, and with it the lead, lasts."""
        while not await connection.fetchval(SQL["lead_delivering"]):  # noqa: ASYNC110 - only the database knows
            await asyncio.sleep(self._pace.lead_s)
        source = await feeding.origin(connection)
        tidied_at = None
        while True:
            now = self._clock()
            async with self._turn:
                await feeding.number(connection)
                due = [row["webhook"] for row in await database.fetch(connection, "webhooks_due", now)]
                if tidied_at is None or (now - tidied_at).total_seconds() >= self._pace.tidy_s:
                    await database.run(connection, "drop_deliveries", now - timedelta(days=self._pace.log_days))
                    tidied_at = now
            self._begin_calls(connection, due, source)
            await asyncio.sleep(self._pace.look_s)

    def _begin_calls(self, connection: asyncpg.Connection, due: list[UUID], source: str) -> None:
        ended = [webhook for webhook, task in self._calls.items() if task.done()]
        for webhook in ended:
            # What went wrong with the database in one of them goes wrong for all.
            self._calls.pop(webhook).result()
        for webhook in due:
            if webhook not in self._calls:
                work = self._tell(connection, webhook, source)
                self._calls[webhook] = asyncio.create_task(work, name=f"webhook {webhook}")

    async def _stop_calls(self) -> None:
        calls, self._calls = list(self._calls.values()), {}
        for each in calls:
            each.cancel()
        await asyncio.gather(*calls, return_exceptions=True)

    async def _tell(self, connection: asyncpg.Connection, webhook: UUID, source: str) -> None:
        """Tell a webhook what it has not been told, until there is nothing more or a call fails."""
        while True:
            async with self._turn:
                called = await self._read(connection, webhook)
                if called is None:
                    return
                wanted = Wanted(tuple(called.types), called.connector)
                page = await feeding.page(connection, called.position, wanted, _AT_ONCE)
                through = await pseudonyms.veiling(connection)
                if not page.items:
                    await database.run(connection, "move_webhook", webhook, called.revision, page.position)
            attempts = called.attempts
            for item in page.items:
                event = events.event(feeding.shown(item, through), source)
                if not await self._deliver(connection, called, event, item.position, attempts + 1):
                    return
                attempts = 0
            if not page.items and not page.more:
                return

    async def _read(self, connection: asyncpg.Connection, webhook: UUID) -> _Called | None:
        now = self._clock()
        row = await database.fetch_one(connection, "webhook_to_call", webhook, now)
        if row is None:
            return None
        return _Called(webhook=webhook, secrets=await webhooks.current_secrets(connection, webhook, now), **row)

    async def _deliver(
        self, connection: asyncpg.Connection, called: _Called, event: events.Event, position: int, number: int
    ) -> bool:
        """Make one call and keep what came of it; whether to go on with the next."""
        at = self._clock()
        attempt = await webhooks.call(self._caller, called.url, event, called.secrets, at)
        async with self._turn, connection.transaction():
            await webhooks.keep(connection, called.webhook, event, position, number, at, attempt)
            if attempt.outcome == "delivered":
                moved = await database.fetch_one(connection, "move_webhook", called.webhook, called.revision, position)
                return moved is not None
            await self._failed(connection, called, event, number, attempt)
        return False

    async def _failed(
        self, connection: asyncpg.Connection, called: _Called, event: events.Event, failures: int, attempt: Attempt
    ) -> None:
        now = self._clock()
        pause_s = schedule.delay_s(failures, attempt.asked_s, random.random(), self._pace.delays_s)  # noqa: S311 - jitter
        reason = None
        if attempt.outcome == "gone":
            reason = "gone: the receiver answered 410"
        elif pause_s is None:
            since = called.failing_since or now
            reason = f"failing since {since:%Y-%m-%dT%H:%M:%SZ}, {failures} attempts at one event: {attempt.detail}"
        state = "active" if reason is None else "disabled"
        due_at = now + timedelta(seconds=pause_s or 0)
        failed = await database.fetch_one(
            connection, "fail_webhook", called.webhook, called.revision, state, reason, now, due_at
        )
        if failed is not None and reason is not None:
            _log.warning("the webhook %s is disabled: %s", called.webhook, reason)
            told = {"webhook": called.webhook, "reason": reason, "event": event.id}
            await feeding.tell(connection, events.DISABLED_TOPIC, told, now)
