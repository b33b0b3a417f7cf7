"""The demo fleet: aircraft, connectors and eight years of entries of an invented operator, all from one seed.

How often connectors are reworked is an assumption without a source: no published rate of contact removals per connector
was found. Rework events are gamma-Poisson (mean 0.02 per 1 000 flight hours, shape 0.5, at 3 000 hours a year), twice
as frequent on aircraft over 20 years old; each touches one and geometrically fewer more cavities, a twentieth of them
all. On top come trouble-shooting on intermittent circuits, modification programmes, and one chronic position. A rating
of 10 is a placeholder of the trade's usual order of size, marked as not verified on most connectors.
"""

import random
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from functools import partial
from uuid import UUID

from msgspec import Struct

from service.catalog import Catalog
from service.core.discrepancies import Code
from service.core.entries import Entry, Kind
from service.demo import calendar, happenings, mishaps, operator, rates, rigs
from service.demo import yard as yards
from service.demo.operator import Position
from service.demo.rates import Aircraft
from service.demo.story import Fact, Story
from service.demo.yard import Yard
from service.messages import Registration
from service.usage_messages import UsageRow, VisitRow

INTERMITTENT_SHARE, CHRONIC_SHARE = 0.055, 0.8
"""Connectors with an intermittent circuit, elsewhere and at the chronic position."""
ASSEMBLED_SHARE = 0.45
"""New connectors whose contacts the operator's own bench put in; the others came populated."""
CHECK_DAYS = 720

_LATE, _TWICE, _NO_SOURCE = 1, 2, 3
_Occurrence = tuple[datetime, Callable[[Story, datetime], None]]


class Size(Struct, frozen=True):
    """How much of the fleet is wanted: tests take a few aircraft with a part of their positions.

    `troubled`: with what is there to be found, a worn tool and a chronic position; without it they are like the others.
    """

    aircraft: int = 36
    positions: int = 84
    spares: int = 24
    troubled: bool = True


FULL = Size()


class Connector(Struct, frozen=True):
    """One connector: how and when it was registered, and what was recorded of it, in the order of recording."""

    registration: Registration
    registered_at: datetime
    facts: tuple[Fact, ...]


class Fleet(Struct, frozen=True):
    """All that the demo has. `strays` are entries for marks that nobody registered; they wait, parked, for a connector.

    `due`: the last day of each tool's check. `usage` and `visits`: what the aircraft flew month by month, and when they come in.
    """

    seed: int
    today: date
    people: dict[str, str]
    tools: dict[str, str]
    due: dict[str, date]
    connectors: tuple[Connector, ...]
    strays: tuple[Fact, ...]
    usage: tuple[UsageRow, ...]
    visits: tuple[VisitRow, ...]

    @property
    def registrations(self) -> tuple[Registration, ...]:
        """All registrations."""
        return tuple(each.registration for each in self.connectors)

    @property
    def entries(self) -> tuple[Entry, ...]:
        """All entries, those of one connector together."""
        return tuple(fact.entry for fact in self.facts)

    @property
    def facts(self) -> Iterator[Fact]:
        """All entries with the times at which they are recorded, the strays last."""
        for each in self.connectors:
            yield from each.facts
        yield from self.strays


def fleet(seed: int, today: date, book: Catalog, size: Size = FULL) -> Fleet:
    """The fleet of a seed as of a day: the same arguments give the same bytes. Nothing in it lies after that day's start."""
    yard = Yard(seed, today, book, troubled=size.troubled)
    connectors = [*_adapters(yard), *_spares(yard, size.spares)]
    flying = _aircraft(yard, size.aircraft)
    fitted = [(aircraft, position) for aircraft in flying for position in _positions(size.positions)]
    troubles = _troubles(yard, fitted)
    for aircraft, position in fitted:
        connectors.extend(_at_position(yard, aircraft, position, troubles.get((aircraft.mark, position.name), ())))
    return Fleet(
        seed=seed,
        today=today,
        people=operator.PEOPLE,
        tools=operator.TOOLS,
        due=calendar.tools_due(today),
        connectors=tuple(connectors),
        strays=_strays(yard),
        usage=calendar.flown(yard, flying),
        visits=calendar.visits(yard, flying),
    )


