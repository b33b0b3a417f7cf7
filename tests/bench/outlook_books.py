"""`python -m tests.bench.outlook_books` prints how long the outlook takes from the books to the kept run, step by step.

The books are made up and copied in: connectors of 3 to 55 cavities on assets with a usage, two years of rework, states as the
fold would give them. Their chains are not real, since no outlook reads them.
"""

import argparse
import asyncio
import resource
import time
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import asyncpg
import msgspec
import numpy as np
from numpy.random import Generator

from service.core import states
from service.core.entries import CavityDefinition, Definition, Rating
from service.core.outlook.prior import Exposure
from service.store import database
from service.workflow import outlook, outlook_runs
from tests import databases

SIZES = (3, 6, 10, 13, 19, 26, 35, 55)
BEGAN = datetime(2024, 11, 25, tzinfo=UTC)
NOW = datetime(2026, 11, 25, tzinfo=UTC)
ASSETS, ZONES, PARTS, ON_ASSET = 1000, 8, 400, 0.9
_AT_ONCE = 20_000
_HASH = bytes(32)


def main() -> None:
    """Make the books, compute twice, and ask each report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--connectors", type=int, default=100_000)
    parser.add_argument("--events", type=float, default=0.15, help="reworks of a connector in the two years")
    chosen = parser.parse_args()
    with databases.cluster(durable=True) as maintenance:
        template = asyncio.run(databases.make_template(maintenance))
        asyncio.run(_measure(databases.named(maintenance, template), chosen.connectors, chosen.events))


async def _measure(dsn: str, connectors: int, events: float) -> None:
    async with database.owner(dsn) as connection:
        began = time.perf_counter()
        entries = await fill(connection, connectors, events, np.random.default_rng(1))
        say(f"books of {connectors} connectors with {entries} entries made", began)
        await connection.execute("vacuum analyze")
    connection = await database.service_connection(dsn, 3600)
    try:
        for turn in ("first", "second"):
            began = time.perf_counter()
            done = await outlook_runs.compute(
                connection, Exposure.FLIGHT_HOURS, "benchmark", lambda: NOW, _Steps(began).tell
            )
            say(f"{turn} run: {done.known} known, {done.events} events", began)
        print(f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB at most")  # noqa: T201
        await _ask(connection)
    finally:
        await connection.close()


async def _ask(connection: asyncpg.Connection) -> None:
    everything = outlook.Filters()
    for _ in range(3):
        began = time.perf_counter()
        found, _ = await outlook.connectors(connection, everything, 365, "known", 0.01, None, 100)
        say(f"report of {len(found.connectors)}", began)
        began = time.perf_counter()
        await outlook.connectors(connection, outlook.Filters(asset="TN-7"), 365, "known", 0.01, None, 100)
        say("report of an asset", began)
        began = time.perf_counter()
        await outlook.stock(connection, everything, 0.95, 90, None, 500)
        say("stock", began)


class _Steps:
    """Prints when each step began."""

    def __init__(self, began: float) -> None:
        self.began, self.what = began, ""

    def tell(self, what: str, done: int, of: int) -> None:
        """The name of the step, when it begins and, if that is known, when it ends."""
        if what != self.what or (done == of and of):
            self.what = what
            say(f"  {what}: {done}", self.began)


def say(what: str, began: float) -> None:
    """How long something took, and how long this process has had the processor in all: the server has it beside."""
    took, used = time.perf_counter() - began, time.process_time()
    print(f"{took:8.2f} s ({used:7.1f} s of processor so far)  {what}", flush=True)  # noqa: T201


async def fill(connection: asyncpg.Connection, connectors: int, events: float, rng: Generator) -> int:
    """Put the books into an empty database; how many entries they have."""
    usage = [
        (f"TN-{asset}", (BEGAN + timedelta(days=day)).date(), 30_000.0 if day < 0 else 56.0, "benchmark", NOW)
        for asset in range(ASSETS)
        for day in range(-1, 730, 7)
    ]
    await _copy(connection, "asset_usage", ("asset", "day", "flight_hours", "recorded_by", "recorded_at"), usage)
    entries = 0
    for first in range(0, connectors, _AT_ONCE):
        many = min(_AT_ONCE, connectors - first)
        rows = [_connector(first + number, events, rng) for number in range(many)]
        await _copy(
            connection,
            "connector",
            ("connector", "serial", "part_number", "family", "registered_at"),
            [each["connector"] for each in rows],
        )
        await _copy(
            connection,
            "definition",
            ("connector", "number", "recorded_at", "body", "hash"),
            [each["definition"] for each in rows],
        )
        await _copy(
            connection,
            "head",
            ("connector", "entries", "hash", "definition", "state", "asset", "zone", "position"),
            [each["head"] for each in rows],
        )
        history = [entry for each in rows for entry in each["entries"]]
        await _copy(
            connection,
            "entry",
            ("connector", "number", "id", "kind", "cavity", "performed_at", "recorded_at", "body", "hash"),
            history,
        )
        entries += len(history)
    return entries


async def _copy(connection: asyncpg.Connection, table: str, columns: tuple[str, ...], rows: list[Any]) -> None:
    await connection.copy_records_to_table(table, schema_name="tinebook", columns=columns, records=rows)


def _connector(number: int, events: float, rng: Generator) -> dict[str, Any]:
    connector = uuid.UUID(bytes=rng.bytes(16), version=4)
    part = number % PARTS
    names = tuple(str(each) for each in range(1, SIZES[part % len(SIZES)] + 1))
    definition = Definition(
        connector=connector,
        serial=f"EX-{number:08}",
        part_number=f"EX-{part}",
        family=f"F{part % 5}",
        cavities=tuple(CavityDefinition(each, "20") for each in names),
        history="unknown" if rng.random() < 0.1 else "new",
        populated=True,
        rating=Rating(value=10, basis="house", document="Shop practice 7", revision="B", paragraph="3.2"),
    )
    placed = (f"TN-{number % ASSETS}", str(400 + number % ZONES), f"P {number}") if rng.random() < ON_ASSET else None
    made = list(_history(connector, names, placed, events, rng))
    state = states.blank(definition)
    if placed is not None:
        state.whole.asset, state.whole.zone, state.whole.position = placed
    by_name = {each.id: each for each in state.cavities}
    for _, kind, cavity, at, _ in made:
        if cavity is not None:
            held = by_name[cavity]
            held.insertions += kind == "insertion"
            held.removals += kind == "removal"
            held.last_at = at
    body = {"definition": definition, "reason": "registered", "recorded_at": BEGAN, "recorded_by": "benchmark"}
    return {
        "connector": (connector, definition.serial, definition.part_number, definition.family, BEGAN),
        "definition": (connector, 1, BEGAN, msgspec.json.encode(body, order="sorted"), _HASH),
        "head": (connector, len(made), _HASH, 1, states.encode(state), *(placed or (None, None, None))),
        "entries": [
            (connector, place, uuid.UUID(bytes=rng.bytes(16), version=4), kind, cavity, at, at, text, _HASH)
            for place, (_, kind, cavity, at, text) in enumerate(made, 1)
        ],
    }


def _history(
    connector: uuid.UUID, names: tuple[str, ...], placed: tuple[str, str, str] | None, events: float, rng: Generator
) -> Iterator[tuple[int, str, str | None, datetime, bytes]]:
    who = {"connector": str(connector), "id": str(connector), "performed_by": "badge 117"}
    if placed is not None:
        fact = who | {"kind": "placement", "asset": placed[0], "zone": placed[1], "position": placed[2]}
        yield 0, "placement", None, BEGAN, _body(connector, fact, BEGAN)
    for job in range(rng.poisson(rng.gamma(0.5, events / 0.5))):
        at = BEGAN + timedelta(minutes=float(rng.uniform(1, 729 * 1440)))
        touched = names if rng.random() < 0.05 else rng.choice(names, min(len(names), 2), replace=False).tolist()
        for cavity in touched:
            for kind in ("removal", "insertion"):
                at += timedelta(minutes=1)
                fact = who | {"kind": kind, "cavity": cavity, "tool": "M81969/14-02", "work_order": f"WO-{job}"}
                yield job, kind, cavity, at, _body(connector, fact, at)


def _body(connector: uuid.UUID, fact: dict[str, str], at: datetime) -> bytes:
    recorded = {"entry": fact | {"performed_at": at.isoformat()}, "recorded_at": at, "recorded_by": "bench 3"}
    return msgspec.json.encode({"connector": connector, "number": 1, "recorded": recorded}, order="sorted")


if __name__ == "__main__":
    main()
