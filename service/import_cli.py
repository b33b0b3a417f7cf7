"""The commands `tinebook import ...`: what a shop has on file, checked whole before anything of it is written."""

import gc
import sys
from collections.abc import Callable, Coroutine, Iterable
from contextlib import AbstractContextManager, asynccontextmanager
from pathlib import Path
from typing import Any, Protocol, Self

import asyncpg
import click
from msgspec import Struct

from service import app, catalog
from service.core.entries import Entry
from service.runtime import Databases
from service.settings import Settings
from service.store import database
from service.workflow import arrangements, enrolling, entry_tables, geometry_tables, importing, shop
from service.workflow.enrolling import Enroller
from service.workflow.recording import Scribe
from service.workflow.reference import Reference
from service.workflow.sheets import Flaw, Form

Opened = Callable[[Settings], AbstractContextManager[Databases]]
Run = Callable[[Coroutine[Any, Any, Any]], Any]

_BROKEN = 1
_NDJSON = b"{"
_AT_ONCE = 500
"""Cavity sets or drawings in one transaction."""


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
    opened: Opened
    run: Run
    progress: Callable[[str], Progress]

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
        @click.pass_obj
        def one(config: Settings, file: Path, by: str, *, dry_run: bool) -> None:
            if not file.is_file():
                text = f"{file} is no ordinary file: it is read twice, first to check it, so put it on disk"
                raise click.UsageError(text)
            try:
                imported(Work(config, file, by, dry_run, opened, run, progress))
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
        _table(work, entry_tables.ENTRIES)


def _lines(work: Work) -> None:
    bad = importing.check(work.file)
    for each in bad:
        click.echo(f"{work.file}:{each.number}: {each.text}", err=True)
    if bad:
        raise click.ClickException(f"{len(bad)} lines can't be read; nothing was imported")
    if work.dry_run:
        click.echo("every line can be read")
        return
    with work.opened(work.config) as found:
        _told(work, *work.run(_recorded(found.service_dsn, work, None)))


def _table(work: Work, form: Form[Entry]) -> None:
    with work.opened(work.config) as found:
        rows, flaws = work.run(_checked(found.service_dsn, work, form))
        work.refuse(flaws)
        if work.dry_run:
            click.echo(f"{rows} rows can be imported")
            return
        _told(work, *work.run(_recorded(found.service_dsn, work, form)))


def _told(work: Work, tally: importing.Tally, refused: list[importing.BadLine]) -> None:
    for each in refused:
        click.echo(f"{work.file}:{each.number}: {each.text}", err=True)
    click.echo(
        f"{tally.recorded} recorded, {tally.already_recorded} already recorded, "
        f"{tally.parked} parked, {tally.refused} refused"
    )
    if refused:
        sys.exit(_BROKEN)


async def _checked(dsn: str, work: Work, form: Form[Entry]) -> tuple[int, list[Flaw]]:
    async with _connected(dsn) as connection:
        scribe = Scribe(work.config.house, Reference(catalog.load()))
        with work.progress("rows checked") as progress:
            return await entry_tables.check(connection, scribe, work.file, form, lambda done: progress.tell(done, 0))


async def _recorded(dsn: str, work: Work, form: Form[Entry] | None) -> tuple[importing.Tally, list[importing.BadLine]]:
    # A million entries at once are much to search for cycles that they can't have: it took a quarter of the time.
    gc.disable()
    pool = await database.service_pool(dsn, importing.AT_ONCE)
    try:
        reference = Reference(catalog.load())
        async with pool.acquire() as connection:
            reference.go_by(await shop.book(connection))
        scribe = Scribe(work.config.house, reference)
        with work.progress("entries") as progress:

            def tell(tally: importing.Tally) -> None:
                progress.tell(tally.done, 0)

            if form is None:
                return await importing.run(pool, scribe, work.file, work.by, app.now, tell)
            lines = entry_tables.lines(work.file, form)
            return await importing.record(pool, scribe, lines, work.by, app.now, tell, entry_tables.WINDOW)
    finally:
        await pool.close()


def _connectors(work: Work) -> None:
    with work.opened(work.config) as found:
        tally, flaws = work.run(_enrolled(found.service_dsn, work))
    work.show(flaws)
    if work.dry_run:
        click.echo(f"{tally.done} rows can be imported")
        return
    click.echo(f"{tally.registered} registered, {tally.already_registered} already registered, {len(flaws)} refused")
    if flaws:
        sys.exit(_BROKEN)


async def _enrolled(dsn: str, work: Work) -> tuple[enrolling.Enrolled, list[Flaw]]:
    gc.disable()
    async with _connected(dsn) as connection:
        reference = Reference(catalog.load())
        enroller = Enroller(connection, Scribe(work.config.house, reference), reference)
        with work.progress("rows checked") as progress:
            rows, flaws = await enroller.check(work.file, lambda done: progress.tell(done, 0))
        work.refuse(flaws)
        if work.dry_run:
            return enrolling.Enrolled(registered=rows), []
        with work.progress("connectors") as progress:
            return await enroller.run(
                work.file, work.config.house, work.by, app.now, lambda done: progress.tell(done, rows)
            )


def _cavities(work: Work) -> None:
    flaws = [each for each in geometry_tables.cavity_sets(work.file) if isinstance(each, Flaw)]
    work.refuse(flaws)
    sets = [each for each in geometry_tables.cavity_sets(work.file) if isinstance(each, shop.CavitySet)]
    if work.dry_run:
        click.echo(f"{len(sets)} cavity sets can be imported")
        return

    async def record(dsn: str) -> int:
        async with _connected(dsn) as connection, connection.transaction():
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
        async with _connected(dsn) as connection, connection.transaction():
            return await arrangements.record(connection, drawings, work.by, app.now())

    with work.opened(work.config) as found:
        new = work.run(record(found.service_dsn))
    click.echo(f"coordinates of {new} arrangements new or changed, {len(drawings) - new} as they were")


@asynccontextmanager
async def _connected(dsn: str) -> Any:
    connection: asyncpg.Connection = await database.service_connection(dsn)
    try:
        yield connection
    finally:
        await connection.close()


_COMMANDS: tuple[tuple[str, Callable[[Work], None], str], ...] = (
    ("connectors", _connectors, "Register connectors from a table; cavities by part number or cavity_set."),
    ("placements", lambda work: _table(work, entry_tables.PLACEMENTS), "Record where connectors are, from a table."),
    ("carry-ins", lambda work: _table(work, entry_tables.CARRY_INS), "Record opening counts from a table."),
    ("cavities", _cavities, "Keep cavity sets from a table: cavities under a part number or a name."),
    ("coordinates", _coordinates, "Keep the true places of an arrangement's cavities from a table."),
    (
        "entries",
        _entries,
        "Record entries of any kind: one JSON object a line as in POST /v1/entries, or a table of their fields.",
    ),
)
