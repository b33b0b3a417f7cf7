"""Sending what waits: oldest first, in batches, until nothing waits or the service is away. Nothing is ever dropped."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import datetime
from uuid import UUID

from msgspec import Struct, structs

from scanner_client import link, outbox
from scanner_client.link import AwayError, DeniedError, GarbledError, Link, RejectedError
from scanner_client.outbox import Kept, Outbox, Settled
from service.messages import EntriesReply, EntryResult

_ABOUT_CONTENT = frozenset({400, 413, 422})
"""A whole request that is answered so holds something unacceptable; any other refusal is about bench or address."""
MOST_ASKED = 50
"""Parked entries that are asked after at once: somebody waits meanwhile."""
_STATUS = {"recorded": "sent", "already_recorded": "sent", "parked": "parked", "refused": "refused"}


class Sent(Struct, frozen=True):
    """What one round of sending did. `stopped`: why it ended early; what it did not reach stays unsent."""

    recorded: int = 0
    already_recorded: int = 0
    parked: int = 0
    refused: int = 0
    results: tuple[EntryResult, ...] = ()
    stopped: str | None = None
    denied: bool = False


def send(box: Outbox, way: Link, clock: Callable[[], datetime], most: int = link.MOST_AT_ONCE) -> Sent:
    """Send what waits. Only one process sends from an outbox at a time."""
    done = Sent()
    try:
        with box.sending():
            while waiting := box.of_status("unsent", most):
                for batch in _batches(box, way, clock, waiting):
                    done = _added(done, batch)
    except DeniedError as error:
        return structs.replace(done, stopped=str(error), denied=True)
    except (AwayError, GarbledError, RejectedError, outbox.OccupiedError) as error:
        return structs.replace(done, stopped=str(error))
    return done


def ask_after(box: Outbox, way: Link, parked: Sequence[Kept]) -> bool:
    """Ask what became of parked entries, oldest first, and write down which were assigned. Whether any was.

    Where the service can't be asked they stay parked, and so does one that it does not know.
    """
    joined: list[tuple[UUID, UUID]] = []
    with suppress(AwayError, DeniedError, GarbledError):
        for each in parked[:MOST_ASKED]:
            with suppress(RejectedError):
                place = way.entry(each.entry.id)
                if place.connector is not None:
                    joined.append((place.id, place.connector))
    if joined:
        box.join(joined)
    return bool(joined)


def _batches(
    box: Outbox, way: Link, clock: Callable[[], datetime], waiting: Sequence[Kept]
) -> list[tuple[EntryResult, ...]]:
    """Send a batch and write down its outcomes; halve one that is refused as a whole until the culprit stands alone."""
    try:
        reply = way.entries([each.entry for each in waiting], clock())
    except RejectedError as error:
        if error.problem.status not in _ABOUT_CONTENT:
            raise
        if len(waiting) > 1:
            middle = len(waiting) // 2
            return [*_batches(box, way, clock, waiting[:middle]), *_batches(box, way, clock, waiting[middle:])]
        refused = EntryResult(id=waiting[0].entry.id, outcome="refused", problem=error.problem)
        reply = EntriesReply(results=(refused,))
    box.settle(_settled(each) for each in reply.results)
    return [reply.results]


def _settled(result: EntryResult) -> Settled:
    assert isinstance(result.id, UUID)  # noqa: S101 - the link has compared the ids with those that were sent
    return Settled(
        id=result.id,
        status=_STATUS[result.outcome],  # type: ignore[arg-type]
        discrepancies=result.discrepancies,
        problem=result.problem,
    )


def _added(done: Sent, results: tuple[EntryResult, ...]) -> Sent:
    counted = {name: getattr(done, name) + sum(each.outcome == name for each in results) for name in _STATUS}
    return structs.replace(done, results=(*done.results, *results), **counted)
