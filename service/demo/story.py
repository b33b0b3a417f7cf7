"""One connector's life, written down act by act as the invented operator's people would have done it.

A story keeps just enough of the state to tell sensible work from a mishap; what an entry is found to be is never
decided here, but by the fold.
"""

import random
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from msgspec import Struct

from service.core import cycles, part_numbers
from service.core.entries import EARLIEST, CavityDefinition, Entry, Kind
from service.core.tooling import Half, Tooling
from service.demo import operator
from service.messages import Registration

LATE_SHARE = 0.04
"""Sessions whose entries reach the service days later, from a tablet that had no network."""
FAILS, WORN_FAILS = 0.008, 0.34
"""Seating tests that fail: where the tines were spread by a sound tool or by none, and where by the worn one."""
GAUGED_SHARE = 0.5
"""Seating tests of reworked contacts that are done with a force gauge, so that a force is noted."""

# Light pull after insertion, common practice, no source; size 22D is from memory.
_PULL_N = {"20": 66.7, "16": 89.0, "12": 111.2, "22D": 44.0}


class Fact(Struct, frozen=True):
    """An entry, and when it reaches the service."""

    entry: Entry
    recorded_at: datetime


class Kit(Struct, frozen=True):
    """What work on one family is done with: the marks of the shop's tools by half and contact size."""

    marks: dict[tuple[Half, str], tuple[str, ...]]

    @classmethod
    def of(cls, tools: Tooling | None) -> "Kit":
        """The shop's own tools among those that the catalogue names for a family."""
        found: dict[tuple[Half, str], list[str]] = {}
        for tool in tools.tools if tools is not None else ():
            owned = [mark for mark, number in operator.TOOLS.items() if number == tool.part_number]
            found.setdefault((tool.half, tool.contact_size), []).extend(owned)
        return cls({key: tuple(marks) for key, marks in found.items()})


class Item(Struct, frozen=True):
    """A connector to tell a story of: what is registered, its cavities, and what it is worked on with."""

    registration: Registration
    cavities: tuple[CavityDefinition, ...]
    kit: Kit
    decoded: part_numbers.Decoded


class _Cavity(Struct):
    size: str
    insertions: int
    removals: int
    occupied: bool
    abandoned: bool = False
    strained: bool = False

    @property
    def following(self) -> int:
        """What cycles begun would be after one more insertion."""
        return cycles.begun(cycles.after_insertion(cycles.Counts(self.insertions, self.removals, 0), self.occupied))


