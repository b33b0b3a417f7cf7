"""What the browser tests share: a shop with its page, and browsers that can be killed."""

import asyncio
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, sync_playwright

from service.workflow.access import Scope
from tests import databases
from tests.browser import cutting, programs
from tests.browser.at_work import NEUTRAL, open_bench
from tests.browser.cutting import Line
from tests.browser.programs import Chromium
from tests.browser.site import Site
from tests.conftest import make_token

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave out what needs a browser where there is none, and say which one."""
    if CHROMIUM is None:
        for each in items:
            if Path(__file__).parent in each.path.parents:
                each.add_marker(pytest.mark.skip(reason="needs chromium (Debian: apt install chromium)"))


@pytest.fixture(scope="module")
def site(maintenance: str, template: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A shop for the tests of a module: a database of its own, the service, and the page's server."""
    dsn = asyncio.run(databases.clone(maintenance, template))
    tokens = {each: asyncio.run(make_token(dsn, Scope(each))) for each in ("bench", "admin")}
    found = Site(dsn, tokens, tmp_path_factory.mktemp("site"))
    yield found
    found.close()
    asyncio.run(databases.drop(maintenance, dsn))


@pytest.fixture(scope="module")
def play(site: Site) -> Iterator[Playwright]:
    """Playwright, started after the shop: while it runs, no other event loop can run in this thread."""
    del site
    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="module")
def browser(play: Playwright) -> Iterator[Browser]:
    """A browser for the tests of a module; each takes a `device` of its own in it."""
    opened = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    yield opened
    opened.close()


@pytest.fixture
def device(browser: Browser) -> Iterator[BrowserContext]:
    """A device that keeps nothing of what another test did: several tabs share what it keeps."""
    context = browser.new_context()
    yield context
    context.close()


@pytest.fixture
def line(site: Site) -> Iterator[Line]:
    """A line to the page's server that a test can cut."""
    with cutting.line(lambda: site.bench.port, programs.free_ports(1)[0]) as opened:
        yield opened


@pytest.fixture
def tab(device: BrowserContext, line: Line, site: Site) -> Page:
    """A tab with a bench in it, behind the line, and with nothing of the screens."""
    return open_bench(programs.tab(device, line.address + NEUTRAL), site.token)


MakeChromium = Callable[..., Chromium]


@pytest.fixture
def make_chromium(play: Playwright, tmp_path: Path) -> Iterator[MakeChromium]:
    """Browsers that can be killed and come back, each with a name, a profile on disk, and options of Chromium's."""
    made: list[Chromium] = []

    def make(name: str = "device", *more: str) -> Chromium:
        assert CHROMIUM is not None
        made.append(Chromium(play, CHROMIUM, tmp_path / name, *more))
        return made[-1]

    yield make
    for each in made:
        each.stop()


@pytest.fixture
def chromium(make_chromium: MakeChromium) -> Chromium:
    """One browser that can be killed and comes back with what it kept."""
    return make_chromium()


@pytest.fixture(autouse=True)
def _up(request: pytest.FixtureRequest) -> None:
    """A test that left a server down does not take the next one with it."""
    if "site" in request.fixturenames:
        request.getfixturevalue("site").up()