def _adapters(yard: Yard) -> Iterator[Connector]:
    for rig in rigs.RIGS:
        item = yard.item(rig.key, rig.position, history="new", populated=None)
        story = yard.story(item, rig.key)
        rigs.tell(story, rig, yard.began + timedelta(days=1))
        yield Connector(item.registration, yard.began, story.told())


def _spares(yard: Yard, count: int) -> Iterator[Connector]:
    for each in range(count):
        position = operator.POSITIONS[each * 7 % len(operator.POSITIONS)]
        at = yard.until - timedelta(days=40 + 9 * each, hours=-10)
        item = yard.item(f"spare {each + 1}", position, history="new", populated=None)
        story = yard.story(item, f"spare {each + 1}")
        happenings.store(story, at)
        yield Connector(item.registration, at - timedelta(minutes=20), story.told())


def _aircraft(yard: Yard, count: int) -> list[Aircraft]:
    found = []
    for each in range(count):
        used = each < max(1, count // 9)
        begins = yard.began + timedelta(days=12 + (20 * each if used else each / count * 2650))
        built = begins - timedelta(days=5500 + 450 * each if used else 60)
        found.append(Aircraft(each + 1, count, built, begins, used))
    return found


def _positions(count: int) -> tuple[Position, ...]:
    first = [
        each
        for each in operator.POSITIONS
        if each.name in (operator.CHRONIC, *operator.CAMPAIGNED) or each.name in operator.UNRATED
    ]
    others = [each for each in operator.POSITIONS if each not in first]
    wanted = max(count - len(first), 0)
    chosen = [*first, *(others[each * len(others) // wanted] for each in range(wanted))]
    return tuple(each for each in operator.POSITIONS if each in chosen)


def _troubles(
    yard: Yard, fitted: list[tuple[Aircraft, Position]]
) -> dict[tuple[str, str], tuple[tuple[Code, bool], ...]]:
    """Which mishaps befall whom; the first of each kind is never resolved, so that there is one to look at."""
    rated = [(a.mark, p.name) for a, p in fitted if not a.used and p.name not in operator.CAMPAIGNED]
    each_kind = max(1, len(rated) // 240)
    wanted = [(code, each > 0) for code in mishaps.MISHAPS for each in range(each_kind)]
    chosen = yard.rng("troubles").sample(rated, len(wanted))
    return {where: ((code, settle),) for where, (code, settle) in zip(chosen, wanted, strict=True)}


def _at_position(
    yard: Yard, aircraft: Aircraft, position: Position, troubles: tuple[tuple[Code, bool], ...]
) -> Iterator[Connector]:
    """The connector at a position, and those that came after it where one was retired."""
    begins, number = aircraft.begins, 1
    while True:
        key = f"{aircraft.mark} {position.name} {number}"
        rng = yard.rng(key)
        unknown = aircraft.used and number == 1
        own_bench = not unknown and rng.random() < ASSEMBLED_SHARE
        item = yard.item(key, position, history="unknown" if unknown else "new", populated=None if own_bench else True)
        story = yard.story(item, key)
        arrives = begins - timedelta(days=rng.randint(15, 60)) if number == 1 and not unknown else begins
        plan = _plan(yard, rng, story, aircraft, position, begins, troubles if number == 1 else ())
        if own_bench:
            happenings.assemble(story, arrives + timedelta(hours=8))
        happenings.fit(story, begins + timedelta(hours=10), aircraft.mark, position)
        if unknown:
            _what_it_came_with(yard, story, begins)
        for at, act in sorted(plan, key=lambda each: each[0]):
            act(story, at)
        yield Connector(item.registration, max(arrives, yard.began), story.told())
        if story.retired_at is None or story.retired_at > yard.until - timedelta(days=30):
            return
        begins, number = story.retired_at + timedelta(days=2), number + 1


def _what_it_came_with(yard: Yard, story: Story, begins: datetime) -> None:
    """Of connectors older than the log book, about half have a traveller that says how many cycles they had."""
    yard.unknowns += 1
    # The first three and every hundredth after them show what goes wrong with opening counts.
    case = yard.unknowns % 100
    if case > 3 and case % 20 > 11:
        return
    at = begins + timedelta(days=story.rng.randint(3, 120))
    if case == _LATE:
        happenings.rework(story, at - timedelta(days=2), story.pick(2))
    if not story.session(at, operator.BENCHES):
        return
    counted = min(1 + int(story.rng.expovariate(0.55)), 9)
    source = f"traveller {story.rng.randint(200, 999)}, rework sheets of the former operator, counted per connector"
    clerk = story.rng.choice(operator.INSPECTORS)
    story.carry_in(counted, source=None if case == _NO_SOURCE else source, performed_by=clerk)
    if case == _TWICE:
        copy = f"{source}, second copy"
        story.note(Kind.CARRY_IN, source=copy, performed_by=clerk, insertions=counted, removals=counted - 1)


def _plan(
    yard: Yard,
    rng: random.Random,
    story: Story,
    aircraft: Aircraft,
    position: Position,
    begins: datetime,
    troubles: tuple[tuple[Code, bool], ...],
) -> list[_Occurrence]:
    """Everything that is going to happen to a connector at its position, with the day and hour."""
    plan: list[_Occurrence] = []
    span = yard.until - begins
    first = begins + timedelta(days=rng.randint(300, CHECK_DAYS))
    plan.extend((at, happenings.check) for at in _every(first, yard.until, timedelta(days=CHECK_DAYS)))
    plan.extend((at, happenings.rework) for at in rates.reworks(rng, aircraft, begins, yard.until))
    if rng.random() < (CHRONIC_SHARE if yard.troubled and position.name == operator.CHRONIC else INTERMITTENT_SHARE):
        circuit = story.pick(1)[0]
        plan.extend(
            (at, partial(_chased, circuit=circuit)) for at in rates.visits(rng, begins + span * 0.1, yard.until)
        )
    for programme in operator.PROGRAMMES:
        at = rates.embodied(aircraft, programme, yard.until)
        if position.name in programme.positions and at > begins + timedelta(days=20):
            names = list(story.cavities)[: programme.cavities]
            plan.append((at, partial(happenings.rework, names=names, order=programme.order)))
    for code, settle in troubles:
        at = rates.in_hours(rng, begins + span * rng.uniform(0.2, 0.9))
        plan.append((at, partial(mishaps.befall, code=code, settle=settle)))
    return plan


def _chased(story: Story, at: datetime, *, circuit: str) -> None:
    happenings.chase(story, at, circuit)


def _every(first: datetime, until: datetime, step: timedelta) -> Iterator[datetime]:
    at = first + timedelta(hours=7)
    while at < until:
        yield at
        at += step


def _strays(yard: Yard) -> tuple[Fact, ...]:
    """Work on connectors that nobody has registered; the last entry of the fleet is one of them."""
    rng = yard.rng("strays")
    found: list[Fact] = []
    for mark, kind in (("LAS90417", Kind.REMOVAL), ("LAS90417", Kind.INSERTION), ("LAS90731", Kind.INSERTION)):
        at = yard.until - timedelta(days=6, minutes=rng.randint(5, 200) - 10 * len(found))
        last = len(found) == 2
        entry = Entry(
            id=yards.closing_id(yard.seed) if last else UUID(int=rng.getrandbits(128), version=4),
            connector=mark,
            kind=kind,
            cavity="A",
            performed_at=at,
            performed_by=rng.choice(operator.TECHNICIANS),
            bench=operator.TABLETS[2],
        )
        found.append(Fact(entry, at + timedelta(minutes=3)))
    return tuple(found)