class Story:
    """What has happened to one connector so far, and the means to add to it. `until` is the first moment out of reach."""

    def __init__(self, rng: random.Random, item: Item, until: datetime, worn: tuple[datetime, datetime] | None) -> None:
        registration = item.registration
        self.rng = rng
        self.item = item
        self.facts: list[Fact] = []
        self.mated = False
        self.retired_at: datetime | None = None
        inside = registration.populated is True
        before = 1 if registration.history == "new" and inside else 0
        self.cavities = {each.id: _Cavity(each.contact_size, before, 0, inside) for each in item.cavities}
        self._connector = str(registration.id)
        self._until = until
        self._worn = worn
        self._at = EARLIEST
        self.delay = timedelta(minutes=2)
        self.person, self.bench, self.order = operator.TECHNICIANS[0], operator.BENCHES[0], ""
        # Some circuits of a connector are opened again and again, others never.
        self._favourites = rng.sample(list(self.cavities), len(self.cavities))

    @property
    def limit(self) -> int | None:
        """The rating of its retainers, if there is one."""
        rating = self.item.registration.rating
        return rating.value if rating is not None else None

    def session(self, at: datetime, benches: tuple[str, ...], order: str | None = None) -> bool:
        """Somebody sits down to it, after whoever is still at it; False where that would be past the fleet's day."""
        begins = max(at, self._at + timedelta(minutes=self.rng.randint(15, 90)))
        if self.retired_at is not None or begins > self._until - timedelta(days=1):
            return False
        self._at = begins
        self.person = self.rng.choice(operator.TECHNICIANS)
        self.bench = self.rng.choice(benches)
        self.order = order or f"WO-{begins:%y%j}-{self.rng.randint(1, 999):03}"
        late = self.rng.random() < LATE_SHARE
        self.delay = timedelta(seconds=self.rng.randint(45, 500)) + timedelta(
            hours=self.rng.randint(20, 400) if late else 0
        )
        return True

    def note(self, kind: Kind, *, ahead: timedelta = timedelta(0), **fields: Any) -> Entry:
        """Write down one fact of this session, a minute or some after the last; `ahead` is how far the clock was ahead."""
        self._at += timedelta(seconds=self.rng.randint(40, 200))
        stated = {"performed_by": self.person, "bench": self.bench, "work_order": self.order} | fields
        entry = Entry(
            id=UUID(int=self.rng.getrandbits(128), version=4),
            connector=self._connector,
            kind=kind,
            performed_at=self._at + ahead,
            **stated,
        )
        latest = max(self._at, self._until - timedelta(minutes=5))
        self.facts.append(Fact(entry, min(self._at + self.delay, latest)))
        return entry

    def pick(self, count: int) -> list[str]:
        """Cavities that somebody has a reason to open, the same few more often than not; never one that was given up."""
        usable = [each for each in self._favourites if not self.cavities[each].abandoned]
        found: list[str] = []
        while len(found) < min(count, len(usable)):
            each = usable[int(self.rng.expovariate(0.4)) % len(usable)]
            if each not in found:
                found.append(each)
        return found

    def apart(self) -> None:
        """Unmate, if it is mated."""
        if self.mated:
            self.note(Kind.UNMATING)
            self.mated = False

    def together(self) -> None:
        """Mate, if it is not mated."""
        if not self.mated:
            self.note(Kind.MATING)
            self.mated = True

    def remove(self, name: str, **fields: Any) -> Entry:
        """A contact comes out."""
        cavity = self.cavities[name]
        cavity.removals, cavity.occupied = cavity.removals + 1, False
        given = {"tool": self._tool(Half.REMOVE, cavity.size)} | fields
        entry = self.note(Kind.REMOVAL, cavity=name, **given)
        cavity.strained = entry.tool == operator.WORN_TOOL and self._is_worn(entry.performed_at)
        return entry

    def insert(self, name: str, **fields: Any) -> Entry:
        """A contact goes in."""
        cavity = self.cavities[name]
        cavity.insertions, cavity.occupied = cavity.insertions + 1, True
        sex = self.item.decoded.sex
        given = {
            "tool": self._tool(Half.INSERT, cavity.size),
            "contact": operator.contact(self.item.decoded.family, sex.value if sex else None, cavity.size),
        }
        return self.note(Kind.INSERTION, cavity=name, **(given | fields))

    def seat(self, name: str) -> None:
        """Insert and test; a contact that does not hold comes out with a sound tool, which has used a cycle, and goes in again."""
        self.insert(name)
        cavity = self.cavities[name]
        if self.rng.random() < (WORN_FAILS if cavity.strained else FAILS):
            self.test(name, held=False)
            self.remove(name, tool=self._tool(Half.REMOVE, cavity.size, but=operator.WORN_TOOL))
            self.insert(name)
        self.test(name, held=True)

    def test(self, name: str, *, held: bool) -> Entry:
        """A seating test, with a force where a gauge was at hand."""
        pull_n = _PULL_N.get(self.cavities[name].size)
        if pull_n is None or self.rng.random() > GAUGED_SHARE:
            return self.note(Kind.SEATING_TEST, cavity=name, held=held)
        share = self.rng.uniform(0.96, 1.04) if held else self.rng.uniform(0.15, 0.8)
        return self.note(Kind.SEATING_TEST, cavity=name, held=held, force_n=round(pull_n * share, 1))

    def renew(self, name: str) -> Entry:
        """A new retainer, in a cavity that must be empty by now: a new life."""
        self.cavities[name] = _Cavity(self.cavities[name].size, 0, 0, occupied=False)
        return self.note(Kind.RENEWAL, cavity=name, note="retainer renewed from kit")

    def carry_in(self, insertions: int, **fields: Any) -> Entry:
        """The count that the connector came with; each contact is still in its cavity."""
        for cavity in self.cavities.values():
            cavity.insertions += insertions
            cavity.removals += insertions - 1
        counts = {"insertions": insertions, "removals": insertions - 1, "occupied": True}
        return self.note(Kind.CARRY_IN, **(counts | fields))

    def retire(self) -> None:
        """Out of use for good, into the quarantine cage."""
        self.note(Kind.PLACEMENT, position=operator.QUARANTINE)
        self.note(Kind.RETIREMENT, note="retainers worn, beyond local repair")
        self.retired_at = self._at

    def told(self) -> tuple[Fact, ...]:
        """All facts in the order in which they reached the service."""
        return tuple(sorted(self.facts, key=lambda each: each.recorded_at))

    def _is_worn(self, at: datetime) -> bool:
        return self._worn is not None and self._worn[0] <= at < self._worn[1]

    def _tool(self, half: Half, size: str, but: str | None = None) -> str | None:
        marks = [each for each in self.item.kit.marks.get((half, size), ()) if each != but]
        return self.rng.choice(marks) if marks else None
