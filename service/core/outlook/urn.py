"""Touches of cavities that are alike: beta-binomial tables, built as Polya's urn draws them (from memory).

An urn needs no difference of large logarithms: each event adds to what the last one left, and every term is positive.
"""

import numpy as np
from msgspec import Struct

from service.core.outlook.arrays import Floats, Integers
from service.core.outlook.fleet import Fleet
from service.core.outlook.supposition import Suppositions
from service.core.outlook.touching import chance


class Alike(Struct, frozen=True, eq=False):
    """The cavities of a fleet, those of one connector that are alike taken together.

    `table` (room, kinds, events) is the log probability that a cavity of a kind, with room - 1 touches to spare, lasts so many
    partial events; room 0 never lasts. Of each lot of alike cavities: `room` and `kind`, the place in the table, and `often`,
    how many they are. The lots of connector i begin at `firsts[i]`.
    """

    table: Floats
    room: Integers
    kind: Integers
    often: Floats
    firsts: Integers


def alike(fleet: Fleet, supposed: Suppositions, fellows: Integers, most: int) -> Alike:
    """Sort a fleet's cavities into kinds, for up to `most` events; `fellows` (n,) is how many cavities share the events.

    Every connector has at least one cavity.
    """
    owner = np.repeat(np.arange(fleet.connectors), fleet.cavities)
    alpha, beta, kind = _kinds(fleet, supposed, fellows, owner)
    # Who has more touches to spare than there are events can't run out, however many more.
    room = np.clip(fleet.left.astype(np.int64), 0, most + 1)
    rooms = int(room.max(initial=0)) + 1
    packed = np.sort((owner * alpha.size + kind) * rooms + room)
    begins = np.flatnonzero(np.concatenate([[True], packed[1:] != packed[:-1]]))
    lots, room_of_lot = np.divmod(packed[begins], rooms)
    owner_of_lot, kind_of_lot = np.divmod(lots, alpha.size)
    return Alike(
        table=lasting(alpha, beta, rooms, most),
        room=room_of_lot,
        kind=kind_of_lot,
        often=np.diff(np.append(begins, packed.size)).astype(np.float64),
        firsts=np.searchsorted(owner_of_lot, np.arange(fleet.connectors)),
    )


def lasting(alpha: Floats, beta: Floats, rooms: int, most: int) -> Floats:
    """Log probability that beta-binomial touches stay below the room, for 0 .. rooms - 1 of it and 0 .. most events.

    Alpha and beta: (kinds,), positive. Result: (rooms, kinds, most + 1); minus infinity where there is no room at all.
    """
    touches = np.arange(max(rooms - 1, 1))
    chances = np.zeros((touches.size, alpha.size))
    chances[0] = 1
    found = np.full((rooms, alpha.size, most + 1), -np.inf)
    for events in range(most + 1):
        with np.errstate(divide="ignore"):
            found[1:, :, events] = np.log(np.minimum(np.cumsum(chances, axis=0), 1))[: rooms - 1]
        drawn = alpha + beta + events
        missed = chances * (np.maximum(beta + events - touches[:, None], 0) / drawn)
        missed[1:] += chances[:-1] * ((alpha + touches[:-1, None]) / drawn)
        chances = missed
    return found


def _kinds(fleet: Fleet, supposed: Suppositions, fellows: Integers, owner: Integers) -> tuple[Floats, Floats, Integers]:
    """Alpha and beta of each kind of cavity, and the kind of each cavity: same group, company, events and touches."""
    partial = (fleet.events - fleet.full_events).astype(np.int64)
    most_partial, most_fellows = int(partial.max(initial=0)) + 1, int(fellows.max(initial=0)) + 1
    code = (fleet.group * most_fellows + fellows) * most_partial + partial
    companies, company = np.unique(code, return_inverse=True)
    group, rest = np.divmod(companies, most_fellows * most_partial)
    fellows_of, partial_of = np.divmod(rest, most_partial)
    most_touches = int(fleet.touches.max(initial=0)) + 1
    of_cavity = company[owner] * most_touches + fleet.touches
    # Numbered by looking them up instead of sorting, for a fleet has tens of millions of cavities and few kinds.
    present = np.zeros(companies.size * most_touches, dtype=bool)
    present[of_cavity] = True
    kinds = np.flatnonzero(present)
    of, touches = np.divmod(kinds, most_touches)
    touched, evenness = chance(supposed.breadth[group], fellows_of)[of], supposed.evenness[group][of]
    alpha = evenness * touched + touches
    beta = evenness * (1 - touched) + partial_of[of] - touches
    return alpha, beta, (np.cumsum(present) - 1)[of_cavity]
