"""Events of rework: which entries of a connector belong to one act, and which cavities it touched.

Our rule, no outside source. An event is what one work order did, or what was done in one sitting:

- Insertions and tine entries use a retainer up; a removal does so by the insertion that follows it, and is not counted twice.
- Acts on one connector less than 12 hours apart are one sitting. In a sitting, an act without a work order belongs to the one
  before it that has one, else to the first that has; a sitting without any work order is an event by itself.
- Acts under one work order are one event, unless 30 days lie between two of them: such an order is a heading, not a job.
- A cavity that took several cycles in an event counts as that many events, each of which touches the cavities that took as many.
- An event is full if it touched as many cavities as are not known to be empty now, and at least half of all.
- The first insertion into a cavity that came new and empty, or whose retainer was renewed, is its assembly and no rework.
- What the book of a connector begins with says nothing of how often rework comes, and is left out.
"""

import numpy as np
from msgspec import Struct

from service.core.outlook.arrays import Flags, Integers

SITTING_HOURS = 12
WORK_ORDER_DAYS = 30
_HOUR_US = 3_600_000_000
_DAY_US = 24 * _HOUR_US


class Acts(Struct, frozen=True, eq=False):
    """m entries that use retainers up, in any order: of which `connector` and `cavity`, by their numbers, `at_us` when.

    `work_order`: a number for each work order, 0 where none is stated. `slip`: a tool that released nothing; else an insertion.
    """

    connector: Integers
    cavity: Integers
    at_us: Integers
    work_order: Integers
    slip: Flags


class Books(Struct, frozen=True, eq=False):
    """What the acts are read against: n connectors and their c cavities one after the other.

    `starts` (n + 1,) where the cavities of each begin; `since_us` (n,) when its book begins; `fitted` (n,) cavities not known to
    be empty now; `new_and_empty` (n,) whether it came so. Of r renewals of retainers: `renewed` which cavity, `renewed_us` when.
    """

    starts: Integers
    since_us: Integers
    fitted: Integers
    new_and_empty: Flags
    renewed: Integers
    renewed_us: Integers


class Reworks(Struct, frozen=True, eq=False):
    """Of each connector its `events` and the `full_events` among them (n,); of each cavity its `touches` in the others (c,)."""

    events: Integers
    full_events: Integers
    touches: Integers


def counted(acts: Acts, books: Books) -> Reworks:
    """The events of each connector, and what they touched."""
    work = _chosen(acts, ~_assembly(acts, books))
    order = np.lexsort((work.at_us, work.connector))
    work = _chosen(work, order)
    event = _events(work)
    begins = np.full(int(event.max(initial=-1)) + 1, np.iinfo(np.int64).max)
    np.minimum.at(begins, event, work.at_us)
    kept = begins[event] > books.since_us[work.connector]
    return _tally(_chosen(work, kept), event[kept], books)


def _chosen(acts: Acts, which: Flags | Integers) -> Acts:
    return Acts(*(getattr(acts, name)[which] for name in Acts.__struct_fields__))


def _assembly(acts: Acts, books: Books) -> Flags:
    """Which acts fit a contact for the first time in a retainer's life that is known to have begun with an empty cavity."""
    inserted = np.flatnonzero(~acts.slip)
    cavity = np.concatenate([books.renewed, acts.cavity[inserted]])
    at = np.concatenate([books.renewed_us, acts.at_us[inserted]])
    act = np.concatenate([np.full(books.renewed.size, -1), inserted])
    # Of one instant, the renewal comes first: a contact can only go in after it.
    order = np.lexsort((act >= 0, at, cavity))
    cavity, act = cavity[order], act[order]
    first = np.ones(cavity.size, dtype=bool)
    first[1:] = cavity[1:] != cavity[:-1]
    after_renewal = np.zeros(cavity.size, dtype=bool)
    after_renewal[1:] = (act[:-1] < 0) & ~first[1:]
    empty = books.new_and_empty[np.searchsorted(books.starts, cavity, side="right") - 1]
    found = np.zeros(acts.slip.size, dtype=bool)
    found[act[(act >= 0) & (after_renewal | (first & empty))]] = True
    return found


def _events(work: Acts) -> Integers:
    """The number of the event of each act. The acts are in the order of connector and time."""
    count = work.at_us.size
    if not count:
        return np.empty(0, dtype=np.int64)
    other = np.ones(count, dtype=bool)
    other[1:] = work.connector[1:] != work.connector[:-1]
    apart = other.copy()
    apart[1:] |= np.diff(work.at_us) >= SITTING_HOURS * _HOUR_US
    sitting = np.cumsum(apart) - 1
    labelled = _labels(work.work_order, sitting)
    alone = np.where(labelled == 0, sitting, -1)
    order = np.lexsort((work.at_us, alone, labelled, work.connector))
    begins = np.ones(count, dtype=bool)
    begins[1:] = np.diff(work.at_us[order]) >= WORK_ORDER_DAYS * _DAY_US
    for each in (alone, labelled, work.connector):
        begins[1:] |= each[order][1:] != each[order][:-1]
    found = np.empty(count, dtype=np.int64)
    found[order] = np.cumsum(begins) - 1
    return found


def _labels(work_order: Integers, sitting: Integers) -> Integers:
    """The work order of each act, taken over within its sitting from the last that states one, else from the first."""
    count = work_order.size
    places = np.arange(count)
    last = np.maximum.accumulate(np.where(work_order != 0, places, -1))
    following = np.minimum.accumulate(np.where(work_order != 0, places, count)[::-1])[::-1]
    before = np.where((last >= 0) & (sitting[last] == sitting), last, -1)
    within = (following < count) & (sitting[np.minimum(following, count - 1)] == sitting)
    source = np.where(before >= 0, before, np.where(within, following, -1))
    return np.where(source >= 0, work_order[source], 0)


def _tally(work: Acts, event: Integers, books: Books) -> Reworks:
    cavities = int(books.starts[-1])
    pairs, pair = np.unique(event * max(cavities, 1) + work.cavity, return_inverse=True)
    slips = np.bincount(pair, weights=work.slip, minlength=pairs.size).astype(np.int64)
    insertions = np.bincount(pair, minlength=pairs.size) - slips
    # What `cycles.begun` makes of them: half of all loads, rounded up, but at least the insertions.
    cycles = np.maximum(insertions, (insertions + slips + 1) // 2)
    # Each cycle of a cavity in an event is a touch; the first ones of all cavities are one event, the second ones another.
    touch_of = np.repeat(np.arange(pairs.size), cycles)
    turn = np.arange(touch_of.size) - np.repeat(np.cumsum(cycles) - cycles, cycles)
    most = int(turn.max(initial=0)) + 1
    numbers, number, many = np.unique(
        (pairs // max(cavities, 1))[touch_of] * most + turn, return_inverse=True, return_counts=True
    )
    touched = (pairs % max(cavities, 1))[touch_of]
    owner_of_touch = np.searchsorted(books.starts, touched, side="right") - 1
    owner = np.empty(numbers.size, dtype=np.int64)
    owner[number] = owner_of_touch
    full = many >= np.maximum(books.fitted[owner], (np.diff(books.starts)[owner] + 1) // 2)
    connectors = books.starts.size - 1
    return Reworks(
        events=np.bincount(owner, minlength=connectors),
        full_events=np.bincount(owner[full], minlength=connectors),
        touches=np.bincount(touched[~full[number]], minlength=cavities),
    )
