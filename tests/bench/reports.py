"""`python -m tests.bench.reports` compares the fleet's reports with plain aggregates over a row per cavity. Ratios only.

Each size is a database of its own: connectors of 40 cavities, their states and report tables by COPY as the service would
have written them, and beside them the plain table that needs no upkeep. The views take turns, sizes too.
"""

import argparse
import asyncio
import itertools
import random
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Awaitable, Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import asyncpg
import msgspec
from msgspec import Struct

from service.core import chain, cycles, limits, reported, states
from service.core.cycles import Wear
from service.core.discrepancies import RANK, SERIOUSNESS, Code
from service.core.entries import CavityDefinition, Definition, Entry, HouseRule, Kind, Rating, Recorded
from service.core.limits import LimitLine, Whereabouts
from service.core.reported import Subject, Sums
from service.core.states import CavityState, ConnectorState, WholeState
from service.store import database, embedded, fleet, ledger, migrate
from service.store.fleet import OpenRow, WornRow
from service.workflow import discrepancies
from service.workflow import fleet as reports
from service.workflow.fleet import CavityCursor, Filters

CAVITIES = tuple(CavityDefinition(str(number), "20") for number in range(1, 41))
AN_ASSET = 5_000
"""Connectors of one aircraft: five million on a thousand of them, as the design has a large airline."""
A_ZONE = 250
_BEGAN = datetime(2026, 1, 5, tzinfo=UTC)
_HOUSE = HouseRule()
_CHUNK = 5_000
_BEGUN = (*range(7), 7, 8, 9, 10, 11)
_SHARES = (*(13.4,) * 7, 2.5, 1.5, 1.2, 0.7, 0.3)
"""Cycles begun of a cavity and how many in a hundred have had them: six in a hundred are worn."""


def connector_id(number: int) -> uuid.UUID:
    """Ids that are spread as random ones are."""
    return uuid.UUID(int=random.Random(number).getrandbits(128), version=4)


def kinds(chance: random.Random, count: int) -> list[tuple[Definition, list[CavityState]]]:
    """Connectors worn in different ways, by which all are modelled; one in fifty has a history that nobody knows."""
    found = []
    for number in range(count):
        known = number % 50 != 0
        rating = Rating(value=10, basis="house", document="Shop practice 7", revision="B", paragraph="3.2")
        definition = Definition(
            connector=uuid.UUID(int=0),
            serial="",
            cavities=CAVITIES,
            history="new" if known else "unknown",
            rating=rating,
        )
        cavities = []
        for each in CAVITIES:
            had = chance.choices(_BEGUN, _SHARES)[0]
            cavities.append(
                CavityState(id=each.id, known=known, occupied=had > 0, insertions=had, removals=max(had - 1, 0))
            )
        found.append((definition, cavities))
    return found


def where(number: int) -> Whereabouts:
    """Where a connector is: a fleet grows by aircraft, its positions, families, part numbers and benches stay."""
    position = number % AN_ASSET
    part = position % 200
    asset = f"TN-{number // AN_ASSET:04}"
    bench = f"Bench {number % 60}"
    return Whereabouts(asset, f"{400 + position // A_ZONE}", f"P{position}", f"F-{part % 8}", f"PN-{part}", bench)


def subjects(connectors: int) -> Iterator[tuple[int, Subject]]:
    """Every connector with its state, judged."""
    chance = random.Random(1)
    models = []
    for definition, cavities in kinds(chance, 500):
        figures = cycles.limits(definition.rating, definition.nearing_fraction, _HOUSE)
        stands = [cycles.standing(each.counts, each.occupied, each.known, figures) for each in cavities]
        models.append((definition, tuple(cavities), stands))
    for number in range(connectors):
        definition, cavities_, stands = models[chance.randrange(len(models))]
        place = where(number)
        whole = WholeState(mated=True, asset=place.asset, zone=place.zone, position=place.position)
        known = msgspec.structs.replace(
            definition,
            connector=connector_id(number),
            serial=f"EX-{number:08}",
            family=place.family,
            part_number=place.part_number,
        )
        yield number, Subject(known, ConnectorState(whole=whole, cavities=cavities_), place, stands)


