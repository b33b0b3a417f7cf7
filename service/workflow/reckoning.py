"""The fleet's sums against the states that they are sums of."""

from collections.abc import Iterator
from uuid import UUID

from service.core import reported, states
from service.core.entries import HouseRule
from service.core.reported import Sums
from service.core.transfers import leaving
from service.store import database, fleet, ledger
from service.store.database import Connection

_PAGE = 1_000


async def missing(connection: Connection, house: HouseRule) -> Sums:
    """What would have to be added so that the sums are those of the states; nothing where they are.

    Both are read in one snapshot. Writers only ever add what they change, so the answer stays right while they go on.
    """
    wanted = Sums()
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        for key, counts in (held := await fleet.summed(connection)).groups.items():
            wanted.groups[key] = [-each for each in counts]
        wanted.steps |= {step: -count for step, count in held.steps.items()}
        after, definitions = UUID(int=0), ledger.Definitions()
        while rows := await database.fetch(connection, "proof_states", after, _PAGE):
            known = await definitions.fetch(connection, ((row["connector"], row["definition"]) for row in rows))
            for row in rows:
                # A state that can't be read, or has no definition, is told of elsewhere.
                definition = known.get((row["connector"], row["definition"]))
                state = _read(row["state"])
                if state is not None and row["handed_over"]:
                    state = leaving.closed(state)
                if definition is not None and state is not None:
                    wanted.add(reported.whole(reported.judge(definition, state, row["bench"], house))[2])
            after = rows[-1]["connector"]
    return wanted.shown()


def _read(data: bytes) -> states.ConnectorState | None:
    try:
        return states.decode(data)
    except states.StateError:
        return None


def told(sums: Sums) -> Iterator[str]:
    """Each sum in words, for saying which are not right."""
    for dimension, parent, name in sums.groups:
        yield f"sum of the {dimension}{name and f' {name}'}{parent and f' of {parent}'}"
    for family, rating, _, begun in sums.steps:
        yield f"sum of retainers with {begun} cycles, rating {rating or 'unknown'}{family and f', {family}'}"
