"""The command `tinebook`: serve, keep and prove the ledger. The only place of the service that prints."""

import asyncio
import os
import signal
import sys
from collections.abc import AsyncIterator, Callable, Coroutine
from datetime import timedelta
from pathlib import Path
from typing import Any, Self, TypeVar
from uuid import UUID

import asyncpg
import click
import msgspec
import uvicorn

from service import (
    app,
    checkpoint_cli,
    import_cli,
    label_cli,
    outlook_cli,
    part_number_cli,
    report_cli,
    runtime,
    settings,
    signal_cli,
    supervisor,
    transfer_cli,
)
from service.settings import Settings
from service.store import database, embedded, migrate
from service.workflow import access, checkpoints, proof
from service.workflow.access import Scope

T = TypeVar("T")

OK, BROKEN, UNUSABLE = 0, 1, 2
"""Exit statuses: all well; something is broken or was refused; the command could not do its work."""


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.option(
    "--data", type=click.Path(path_type=Path), help="Data directory of the embedded database [TINEBOOK_DATA]."
)
@click.pass_context
def main(context: click.Context, data: Path | None) -> None:
    """Tinebook: how many cycles each contact retainer of each connector has had, and whether it may have one more.

    Settings come from the environment (TINEBOOK_...). Without TINEBOOK_DSN a PostgreSQL of its own runs in the data
    directory. Exit status: 0 all well, 1 something is broken or was refused, 2 the command could not do its work.
    """
    try:
        config = settings.read(os.environ)
    except settings.SettingsError as error:
        raise _Unusable(str(error)) from error
    context.obj = config if data is None else msgspec.structs.replace(config, data=data)


class _Unusable(click.ClickException):
    """The command could not do its work."""

    exit_code = UNUSABLE


@main.command()
@click.option("--host", help="Address to listen on [TINEBOOK_HOST, 127.0.0.1].")
@click.option("--port", type=int, help="Port to listen on [TINEBOOK_PORT, 8600].")
@click.option("--workers", type=click.IntRange(1, 64), help="Processes that serve [TINEBOOK_WORKERS, 1].")
@click.pass_obj
def serve(config: Settings, host: str | None, port: int | None, workers: int | None) -> None:
    """Serve the API until Ctrl-C or TERM; then finish what was taken, and stop what was started."""
    given = {"host": host, "port": port, "workers": workers}
    config = msgspec.structs.replace(config, **{key: value for key, value in given.items() if value is not None})
    try:
        supervisor.check_port(config.host, config.port)
    except supervisor.SupervisorError as error:
        raise _Unusable(str(error)) from error
    with _databases(config) as found:
        if config.owner_dsn is not None or config.dsn is None:
            runtime.bring_up_to_date(found)
        _run(_check(found.service_dsn))
        run_server(msgspec.structs.replace(config, dsn=found.service_dsn))


async def _check(dsn: str) -> None:
    connection = await database.service_connection(dsn)
    try:
        await migrate.check(connection)
    finally:
        await connection.close()


def run_server(config: Settings) -> None:
    """Run the service until it is told to stop."""
    os.environ |= {f"{settings.PREFIX}{key.upper()}": str(value) for key, value in _given(config).items()}
    uvicorn.run(
        "service.app:from_environment",
        factory=True,
        host=config.host,
        port=config.port,
        workers=config.workers,
        access_log=False,
        log_level="warning",
        timeout_graceful_shutdown=30,
    )


def _given(config: Settings) -> dict[str, Any]:
    return {name: getattr(config, name) for name in Settings.__struct_fields__ if getattr(config, name) is not None}


@main.command()
@click.option("--data", type=click.Path(path_type=Path), help="Where the demo keeps its data [TINEBOOK_DATA].")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option(
    "--port", type=click.IntRange(1, 65534), default=8600, show_default=True, help="Service; bench page one above."
)
@click.pass_obj
def demo(config: Settings, data: Path | None, host: str, port: int) -> None:
    """Start database, service and bench page with the demo fleet; says what to open. Ctrl-C stops it all."""
    from service import demonstration  # noqa: PLC0415 - draws pictures, which no other command should wait for

    changes = {"host": host, "port": port} | ({"data": data} if data is not None else {})
    try:
        demonstration.run(msgspec.structs.replace(config, **changes), click.echo)
    except (supervisor.SupervisorError, embedded.EmbeddedError) as error:
        raise _Unusable(str(error)) from error


