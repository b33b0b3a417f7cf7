"""The command `tinebook report`: a report as a file, for people and for cron; the same bytes as the API gives."""

import os
import sys
from collections.abc import Callable, Coroutine
from contextlib import AbstractContextManager, ExitStack, suppress
from pathlib import Path
from typing import Any, BinaryIO, Protocol, Self, get_args

import click
from litestar.datastructures import MultiDict

from service import app, problems
from service.api import exports, reading
from service.api.exports import REPORTS, Source
from service.reports import forms
from service.reports.forms import FORMS
from service.runtime import Databases
from service.settings import Settings
from service.store import database
from service.store.ledger import Definitions

Opened = Callable[[Settings], AbstractContextManager[Databases]]
Run = Callable[[Coroutine[Any, Any, Any]], Any]

_PATIENCE_S = 3600.0
"""The longest that one statement of a report may take."""


class Progress(Protocol):
    """A line that says how far a long job is."""

    def __enter__(self) -> Self: ...
    def __exit__(self, *_: object) -> None: ...
    def tell(self, done: int, total: int) -> None:
        """Say how far."""


def command(opened: Opened, run: Run, progress: Callable[[str], Progress]) -> click.Command:
    """The command, which opens databases, runs what waits for them and shows progress as the others do."""

    @click.command("report")
    @click.argument("name", type=click.Choice(list(REPORTS)))
    @click.option(
        "--filter", "told", multiple=True, metavar="FIELD=VALUE", help="A field of the API's query. Repeatable."
    )
    @click.option("--format", "form", type=click.Choice(get_args(forms.Name)), default="csv", show_default=True)
    @click.option("--output", type=click.Path(dir_okay=False, path_type=Path), help="File to write [standard output].")
    @click.pass_obj
    def report(config: Settings, name: str, told: tuple[str, ...], form: forms.Name, output: Path | None) -> None:
        """Write all rows of the report NAME, as GET /v1/reports/NAME gives them (/v1/discrepancies for discrepancies).

        The file appears under its name when it is whole; cut off at any moment, an older one is as it was.
        """
        if output is None and not FORMS[form].is_text and sys.stdout.isatty():
            raise click.UsageError(f"{form} is no text for a terminal: name a file with --output")
        try:
            asked = reading.query(_fields(told), REPORTS[name].query)
            with opened(config) as found, ExitStack() as stack:
                target = stack.enter_context(_Target(output))
                line = stack.enter_context(progress("rows"))
                run(_write(found.service_dsn, config, name, asked, form, target, line))
        except problems.ProblemRaised as raised:
            raise click.ClickException(raised.problem.detail or raised.problem.title) from raised
        except KeyboardInterrupt as stopped:
            raise click.ClickException("stopped; no file was written") from stopped

    return report


def _fields(told: tuple[str, ...]) -> MultiDict[str]:
    """What the filters say, as the query of a request. Where a file goes and in which form is not for them to say."""
    pairs = [each.partition("=")[::2] for each in told]
    wrong = [each for each, (name, _) in zip(told, pairs, strict=True) if "=" not in each or name in exports.NO_FILTERS]
    if wrong:
        raise click.UsageError(f"{wrong[0]!r} is no filter: say FIELD=VALUE, such as asset=TN-101")
    return MultiDict(pairs)


async def _write(
    dsn: str, config: Settings, name: str, asked: Any, form: forms.Name, target: BinaryIO, line: Progress
) -> None:
    connection = await database.service_connection(dsn, _PATIENCE_S)
    try:
        source = Source(connection, Definitions(), config.house, app.now())
        async for each in exports.written(source, name, asked, form, lambda rows: line.tell(rows, 0)):
            target.write(each)
    finally:
        await connection.close(timeout=5)


class _Target:
    """Standard output, or a file that gets its name once it is whole and on disk."""

    def __init__(self, output: Path | None) -> None:
        self._output = output

    def __enter__(self) -> BinaryIO:
        if self._output is None:
            self._file: BinaryIO = sys.stdout.buffer
            return self._file
        self._part = self._output.with_name(f".{self._output.name}.{os.getpid()}.part")
        try:
            self._file = self._part.open("xb")
        except OSError as error:
            raise click.ClickException(f"{self._output} can't be written: {error.strerror}") from error
        return self._file

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if self._output is None:
            self._file.flush()
            return
        try:
            if kind is None:
                self._file.flush()
                os.fsync(self._file.fileno())
                self._file.close()
                self._part.replace(self._output)
        except OSError as error:
            raise click.ClickException(f"{self._output} can't be written: {error.strerror}") from error
        finally:
            with suppress(OSError):
                self._file.close()
            self._part.unlink(missing_ok=True)
