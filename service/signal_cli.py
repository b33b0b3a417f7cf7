"""The command `tinebook signals`: what wears retainers faster than it should, for a person or as JSON lines."""

from collections.abc import Callable, Coroutine
from contextlib import AbstractContextManager
from datetime import UTC, datetime, timedelta
from typing import Any, get_args

import click

from service import app, messages, problems
from service.runtime import Databases
from service.settings import Settings
from service.signal_messages import About, SignalReport
from service.store import database
from service.workflow import signals, signals_kept
from service.workflow.signals import Filters

Opened = Callable[[Settings], AbstractContextManager[Databases]]
Run = Callable[[Coroutine[Any, Any, Any]], Any]

_PATIENCE_S = 3600.0
"""The longest that one statement may take."""
_QUESTIONS: tuple[About, ...] = get_args(About)


def command(opened: Opened, run: Run) -> click.Command:
    """The command, which opens databases and runs what waits for them as the others do."""

    @click.command("signals")
    @click.option("--about", "asked", multiple=True, type=click.Choice(_QUESTIONS), help="Repeatable; all but people.")
    @click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help="First day, UTC [24 months before the last].")
    @click.option("--until", type=click.DateTime(["%Y-%m-%d"]), help="The day after the last, UTC [now].")
    @click.option("--asset")
    @click.option("--zone")
    @click.option("--position")
    @click.option("--family")
    @click.option("--part-number")
    @click.option(
        "--limit", type=click.IntRange(1, 500), default=10, show_default=True, help="Units told of a question."
    )
    @click.option("--all", "everything", is_flag=True, help="Those that do not stand out, too.")
    @click.option("--keep", is_flag=True, help="Answer for the whole fleet and keep it for the day, for who asks next.")
    @click.option(
        "--once-in-hours", type=click.IntRange(0), default=0, help="With --keep: not where a younger answer is kept."
    )
    @click.option("--json", "as_json", is_flag=True, help="One report a line, as the API gives it.")
    @click.pass_obj
    def signals_(
        config: Settings,
        /,
        asked: tuple[About, ...],
        since: datetime | None,
        until: datetime | None,
        limit: int,
        once_in_hours: int,
        *,
        everything: bool,
        keep: bool,
        as_json: bool,
        **part: str | None,
    ) -> None:
        """Tell what wears retainers faster than it should, how sure that is, or that nothing stands out.

        People are only asked about with --about person, and the answer says what it can't show.
        """
        verdict = None if everything else "shown"
        filters = Filters(since=_utc(since), until=_utc(until), verdict=verdict, **part)  # type: ignore[arg-type]
        wanted = asked or tuple(each for each in _QUESTIONS if each != "person")
        if keep and (since or until or "person" in wanted or any(part.values())):
            raise click.UsageError(
                "--keep is for questions about the whole fleet and its last 24 months, not about people"
            )
        with opened(config) as found:
            try:
                if keep:
                    run(_keep(found.service_dsn, wanted, timedelta(hours=once_in_hours)))
                    return
                run(_told(found.service_dsn, wanted, filters, limit, as_json=as_json))
            except problems.ProblemRaised as raised:
                raise click.ClickException(raised.problem.detail or raised.problem.title) from raised

    return signals_


def _utc(day: datetime | None) -> datetime | None:
    return day.replace(tzinfo=UTC) if day is not None else None


async def _told(dsn: str, wanted: tuple[About, ...], filters: Filters, limit: int, *, as_json: bool) -> None:
    connection = await database.service_connection(dsn, _PATIENCE_S)
    try:
        for about in wanted:
            report, _ = await signals.report(connection, about, filters, app.now(), None, limit)
            click.echo(messages.to_json(report).decode() if as_json else _in_words(report))
    finally:
        await connection.close(timeout=5)


async def _keep(dsn: str, wanted: tuple[About, ...], once_in: timedelta) -> None:
    connection = await database.service_connection(dsn, _PATIENCE_S)
    try:
        for about in wanted:
            kept_at = await signals_kept.kept_at(connection, about)
            if kept_at is not None and app.now() - kept_at < once_in:
                click.echo(f"{about.replace('_', ' ')}: kept already, at {kept_at:%Y-%m-%d %H:%M} UTC")
                continue
            took_s = await signals.keep(connection, about, app.now())
            click.echo(f"{about.replace('_', ' ')}: kept, answered in {took_s:.1f} s")
    finally:
        await connection.close(timeout=5)


def _in_words(report: SignalReport) -> str:
    lines = [click.style(f"{report.about.replace('_', ' ')}: {report.says}", bold=True)]
    lines += [f"  {each.says}" for each in report.signals]
    lines += [f"  Not counted: {each}" for each in report.left_out]
    lines += [f"  {each}" for each in report.cannot_show]
    return "\n".join(lines)
