"""The roll of the fleet: what the heads of connectors say, and nothing more of each cavity than how it stands.

Python handles a connector once and a cavity hardly: what repeats through a fleet is numbered, and worked out for each number.
"""

import contextlib
import re
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
_wholes = msgspec.json.Decoder(_Whole)
_BORDER = re.compile(rb'(?:null|")\](?=,\[\[")')
"""Where the part of the whole ends, as a rule: its last field is a time or null. Elsewhere only in a text that holds this."""
_KEPT = 20_000
_bodies = msgspec.json.Decoder(_Body)


class Numbers(dict[Any, int]):
    """Numbers things in the order in which they are first met."""

    def __missing__(self, key: Any) -> int:
        number = self[key] = len(self)
        return number


class Definitions:
    """What connectors are: of each the number of its arrangement, of its rating, and whether it came new and empty."""

    def __init__(self) -> None:
        self.names: list[tuple[str, ...]] = []
        self.figure = Numbers()
        self._arrangement: dict[bytes, int] = {}
        self._of: dict[bytes, tuple[int, int, bool]] = {}
        self._alike: dict[tuple[int, int, bool], tuple[int, int, bool]] = {}

    def add(self, rows: list[Any]) -> None:
        """Take note of some definitions."""
        for row in rows:
            try:
                read = _bodies.decode(row["body"]).definition
            except (msgspec.DecodeError, UnicodeDecodeError):
                continue
            empty = read.history == "new" and not read.populated
            found = self._arranged(bytes(read.cavities)), self.figure[_figure(read.rating)], empty
            # A fleet has few that differ: kept once each, the others cost a pointer.
            self._of[row["connector"].bytes] = self._alike.setdefault(found, found)

    def take(self, connector: bytes) -> tuple[int, int, bool] | None:
        """What is known of a connector, once; None where nothing is."""
        return self._of.pop(connector, None)

    def _arranged(self, cavities: bytes) -> int:
        number = self._arrangement.get(cavities)
        if number is None:
            number = self._arrangement[cavities] = len(self.names)
            self.names.append(tuple(each.id for each in msgspec.json.decode(cavities, type=list[_Named])))
        return number


class Heads:
    """What the heads say, connector by connector, in the order in which they come."""

    def __init__(self, definitions: Definitions) -> None:
        self._definitions = definitions
        self.ids = bytearray()
        self.entries, self.registered, self.sizes = array("l"), array("q"), array("l")
        self.figures, self.arrangements, self.parts = array("l"), array("l"), array("l")
        self.places, self.at_assets, self.flags = array("l"), array("l"), array("b")
        self.standings = array("i")
        self.assets, self.unreadable = Numbers(), 0
        self.place, self.part, self.standing = Numbers(), Numbers(), Numbers()
        self._cavities: dict[bytes, array[int]] = {}

    def add(self, rows: list[Any]) -> None:
        """Take note of some heads."""
        names = self._definitions.names
        for row in rows:
            connector = row["connector"].bytes
            defined = self._definitions.take(connector)
            read = self._read(row["state"])
            if read is None or defined is None or len(names[defined[0]]) != len(read[1]):
                self.unreadable += 1
                continue
            # One that has left is for others to foresee, like one that is retired.
            self._add(connector, row, defined, read[0] or row["handed_over"], read[1])

    def _read(self, state: bytes) -> "tuple[bool, array[int]] | None":
        """Whether the connector is retired, and the number of each cavity's standing; None where the state can't be read."""
        border = _BORDER.search(state)
        # Most connectors of a fleet were never worked on, and their cavities stand alike to the byte.
        cavities = b"" if border is None else state[border.end() :]
        known = self._cavities.get(cavities)
        try:
            if border is not None and known is not None:
                with contextlib.suppress(msgspec.DecodeError):
                    return _wholes.decode(state[1 : border.end()]).retired, known
            read = STATES.decode(state)
        except (msgspec.DecodeError, UnicodeDecodeError):
            return None
        numbered = self._numbered(read)
        if cavities and len(self._cavities) < _KEPT:
            self._cavities[cavities] = numbered
        return read.whole.retired, numbered

    def _numbered(self, state: _State) -> "array[int]":
        standing = self.standing
        return array(
            "i", [standing[c.known, c.occupied, c.insertions, c.removals, c.tine_entries] for c in state.cavities]
        )

    def _add(
        self, connector: bytes, row: Any, defined: tuple[int, int, bool], retired: bool, standings: "array[int]"
    ) -> None:
        arrangement, figure, empty = defined
        self.ids += connector
        self.entries.append(row["entries"])
        self.registered.append(microseconds(row["registered_at"]))
        self.sizes.append(len(standings))
        self.places.append(self.place[row["family"], row["zone"], row["asset_type"]])
        self.parts.append(self.part[row["part_number"], row["family"]])
        self.at_assets.append(-1 if row["asset"] is None else self.assets[row["asset"]])
        self.arrangements.append(arrangement)
        self.figures.append(figure)
        self.flags.append(retired + 2 * empty)
        self.standings.extend(standings)


def _figure(rating: _Rating | None) -> tuple[int, bool, bool]:
    """What matters of a rating here: its value, 0 for none, whether the first insertion counts, whether it is verified."""
    if rating is None:
        return 0, True, False
    verified = None not in (rating.document, rating.verified_by, rating.verified_on)
    return rating.value, rating.first_insertion_counts, verified
