"""Several clients that record at the same time, and remember exactly what they sent and what they were told."""

import asyncio
import contextlib
import itertools
import random
import uuid
from collections import Counter, defaultdict
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import asyncpg
import msgspec

from tests.bench import wire
from tests.bench.wire import Answer, GoneError, Wire

HOT = ("EX-HOT-1", "EX-HOT-2")
COLD = tuple(f"EX-COLD-{number}" for number in range(10))
NEVER_REGISTERED = "EX-NOWHERE"
CLIENTS = 12
_PATIENCE_S = 60.0
_SETTLED = {"recorded", "already_recorded", "parked"}
_JOB = ("insertion", "seating_test", "removal")


def registrations() -> list[dict[str, Any]]:
    """The connectors that the crowd works on: a cavity for each client. Half of the ratings are soon used up."""
    cavities = [{"id": str(number), "contact_size": "20"} for number in range(CLIENTS)]
    return [
        {
            "serial": serial,
            "history": "new",
            "cavities": cavities,
            "rating": {"value": 100_000 if serial in HOT or number % 2 else 10, "basis": "house"},
        }
        for number, serial in enumerate((*HOT, *COLD))
    ]


class Client:
    """One client: it sends what it has, again until it is answered, before it makes anything new."""

    def __init__(self, number: int, chance: random.Random) -> None:
        self.cavity = str(number)
        self.unanswered: list[dict[str, Any]] = []
        self.order: dict[str, list[str]] = defaultdict(list)
        self._chance = chance
        self._jobs = {serial: itertools.cycle(_JOB) for serial in (*HOT, *COLD, NEVER_REGISTERED)}

    def something_new(self) -> None:
        """Make a few entries: mostly on a hot connector, some late, a few on a connector that nobody registered."""
        for _ in range(self._chance.choice((1, 1, 1, 2, 5))):
            serial = self._chance.choices((*HOT, *COLD, NEVER_REGISTERED), (30, 30, *([4] * len(COLD)), 1))[0]
            late = timedelta(seconds=self._chance.randrange(60) if self._chance.random() < 0.03 else 0)
            made = {
                "id": str(uuid.UUID(int=self._chance.getrandbits(128), version=4)),
                "connector": serial,
                "kind": next(self._jobs[serial]),
                "cavity": self.cavity,
                "performed_at": (datetime.now(UTC) - late).isoformat(),
                "performed_by": f"badge {self.cavity}",
            }
            self.unanswered.append(made)
            self.order[serial].append(made["id"])


class Crowd:
    """All clients, and the truth about what they did. `troubles` counts the answers that asked to come again."""

    def __init__(self, token: str, seed: int) -> None:
        self._token = token
        self.clients = [Client(number, random.Random(f"{seed} {number}")) for number in range(CLIENTS)]
        self.acknowledged: dict[str, str] = {}
        self.troubles: Counter[str] = Counter()
        self._news = asyncio.Event()

    async def work(self, port: int, *, until: Callable[[], bool]) -> None:
        """Record until told to stop, or until the service is gone; what was not answered is kept to be sent again."""
        await asyncio.gather(*(self._at_work(each, port, until) for each in self.clients))

    async def settle(self, port: int) -> None:
        """Send what was not answered until all of it is."""
        deadline = asyncio.get_running_loop().time() + _PATIENCE_S
        while any(each.unanswered for each in self.clients):
            assert asyncio.get_running_loop().time() < deadline, "the service does not answer"
            open_ = [each for each in self.clients if each.unanswered]
            await asyncio.gather(*(self._at_work(each, port, lambda: True) for each in open_))

    async def heard(self, problem: str | None = None) -> None:
        """Wait for the next answer that records, or that is a problem of this type."""
        before = self._count(problem)
        while self._count(problem) == before:
            # A new one each time, since each test runs its own loop.
            self._news = asyncio.Event()
            await asyncio.wait_for(self._news.wait(), _PATIENCE_S)

    def _count(self, problem: str | None) -> int:
        return len(self.acknowledged) if problem is None else self.troubles[problem]

    @property
    def sent(self) -> set[str]:
        """Every id that left a client, answered or not."""
        return {each for client in self.clients for ids in client.order.values() for each in ids}

    async def _at_work(self, client: Client, port: int, stop: Callable[[], bool]) -> None:
        with contextlib.suppress(GoneError):
            line = await Wire.connect(port)
            try:
                while client.unanswered or not stop():
                    if not client.unanswered:
                        client.something_new()
                    body = {"entries": client.unanswered}
                    answer = await line.ask(wire.request("POST", "/v1/entries", self._token, body))
                    if self._heard(client, answer):
                        client.unanswered = []
                    elif stop():
                        return
                    else:
                        await asyncio.sleep(0.05)
            finally:
                line.close()

    def _heard(self, client: Client, answer: Answer) -> bool:
        told = msgspec.json.decode(answer.body)
        self._news.set()
        if answer.status == 503:
            assert answer.header("Content-Type") == "application/problem+json"
            assert int(answer.header("Retry-After") or 0) >= 1
            self.troubles[told["type"]] += 1
            return False
        assert answer.status == 200, answer.body
        assert [each["id"] for each in told["results"]] == [each["id"] for each in client.unanswered]
        for each in told["results"]:
            assert each["outcome"] in _SETTLED, each
            self.acknowledged[each["id"]] = each["outcome"]
        return True


async def register(port: int, token: str) -> None:
    """Put the crowd's connectors on the books."""
    line = await Wire.connect(port)
    for each in registrations():
        answer = await line.ask(wire.request("POST", "/v1/connectors", token, each))
        assert answer.status in (200, 201), answer.body
    line.close()


async def check(owner_dsn: str, crowd: Crowd, *, settled: bool) -> None:
    """Hold the database against what the clients know: nothing acknowledged is missing, nothing is there twice.

    Once `settled`, exactly what was sent is there, and each client's entries stand in the order in which it made them.
    """
    connection = await asyncpg.connect(owner_dsn)
    try:
        rows = await connection.fetch("select connector, id, number from tinebook.entry order by connector, number")
        parked = await connection.fetch("select id from tinebook.parked")
        receipts = await connection.fetch("select id from tinebook.receipt")
    finally:
        await connection.close()
    there = Counter(str(row["id"]) for row in (*rows, *parked))
    assert max(there.values(), default=1) == 1, "an entry is there twice"
    assert there.keys() == {str(row["id"]) for row in receipts}
    assert crowd.acknowledged.keys() <= there.keys(), "something acknowledged is lost"
    assert there.keys() <= crowd.sent, "something is there that nobody sent"
    assert {each for each, outcome in crowd.acknowledged.items() if outcome == "parked"} <= {
        str(row["id"]) for row in parked
    }
    by_connector: dict[uuid.UUID, list[int]] = defaultdict(list)
    for row in rows:
        by_connector[row["connector"]].append(row["number"])
    assert all(numbers == list(range(1, len(numbers) + 1)) for numbers in by_connector.values())
    if settled:
        assert there.keys() == crowd.sent
        place = {str(row["id"]): row["number"] for row in rows}
        for client in crowd.clients:
            for serial, ids in client.order.items():
                numbers = [place[each] for each in ids if serial != NEVER_REGISTERED]
                assert numbers == sorted(numbers), "a client's entries are out of their order"
