"""The counting rule: cycles begun and completed, what one more insertion would make of them, and wear."""

import enum
import math
from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache

from msgspec import Struct

from service.core.entries import HouseRule, Rating


class Wear(enum.StrEnum):
    """Where a retainer stands against its rating."""

    WITHIN = "within"
    NEARING = "nearing"
    SPENT = "spent"
    OVER = "over"
    UNKNOWN = "unknown"


SEVERITY = {Wear.WITHIN: 0, Wear.UNKNOWN: 1, Wear.NEARING: 2, Wear.SPENT: 3, Wear.OVER: 4}
"""Worst last. Unknown stands below nearing: a count that is known to run out is more pressing than one not known."""


class Counts(Struct, frozen=True):
    """Half cycles of one retainer life, and tine entries of a removal tool that released nothing."""

    insertions: int
    removals: int
    tine_entries: int


def begun(counts: Counts, first_insertion_counts: bool = True) -> int:
    """Cycles begun: the greatest of I, R and half of all that loaded the tines, rounded up.

    In a clean history the three agree; in a broken one the greatest is the safe one.
    """
    insertions = counts.insertions if first_insertion_counts else max(counts.insertions - 1, 0)
    loads = insertions + counts.removals + counts.tine_entries
    return max(insertions, counts.removals, (loads + 1) // 2)


def after_insertion(counts: Counts, occupied: bool | None) -> Counts:
    """The counts after one more insertion, with the removal that must come first unless the cavity is known to be empty."""
    removal = 0 if occupied is False else 1
    return Counts(counts.insertions + 1, counts.removals + removal, counts.tine_entries)


class Limits(Struct, frozen=True):
    """The figures one connector's retainers are judged by: the last `next` that is free of a warning, and the rating."""

    rating: int | None
    nearing_from: int
    first_insertion_counts: bool = True


def limits(rating: Rating | None, connector_fraction: float | None, house: HouseRule) -> Limits:
    """Where nearing begins: fraction x rating, rounded up; the rating's own fraction before the connector's before the house's."""
    if rating is None:
        return Limits(None, 0)
    fraction = rating.nearing_fraction or connector_fraction or house.nearing_fraction
    # Through Decimal, since 0.8 x 35 is a little over 28 in binary floating point and would round up to 29: a go too many.
    return Limits(rating.value, math.ceil(Decimal(str(fraction)) * rating.value), rating.first_insertion_counts)


class Standing(Struct, frozen=True):
    """One retainer judged: `next` is what `begun` would be after one more insertion; `left` is insertions still allowed."""

    wear: Wear
    begun: int
    completed: int
    next: int
    left: int | None


# Every cavity is judged at every read and write, and hardly any stands as no other does: most are looked up.
@lru_cache(maxsize=65_536)
def standing(counts: Counts, occupied: bool | None, known: bool, figures: Limits) -> Standing:
    """Where a retainer stands. A count known to be a lower bound can still prove a retainer spent, never that it is within."""
    now = begun(counts, figures.first_insertion_counts)
    following = begun(after_insertion(counts, occupied), figures.first_insertion_counts)
    left = None if figures.rating is None or not known else max(figures.rating - following + 1, 0)
    return Standing(_wear(now, following, known, figures), now, counts.removals, following, left)


def most_pressing(standings: Sequence[Standing]) -> int | None:
    """Which of them runs out first: the worst wear, then the most cycles, then the order; None of none."""
    return max(
        range(len(standings)), key=lambda each: (SEVERITY[standings[each].wear], standings[each].next), default=None
    )


def _wear(now: int, following: int, known: bool, figures: Limits) -> Wear:
    if figures.rating is None:
        return Wear.UNKNOWN
    if now > figures.rating:
        return Wear.OVER
    if following > figures.rating:
        return Wear.SPENT
    if not known:
        return Wear.UNKNOWN
    return Wear.NEARING if following >= figures.nearing_from else Wear.WITHIN
