"""What the tests share: a database each, cloned from a migrated template, and the service on top of it."""

import asyncio
import os
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import timedelta
from typing import Any, cast

import httpx
import pytest
from hypothesis import settings as hypothesis_settings

from service import app, settings
from service.store import database
from service.workflow import access
from service.workflow.access import Scope
from tests import databases

hypothesis_settings.register_profile("tinebook", deadline=None, print_blob=True)
hypothesis_settings.load_profile("tinebook")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Where CI runs them, a test that is skipped is a failure: what it needs is to be there."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or os.environ.get("CI") != "true":
        return
    for each in reporter.stats.get("skipped", []):
        reporter.write_line(f"skipped where nothing may be: {each.nodeid}", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="session")
def maintenance() -> Iterator[str]:
    """The DSN of the tests' server."""
    with databases.cluster() as dsn:
        yield dsn


@pytest.fixture(scope="session")
def template(maintenance: str) -> str:
    """The name of a migrated database to clone."""
    return asyncio.run(databases.make_template(maintenance))


@pytest.fixture
def dsn(maintenance: str, template: str) -> Iterator[str]:
    """A database of this test's own, as its owner; the service goes down to its role by itself."""
    found = asyncio.run(databases.clone(maintenance, template))
    yield found
    asyncio.run(databases.drop(maintenance, found))


Started = Callable[..., AbstractAsyncContextManager[httpx.AsyncClient]]


@pytest.fixture
def service(dsn: str) -> Started:
    """A test enters what this gives, and has a client of a running service of its own."""

    @asynccontextmanager
    async def start(scopes: tuple[Scope, ...] = (Scope.ADMIN,), **changes: Any) -> AsyncIterator[httpx.AsyncClient]:
        config = settings.Settings(dsn=dsn, **changes)
        token = await make_token(dsn, *scopes)
        built = app.build_app(config)
        async with built.lifespan():
            transport = httpx.ASGITransport(app=cast("Any", built), raise_app_exceptions=False)
            headers = {"Authorization": f"Bearer {token}"}
            async with httpx.AsyncClient(transport=transport, base_url="http://tinebook", headers=headers) as client:
                yield client

    return start


async def make_token(dsn: str, *scopes: Scope) -> str:
    """A token for these scopes that holds for an hour."""
    now = app.now()
    async with database.owner(dsn) as connection:
        return await access.make(connection, "test", scopes, now, now + timedelta(hours=1))


def run(work: Awaitable[Any]) -> Any:
    """Run one coroutine of a test."""

    async def waited() -> Any:
        return await work

    return asyncio.run(waited())
