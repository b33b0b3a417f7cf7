"""The command `tinebook outlook`: when retainers run out, worked out for the whole fleet and kept."""

from collections.abc import Callable, Coroutine
from contextlib import AbstractContextManager
from datetime import timedelta
from typing import Any, Protocol, Self

import click

from service import app
from service.core.outlook.prior import Exposure
from service.outlook_messages import Rested
from service.runtime import Databases
from service.settings import Settings
from service.store import database
from service.workflow import outlook, outlook_runs

Opened = Callable[[Settings], AbstractContextManager[Databases]]
Run = Callable[[Coroutine[Any, Any, Any]], Any]

_PATIENCE_S = 3600.0
"""The longest that one statement of a run may take."""


class Progress(Protocol):
    """A line that says how far a long job is."""

    def __enter__(self) -> Self: ...
    def __exit__(self, *_: object) -> None: ...
    def tell(self, done: int, total: int) -> None:
        """Say how far."""


def command(opened: Opened, run: Run, progress: Callable[[str], Progress]) -> click.Command:
    """The command, which opens databases, runs what waits for them and shows progress as the others do."""

    @click.command("outlook")
    @click.option(
        "--exposure",
        type=click.Choice([each.value for each in Exposure]),
        default=Exposure.FLIGHT_HOURS.value,
        show_default=True,
        help="What rework is counted against; days where the usage of an asset is not stated.",
    )
    @click.option("--by", default="outlook", show_default=True, help="Computed by.")
    @click.option(
        "--once-in-hours",
        type=click.IntRange(0, 8760),
        default=0,
        help="Do nothing if the newest is younger than this.",
    )
    @click.pass_obj
    def outlook_(config: Settings, exposure: str, by: str, once_in_hours: int) -> None:
        """Compute when connectors run out, and what that asks of the shelf and of the next visits, and keep it.

        The newest is what reports and pages show. Cut off at any moment it leaves nothing behind: run it again.
        """
        with opened(config) as found:
            try:
                done = run(_compute(found.service_dsn, Exposure(exposure), by, once_in_hours, progress))
            except outlook_runs.RunningError as error:
                raise click.ClickException(str(error)) from error
            except KeyboardInterrupt as stopped:
                raise click.ClickException("stopped; nothing of it was kept") from stopped
        click.echo("the newest outlook is young enough; nothing was computed" if done is None else _told(done))

    return outlook_


def _told(done: Rested) -> str:
    usage = f"usage stated from {done.usage_from} to {done.usage_to}" if done.usage_to else "no usage is stated"
    return (
        f"outlook {done.run} as of {done.as_of:%Y-%m-%dT%H:%M:%SZ}: {done.connectors} connectors, {done.known} of known "
        f"history, {done.not_known} not known, {done.retired} retired\n{done.thin}; {usage}"
        + (
            f"\n{done.unreadable} states can't be read and were left out: run `tinebook rebuild`"
            if done.unreadable
            else ""
        )
    )


async def _compute(
    dsn: str, exposure: Exposure, by: str, once_in_hours: int, progress: Callable[[str], Progress]
) -> Rested | None:
    connection = await database.service_connection(dsn, _PATIENCE_S)
    shown = _Shown(progress)
    try:
        newest = await outlook.rests_on(connection)
        if newest is not None and app.now() - newest.computed_at < timedelta(hours=once_in_hours):
            return None
        return await outlook_runs.compute(connection, exposure, by, app.now, shown.tell)
    finally:
        shown.end()
        await connection.close(timeout=5)


class _Shown:
    """One line of progress after the other, as the work goes from one thing to the next."""

    def __init__(self, progress: Callable[[str], Progress]) -> None:
        self._progress = progress
        self._what = ""
        self._now: Progress | None = None

    def tell(self, what: str, done: int, total: int) -> None:
        """Say how far what is being done is."""
        if what != self._what or self._now is None:
            self.end()
            self._what, self._now = what, self._progress(what)
            self._now.__enter__()
        self._now.tell(done, total)

    def end(self) -> None:
        """Leave the line free."""
        if self._now is not None:
            self._now.__exit__(None, None, None)
        self._now = None