@main.command("migrate")
@click.option(
    "--service-password-from", metavar="NAME", help="Environment variable with the password of the service's role."
)
@click.pass_obj
def migrate_schema(config: Settings, service_password_from: str | None) -> None:
    """Bring the database's schema up to date, as its owner."""
    if service_password_from is not None and not os.environ.get(service_password_from):
        raise _Unusable(f"the environment variable {service_password_from} is not set")

    async def run(dsn: str) -> int:
        async with database.owner(dsn) as connection:
            count = await migrate.migrate(connection, click.echo)
            if service_password_from is not None:
                await migrate.set_service_password(connection, os.environ[service_password_from])
            return count

    with _databases(config) as found:
        count = _run(run(found.owner_dsn))
    click.echo(f"{count} migrations ran" if count else "the schema is up to date")


@main.command()
@click.argument("connector", type=click.UUID, required=False)
@click.option(
    "--checkpoint", "kept", multiple=True, type=click.Path(dir_okay=False, path_type=Path), help="One kept elsewhere."
)
@click.option("--public-key", "trusted", multiple=True, metavar="HEX", help="Take no checkpoint that others signed.")
@click.option("--json", "as_json", is_flag=True, help="One JSON line per break, for scripts.")
@click.pass_obj
def verify(
    config: Settings, connector: UUID | None, kept: tuple[Path, ...], trusted: tuple[str, ...], as_json: bool
) -> None:
    """Prove chain, fold, state and checkpoints, or one CONNECTOR alone; says exactly where something is not as recorded."""
    if connector is not None and (kept or trusted):
        raise click.UsageError("checkpoints are of everything: leave the connector out")
    given = checkpoint_cli.given(kept)

    async def work(connection: Any, progress: proof.Progress) -> AsyncIterator[proof.Break]:
        async for each in proof.verify(connection, config.house, connector, progress):
            yield each
        if connector is None:
            keys = frozenset(each.lower() for each in trusted)
            async for each in checkpoints.verify(connection, given, keys, progress):
                yield each

    with _databases(config) as found:
        breaks = _run(_each(found.owner_dsn, work, as_json))
    if not as_json:
        click.secho(f"{len(breaks)} breaks found" if breaks else "everything is as it was recorded", bold=True)
    sys.exit(BROKEN if breaks else OK)


@main.command()
@click.argument("connector", type=click.UUID, required=False)
@click.pass_obj
def rebuild(config: Settings, connector: UUID | None) -> None:
    """Write the state anew from the ledger, of everything or of one CONNECTOR. A broken chain is left as it is."""
    with _databases(config) as found:
        outcomes = _run(
            _each(found.owner_dsn, lambda c, p: proof.rebuild(c, config.house, connector, p), as_json=False)
        )
    breaks = [each for each in outcomes if isinstance(each, proof.Break)]
    click.secho(f"{len(outcomes) - len(breaks)} states written anew, {len(breaks)} breaks", bold=True)
    sys.exit(BROKEN if breaks else OK)


async def _each(dsn: str, work: Callable[[Any, proof.Progress], AsyncIterator[T]], as_json: bool) -> list[T]:
    found: list[T] = []
    async with database.owner(dsn) as connection:
        with _Progress("connectors", quiet=as_json) as progress:
            async for each in work(connection, progress.tell):
                found.append(each)
                progress.clear()
                click.echo(msgspec.json.encode(each).decode() if as_json else f"  {each}")
    return found


@main.group()
def token() -> None:
    """Make, list and revoke the tokens that open the API."""


