"""What runs of the outlook kept, read again."""

from collections.abc import Iterable, Sequence

import msgspec
import numpy as np
from msgspec import Struct

from service import outlook_messages as messages
from service import problems
from service.store import database
from service.store.database import Connection
from service.workflow import outlook_runs
from service.workflow.outlook_runs import Believed, Summary

_Z90 = 1.6448536269514722
"""Of a normal number, 90 % lie within so many standard deviations."""


class Run(Struct, frozen=True):
    """A run: its number, what it rests on, and what it says of that in every answer."""

    number: int
    summary: Summary
    rested: messages.Rested


async def newest(connection: Connection) -> Run | None:
    """The newest run; None where none was computed yet."""
    row = await database.fetch_one(connection, "newest_outlook_run")
    if row is None:
        return None
    summary = msgspec.json.decode(row["body"], type=Summary)
    stamp = (row["as_of"], row["computed_at"], row["computed_by"])
    return Run(row["run"], summary, outlook_runs.rested(row["run"], *stamp, summary))


async def believed(connection: Connection, run: int, numbers: Iterable[int] | None) -> dict[int, Believed]:
    """What a run believed of some groups, or of all, by their numbers."""
    wanted = None if numbers is None else sorted(set(numbers))
    rows = await database.fetch(connection, "outlook_groups", run, wanted)
    return {row["number"]: msgspec.json.decode(row["body"], type=Believed) for row in rows}


def group_view(each: Believed) -> messages.GroupView:
    """What was believed of a group, with the 90 % interval of its average rate."""
    spread = float(np.exp(_Z90 * np.sqrt(max(each.prior.covariance[0], 0.0))))
    average = each.prior.mean * 1000
    return messages.GroupView(
        family=each.group.family,
        zone=each.group.zone,
        asset_type=each.group.asset_type,
        exposure=each.group.exposure,
        connectors=each.connectors,
        events=each.events,
        units_seen=each.prior.exposure,
        basis=each.prior.basis,
        per_thousand=average,
        per_thousand_low=average / spread,
        per_thousand_high=average * spread,
        spread=each.prior.shape**-0.5,
        breadth=each.touching.breadth,
        full_share=each.touching.full_share,
        prior=each.prior.why,
        touching=each.touching.why,
    )


def horizon(asked_days: int, horizons: Sequence[int]) -> int:
    """The place of the kept horizon that answers for the one that is asked for: the same, or the next longer.

    Raises the problem for one beyond the last.
    """
    place = next((place for place, days in enumerate(horizons) if days >= asked_days), None)
    if place is None:
        text = f"the outlook looks {horizons[-1]} days ahead; its horizons are {', '.join(map(str, horizons))} days"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("?horizon_days", text))
    return place
