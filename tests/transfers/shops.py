"""Two shops, each with a database of its own, between which connectors go."""

import asyncio
import uuid
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, AsyncExitStack, asynccontextmanager
from datetime import UTC, datetime, timedelta
from typing import Any, Self

import asyncpg

from service import catalog, messages
from service import transfer_messages as wire
from service.core.answers import Action
from service.core.entries import CavityDefinition, Entry, HouseRule, Kind, Rating
from service.store import database, ledger
from service.workflow import (
    connectors,
    planning,
    proof,
    receiving,
    recording,
    registering,
    transfer_keys,
    transfers,
)
from service.workflow.proof import Break
from service.workflow.recording import Scribe
from service.workflow.reference import Reference
from tests import databases

CONNECTOR = uuid.UUID("019ac0de-1111-7000-8000-00000000c0de")
START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
_CATALOG = catalog.load()


class Clock:
    """The time, which is the same for all shops of a test."""

    def __init__(self) -> None:
        self.now = START


class Shop:
    """One installation, as its people use it. An hour passes with everything that is done.

    `ahead`: by how much its own clock is wrong.
    """

    def __init__(self, name: str, connection: asyncpg.Connection, owner: asyncpg.Connection, clock: Clock) -> None:
        self.name, self.connection, self.owner = name, connection, owner
        self.ahead = timedelta(0)
        self.house = HouseRule()
        self.reference = Reference(_CATALOG)
        self.scribe = Scribe(self.house, self.reference)
        self._clock = clock

    @property
    def now(self) -> datetime:
        """What its clock shows."""
        return self._clock.now + self.ahead

    def later(self) -> datetime:
        """An hour on."""
        self._clock.now += timedelta(hours=1)
        return self.now

    async def register(self, connector: uuid.UUID = CONNECTOR, serial: str = "EX-0001", **more: Any) -> None:
        """Put a connector of three cavities on the books."""
        usual: dict[str, Any] = {
            "cage": "0CVA5",
            "cavities": tuple(CavityDefinition(each, "20") for each in ("A", "C", "c")),
            "rating": Rating(value=3, basis="house"),
        }
        asked = messages.Registration(serial=serial, id=connector, history="new", **{**usual, **more})
        at = self.later()
        await registering.register(
            self.connection, self.scribe, self.reference, self.house, asked, self.name, at, uuid.uuid4()
        )

    async def record(
        self, kind: str, connector: uuid.UUID | str = CONNECTOR, entry: uuid.UUID | None = None, **more: Any
    ) -> messages.EntryResult:
        """Record one fact."""
        at = self.later()
        fact = Entry(
            id=entry or uuid.uuid4(),
            connector=str(connector),
            kind=Kind(kind),
            performed_at=at - timedelta(minutes=5),
            performed_by=f"badge of {self.name}",
            **more,
        )
        return await self.repeat(fact, at)

    async def repeat(self, fact: Entry, at: datetime | None = None) -> messages.EntryResult:
        """Record a fact that has its id already."""
        submitted = recording.submission(fact, self.name, at or self.later(), None, self.reference)
        (result,) = await self.scribe.commit(self.connection, [submitted])
        return result

    async def hand_over(
        self, to: str = "the other", *, installation: uuid.UUID | None = None, connector: uuid.UUID = CONNECTOR
    ) -> tuple[wire.TransferView, bytes]:
        """Let the connector go; the bundle."""
        asked = wire.HandOver(to=to, reason="Sold", to_installation=installation)
        order = transfers.Order(connector, asked, self.name, self.later(), uuid.uuid4())
        view, new = await transfers.hand_over(self.connection, self.house, order)
        assert new
        return view, await transfers.bundle_of(self.connection, view.id)

    async def take_in(self, data: bytes) -> tuple[wire.TransferView, bool]:
        """Take a bundle in."""
        return await receiving.take_in(self.connection, self.scribe, self.house, data, self.name, self.later())

    async def trust(self, other: "Shop", *, trusted: bool = True) -> None:
        """Take in what the other signs, from now on, or no longer."""
        ring = await transfer_keys.ring(other.connection, other.name, other.later())
        asked = wire.SenderStatement(
            public_key=ring.public_key, name=other.name, trusted=trusted, reason="Compared by telephone"
        )
        await transfer_keys.state(self.connection, asked, self.name, self.later())

    async def revise(self, value: int) -> None:
        """Let another rating hold."""
        asked = messages.RatingRevision(rating=Rating(value=value, basis="mandatory", document="D"), reason="Revised")
        await connectors.revise_rating(
            self.connection, self.scribe, self.house, CONNECTOR, asked, self.name, self.later()
        )

    async def head(self, connector: uuid.UUID = CONNECTOR) -> ledger.Head:
        """Where the chain stands."""
        return await connectors.one(self.connection, ledger.Definitions(), connector)

    async def answer(self, action: str, cavity: str = "A") -> messages.PlanView:
        """What a step is answered."""
        asked = messages.PlanRequest(steps=(messages.PlannedStep(action=Action(action), cavity=cavity),))
        head = await self.head()
        return planning.answer(head, asked, self.reference, self.house, [], self.now.date())

    async def chain(self) -> list[tuple[bytes, bytes]]:
        """Bodies and hashes, definitions first."""
        rows = [
            *await database.fetch(self.connection, "definition_chain", CONNECTOR),
            *await database.fetch(self.connection, "entry_chain", CONNECTOR),
        ]
        return [(row["body"], row["hash"]) for row in rows]

    async def breaks(self) -> list[Break]:
        """What `tinebook verify` finds."""
        return [each async for each in proof.verify(self.owner, self.house, None, lambda *_: None)]

    async def counts(self) -> dict[str, int]:
        """How many rows each table has."""
        names = await self.owner.fetch(
            "select table_name as name from information_schema.tables where table_schema = 'tinebook' order by table_name"
        )
        return {row["name"]: await self.owner.fetchval(f"select count(*) from tinebook.{row['name']}") for row in names}

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.connection.close()
        await self.owner.close()


Opened = Callable[..., AbstractAsyncContextManager[list[Shop]]]


@asynccontextmanager
async def opened(maintenance: str, template: str, *names: str) -> AsyncIterator[list[Shop]]:
    """Shops of these names, which trust each other's keys; each an installation of its own."""
    made: list[str] = []
    try:
        async with AsyncExitStack() as stack:
            shops, clock = [], Clock()
            for name in names:
                dsn = await databases.clone(maintenance, template)
                made.append(dsn)
                owner = await asyncpg.connect(dsn, server_settings={"timezone": "UTC"})
                await owner.execute("update tinebook.installation set installation = gen_random_uuid()")
                connection = await database.service_connection(dsn)
                shops.append(await stack.enter_async_context(Shop(name, connection, owner, clock)))
            for one in shops:
                for other in shops:
                    if one is not other:
                        await one.trust(other)
            yield shops
    finally:
        for dsn in made:
            await databases.drop(maintenance, dsn)
            await asyncio.sleep(0)
