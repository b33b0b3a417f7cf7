"""A bench that records act after act until it is killed: `python -m tests.faults.bench_at_work OUTBOX URL TOKEN SEED`.

It prints the ids of an act as soon as the outbox has taken it, before anything is sent.
"""

import itertools
import random
import sys
import uuid
from datetime import UTC, datetime
from pathlib import Path

from scanner_client import link, outbox, station
from scanner_client.station import Bench
from service.core.entries import Entry, Kind

CAVITIES = ("A", "B", "C")
_JOB = (Kind.INSERTION, Kind.SEATING_TEST, Kind.REMOVAL)


def main(file: str, url: str, token: str, seed: str) -> None:
    """Record until killed."""
    chance = random.Random(seed)
    bench = Bench(outbox.open_file(Path(file), _now), link.Link(link.client(url, token)), _now)
    for kind in itertools.cycle(_JOB):
        act = [_entry(kind, serial, cavity, chance) for serial in serials(seed) for cavity in CAVITIES]
        act = act[: chance.randint(1, len(act))]
        bench.box.keep(act)
        sys.stdout.write(" ".join(str(each.id) for each in act) + "\n")
        sys.stdout.flush()
        station.send(bench)


def serials(seed: str) -> tuple[str, ...]:
    """The connectors that the bench of a seed works on."""
    return tuple(f"EX-BENCH-{seed}-{number}" for number in range(3))


def _entry(kind: Kind, serial: str, cavity: str, chance: random.Random) -> Entry:
    return Entry(
        id=uuid.UUID(int=chance.getrandbits(128), version=4),
        connector=serial,
        kind=kind,
        performed_at=_now(),
        performed_by="badge 117",
        cavity=cavity,
    )


def _now() -> datetime:
    return datetime.now(UTC)


if __name__ == "__main__":
    main(*sys.argv[1:])
