"""What feeds the talk: the keys, and beside them a serial scanner or a camera, each in a thread of its own."""

import queue
import threading
from collections.abc import Callable, Iterable, Iterator

from msgspec import Struct

from scanner_client import sources, wedge
from scanner_client.readings import Reading


def merged(
    primary: Iterable[wedge.Event | None], others: Iterable[Iterable[wedge.Event]]
) -> Iterator[wedge.Event | None]:
    """Events of the keys, and between them those of scanners and cameras, which run in threads of their own."""
    arrived: queue.SimpleQueue[wedge.Event] = queue.SimpleQueue()
    for each in others:
        threading.Thread(target=_pour, args=(each, arrived.put), daemon=True).start()
    for event in primary:
        while not arrived.empty():
            yield arrived.get()
        yield event


def scans(seen: Iterable[Reading]) -> Iterator[wedge.Event]:
    """A camera's readings as events."""
    for each in seen:
        yield wedge.Scan(each)


def _pour(events: Iterable[wedge.Event], put: Callable[[wedge.Event], None]) -> None:
    try:
        for each in events:
            put(each)
    except sources.UnavailableError as error:
        put(wedge.Refused(str(error)))


class Sources(Struct, frozen=True):
    """Which sources feed the talk beside the keys."""

    camera: str | None = None
    serial: str | None = None
    baud: int = 9600


def others(chosen: Sources) -> Iterator[Iterable[wedge.Event]]:
    """The sources beside the keys, opened."""
    if chosen.camera:
        yield scans(sources.camera(chosen.camera))
    if chosen.serial:
        yield sources.serial_messages(sources.serial_port(chosen.serial, chosen.baud))
