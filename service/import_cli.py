"""The commands `tinebook import ...`: what a shop has on file, checked whole before anything of it is written."""

import os
import sys
from collections.abc import Callable, Coroutine, Iterable
from contextlib import AbstractContextManager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Protocol, Self, TypeVar

import click
from msgspec import Struct

from service import app, catalog, crew, import_jobs
from service.import_jobs import Order
from service.inbound_messages import Outcome
from service.runtime import Databases
from service.settings import Settings
from service.usage_messages import UsageRow, VisitRow
from service.workflow import (
    arrangements,
    enrolling,
    entry_tables,
    geometry_tables,
    importing,
    inbound_tables,
    sheets,
    shop,
    usage,
)
from service.workflow.access import Bearer, Scope
from service.workflow.shares import WHOLE
from service.workflow.sheets import Flaw, Form, Row

R = TypeVar("R")
Stated = TypeVar("Stated", UsageRow, VisitRow)

Opened = Callable[[Settings], AbstractContextManager[Databases]]
Run = Callable[[Coroutine[Any, Any, Any]], Any]

_BROKEN = 1
_NDJSON = b"{"
_AT_ONCE = 500
"""Cavity sets or drawings in one transaction."""
_ROWS_AT_ONCE = 5_000
"""Statements of assets in one transaction."""
_WORTH_DIVIDING = 2_000_000
"""Bytes of a file from which on a second process is worth its start."""
_MOST_PROCESSES = 8
"""More than this the database does not keep up with."""


class _Ended(click.ClickException):
    """The import could not do its work."""

    exit_code = 2


class Progress(Protocol):
    """A line that says how far a long job is."""

    def __enter__(self) -> Self: ...
    def __exit__(self, *_: object) -> None: ...
    def tell(self, done: int, total: int) -> None:
        """Say how far."""


class Work(Struct, frozen=True):
    """What every import is done with: settings, the file, on whose behalf, and whether only to check."""

    config: Settings
    file: Path
    by: str
    dry_run: bool
    processes: int
    opened: Opened
    run: Run
    progress: Callable[[str], Progress]

    def order(self, dsn: str, form: str = "", aside: str = "") -> Order:
        """What every process of the import has to know."""
        return Order(dsn, self.config.house, self.file, self.by, form, Path(aside))

    def shared(self, job: crew.Job[Order, R], order: Order, what: str) -> list[R]:
        """Let every process do its share of the file, this one alone where there is just one; what came of each."""
        with self.progress(what) as progress:

            def tell(done: int) -> None:
                progress.tell(done, 0)

            if self.processes == 1:
                return [self.run(job(order, WHOLE, tell))]
            try:
                return crew.divided(job, order, self.processes, tell)
            except crew.CrewError as error:
                raise _Ended(str(error)) from error

    def show(self, flaws: Iterable[object]) -> None:
        """Print what is wrong, each on a line."""
        for each in flaws:
            click.echo(f"{self.file}: {each}", err=True)

    def refuse(self, flaws: list[Flaw]) -> None:
        """End the command where the check found anything."""
        self.show(flaws)
        if flaws:
            more = " or more" if len(flaws) >= enrolling.MOST_FLAWS else ""
            raise click.ClickException(f"{len(flaws)}{more} flaws; nothing was imported")


def command(opened: Opened, run: Run, progress: Callable[[str], Progress]) -> click.Group:
    """The group of commands, which opens databases, runs what waits for them and shows progress as the others do."""

    @click.group("import")
    def import_() -> None:
        """Import what a shop has on file. Each file is checked whole first; nothing is written if anything is wrong.

        Tables are CSV in UTF-8 with a header. Any import may be cut off and run again: nothing counts twice.
        """

    def add(name: str, imported: Callable[[Work], None], doc: str) -> None:
        @import_.command(name, help=doc)
        @click.argument("file", type=click.Path(exists=True, path_type=Path))
        @click.option("--by", default="import", show_default=True, help="Recorded by.")
        @click.option("--dry-run", is_flag=True, help="Only check the file.")
        @click.option("--processes", type=click.IntRange(1, 64), help="How many share a large table. [one a core]")
        @click.pass_obj
        def one(config: Settings, file: Path, by: str, processes: int | None, *, dry_run: bool) -> None:
            if not file.is_file():
                text = f"{file} is no ordinary file: it is read twice, first to check it, so put it on disk"
                raise click.UsageError(text)
            try:
                imported(Work(config, file, by, dry_run, processes or _worth(file), opened, run, progress))
            except KeyboardInterrupt as stopped:
                text = "stopped; what was written stays: the same command goes on from there"
                raise click.ClickException(text) from stopped

    for name, imported, doc in _COMMANDS:
        add(name, imported, doc)
    return import_


