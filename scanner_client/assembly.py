"""The one place where a bench is put together: its outbox, its way to the service, its clock."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from scanner_client import link, outbox
from scanner_client.settings import Settings
from scanner_client.station import Bench


@contextmanager
def bench(told: Settings) -> Iterator[Bench]:
    """A bench as the settings say, closed at the end."""
    patience = link.Patience(answer_s=told.answer_s)
    box = outbox.open_file(told.outbox, now)
    way = link.Link(link.client(told.url, told.token, patience), patience)
    try:
        yield Bench(box, way, now)
    finally:
        way.close()
        box.close()


def now() -> datetime:
    """The time, as entries state it."""
    return datetime.now(UTC)
