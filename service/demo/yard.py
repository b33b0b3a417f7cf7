"""What all stories of a fleet share: its seed, its calendar, the catalogue, and the serials given so far."""

import random
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID, uuid5

from service.catalog import Catalog
from service.core import part_numbers
from service.core.entries import CavityDefinition
from service.demo import operator, rigs
from service.demo.operator import Position
from service.demo.story import Item, Kit, Story
from service.messages import Registration

NAMES = UUID("7a1e60b0-5f0e-4d62-9d3c-0d5e4f1ee700")


def opening_id(seed: int) -> UUID:
    """The id of the first connector: it is registered exactly when the log book begins."""
    return uuid5(NAMES, f"{seed} {rigs.RIGS[0].key}")


def closing_id(seed: int) -> UUID:
    """The id of the last entry: once it is recorded, all are."""
    return uuid5(NAMES, f"{seed} last")


def began(today: date) -> datetime:
    """When the log book of a fleet that ends at a day begins."""
    return datetime.combine(today, time(), UTC) - timedelta(days=operator.LISTED_SINCE_DAYS)


def ends(opened: datetime) -> date:
    """The day of a fleet whose log book began at a moment."""
    return (opened + timedelta(days=operator.LISTED_SINCE_DAYS)).date()


class Yard:
    """What all stories share: seed, calendar, catalogue, and the serials given so far."""

    def __init__(self, seed: int, today: date, book: Catalog, *, troubled: bool = True) -> None:
        self.seed = seed
        self.began = began(today)
        self.until = datetime.combine(today, time(), UTC)
        self.troubled = troubled
        self.worn = (self.until - timedelta(days=500), self.until) if troubled else None
        self.unknowns = 0
        self._book = book
        self._given: dict[tuple[str | None, str], int] = {}
        self._kits: dict[str, Kit] = {}
        self._cages: dict[str, str | None] = {}

    def rng(self, key: str) -> random.Random:
        """Chance of its own for each key, so that one story does not move another."""
        return random.Random(f"{self.seed} {key}")

    def story(self, item: Item, key: str) -> Story:
        """An empty story of a connector, with chance of its own."""
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
            id=uuid5(NAMES, f"{self.seed} {key}"),
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
