"""Counting to a cavity on the face of an insert whose numbers follow a guide line on which every tenth hole is ringed.

Common practice, no source: the marking of the insert in hand decides.
"""

from collections.abc import Collection

from msgspec import Struct

RINGED = 10
_ORDINALS = (
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
)
_ENDINGS = "thstndrd"
"""The two letters that follow a figure: 0th, 1st, 2nd, 3rd."""


class Guide(Struct, frozen=True):
    """How to count to a cavity: to which ring (0: none, from the start), how many holes on from it (0: the ring itself)."""

    ring: int
    then: int
    words: str


def count(ids: Collection[str], cavity: str) -> Guide | None:
    """How to count to a cavity; None unless the ids are the numbers from 1 on, at least to the first ring."""
    if len(ids) < RINGED or cavity not in ids or set(ids) != {str(each) for each in range(1, len(ids) + 1)}:
        return None
    ring, then = divmod(int(cavity), RINGED)
    if not ring:
        return Guide(ring, then, f"{_short(then)} from the start")
    named = f"{_ORDINALS[ring - 1] if ring <= len(_ORDINALS) else _short(ring)} ring"
    return Guide(ring, then, f"{named}, then {then}" if then else named)


def _short(number: int) -> str:
    """The ordinal in figures: 1st, 2nd, 11th, 22nd."""
    last = 0 if number % 100 in (11, 12, 13) else number % 10
    at = 2 * last if last <= 3 else 0  # noqa: PLR2004 - from the fourth on all end alike
    return f"{number}{_ENDINGS[at : at + 2]}"
