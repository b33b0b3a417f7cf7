"""Work orders of the demo: the newest of those that its entries name, as the shop would have planned them, and one to be done.

Nobody has signed any: whoever tries the demo puts people on the list and gives them their secrets.
"""

from collections.abc import Iterator
from datetime import datetime

from msgspec import Struct

from service.core.entries import Entry, Kind
from service.core.records.orders import Act, PlannedStep, Reference, WorkOrder
from service.demo.fleet import Connector, Fleet
from service.demo.operator import PROGRAMMES

_MOST = 8
_SHOWN = (Kind.REMOVAL, Kind.INSERTION)
_PRACTICE = Reference(document="Larkmoor house practice HP-12", revision="C", task="4.2")


class _Job(Struct):
    """What was done under one number on one connector."""

    number: str
    connector: Connector
    entries: list[Entry]
    ended: datetime


def of(fleet: Fleet) -> Iterator[tuple[str, WorkOrder]]:
    """The orders with their numbers, the oldest first."""
    jobs = sorted(_jobs(fleet), key=lambda each: (each.ended, each.number))[-_MOST:]
    for at, job in enumerate(jobs):
        yield job.number, _order(job, inspected=at % 2 == 1)
    if jobs:
        yield f"WO-{fleet.today:%y%j}-900", _planned(jobs[-1].connector)


def _jobs(fleet: Fleet) -> Iterator[_Job]:
    programmes = {each.order for each in PROGRAMMES}
    found: dict[str, _Job | None] = {}
    for connector in fleet.connectors:
        for fact in connector.facts:
            number, entry = fact.entry.work_order, fact.entry
            if number is None or number in programmes or entry.kind not in _SHOWN:
                continue
            job = found.setdefault(number, _Job(number, connector, [], entry.performed_at))
            if job is None or job.connector is not connector:
                # One number for work on several: what it was planned as is nothing to guess at.
                found[number] = None
                continue
            job.entries.append(entry)
            job.ended = max(job.ended, entry.performed_at)
    yield from (each for each in found.values() if each is not None)


def _order(job: _Job, *, inspected: bool) -> WorkOrder:
    cavities = list(dict.fromkeys(each.cavity for each in job.entries if each.cavity is not None))
    steps = (_step(job, cavity) for cavity in cavities)
    return WorkOrder(
        title=f"Intermittent circuit: rework {', '.join(cavities)}",
        reference=_PRACTICE,
        inspection_required=inspected,
        steps=tuple(steps),
    )


def _step(job: _Job, cavity: str) -> PlannedStep:
    kinds = {each.kind for each in job.entries if each.cavity == cavity}
    act = Act.REPLACE if len(kinds) > 1 else Act.INSERT if Kind.INSERTION in kinds else Act.REMOVE
    return PlannedStep(act=act, connector=str(job.connector.registration.id), cavity=cavity)


def _planned(connector: Connector) -> WorkOrder:
    step = PlannedStep(
        act=Act.SEATING_TEST, connector=str(connector.registration.id), note="one light pull, all contacts"
    )
    return WorkOrder(title="Check that the contacts are seated", reference=_PRACTICE, steps=(step,))
