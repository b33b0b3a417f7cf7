"""Which entries are one event of rework: our rule, no outside source."""

from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core import cycles, reworks
from service.core.outlook.arrays import Integers
from service.core.reworks import Acts, Books

_HOUR_US = 3_600_000_000


class Act(NamedTuple):
    """One entry of a connector: after how many hours, in which cavity, under which order (0: none), a slip or an insertion."""

    hours: float
    cavity: int
    order: int = 0
    slip: bool = False


def acts(*of: list[Act], cavities: int = 4) -> Acts:
    """Acts of connectors that have so many cavities each."""
    every = [(number, act) for number, several in enumerate(of) for act in several]
    return Acts(
        connector=np.array([number for number, _ in every], dtype=np.int64),
        cavity=np.array([number * cavities + act.cavity for number, act in every], dtype=np.int64),
        at_us=np.array([round(act.hours * _HOUR_US) for _, act in every], dtype=np.int64),
        work_order=np.array([act.order for _, act in every], dtype=np.int64),
        slip=np.array([act.slip for _, act in every], dtype=bool),
    )


def books(
    connectors: int = 1,
    cavities: int = 4,
    fitted: int = 4,
    since: float = -1,
    new: bool = False,
    renewed: tuple[tuple[int, float], ...] = (),
) -> Books:
    """Books of connectors that are alike."""
    return Books(
        starts=np.arange(connectors + 1) * cavities,
        since_us=np.full(connectors, round(since * _HOUR_US)),
        fitted=np.full(connectors, fitted),
        new_and_empty=np.full(connectors, new),
        renewed=np.array([cavity for cavity, _ in renewed], dtype=np.int64),
        renewed_us=np.array([round(hours * _HOUR_US) for _, hours in renewed], dtype=np.int64),
    )


ALL = [Act(1, each) for each in range(4)]
DAY = 24.0
ONE_ACT = [
    # acts of one connector -> events, full ones, touches of its cavities in the others
    ("nothing", [], 0, 0, [0, 0, 0, 0]),
    ("one insertion", [Act(1, 0)], 1, 0, [1, 0, 0, 0]),
    ("two in one sitting", [Act(1, 0), Act(12.9, 1)], 1, 0, [1, 1, 0, 0]),
    ("twelve hours apart", [Act(1, 0), Act(13, 1)], 2, 0, [1, 1, 0, 0]),
    ("a sitting is a chain", [Act(1, 0), Act(12, 1), Act(23, 2)], 1, 0, [1, 1, 1, 0]),
    ("one order over a week", [Act(1, 0, 7), Act(7 * DAY, 1, 7)], 1, 0, [1, 1, 0, 0]),
    ("an order that is a heading", [Act(1, 0, 7), Act(31.1 * DAY, 1, 7)], 2, 0, [1, 1, 0, 0]),
    ("two orders in one sitting", [Act(1, 0, 7), Act(2, 1, 8)], 2, 0, [1, 1, 0, 0]),
    ("one without an order goes with the order before", [Act(1, 0, 7), Act(2, 1), Act(3, 2, 8)], 2, 0, [1, 1, 1, 0]),
    ("or with the first one after", [Act(1, 1), Act(2, 0, 7)], 1, 0, [1, 1, 0, 0]),
    ("but not across a night", [Act(1, 0, 7), Act(20, 1)], 2, 0, [1, 1, 0, 0]),
    ("all cavities", ALL, 1, 1, [0, 0, 0, 0]),
    ("all, and one of them twice", [*ALL, Act(1.5, 2)], 2, 1, [0, 0, 1, 0]),
    ("three times in one event", [Act(1, 0), Act(2, 0), Act(3, 0), Act(3, 1)], 3, 0, [3, 1, 0, 0]),
    ("a slip is half a cycle, rounded up", [Act(1, 0, slip=True)], 1, 0, [1, 0, 0, 0]),
    ("a slip and an insertion are one", [Act(1, 0, slip=True), Act(2, 0)], 1, 0, [1, 0, 0, 0]),
    ("three slips are two", [Act(1, 0, slip=True), Act(2, 0, slip=True), Act(3, 0, slip=True)], 2, 0, [2, 0, 0, 0]),
]


@pytest.mark.parametrize(("name", "work", "events", "full", "touches"), ONE_ACT, ids=[each[0] for each in ONE_ACT])
def test_what_is_one_event(name: str, work: list[Act], events: int, full: int, touches: list[int]) -> None:
    """Orders and sittings make events, and cycles of one cavity make several of one."""
    found = reworks.counted(acts(work), books())
    assert (found.events.tolist(), found.full_events.tolist(), found.touches.tolist()) == ([events], [full], touches), (
        name
    )


