"""The demo fleet: aircraft, connectors and eight years of entries of an invented operator, all from one seed.

How often connectors are reworked is an assumption without a source: no published rate of contact removals per connector
was found. Rework events are gamma-Poisson (mean 0.02 per 1 000 flight hours, shape 0.5, at 3 000 hours a year), twice
as frequent on aircraft over 20 years old; each touches one and geometrically fewer more cavities, a twentieth of them
all. On top come trouble-shooting on intermittent circuits, modification programmes, and one chronic position. A rating
of 10 is a placeholder of the trade's usual order of size, marked as not verified on most connectors.
"""

import random
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from uuid import UUID, uuid5

from msgspec import Struct

from service.catalog import Catalog
from service.core import part_numbers
from service.core.discrepancies import Code
from service.core.entries import CavityDefinition, Entry, Kind
from service.demo import happenings, mishaps, operator, rigs
from service.demo.operator import Position
from service.demo.story import Fact, Item, Kit, Story
from service.messages import Registration

REWORKS_PER_YEAR = 0.02 * 3.0
SHAPE = 0.5
INTERMITTENT_SHARE, CHRONIC_SHARE = 0.055, 0.8
"""Connectors with an intermittent circuit, elsewhere and at the chronic position."""
VISITS = 5.5
"""How often an intermittent circuit is opened until it is found, on average."""
ASSEMBLED_SHARE = 0.45
"""New connectors whose contacts the operator's own bench put in; the others came populated."""
CHECK_DAYS = 720
OLD = timedelta(days=20 * 365)

_NAMES = UUID("7a1e60b0-5f0e-4d62-9d3c-0d5e4f1ee700")
_YEAR = timedelta(days=365.25)
_LATE, _TWICE, _NO_SOURCE = 1, 2, 3
_Occurrence = tuple[datetime, Callable[[Story, datetime], None]]


class Size(Struct, frozen=True):
    """How much of the fleet is wanted: tests take a few aircraft with a part of their positions."""

    aircraft: int = 36
    positions: int = 84
    spares: int = 24


FULL = Size()


class Connector(Struct, frozen=True):
    """One connector: how and when it was registered, and what was recorded of it, in the order of recording."""

    registration: Registration
    registered_at: datetime
    facts: tuple[Fact, ...]


class Fleet(Struct, frozen=True):
    """All that the demo has. `strays` are entries for marks that nobody registered; they wait, parked, for a connector."""

    seed: int
    today: date
    people: dict[str, str]
    tools: dict[str, str]
    connectors: tuple[Connector, ...]
    strays: tuple[Fact, ...]

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


def opening_id(seed: int) -> UUID:
    """The id of the first connector: it is registered exactly when the log book begins."""
    return uuid5(_NAMES, f"{seed} {rigs.RIGS[0].key}")


def closing_id(seed: int) -> UUID:
    """The id of the last entry: once it is recorded, all are."""
    return uuid5(_NAMES, f"{seed} last")


def began(today: date) -> datetime:
    """When the log book of a fleet that ends at a day begins."""
    return datetime.combine(today, time(), UTC) - timedelta(days=operator.LISTED_SINCE_DAYS)


def ends(opened: datetime) -> date:
    """The day of a fleet whose log book began at a moment."""
    return (opened + timedelta(days=operator.LISTED_SINCE_DAYS)).date()


def fleet(seed: int, today: date, book: Catalog, size: Size = FULL) -> Fleet:
    """The fleet of a seed as of a day: the same arguments give the same bytes. Nothing in it lies after that day's start."""
    yard = _Yard(seed, today, book)
    connectors = [*_adapters(yard), *_spares(yard, size.spares)]
    fitted = [
        (aircraft, position) for aircraft in _aircraft(yard, size.aircraft) for position in _positions(size.positions)
    ]
    troubles = _troubles(yard, fitted)
    for aircraft, position in fitted:
        connectors.extend(_at_position(yard, aircraft, position, troubles.get((aircraft.mark, position.name), ())))
    return Fleet(seed, today, operator.PEOPLE, operator.TOOLS, tuple(connectors), _strays(yard))


class _Aircraft(Struct, frozen=True):
    """One aircraft. A used one was built long before the log book began, and nobody kept count."""

    number: int
    of: int
    built: datetime
    begins: datetime
    used: bool

    @property
    def mark(self) -> str:
        return f"TN-{self.number:02}"


