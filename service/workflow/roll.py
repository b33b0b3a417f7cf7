"""The roll of the fleet: what the heads of connectors say, and nothing more of each cavity than how it stands.

Python handles a connector once and a cavity hardly: what repeats through a fleet is numbered, and worked out for each number.
"""

from array import array
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

import msgspec
from msgspec import Struct

EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
"""From which PostgreSQL counts."""


def microseconds(at: datetime) -> int:
    """A moment as PostgreSQL sends it."""
    return (at - EPOCH) // timedelta(microseconds=1)


class _Whole(Struct, array_like=True, gc=False):
    """As much of `WholeState` as is needed: kept states are arrays, and what follows is passed over unread."""

    matings: int
    unmatings: int
    mated: bool | None
    retired: bool


class _Cavity(Struct, array_like=True, gc=False):
    """As much of `CavityState`."""

    id: str
    life: int
    known: bool
    occupied: bool | None
    insertions: int
    removals: int
    tine_entries: int


class _State(Struct, array_like=True):
    whole: _Whole
    cavities: list[_Cavity]


class _Rating(Struct):
    value: int
    document: str | None = None
    verified_by: str | None = None
    verified_on: str | None = None
    first_insertion_counts: bool = True


class _Definition(Struct):
    cavities: msgspec.Raw
    history: Literal["new", "unknown"]
    rating: _Rating | None = None
    populated: bool | None = None


class _Body(Struct):
    definition: _Definition


class _Named(Struct):
    id: str


STATES = msgspec.json.Decoder(_State)
"""Reads as much of a kept state as is needed."""
_bodies = msgspec.json.Decoder(_Body)


class Numbers(dict[Any, int]):
    """Numbers things in the order in which they are first met."""

    def __missing__(self, key: Any) -> int:
        number = self[key] = len(self)
        return number


class Heads:
    """What the heads say, connector by connector."""

    def __init__(self) -> None:
        self.ids = bytearray()
        self.entries, self.registered, self.sizes = array("l"), array("q"), array("l")
        self.figures, self.arrangements, self.parts = array("l"), array("l"), array("l")
        self.places, self.at_assets, self.flags = array("l"), array("l"), array("b")
        self.standings = array("l")
        self.names: list[tuple[str, ...]] = []
        self.assets, self.unreadable = Numbers(), 0
        self.place, self.part, self.figure, self.standing = Numbers(), Numbers(), Numbers(), Numbers()
        self._arrangement: dict[bytes, int] = {}

    def add(self, rows: list[Any]) -> None:
        """Take note of some heads."""
        for row in rows:
            try:
                state, definition = STATES.decode(row["state"]), _bodies.decode(row["definition"]).definition
            except (msgspec.DecodeError, UnicodeDecodeError):
                self.unreadable += 1
                continue
            arrangement = self._arranged(bytes(definition.cavities))
            if len(self.names[arrangement]) != len(state.cavities):
                self.unreadable += 1
                continue
            self._add(row, state, definition)
            self.arrangements.append(arrangement)

    def _add(self, row: Any, state: _State, definition: _Definition) -> None:
        self.ids += row["connector"].bytes
        self.entries.append(row["entries"])
        self.registered.append(microseconds(row["registered_at"]))
        self.sizes.append(len(state.cavities))
        self.places.append(self.place[row["family"], row["zone"]])
        self.parts.append(self.part[row["part_number"], row["family"]])
        self.at_assets.append(-1 if row["asset"] is None else self.assets[row["asset"]])
        rating, empty = definition.rating, definition.history == "new" and not definition.populated
        self.figures.append(self.figure[_figure(rating)])
        self.flags.append(state.whole.retired + 2 * empty)
        standing = self.standing
        self.standings.extend(
            [standing[c.known, c.occupied, c.insertions, c.removals, c.tine_entries] for c in state.cavities]
        )

    def _arranged(self, cavities: bytes) -> int:
        number = self._arrangement.get(cavities)
        if number is None:
            number = self._arrangement[cavities] = len(self.names)
            self.names.append(tuple(each.id for each in msgspec.json.decode(cavities, type=list[_Named])))
        return number


def _figure(rating: _Rating | None) -> tuple[int, bool, bool]:
    """What matters of a rating here: its value, 0 for none, whether the first insertion counts, whether it is verified."""
    if rating is None:
        return 0, True, False
    verified = None not in (rating.document, rating.verified_by, rating.verified_on)
    return rating.value, rating.first_insertion_counts, verified
