"""Adapters of the operator's test sets: worked every few weeks, so each shows one way in which retainers end."""

import enum
from datetime import datetime, timedelta

from msgspec import Struct

from service.demo import happenings, operator
from service.demo.operator import Position
from service.demo.story import Story


class End(enum.StrEnum):
    """What became of the adapter after it was worn."""

    IN_USE = "in use"
    RENEWED = "renewed"
    RETIRED = "retired"


class Rig(Struct, frozen=True):
    """One adapter: its part number, how many insertions its first cavity has had, and what became of it."""

    key: str
    part_number: str
    insertions: int
    end: End = End.IN_USE

    @property
    def position(self) -> Position:
        """Where it sits on its test set."""
        asset, _, place = self.key.partition(" ")
        return Position(place, f"Test shop, {asset}", self.part_number)


RIGS = (
    Rig("TS-1 A1", "D38999/26WE35SN", 7),
    Rig("TS-1 A2", "D38999/26WB35SN", 8),
    Rig("TS-1 A3", "D38999/26WD19SN", 9),
    Rig("TS-1 A4", "M83723/75R1415N", 10),
    Rig("TS-2 A1", "MS3476L12-10SY", 10),
    Rig("TS-2 A2", "D38999/46FB98SN", 11),
    Rig("TS-2 A3", "MS24266R14B15SN", 12),
    Rig("TS-2 A4", "D38999/26FB5SN", 13),
    Rig("TS-3 A1", "MS27467T15B19P", 10, End.RENEWED),
    Rig("TS-3 A2", "D38999/26WC98PA", 10, End.RETIRED),
    Rig("TS-3 A3", "MS27484T12B8S", 3),
    Rig("TS-3 A4", "D38999/26FC4SN", 10),
)
"""The first is the fleet's first connector. The eighth insertion is the first that warns, an eleventh is one too many."""


def tell(story: Story, rig: Rig, at: datetime) -> None:
    """Assembled, placed, worked, and ended."""
    happenings.assemble(story, at)
    happenings.fit(story, at + timedelta(days=3), rig.key.partition(" ")[0], rig.position)
    happenings.wear(story, at + timedelta(days=60), rig.insertions, timedelta(days=178))
    ended = at + timedelta(days=2500)
    name = next(iter(story.cavities))
    if rig.end is End.RENEWED and story.session(ended, operator.BENCHES):
        story.apart()
        happenings.renew(story, name)
        story.together()
    if rig.end is End.RETIRED and story.session(ended, operator.BENCHES):
        story.apart()
        story.retire()
