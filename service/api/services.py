"""What the handlers work with: made once by the composition root."""

import asyncio
from collections.abc import Callable
from datetime import datetime
from uuid import UUID

import asyncpg

from service.core.entries import HouseRule
from service.feed.posting import Caller
from service.store import ledger
from service.store.ledger import Head
from service.workflow import connectors, pseudonyms
from service.workflow.access import Doorkeeper
from service.workflow.proving import Prover
from service.workflow.recording import Recorder, Scribe
from service.workflow.reference import Reference


class Services:
    """Everything a handler may use."""

    def __init__(
        self,
        pool: asyncpg.Pool,
        recorder: Recorder,
        reference: Reference,
        house: HouseRule,
        clock: Callable[[], datetime],
        caller: Caller,
        prover: Prover,
        address: str | None = None,
    ) -> None:
        self.pool = pool
        self.recorder = recorder
        self.reference = reference
        self.house = house
        self.clock = clock
        self.caller = caller
        self.prover = prover
        self.address = address
        self.scribe = Scribe(house, reference)
        self.doorkeeper = Doorkeeper(pool, clock)
        self.veil = pseudonyms.Keeper(pool)
        # A file holds its connection and its snapshot for as long as it is taken: half of them stay free for everybody else.
        self.exporting = asyncio.Semaphore(max(1, pool.get_max_size() // 2))
        self.reader = Reader(pool, self.scribe.definitions)


class Reader:
    """Reads connectors; requests that arrive together share one statement."""

    def __init__(self, pool: asyncpg.Pool, definitions: ledger.Definitions) -> None:
        self._pool = pool
        self._definitions = definitions
        self._waiting: dict[UUID, asyncio.Future[Head | None]] = {}
        self._task: asyncio.Task[None] | None = None

    async def one(self, connector: UUID) -> Head:
        """One connector by its id. Raises the problem if it is not on the books."""
        waiting = self._waiting.get(connector)
        if waiting is None:
            waiting = self._waiting[connector] = asyncio.get_running_loop().create_future()
        if self._task is None:
            self._task = asyncio.create_task(self._work())
        head = await asyncio.shield(waiting)
        if head is None:
            raise connectors.unknown(str(connector))
        return head

    async def _work(self) -> None:
        try:
            while self._waiting:
                wanted, self._waiting = self._waiting, {}
                await self._read(wanted)
        finally:
            self._task = None

    async def _read(self, wanted: dict[UUID, asyncio.Future[Head | None]]) -> None:
        try:
            async with self._pool.acquire() as connection:
                heads = await connectors.many(connection, self._definitions, wanted)
        except Exception as error:  # noqa: BLE001 - it belongs to every request that waits for this read
            for waiting in wanted.values():
                if not waiting.done():
                    waiting.set_exception(error)
            return
        for connector, waiting in wanted.items():
            if not waiting.done():
                waiting.set_result(heads.get(connector))