class Rows:
    """Rows of every table for some connectors."""

    def __init__(self) -> None:
        self.tables: dict[str, list[tuple[Any, ...]]] = {name: [] for name in COLUMNS}
        self.sums = Sums()

    def take(self, number: int, subject: Subject) -> None:
        """Take in one connector."""
        known, place, connector = subject.definition, subject.where, subject.definition.connector
        body = chain.canonical_definition(
            chain.DefinitionBody(definition=known, recorded_at=_BEGAN, recorded_by="benchmark", reason="registered")
        )
        start = chain.link(b"", body)
        self.tables["connector"].append((connector, known.serial, known.part_number, known.family, _BEGAN))
        self.tables["definition"].append((connector, 1, _BEGAN, body, start))
        self.tables["head"].append(
            (connector, 0, start, 1, states.encode(subject.state), place.asset, place.zone, place.position, place.bench)
        )
        line = subject.line
        if line is not None:
            self.tables["limit_line"].append((connector, *msgspec.structs.astuple(line)))
        worn = fleet.worn_rows(connector, subject.worn.values(), place)
        self.tables["worn_cavity"] += [msgspec.structs.astuple(each) for each in worn]
        if number % 100 == 0:
            self._discrepancy(number, connector, place)
        self.sums.add(reported.whole(subject)[2])
        pairs = zip(subject.state.cavities, subject.standings, strict=True)
        self.tables["plain_cavity"] += [
            (connector, cavity.id, place.asset, place.zone, place.position, place.family, place.part_number, place.bench,
             limits.RANK[stands.wear], stands.left, stands.begun)
            for cavity, stands in pairs
        ]  # fmt: skip

    def _discrepancy(self, number: int, connector: uuid.UUID, place: Whereabouts) -> None:
        at = _BEGAN + timedelta(minutes=number % 400_000)
        fact = Entry(
            id=connector_id(-number - 1),
            connector=str(connector),
            kind=Kind.INSERTION,
            cavity="1",
            performed_at=at,
            performed_by="badge 117",
            bench=place.bench,
        )
        recorded = Recorded(entry=fact, recorded_at=at, recorded_by="benchmark")
        (row,) = ledger.next_rows(connector, 0, b"", [recorded])
        self.tables["entry"].append((connector, 1, fact.id, "insertion", "1", at, at, row.body, row.hash))
        code = list(Code)[number // 100 % len(Code)]
        at_place = (place.asset, place.zone, place.position, place.family, place.part_number)
        opened = OpenRow(
            connector, 1, code.value, "1", fact.id, RANK[SERIOUSNESS[code]], at, at, place.bench, *at_place
        )
        self.tables["open_discrepancy"].append(msgspec.structs.astuple(opened))


COLUMNS: dict[str, Sequence[str]] = {
    "connector": ("connector", "serial", "part_number", "family", "registered_at"),
    "definition": ("connector", "number", "recorded_at", "body", "hash"),
    "head": ("connector", "entries", "hash", "definition", "state", "asset", "zone", "position", "bench"),
    "limit_line": ("connector", *LimitLine.__struct_fields__),
    "worn_cavity": WornRow.__struct_fields__,
    "entry": ("connector", "number", "id", "kind", "cavity", "performed_at", "recorded_at", "body", "hash"),
    "open_discrepancy": OpenRow.__struct_fields__,
    "plain_cavity": (
        *("connector", "cavity", "asset", "zone", "position", "family", "part_number", "bench", "rank", "left_over"),
        "cycles_begun",
    ),
}
_PLAIN = """
create unlogged table tinebook.plain_cavity (
    connector uuid not null, cavity text not null, asset text, zone text, "position" text, family text, part_number text,
    bench text, rank smallint not null, left_over integer, cycles_begun integer not null
)
"""


async def fill(dsn: str, connectors: int) -> None:
    """Make a database of that size."""
    async with database.owner(dsn) as connection:
        await migrate.migrate(connection)
        await connection.execute(_PLAIN)
        # Several sessions have added to the sums of a fleet, each in rows of its own.
        writers = [await asyncpg.connect(dsn) for _ in range(8)]
        every = subjects(connectors)
        while chunk := list(itertools.islice(every, _CHUNK)):
            rows = Rows()
            for number, subject in chunk:
                rows.take(number, subject)
            for name, table in rows.tables.items():
                await connection.copy_records_to_table(
                    name, schema_name="tinebook", columns=list(COLUMNS[name]), records=table
                )
            await _add(writers, rows.sums)
        for each in writers:
            await each.close()
        await connection.execute("grant select on tinebook.plain_cavity to tinebook_service")
        await connection.execute("vacuum analyze")


async def _add(writers: Sequence[asyncpg.Connection], sums: Sums) -> None:
    """Let each session add a part: all that there is, and as often as there are others what cancels out."""
    await fleet.add(writers[0], sums)
    for sign, writer in zip(itertools.cycle((1, -1)), (*writers[1:], writers[0]), strict=False):
        part = Sums({key: [sign * each for each in counts] for key, counts in sums.groups.items()})
        part.steps |= {step: sign * count for step, count in sums.steps.items()}
        await fleet.add(writer, part)


class View(Struct, frozen=True):
    """One view of the fleet: how the service answers it, and the same by a plain statement over all cavities."""

    name: str
    ours: Callable[[asyncpg.Connection, ledger.Definitions], Awaitable[Any]]
    plain: str | None


def _cavities(filters: Filters, after: CavityCursor | None = None) -> Any:
    return lambda connection, known: reports.cavities(connection, known, _HOUSE, filters, after, 100)


def _wear(by: Any, filters: Filters = Filters()) -> Any:  # noqa: B008 - it never changes
    return lambda connection, _: reports.wear(connection, by, filters, None, 100)


def _list(condition: str) -> str:
    return (
        "select connector, cavity, asset, rank, left_over, cycles_begun from tinebook.plain_cavity where rank < 4"
        f" and {condition} order by rank, left_over, connector, cavity limit 101"
    )


def _sums(column: str, condition: str = "true") -> str:
    return (
        f"select {column}, count(distinct connector), count(*), count(*) filter (where rank = 0),"
        " count(*) filter (where rank = 1), count(*) filter (where rank = 2), count(*) filter (where rank = 3)"
        f" from tinebook.plain_cavity where {condition} group by {column} order by 4 desc, 5 desc, 6 desc limit 101"
    )


_DEEP = CavityCursor(2, 1, uuid.UUID("80000000-0000-4000-8000-000000000000"), "1")
VIEWS = (
    View("worst connectors", lambda c, _: reports.connectors(c, Filters(), None, 100), _list("true")),
    View("worst cavities", _cavities(Filters()), _list("true")),
    View("worst cavities, deep in the list", _cavities(Filters(), _DEEP), _list("true") + " offset 20000"),
    View("cavities of an asset", _cavities(Filters(asset="TN-0003")), _list("asset = 'TN-0003'")),
    View("cavities of a zone", _cavities(Filters(zone="407")), _list("zone = '407'")),
    View("cavities of a position", _cavities(Filters(position="P77")), _list("\"position\" = 'P77'")),
    View("cavities of a family", _cavities(Filters(family="F-3")), _list("family = 'F-3'")),
    View("cavities of a part number", _cavities(Filters(part_number="PN-77")), _list("part_number = 'PN-77'")),
    View("cavities of a bench", _cavities(Filters(bench="Bench 7")), _list("bench = 'Bench 7'")),
    View(
        "nearing cavities of a family in a zone",
        _cavities(Filters(wear=(Wear.NEARING,), family="F-3", zone="407")),
        _list("rank = 2 and family = 'F-3' and zone = '407'"),
    ),
    View("cavities of which nothing is known", _cavities(Filters(wear=(Wear.UNKNOWN,))), _list("rank = 3")),
    View("wear by asset", _wear("asset"), _sums("asset")),
    View("wear by zone of an asset", _wear("zone", Filters(asset="TN-0003")), _sums("zone", "asset = 'TN-0003'")),
    View("wear by position", _wear("position"), _sums('"position"')),
    View("wear by family", _wear("family"), _sums("family")),
    View("wear by part number", _wear("part_number"), _sums("part_number")),
    View("wear by bench", _wear("bench"), _sums("bench")),
    View(
        "cycles begun by family",
        lambda c, _: reports.cycles(c, None),
        "select family, cycles_begun, count(*) from tinebook.plain_cavity group by family, cycles_begun",
    ),
    View(
        "open discrepancies",
        lambda c, _: discrepancies.open_ones(c, discrepancies.Filters(), None, 50, _BEGAN),
        None,
    ),
)


class Size:
    """A database of one size, with how long each view took in it."""

    def __init__(self, connection: asyncpg.Connection) -> None:
        self.connection = connection
        self.definitions = ledger.Definitions()
        self.ours: dict[str, list[float]] = {each.name: [] for each in VIEWS}
        self.plain: dict[str, list[float]] = {each.name: [] for each in VIEWS}

    async def measure(self, view: View, *, plain: bool) -> None:
        """Take the time of one view, and of its plain counterpart if wanted."""
        self.ours[view.name].append(await _seconds(view.ours(self.connection, self.definitions)))
        if plain and view.plain is not None:
            self.plain[view.name].append(await _seconds(self.connection.fetch(view.plain)))


async def _seconds(work: Awaitable[Any]) -> float:
    began = time.perf_counter()
    await work
    return time.perf_counter() - began


async def measured(dsns: Sequence[str], rounds: int) -> list[Size]:
    """Each view in each size, in turn."""
    sizes = [Size(await database.service_connection(each, patience_s=600)) for each in dsns]
    for turn, view in itertools.product(range(rounds), VIEWS):
        for size in sizes:
            # The plain ones take their time: three are enough, after one that warms up.
            await size.measure(view, plain=turn < 4)
    for size in sizes:
        await size.connection.close()
    return sizes


def told(sizes: Sequence[Size]) -> Iterator[str]:
    """A line a view: milliseconds and how many times the plain aggregate takes, per size; then larger by smaller."""
    for view in VIEWS:
        ours = [statistics.median(each.ours[view.name][1:]) * 1000 for each in sizes]
        plain = [statistics.median(each.plain[view.name][1:] or [0]) * 1000 for each in sizes]
        pairs = "".join(f"{mine:10.2f}{its / mine:8,.0f}x" for mine, its in zip(ours, plain, strict=True))
        grown = f"{ours[-1] / ours[0]:8.2f}" if len(ours) > 1 else ""
        yield f"{view.name:38}{pairs}{grown}"


def main() -> None:
    """Build, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cavities", type=int, nargs="+", default=[1_000_000, 10_000_000])
    parser.add_argument("--rounds", type=int, default=15)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="tinebook-bench-") as directory:
        Path(directory).chmod(0o755)
        server = embedded.Server(Path(directory))
        server.start()
        try:
            dsns = []
            for size in asked.cavities:
                name = f"fleet_{size}"
                asyncio.run(database.ensure_database(server.dsn(embedded.OWNER, "postgres"), name))
                dsns.append(server.dsn(embedded.OWNER, name))
                began = time.perf_counter()
                asyncio.run(fill(dsns[-1], size // len(CAVITIES)))
                sys.stdout.write(f"{size:,} cavities made in {time.perf_counter() - began:.0f} s\n")
                sys.stdout.flush()
            heads = "".join(f"{f'{size:,}':>10}{'plain':>9}" for size in asked.cavities)
            sys.stdout.write(f"{'median ms, times the plain':38}{heads}{'grown':>8}\n")
            for line in told(asyncio.run(measured(dsns, asked.rounds))):
                sys.stdout.write(line + "\n")
        finally:
            server.stop()


if __name__ == "__main__":
    main()
