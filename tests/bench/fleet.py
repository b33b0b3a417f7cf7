"""What the benchmarks work on: connectors of 40 cavities, registered as the service would have, with a history to import."""

import itertools
import random
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import asyncpg
import msgspec

from service.core import chain, marks, states
from service.core.entries import CavityDefinition, Definition, Rating

CAVITIES = tuple(str(number) for number in range(1, 41))
_REGISTERED = datetime(2020, 1, 6, tzinfo=UTC)
_WORKED = timedelta(days=6 * 365)


def connector_id(number: int) -> uuid.UUID:
    """The id of the connector of that number; pgbench makes the same."""
    return uuid.UUID(f"00000000-0000-4000-8000-{number:012x}")


def _definition(number: int) -> Definition:
    return Definition(
        connector=connector_id(number),
        serial=f"EX-{number:08}",
        cavities=tuple(CavityDefinition(each, "20") for each in CAVITIES),
        history="new",
        # Nobody's figure: so high that the work of a benchmark never uses it up.
        rating=Rating(value=100_000, basis="house", document="Shop practice 7", revision="B", paragraph="3.2"),
    )


async def register(connection: asyncpg.Connection, count: int) -> None:
    """Put connectors on the books, as registering them one by one would, but by COPY."""
    first = _definition(0)
    body = chain.canonical(
        chain.DefinitionBody(definition=first, recorded_at=_REGISTERED, recorded_by="benchmark", reason="registered")
    )
    state = states.encode(states.blank(first))
    facts, keys, definitions, heads = [], [], [], []
    for number in range(count):
        connector, serial = connector_id(number), f"EX-{number:08}"
        own = body.replace(str(first.connector).encode(), str(connector).encode())
        own = own.replace(first.serial.encode(), serial.encode())
        start = chain.link(b"", own)
        facts.append((connector, serial, _REGISTERED))
        keys += [(key, connector) for key in marks.keys(serial, None, None, connector)]
        definitions.append((connector, 1, _REGISTERED, own, start))
        heads.append((connector, 0, start, 1, state))
    for table, columns, rows in (
        ("connector", ("connector", "serial", "registered_at"), facts),
        ("mark", ("key", "connector"), keys),
        ("definition", ("connector", "number", "recorded_at", "body", "hash"), definitions),
        ("head", ("connector", "entries", "hash", "definition", "state"), heads),
    ):
        await connection.copy_records_to_table(table, schema_name="tinebook", columns=columns, records=rows)


def write_history(file: Path, entries: int, connectors: int, seed: int) -> int:
    """An NDJSON file with six years of work on these connectors, in the order of time; returns its bytes."""
    chance = random.Random(seed)
    jobs = {number: itertools.cycle(_job(number)) for number in range(connectors)}
    with file.open("wb") as written:
        for turn in range(entries):
            number = chance.randrange(connectors)
            kind, cavity = next(jobs[number])
            at = _REGISTERED + _WORKED * (turn / entries)
            line = {
                "id": str(uuid.UUID(int=chance.getrandbits(128), version=4)),
                "connector": str(connector_id(number)),
                "kind": kind,
                "cavity": cavity,
                "performed_at": at.isoformat(),
                "performed_by": f"badge {100 + number % 80}",
                "tool": "M81969/14-02",
                "work_order": f"WO-{at.year}-{number % 10_000:04}",
            }
            written.write(msgspec.json.encode(line) + b"\n")
        return written.tell()


def _job(number: int) -> Iterator[tuple[str, str]]:
    for each in range(len(CAVITIES)):
        cavity = CAVITIES[(number + each) % len(CAVITIES)]
        yield from (("insertion", cavity), ("seating_test", cavity), ("removal", cavity))