class _Yard:
    """What all stories share: seed, calendar, catalogue, and the serials given so far."""

    def __init__(self, seed: int, today: date, book: Catalog) -> None:
        self.seed = seed
        self.began = began(today)
        self.until = datetime.combine(today, time(), UTC)
        self.worn = (self.until - timedelta(days=500), self.until)
        self.unknowns = 0
        self._book = book
        self._given: dict[tuple[str | None, str], int] = {}
        self._kits: dict[str, Kit] = {}
        self._cages: dict[str, str | None] = {}

    def rng(self, key: str) -> random.Random:
        """Chance of its own for each key, so that one story does not move another."""
        return random.Random(f"{self.seed} {key}")

    def story(self, item: Item, key: str) -> Story:
        return Story(self.rng(f"{key} story"), item, self.until, self.worn)

    def item(self, key: str, position: Position, *, history: str, populated: bool | None) -> Item:
        """A connector for a position, with a serial of its own."""
        number = position.part_number
        decoded = part_numbers.decode(number)
        if not isinstance(decoded, part_numbers.Decoded):
            raise TypeError(f"{number}: {decoded.text}")
        published = self._book.cavities(decoded)
        cavities = published if published is not None else self._assumed(decoded)
        cage = self._cages.setdefault(number, operator.CAGES[len(self._cages) % len(operator.CAGES)])
        registration = Registration(
            id=uuid5(_NAMES, f"{self.seed} {key}"),
            serial=self._serial(number, cage),
            cage=cage,
            part_number=number,
            cavities=None if published is not None else cavities,
            cavity_ids="given" if published is not None else "assumed",
            history="new" if history == "new" else "unknown",
            populated=populated,
            rating=operator.rating(position, f"{self.until - timedelta(days=410):%Y-%m-%d}"),
            mating_rating=operator.mating_rating(),
        )
        return Item(registration, cavities, self._kit(decoded.family), decoded)

    def _assumed(self, decoded: part_numbers.Decoded) -> tuple[CavityDefinition, ...]:
        """Ids where no published ones are at hand. They are registered as assumed, which is shown wherever they are used."""
        arrangement = self._book.arrangement(decoded)
        if arrangement is None:
            raise LookupError(decoded.arrangement)
        ids = iter("ABCDEFGHJKLMNPRSTUVWXYZabcdefghkmnpqrstuvwxyz")
        return tuple(CavityDefinition(next(ids), each.size) for each in arrangement.contacts for _ in range(each.count))

    def _kit(self, family: str) -> Kit:
        if family not in self._kits:
            self._kits[family] = Kit.of(self._book.tooling(family))
        return self._kits[family]

    def _serial(self, part_number: str, cage: str | None) -> str:
        form, per_part = _SERIALS[part_number if part_number in _SERIALS else cage]
        counted = (cage, part_number if per_part else "")
        self._given[counted] = self._given.get(counted, 0) + 1
        return form.format(self._given[counted])


# How each maker writes serials; two part numbers of one maker count from 0001 each, so the serial alone is not enough.
_SERIALS: dict[str | None, tuple[str, bool]] = {
    "0CVA5": ("LK{:06}", False),
    "0F3N5": ("7-{:05}", False),
    "A3309": ("A{:05}", False),
    None: ("LAS{:05}", False),
    "D38999/26WF11SN": ("{:04}", True),
    "D38999/26WF28PN": ("{:04}", True),
}


def _adapters(yard: _Yard) -> Iterator[Connector]:
    for rig in rigs.RIGS:
        item = yard.item(rig.key, rig.position, history="new", populated=None)
        story = yard.story(item, rig.key)
        rigs.tell(story, rig, yard.began + timedelta(days=1))
        yield Connector(item.registration, yard.began, story.told())


def _spares(yard: _Yard, count: int) -> Iterator[Connector]:
    for each in range(count):
        position = operator.POSITIONS[each * 7 % len(operator.POSITIONS)]
        at = yard.until - timedelta(days=40 + 9 * each, hours=-10)
        item = yard.item(f"spare {each + 1}", position, history="new", populated=None)
        story = yard.story(item, f"spare {each + 1}")
        happenings.store(story, at)
        yield Connector(item.registration, at - timedelta(minutes=20), story.told())


