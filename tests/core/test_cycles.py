"""The counting rule against the figures that the design's table states."""

import pytest

from service.core import cycles
from service.core.cycles import Counts, Wear
from service.core.entries import HouseRule, Rating

TEN = Rating(value=10, basis="house")
HOUSE = HouseRule()

BEGUN = [
    # insertions, removals, tine entries -> begun, counting the first insertion or not
    (0, 0, 0, 0, 0),
    (1, 0, 0, 1, 0),
    (1, 1, 0, 1, 1),
    (2, 1, 0, 2, 1),
    (10, 10, 0, 10, 10),
    (10, 9, 0, 10, 9),
    (0, 1, 0, 1, 1),
    (0, 3, 0, 3, 3),
    (5, 1, 0, 5, 4),
    (1, 1, 1, 2, 1),
    (2, 2, 3, 4, 3),
    (0, 0, 1, 1, 1),
    (0, 0, 4, 2, 2),
    (3, 3, 20, 13, 13),
]


@pytest.mark.parametrize(("insertions", "removals", "tines", "counted", "not_counted"), BEGUN)
def test_begun(insertions: int, removals: int, tines: int, counted: int, not_counted: int) -> None:
    """Begun is the greatest of I, R and half of all loads rounded up; the first insertion is left out only where it says so."""
    counts = Counts(insertions, removals, tines)
    assert cycles.begun(counts) == counted
    assert cycles.begun(counts, first_insertion_counts=False) == not_counted


WEAR = [
    # rating, insertions, removals, occupied, known -> next, wear, left
    (10, 0, 0, False, True, 1, "within", 10),
    (10, 6, 6, False, True, 7, "within", 4),
    (10, 7, 6, True, True, 8, "nearing", 3),
    (10, 7, 7, False, True, 8, "nearing", 3),
    (10, 9, 9, False, True, 10, "nearing", 1),
    (10, 10, 9, True, True, 11, "spent", 0),
    (10, 10, 10, False, True, 11, "spent", 0),
    (10, 11, 10, True, True, 12, "over", 0),
    (10, 3, 3, False, False, 4, "unknown", None),
    (10, 10, 10, False, False, 11, "spent", None),
    (10, 12, 12, False, False, 13, "over", None),
    (None, 3, 3, False, True, 4, "unknown", None),
    (1, 0, 0, False, True, 1, "nearing", 1),
    (1, 1, 1, False, True, 2, "spent", 0),
    (10, 0, 7, None, True, 8, "nearing", 3),
]


@pytest.mark.parametrize(("rating", "insertions", "removals", "occupied", "known", "following", "wear", "left"), WEAR)
def test_standing(
    rating: int | None,
    insertions: int,
    removals: int,
    occupied: bool | None,
    known: bool,
    following: int,
    wear: str,
    left: int | None,
) -> None:
    """A retainer rated 10 takes ten insertions and ten removals and no eleventh; the eighth insertion is the first to warn."""
    given = Rating(value=rating, basis="house") if rating else None
    figures = cycles.limits(given, None, HOUSE)
    stands = cycles.standing(Counts(insertions, removals, 0), occupied, known, figures)
    assert (stands.next, stands.wear, stands.left) == (following, Wear(wear), left)


NEARING = [
    # rating, fraction of the rating, of the connector -> nearing from
    (10, None, None, 8),
    (12, None, None, 10),
    (5, None, None, 4),
    (35, None, None, 28),
    (15, None, None, 12),
    (7, None, None, 6),
    (1, None, None, 1),
    (10, 0.5, None, 5),
    (10, None, 0.55, 6),
    (10, 0.9, 0.5, 9),
    (10, 1.0, None, 10),
]


@pytest.mark.parametrize(("value", "of_rating", "of_connector", "nearing_from"), NEARING)
def test_where_nearing_begins(
    value: int, of_rating: float | None, of_connector: float | None, nearing_from: int
) -> None:
    """Nearing begins at the fraction of the rating, rounded up exactly: the rating's fraction, else the connector's, else 0.8."""
    given = Rating(value=value, basis="house", nearing_fraction=of_rating)
    assert cycles.limits(given, of_connector, HOUSE).nearing_from == nearing_from


def test_a_rating_is_verified_only_with_document_name_and_day() -> None:
    """A figure without a document, a verifier or a day stays unverified."""
    full = {"document": "D", "verified_by": "badge 204", "verified_on": "2026-10-30"}
    assert Rating(value=10, basis="house", **full).verified  # type: ignore[arg-type]
    for missing in full:
        part = {key: value for key, value in full.items() if key != missing}
        assert not Rating(value=10, basis="house", **part).verified  # type: ignore[arg-type]
    assert not TEN.verified
