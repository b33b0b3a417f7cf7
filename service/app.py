"""The composition root: settings -> connections -> Litestar app."""

import gc
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, time
from importlib import metadata

from litestar import Litestar
from litestar.exceptions import HTTPException

from service import catalog, messages, outlook_daily, problems, settings
from service.api import http, openapi
from service.api.services import Services
from service.feed import addresses
from service.feed.posting import Caller
from service.outlook_daily import Daily
from service.pages import openid, part_numbers, planner
from service.settings import Settings
from service.store import database, migrate
from service.workflow.delivering import Deliverer, Pace
from service.workflow.proving import Prover
from service.workflow.recording import BusyError, Recorder
from service.workflow.reference import Reference


def build_app(config: Settings, pace: Pace | None = None) -> Litestar:
    """The service for these settings; it connects when it starts and drains when it stops. Tests set the pace of delivering."""
    if config.dsn is None:
        raise settings.SettingsError("TINEBOOK_DSN is not set, and nothing started an embedded server")
    dsn = config.dsn

    @asynccontextmanager
    async def lifespan(app: Litestar) -> AsyncIterator[None]:
        pool = await database.service_pool(dsn, config.pool_size)
        async with pool.acquire() as connection:
            await migrate.check(connection)
        reference = Reference(catalog.load())
        recorder = Recorder(dsn, config.house, reference, config.queue_limit)
        recorder.start()
        networks = addresses.networks(config.webhook_networks)
        caller = Caller(networks, config.webhook_authority, config.webhook_timeout_s)
        deliverer = Deliverer(dsn, caller, now, pace or Pace(log_days=config.delivery_log_days))
        deliverer.start()
        daily = _daily(config, dsn)
        if daily is not None:
            daily.start()
        prover = Prover(config.cost)
        app.state.services = Services(pool, recorder, reference, config.house, now, caller, prover, config.address)
        app.state.provider = _provider(config)
        app.state.openapi = messages.to_json(openapi.document(metadata.version("tinebook")))
        try:
            yield
        finally:
            if daily is not None:
                await daily.close()
            await deliverer.close()
            await recorder.close()
            await pool.close()

    return Litestar(
        route_handlers=[*http.routes(), *part_numbers.routes(), *planner.routes()],
        lifespan=[lifespan],
        exception_handlers={
            problems.ProblemRaised: http.on_problem,
            HTTPException: http.on_http,
            BusyError: http.on_busy,
            Exception: http.on_anything,
        },
        request_max_body_size=config.body_limit_bytes,
        openapi_config=None,
        logging_config=None,
    )


def _daily(config: Settings, dsn: str) -> Daily | None:
    if config.outlook_at is None:
        return None
    signing = () if config.checkpoint_key_file is None else (outlook_daily.CHECKPOINT,)
    commands = (*outlook_daily.COMMANDS, *signing)
    return Daily(time.fromisoformat(config.outlook_at), dsn, now, commands)


def _provider(config: Settings) -> openid.Provider | None:
    """The identity provider for the pages, where one is set up."""
    if config.oidc_issuer is None or config.oidc_client_id is None:
        return None
    secret = (
        None if config.oidc_client_secret_file is None else config.oidc_client_secret_file.read_text("utf-8").strip()
    )
    client = openid.Client(
        issuer=config.oidc_issuer,
        client_id=config.oidc_client_id,
        client_secret=secret,
        scope_claim=config.oidc_scope_claim,
    )
    return openid.Provider(client, now)


def from_environment() -> Litestar:
    """The service as its environment says: what a server process calls."""
    built = build_app(settings.read(os.environ))
    # What is loaded by now stays for good, and requests leave hardly a cycle behind: searched as often as usual, the
    # collector took a sixth of the time and held up one request in a hundred for a tenth of a second.
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)
    return built


def now() -> datetime:
    """The one clock of the service."""
    return datetime.now(UTC)