def _aircraft(yard: _Yard, count: int) -> list[_Aircraft]:
    found = []
    for each in range(count):
        used = each < max(1, count // 9)
        begins = yard.began + timedelta(days=12 + (20 * each if used else each / count * 2650))
        built = begins - timedelta(days=5500 + 450 * each if used else 60)
        found.append(_Aircraft(each + 1, count, built, begins, used))
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
    yard: _Yard, fitted: list[tuple[_Aircraft, Position]]
) -> dict[tuple[str, str], tuple[tuple[Code, bool], ...]]:
    """Which mishaps befall whom; the first of each kind is never resolved, so that there is one to look at."""
    rated = [(a.mark, p.name) for a, p in fitted if not a.used and p.name not in operator.CAMPAIGNED]
    each_kind = max(1, len(rated) // 240)
    wanted = [(code, each > 0) for code in mishaps.MISHAPS for each in range(each_kind)]
    chosen = yard.rng("troubles").sample(rated, len(wanted))
    return {where: ((code, settle),) for where, (code, settle) in zip(chosen, wanted, strict=True)}


def _at_position(
    yard: _Yard, aircraft: _Aircraft, position: Position, troubles: tuple[tuple[Code, bool], ...]
) -> Iterator[Connector]:
    """The connector at a position, and those that came after it where one was retired."""
    begins, number = aircraft.begins, 1
    while True:
        key = f"{aircraft.mark} {position.name} {number}"
        rng = yard.rng(key)
        unknown = aircraft.used and number == 1
        own_bench = not unknown and rng.random() < ASSEMBLED_SHARE
        item = yard.item(
            key, position, history="unknown" if unknown else "new", populated=None if own_bench else True
        )
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


def _what_it_came_with(yard: _Yard, story: Story, begins: datetime) -> None:
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
        again = {"insertions": counted, "removals": counted - 1}
        story.note(Kind.CARRY_IN, source=f"{source}, second copy", performed_by=clerk, **again)


def _plan(
    yard: _Yard,
    rng: random.Random,
    story: Story,
    aircraft: _Aircraft,
    position: Position,
    begins: datetime,
    troubles: tuple[tuple[Code, bool], ...],
) -> list[_Occurrence]:
    """Everything that is going to happen to a connector at its position, with the day and hour."""
    plan: list[_Occurrence] = []
    span = yard.until - begins
    first = begins + timedelta(days=rng.randint(300, CHECK_DAYS))
    plan.extend((at, happenings.check) for at in _every(first, yard.until, timedelta(days=CHECK_DAYS)))
    plan.extend((at, happenings.rework) for at in _reworks(rng, aircraft, begins, yard.until))
    if rng.random() < (CHRONIC_SHARE if position.name == operator.CHRONIC else INTERMITTENT_SHARE):
        circuit = story.pick(1)[0]
        plan.extend((at, partial(_chased, circuit=circuit)) for at in _visits(rng, begins + span * 0.1, yard.until))
    for programme in operator.PROGRAMMES:
        at = _embodied(yard, aircraft, programme)
        if position.name in programme.positions and at > begins + timedelta(days=20):
            names = list(story.cavities)[: programme.cavities]
            plan.append((at, partial(happenings.rework, names=names, order=programme.order)))
    for code, settle in troubles:
        at = _in_hours(rng, begins + span * rng.uniform(0.2, 0.9))
        plan.append((at, partial(mishaps.befall, code=code, settle=settle)))
    return plan


def _chased(story: Story, at: datetime, *, circuit: str) -> None:
    happenings.chase(story, at, circuit)


def _every(first: datetime, until: datetime, step: timedelta) -> Iterator[datetime]:
    at = first + timedelta(hours=7)
    while at < until:
        yield at
        at += step


def _reworks(rng: random.Random, aircraft: _Aircraft, begins: datetime, until: datetime) -> list[datetime]:
    """A gamma-Poisson process whose rate doubles once the aircraft is old."""
    rate = rng.gammavariate(SHAPE, REWORKS_PER_YEAR / SHAPE)
    found, at = [], begins
    while True:
        old = at - aircraft.built > OLD
        at += _YEAR * min(rng.expovariate(1) / max(rate * (2 if old else 1), 1e-9), 100)
        if at >= until:
            return found
        found.append(_in_hours(rng, at))


def _visits(rng: random.Random, earliest: datetime, until: datetime) -> list[datetime]:
    """When an intermittent circuit was opened: a Poisson number of times in one stretch of its connector's life."""
    stretch = min(timedelta(days=rng.randint(250, 1100)), (until - earliest) * 0.9)
    begins = earliest + (until - earliest - stretch) * rng.random()
    count, chance = 0, rng.expovariate(1)
    while chance < VISITS:
        count, chance = count + 1, chance + rng.expovariate(1)
    return [_in_hours(rng, begins + stretch * rng.random()) for _ in range(count)]


def _embodied(yard: _Yard, aircraft: _Aircraft, programme: operator.Programme) -> datetime:
    started = yard.until - timedelta(days=programme.began_days_ago)
    share = (aircraft.number - 0.5) / aircraft.of
    return started + timedelta(days=int(programme.lasted_days * share), hours=7 + aircraft.number % 9)


def _in_hours(rng: random.Random, at: datetime) -> datetime:
    """The same day between 06:00 and 21:00, when people are at work."""
    midnight = at.replace(hour=0, minute=0, second=0, microsecond=0)
    return midnight + timedelta(hours=6, seconds=rng.randint(0, 15 * 3600))


def _strays(yard: _Yard) -> tuple[Fact, ...]:
    """Work on connectors that nobody has registered; the last entry of the fleet is one of them."""
    rng = yard.rng("strays")
    found = []
    for mark, kind in (("LAS90417", Kind.REMOVAL), ("LAS90417", Kind.INSERTION), ("LAS90731", Kind.INSERTION)):
        at = yard.until - timedelta(days=6, minutes=rng.randint(5, 200) - 10 * len(found))
        last = len(found) == 2
        entry = Entry(
            id=closing_id(yard.seed) if last else UUID(int=rng.getrandbits(128), version=4),
            connector=mark,
            kind=kind,
            cavity="A",
            performed_at=at,
            performed_by=rng.choice(operator.TECHNICIANS),
            bench=operator.TABLETS[2],
        )
        found.append(Fact(entry, at + timedelta(minutes=3)))
    return tuple(found)
