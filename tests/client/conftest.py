"""A bench on a stand-in service: outbox in a temporary directory, a clock that stands, no waiting."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from scanner_client import link, outbox
from scanner_client.station import Bench
from tests.client import fake
from tests.client.fake import Clock, Service


@pytest.fixture
def clock() -> Clock:
    """The time at the bench and at the service."""
    return Clock()


@pytest.fixture
def service(clock: Clock) -> Service:
    """A service with one new connector."""
    return Service(clock)


@pytest.fixture
def outbox_path(tmp_path: Path) -> Path:
    """Where the outbox of the bench is."""
    return tmp_path / "bench.db"


@pytest.fixture
def box(outbox_path: Path, clock: Clock) -> Iterator[outbox.Outbox]:
    """An empty outbox."""
    opened = outbox.open_file(outbox_path, clock)
    yield opened
    opened.close()


class Waits:
    """Time for the link: it passes only by waiting, and every wait is written down."""

    def __init__(self) -> None:
        self.now = 0.0
        self.waited: list[float] = []

    def monotonic(self) -> float:
        """The time."""
        return self.now

    def sleep(self, seconds: float) -> None:
        """Wait."""
        self.waited.append(seconds)
        self.now += seconds


@pytest.fixture
def waits() -> Waits:
    """The time that the link sees."""
    return Waits()


def make_link(service: Service, waits: Waits, token: str | None = fake.TOKEN) -> link.Link:
    """A link to the stand-in."""
    means = link.Means(monotonic=waits.monotonic, sleep=waits.sleep, chance=lambda: 0.5, now=service.clock)
    return link.Link(link.client("http://service.test", token, transport=service.transport()), means=means)


@pytest.fixture
def way(service: Service, waits: Waits) -> Iterator[link.Link]:
    """The link to the service."""
    made = make_link(service, waits)
    yield made
    made.close()


@pytest.fixture
def bench(box: outbox.Outbox, way: link.Link, clock: Clock) -> Bench:
    """A bench, ready to work."""
    return Bench(box, way, clock)