@token.command("make")
@click.argument("name")
@click.option("--scope", "scopes", multiple=True, required=True, type=click.Choice([each.value for each in Scope]))
@click.option("--days", type=click.IntRange(1, 3660), default=90, show_default=True, help="Days until it expires.")
@click.pass_obj
def make_token(config: Settings, name: str, scopes: tuple[str, ...], days: int) -> None:
    """Make a token for NAME and print it, once: only its hash is kept."""
    now = app.now()

    async def run(dsn: str) -> str:
        async with database.owner(dsn) as connection:
            return await access.make(
                connection, name, [Scope(each) for each in scopes], now, now + timedelta(days=days)
            )

    with _databases(config) as found:
        click.echo(_run(run(found.owner_dsn)))


@token.command("list")
@click.pass_obj
def list_tokens(config: Settings) -> None:
    """List all tokens: id, name, scopes, until when, revoked or not."""

    async def run(dsn: str) -> list[asyncpg.Record]:
        async with database.owner(dsn) as connection:
            return await database.fetch(connection, "tokens")

    with _databases(config) as found:
        for row in _run(run(found.owner_dsn)):
            state = (
                f"revoked {row['revoked_at']:%Y-%m-%d}" if row["revoked_at"] else f"until {row['expires_at']:%Y-%m-%d}"
            )
            click.echo(f"{row['token']}  {row['name']}  {','.join(row['scopes'])}  {state}")


@token.command("revoke")
@click.argument("name_or_id")
@click.pass_obj
def revoke_token(config: Settings, name_or_id: str) -> None:
    """Revoke every token of that name or id; a running service stops taking it within a second."""

    async def run(dsn: str) -> list[UUID]:
        async with database.owner(dsn) as connection:
            return await access.revoke(connection, name_or_id, app.now())

    with _databases(config) as found:
        revoked = _run(run(found.owner_dsn))
    if not revoked:
        raise click.ClickException(f"no token in force is called {name_or_id!r}: see `tinebook token list`")
    click.echo(f"{len(revoked)} revoked")


class _Progress:
    """A line that says how far a long job is; on a terminal only."""

    def __init__(self, what: str, *, quiet: bool = False) -> None:
        self._what = what
        self._shown = sys.stderr.isatty() and not quiet

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.clear()

    def tell(self, done: int, total: int) -> None:
        """Say how far."""
        if self._shown:
            of = f" of {total:,} ({done / total:.0%})" if total else ""
            click.echo(f"\r\x1b[K{done:,}{of} {self._what}", nl=False, err=True)

    def clear(self) -> None:
        """Leave the line free for something else."""
        if self._shown:
            click.echo("\r\x1b[K", nl=False, err=True)


def _databases(config: Settings) -> Any:
    return _Telling(runtime.databases(config))


class _Telling:
    """Turns what can go wrong with a database into a sentence and an exit status."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner

    def __enter__(self) -> runtime.Databases:
        # TERM ends a command the way Ctrl-C does, so that what it started is stopped.
        signal.signal(signal.SIGTERM, _interrupt)
        try:
            found: runtime.Databases = self._inner.__enter__()
        except (embedded.EmbeddedError, OSError, asyncpg.PostgresError) as error:
            raise _Unusable(f"no database: {error}") from error
        return found

    def __exit__(self, *exception: object) -> None:
        self._inner.__exit__(*exception)


def _interrupt(*_: object) -> None:
    raise KeyboardInterrupt


def _run(work: Coroutine[Any, Any, T]) -> T:
    try:
        return asyncio.run(work)
    except (OSError, asyncpg.PostgresError, asyncpg.InterfaceError, migrate.MigrationError) as error:
        raise _Unusable(str(error)) from error


main.add_command(import_cli.command(_databases, _run, _Progress))
main.add_command(label_cli.command(_databases, _run))
main.add_command(outlook_cli.command(_databases, _run, _Progress))
main.add_command(checkpoint_cli.command(_databases, _run))
main.add_command(signal_cli.command(_databases, _run))
main.add_command(report_cli.command(_databases, _run, _Progress))
main.add_command(part_number_cli.command)
for each in transfer_cli.commands(_databases, _run):
    main.add_command(each)

if __name__ == "__main__":
    main()