def _entries(work: Work) -> None:
    with work.file.open("rb") as file:
        begins = next((each for each in (line.strip() for line in file) if each), _NDJSON)
    if begins.startswith(_NDJSON):
        _lines(work)
    else:
        _table(work, entry_tables.ENTRIES.name)


def _lines(work: Work) -> None:
    with _aside() as aside:
        # Whether a line can be read no database has to say.
        shares = work.shared(import_jobs.check_lines, work.order("", aside=aside), "lines checked")
        bad = sorted(dict.fromkeys(each for share in shares for each in share), key=lambda each: each.number)
        _say(work, bad)
        if bad:
            raise click.ClickException(f"{len(bad)} lines can't be read; nothing was imported")
        if work.dry_run:
            click.echo("every line can be read")
            return
        with work.opened(work.config) as found:
            _record(work, work.order(found.service_dsn, aside=aside))


def _table(work: Work, form: str) -> None:
    with work.opened(work.config) as found, _aside() as aside:
        order = work.order(found.service_dsn, form, aside)
        rows, flaws = entry_tables.verdict(work.shared(import_jobs.check_entries, order, "rows checked"))
        work.refuse(flaws)
        if work.dry_run:
            click.echo(f"{rows} rows can be imported")
            return
        _record(work, order)


def _aside() -> "TemporaryDirectory[str]":
    """Where checked entries wait to be recorded; gone with the command."""
    return TemporaryDirectory(prefix="tinebook-import-")


def _record(work: Work, order: Order) -> None:
    shares = work.shared(import_jobs.record_entries, order, "entries")
    tally = sum((each for each, _ in shares), start=importing.Tally())
    refused = sorted((each for _, several in shares for each in several), key=lambda each: each.number)
    _say(work, refused)
    click.echo(
        f"{tally.recorded} recorded, {tally.already_recorded} already recorded, "
        f"{tally.parked} parked, {tally.refused} refused"
    )
    if refused:
        sys.exit(_BROKEN)


def _say(work: Work, lines: Iterable[importing.BadLine]) -> None:
    for each in lines:
        click.echo(f"{work.file}:{each.number}: {each.text}", err=True)


def _connectors(work: Work) -> None:
    with work.opened(work.config) as found:
        order = work.order(found.service_dsn)
        rows, flaws = enrolling.verdict(work.shared(import_jobs.check_connectors, order, "rows checked"))
        work.refuse(flaws)
        if work.dry_run:
            click.echo(f"{rows} rows can be imported")
            return
        shares = work.shared(import_jobs.register_connectors, order, "connectors")
    registered, already = (
        sum(getattr(each, name) for each, _ in shares) for name in enrolling.Enrolled.__struct_fields__
    )
    late = [each for _, several in shares for each in several]
    work.show(late)
    click.echo(f"{registered} registered, {already} already registered, {len(late)} refused")
    if late:
        sys.exit(_BROKEN)


def _cavities(work: Work) -> None:
    flaws = [each for each in geometry_tables.cavity_sets(work.file) if isinstance(each, Flaw)]
    work.refuse(flaws)
    sets = [each for each in geometry_tables.cavity_sets(work.file) if isinstance(each, shop.CavitySet)]
    if work.dry_run:
        click.echo(f"{len(sets)} cavity sets can be imported")
        return

    async def record(dsn: str) -> int:
        async with import_jobs.connected(dsn) as connection, connection.transaction():
            return sum(
                [
                    await shop.record_cavity_sets(connection, chunk, work.by, app.now())
                    for chunk in enrolling.chunks(sets, _AT_ONCE)
                ]
            )

    with work.opened(work.config) as found:
        new = work.run(record(found.service_dsn))
    click.echo(f"{new} cavity sets new or changed, {len(sets) - new} as they were")


def _coordinates(work: Work) -> None:
    read = list(geometry_tables.drawings(work.file, catalog.load()))
    work.refuse([each for each in read if isinstance(each, Flaw)])
    drawings = [each for each in read if isinstance(each, arrangements.Drawing)]
    if work.dry_run:
        click.echo(f"coordinates of {len(drawings)} arrangements can be imported")
        return

    async def record(dsn: str) -> int:
        async with import_jobs.connected(dsn) as connection, connection.transaction():
            return await arrangements.record(connection, drawings, work.by, app.now())

    with work.opened(work.config) as found:
        new = work.run(record(found.service_dsn))
    click.echo(f"coordinates of {new} arrangements new or changed, {len(drawings) - new} as they were")


