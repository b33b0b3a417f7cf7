"""The demo: database, service and bench page with the demo fleet, in one program."""

import asyncio
import os
from collections.abc import Callable
from contextlib import ExitStack
from datetime import timedelta
from pathlib import Path

import msgspec
from msgspec import Struct

from service import app, catalog, outlook_daily, runtime, settings
from service.core.outlook.prior import Exposure
from service.demo import fleet, labels, loading
from service.settings import Settings
from service.store import database
from service.supervisor import Family, check_port
from service.workflow import access, outlook, outlook_runs
from service.workflow.access import Scope

SEED = 38999
_SCOPES = {"bench": Scope.BENCH, "planner": Scope.PLANNER, "admin": Scope.ADMIN}
_TOKEN_DAYS = 365
_PATIENCE_S = 600.0
"""The longest that one statement may take."""


class Ready(Struct, frozen=True):
    """What demo.json says: where to go, and with which tokens."""

    service: str
    bench: str
    tokens: dict[str, str]


def run(config: Settings, say: Callable[[str], None]) -> None:
    """Run the demo in the settings' data directory until told to stop. What was recorded there before is kept."""
    for port in (config.port, config.port + 1):
        check_port(config.host, port)
    # Signals are the family's from the start, but its children have to stop before the database that they use.
    with Family() as family, runtime.databases(config) as found, ExitStack() as before_the_database:
        before_the_database.callback(family.stop)
        # Whoever waits for demo.json must not find that of an earlier start; its tokens are kept beside it.
        written, last = config.data / "demo.json", config.data / "demo.last.json"
        if written.exists():
            written.replace(last)
        runtime.bring_up_to_date(found)
        _load(config, found.service_dsn, say)
        ready = Ready(
            service=f"http://{config.host}:{config.port}",
            bench=f"http://{config.host}:{config.port + 1}",
            tokens=asyncio.run(_tokens(found.owner_dsn, _kept_tokens(last))),
        )
        _start(family, config, found.service_dsn, ready)
        if family.stopping:
            return
        _write(written, msgspec.json.format(msgspec.json.encode(ready)))
        _announce(config, ready, say)
        family.watch()


def _load(config: Settings, dsn: str, say: Callable[[str], None]) -> None:
    """Have the fleet in the database and the label photos on disk; a loading that was cut off is gone on with."""
    book = catalog.load()
    today = app.now().date()
    say("demo fleet: looking whether it is there, loading what is missing (half a minute the first time)")
    loaded = asyncio.run(loading.ensure(dsn, config.house, book, SEED, today, _telling(say)))
    if loaded is not None:
        say(f"demo fleet: {loaded.connectors:,} connectors, {loaded.entries:,} entries")
    asyncio.run(_foresee(dsn, say))
    pictures = config.data / "labels"
    if not (pictures / labels.INDEX).exists():
        day = asyncio.run(loading.begun_on(dsn, SEED)) or today
        labels.write(fleet.fleet(SEED, day, book), book, config.house, pictures)


async def _foresee(dsn: str, say: Callable[[str], None]) -> None:
    """Have an outlook of the day, so that there is one to look at."""
    connection = await database.service_connection(dsn, _PATIENCE_S)
    try:
        newest = await outlook.rests_on(connection)
        if newest is None or app.now() - newest.computed_at > timedelta(hours=outlook_daily.ONCE_IN_HOURS):
            say("demo fleet: working out who runs out when")
            await outlook_runs.compute(connection, Exposure.FLIGHT_HOURS, "demo", app.now, lambda *_: None)
    finally:
        await connection.close()


def _telling(say: Callable[[str], None]) -> Callable[[str, int, int], None]:
    """Progress in steps of a tenth, which suits a terminal and a log alike."""
    told = {"connectors": 0, "entries": 0}

    def tell(what: str, done: int, total: int) -> None:
        tenth = 10 * done // max(total, 1)
        if tenth > told[what]:
            told[what] = tenth
            say(f"  {what}: {done:,} of {total:,}")

    return tell


def _kept_tokens(last: Path) -> dict[str, str]:
    try:
        return msgspec.json.decode(last.read_bytes(), type=Ready).tokens
    except (OSError, msgspec.DecodeError):
        return {}


async def _tokens(owner_dsn: str, kept: dict[str, str]) -> dict[str, str]:
    """The tokens of an earlier start while they hold, else new ones."""
    now = app.now()
    async with database.owner(owner_dsn) as connection:
        for name, scope in _SCOPES.items():
            row = await database.fetch_one(connection, "token_by_digest", access.digest(kept.get(name, "")))
            if row is None or row["revoked_at"] or row["expires_at"] < now + timedelta(days=1):
                kept[name] = await access.make(
                    connection, f"demo {name}", [scope], now, now + timedelta(days=_TOKEN_DAYS)
                )
    return {name: kept[name] for name in _SCOPES}


def _start(family: Family, config: Settings, dsn: str, ready: Ready) -> None:
    kept = {key: value for key, value in os.environ.items() if not key.startswith(settings.PREFIX)}
    where = ["--host", config.host]
    family.start(
        "the service", "service.cli", ["serve", *where, "--port", str(config.port)], kept | {"TINEBOOK_DSN": dsn}
    )
    family.wait_ready("the service", f"{ready.service}/health/ready")
    bench = kept | {"TINEBOOK_BENCH_URL": ready.service}
    family.start("the bench page", "scanner_client.cli", ["serve", *where, "--port", str(config.port + 1)], bench)
    family.wait_ready("the bench page", f"{ready.bench}/")


def _write(path: Path, data: bytes) -> None:
    aside = path.with_suffix(".new")
    aside.touch(mode=0o600)
    aside.write_bytes(data)
    aside.replace(path)


def _announce(config: Settings, ready: Ready, say: Callable[[str], None]) -> None:
    say("")
    say(f"  bench page   {ready.bench}")
    say(f"  planner      {ready.service}/fleet   (sign in with the planner token)")
    say(f"  service      {ready.service}   (operations: {ready.service}/schema/openapi.json)")
    for name, token in ready.tokens.items():
        say(f"  {name:<8} token  {token}")
    say(f"  labels to scan  {config.data / 'labels'}")
    say(f"  all of this     {config.data / 'demo.json'}")
    say("")
    say("  The demo's operator, aircraft, people and serials are invented, its ratings are placeholders.")
    say("  Ctrl-C stops everything; what was recorded is kept.")
