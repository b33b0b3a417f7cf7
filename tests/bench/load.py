"""The load: many connections in a process of their own, each asking for the next thing as soon as it has an answer.

`python -m tests.bench.load` reads an Order from standard input and prints what came of it.
"""

import asyncio
import itertools
import json
import random
import sys
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Literal

import msgspec
import uvloop
from msgspec import Struct

from tests.bench import fleet, wire
from tests.bench.wire import Wire


class Order(Struct, frozen=True, kw_only=True):
    """What to ask, of whom, how long, over how many connections. `batch` is entries in one request."""

    kind: Literal["empty", "look-up", "entry"]
    port: int
    token: str
    connectors: int
    connections: int
    seconds: float
    batch: int = 1
    seed: int = 0


class Done(Struct, frozen=True):
    """Requests answered a second, and how long half and nearly all of them took."""

    per_second: float
    p50_ms: float
    p99_ms: float


def _requests(order: Order, number: int) -> Iterator[bytes]:
    """What one connection asks, one thing after the other; made fresh, since every entry has an id of its own."""
    chance = random.Random(f"{order.seed} {number}")
    if order.kind == "empty":
        yield from itertools.repeat(wire.request("GET", "/", order.token))
    while order.kind == "look-up":
        connector = fleet.connector_id(chance.randrange(order.connectors))
        yield wire.request("GET", f"/v1/connectors/{connector}", order.token)
    turns: Counter[int] = Counter()
    while True:
        which = chance.randrange(order.connectors)
        entries = [_entry(chance, which, turns, number, order.connections) for _ in range(order.batch)]
        yield wire.request("POST", "/v1/entries", order.token, {"entries": entries})


def _entry(chance: random.Random, which: int, turns: Counter[int], number: int, connections: int) -> dict[str, str]:
    # In and out of one cavity after the other, of those that are this connection's own: work without discrepancies.
    turn = turns[which]
    turns[which] += 1
    share = len(fleet.CAVITIES) // connections
    cavity = number * share + turn // 2 % share
    return {
        "id": str(uuid.UUID(int=chance.getrandbits(128), version=4)),
        "connector": str(fleet.connector_id(which)),
        "kind": "removal" if turn % 2 else "insertion",
        "cavity": fleet.CAVITIES[cavity],
        "performed_at": datetime.now(UTC).isoformat(),
        "performed_by": "badge 117",
        "tool": "M81969/14-02",
        "work_order": "WO-2026-0412",
        "bench": "bench 4",
    }


async def _ask(order: Order, number: int, until: float, took: list[float]) -> None:
    line = await Wire.connect(order.port)
    for request in _requests(order, number):
        began = time.perf_counter()
        answer = await line.ask(request)
        ended = time.perf_counter()
        if answer.status != 200 or b'"refused"' in answer.body:
            raise RuntimeError(f"{answer.status}: {answer.body[:500]!r}")
        took.append(ended - began)
        if ended > until:
            break
    line.close()


async def drive(order: Order) -> Done:
    """Carry out an order."""
    took: list[float] = []
    began = time.perf_counter()
    await asyncio.gather(*(_ask(order, each, began + order.seconds, took) for each in range(order.connections)))
    lasted = time.perf_counter() - began
    took.sort()
    return Done(len(took) / lasted, took[len(took) // 2] * 1000, took[len(took) * 99 // 100] * 1000)


if __name__ == "__main__":
    done = uvloop.run(drive(msgspec.json.decode(sys.stdin.read(), type=Order)))
    sys.stdout.write(json.dumps(msgspec.to_builtins(done)))