def test_assembly_is_no_rework() -> None:
    """Fitting contacts into a new empty connector is none, nor is refitting one behind a renewed retainer; the next one is."""
    first = [Act(1, each) for each in range(4)]
    assert reworks.counted(acts(first), books(new=True)).events.tolist() == [0]
    again = [*first, Act(100, 2)]
    assert reworks.counted(acts(again), books(new=True)).touches.tolist() == [0, 0, 1, 0]
    renewed = reworks.counted(acts(again), books(new=True, renewed=((2, 100),)))
    assert renewed.events.tolist() == [0]
    later = reworks.counted(acts([*again, Act(200, 2)]), books(new=True, renewed=((2, 90),)))
    assert (later.events.tolist(), later.touches.tolist()) == ([1], [0, 0, 1, 0])
    of_unknown = reworks.counted(acts(first), books(new=False, renewed=((2, 0.5),)))
    assert (of_unknown.events.tolist(), of_unknown.touches.tolist()) == ([1], [1, 1, 0, 1])


def test_what_opens_the_book_is_left_out() -> None:
    """An event that begins when the book begins would be counted only because it began it."""
    assert reworks.counted(acts([Act(1, 0), Act(2, 1), Act(50, 2)]), books(since=1)).touches.tolist() == [0, 0, 1, 0]


def test_full_is_measured_by_what_is_fitted() -> None:
    """Cavities that are known to be empty are not waited for, as long as half of all were touched."""
    three = [Act(1, each) for each in range(3)]
    assert reworks.counted(acts(three), books(fitted=3)).full_events.tolist() == [1]
    assert reworks.counted(acts(three[:1]), books(fitted=1)).full_events.tolist() == [0]
    assert reworks.counted(acts(three[:2]), books(fitted=1)).full_events.tolist() == [1]


_WORK = st.lists(st.builds(Act, st.integers(1, 2000), st.integers(0, 3), st.integers(0, 3), st.booleans()), max_size=12)


@given(st.lists(_WORK, min_size=1, max_size=3), st.integers(0, 4), st.booleans())
def test_arrays_say_what_going_through_the_entries_says(of: list[list[Act]], fitted: int, new: bool) -> None:
    """For any work, the arrays give what the rule gives entry by entry, and what a fleet allows."""
    found = reworks.counted(acts(*of), books(len(of), fitted=fitted, since=5, new=new))
    plain = [_plainly(work, fitted, new) for work in of]
    assert found.events.tolist() == [events for events, _, _ in plain]
    assert found.full_events.tolist() == [full for _, full, _ in plain]
    assert found.touches.tolist() == [each for _, _, touches in plain for each in touches]
    partial: Integers = found.events - found.full_events
    assert (found.touches <= np.repeat(partial, 4)).all()


def _plainly(work: list[Act], fitted: int, new: bool) -> tuple[int, int, list[int]]:
    """The rule as one would go through a connector's entries by hand."""
    work = sorted(work, key=lambda act: act.hours)
    if new:
        for cavity in range(4):
            first = next((act for act in work if act.cavity == cavity and not act.slip), None)
            if first is not None:
                work.pop(next(place for place, act in enumerate(work) if act is first))
    sittings: list[list[Act]] = []
    for act in work:
        if not sittings or act.hours - sittings[-1][-1].hours >= reworks.SITTING_HOURS:
            sittings.append([])
        sittings[-1].append(act)
    jobs: dict[object, list[Act]] = {}
    for sitting in sittings:
        order = next((act.order for act in sitting if act.order), 0)
        for act in sitting:
            order = act.order or order
            jobs.setdefault(order or id(sitting), []).append(act)
    events: list[list[Act]] = []
    for job in jobs.values():
        events.append([])
        for act in job:
            if events[-1] and act.hours - events[-1][-1].hours >= reworks.WORK_ORDER_DAYS * 24:
                events.append([])
            events[-1].append(act)
    return _tallied([event for event in events if event[0].hours > 5], fitted)


def _tallied(events: list[list[Act]], fitted: int) -> tuple[int, int, list[int]]:
    many, full, touches = 0, 0, [0] * 4
    for event in events:
        used = []
        for cavity in range(4):
            slips = sum(act.slip for act in event if act.cavity == cavity)
            insertions = sum(not act.slip for act in event if act.cavity == cavity)
            used.append(cycles.begun(cycles.Counts(insertions, 0, slips)))
        for turn in range(max(used)):
            touched = [cavity for cavity in range(4) if used[cavity] > turn]
            many += 1
            if len(touched) >= max(fitted, 2):
                full += 1
                continue
            for cavity in touched:
                touches[cavity] += 1
    return many, full, touches
