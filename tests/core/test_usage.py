"""What assets fly, and how much of it a connector was along for: our rules, no outside source."""

import numpy as np
import pytest

from service.core import usage
from service.core.outlook.arrays import Floats
from service.core.usage import Usage


def book(*rows: tuple[int, int, float], assets: int = 3) -> Usage:
    """Rows of asset, day, amount."""
    asset, day, amount = zip(*rows, strict=True)
    return usage.read(np.array(asset), np.array(day), np.array(amount, dtype=np.float64), assets)


DAILY = book((0, 100, 8), (0, 101, 8), (0, 102, 4), (0, 104, 12), (1, 50, 30_000), (1, 80, 240), (2, 100, 9))


def by(asset: int, *days: float) -> Floats:
    """What an asset has flown by some days."""
    return usage.flown_by(DAILY, np.full(len(days), asset), np.array(days))


def test_a_row_is_spread_over_the_time_since_the_row_before() -> None:
    """The first row opens the book, a day passed over belongs to the row after it, and half a day is half of it."""
    assert by(0, 101, 102, 102.5, 103, 104, 105).tolist() == [0, 8, 10, 12, 18, 24]
    assert by(1, 51, 66, 81).tolist() == [0, 120, 240]


def test_outside_of_what_is_stated_the_pace_holds() -> None:
    """Before the first and after the last row an asset flies as it did in its last stated year."""
    assert DAILY.pace.tolist()[:2] == [6, 8]
    assert by(0, 91, 115).tolist() == [-60, 84]
    assert by(1, 41, 101).tolist() == [-80, 400]
    year = book((0, 0, 0), (0, 1000, 1000), (0, 1100, 500), (0, 1365, 265 * 2))
    assert year.pace[0] == pytest.approx((500 + 265 * 2) / 365)


def test_one_row_is_no_pace() -> None:
    """Of an asset with one row or none nothing can be read."""
    assert np.isnan(DAILY.pace[2])
    assert np.isnan(by(2, 99, 101, 500)).all()
    assert np.isnan(usage.flown_by(book((1, 5, 1.0)), np.array([0, 2]), np.array([1.0, 1.0]))).all()
    assert np.isnan(
        usage.flown_by(usage.read(*(np.empty(0, dtype=int),) * 2, np.empty(0), 1), np.array([0]), np.ones(1))
    )


def test_a_first_row_that_no_day_can_hold_is_a_life() -> None:
    """What was flown before the book is known where the first row says it, and nowhere else."""
    assert usage.before(DAILY, np.array([1, 1, 0]), np.array([51.0, 66.0, 102.0])).tolist()[:2] == [30_000, 30_120]
    assert np.isnan(usage.before(DAILY, np.array([0]), np.array([102.0]))[0])


def test_stays_last_to_the_next_placement() -> None:
    """Each placement ends the one before, the last lasts to the end of the book, and in store nothing is flown."""
    found = usage.stays(
        connector=np.array([0, 0, 0, 1, 2]),
        asset=np.array([1, -1, 0, 1, 0]),
        at=np.array([60.0, 55.0, 51.0, 66.0, 300.0]),
        until=np.array([81.0, 81.0, 200.0]),
    )
    shown = sorted(zip(*(getattr(found, name).tolist() for name in found.__struct_fields__), strict=True))
    assert shown == [(0, 0, 51, 55), (0, 1, 60, 81), (1, 1, 66, 81)]
    assert usage.exposures(DAILY, found, 3).tolist() == [6 * 4 + 8 * 21, 8 * 15, 0]


def test_a_stay_on_an_asset_without_pace_is_not_a_number() -> None:
    """A connector that was on an asset of which nobody knows the usage has no exposure in it."""
    found = usage.stays(np.array([0, 1]), np.array([2, 1]), np.array([51.0, 51.0]), np.array([81.0, 81.0]))
    assert np.isnan(usage.exposures(DAILY, found, 2)).tolist() == [True, False]