def _rows(work: Work, form: Form[Stated], key: Callable[[Stated], object], recording: usage.Recording[Stated]) -> None:
    """Import statements of assets: rows of which each is about something of its own."""
    read = list(sheets.read(work.file, form))
    rows = [each for each in read if isinstance(each, Row)]
    first: dict[object, int] = {}
    flaws = [each for each in read if isinstance(each, Flaw)]
    for each in rows:
        before = first.setdefault(key(each.value), each.number)
        if before != each.number:
            flaws.append(Flaw(each.number, None, f"is about the same as row {before}"))
    work.refuse(sorted(flaws, key=lambda flaw: flaw.row))
    if work.dry_run:
        click.echo(f"{len(rows)} rows can be imported")
        return

    async def record(dsn: str) -> int:
        new = 0
        with work.progress("rows") as progress:
            async with import_jobs.connected(dsn) as connection:
                for done, chunk in enumerate(enrolling.chunks(rows, _ROWS_AT_ONCE)):
                    new += sum(await recording(connection, [each.value for each in chunk], work.by, app.now()))
                    progress.tell(min((done + 1) * _ROWS_AT_ONCE, len(rows)), len(rows))
        return new

    with work.opened(work.config) as found:
        new = work.run(record(found.service_dsn))
    click.echo(f"{new} rows new or changed, {len(rows) - new} as they were")


def _kept(work: Work, name: str) -> None:
    """Import a table that another system keeps in step here: what stands so already is left alone."""
    table = inbound_tables.TABLES[name]
    bearer = Bearer(work.by, frozenset({Scope.ADMIN}), app.now(), None)
    read = list(table.read(work.file))
    rows = [each for each in read if isinstance(each, Row)]
    work.refuse(sorted((each for each in read if isinstance(each, Flaw)), key=lambda flaw: flaw.row))

    async def check(dsn: str) -> list[Flaw]:
        async with import_jobs.connected(dsn) as connection:
            return await inbound_tables.refused(connection, table, rows, bearer, app.now())

    async def record(dsn: str) -> tuple[dict[Outcome, int], list[Flaw]]:
        with work.progress("rows") as progress:
            async with import_jobs.connected(dsn) as connection:
                return await inbound_tables.record(
                    connection, table, rows, bearer, app.now, lambda done: progress.tell(done, len(rows))
                )

    with work.opened(work.config) as found:
        if table.judged:
            work.refuse(work.run(check(found.service_dsn)))
        if work.dry_run:
            click.echo(f"{len(rows)} {name.replace('-', ' ')} can be imported")
            return
        tally, late = work.run(record(found.service_dsn))
    work.show(late)
    click.echo(
        ", ".join(f"{number} {each}" for each, number in tally.items()) + (f", {len(late)} refused" if late else "")
    )
    if late:
        sys.exit(_BROKEN)


def _worth(file: Path) -> int:
    if file.stat().st_size < _WORTH_DIVIDING:
        return 1
    return min(len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1, _MOST_PROCESSES)


_COMMANDS: tuple[tuple[str, Callable[[Work], None], str], ...] = (
    ("connectors", _connectors, "Register connectors from a table; cavities by part number or cavity_set."),
    (
        "placements",
        lambda work: _table(work, entry_tables.PLACEMENTS.name),
        "Record where connectors are, from a table.",
    ),
    ("carry-ins", lambda work: _table(work, entry_tables.CARRY_INS.name), "Record opening counts from a table."),
    (
        "usage",
        lambda work: _rows(work, usage.USAGE, usage.usage_key, usage.record_usage),
        "Keep what assets flew up to days, from a table.",
    ),
    ("assets", lambda work: _kept(work, "assets"), "Keep what assets are, from a table."),
    (
        "positions",
        lambda work: _kept(work, "positions"),
        "Keep which part number of connector belongs where, from a table.",
    ),
    ("tools", lambda work: _kept(work, "tools"), "Keep the shop's tools, from a table."),
    (
        "people",
        lambda work: _kept(work, "people"),
        "Keep the shop's people, from a table; somebody with several authorities takes a row for each.",
    ),
    (
        "work-orders",
        lambda work: _kept(work, "work-orders"),
        "Keep work orders, from a table; one with several planned steps takes a row for each.",
    ),
    (
        "visits",
        lambda work: _rows(work, usage.VISITS, usage.visit_key, usage.record_visits),
        "Keep when assets come in for what, from a table; without starts_on a visit is called off.",
    ),
    ("cavities", _cavities, "Keep cavity sets from a table: cavities under a part number or a name."),
    ("coordinates", _coordinates, "Keep the true places of an arrangement's cavities from a table."),
    (
        "entries",
        _entries,
        "Record entries of any kind: one JSON object a line as in POST /v1/entries, or a table of their fields.",
    ),
)
