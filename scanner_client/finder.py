"""The finder pattern of a square Data Matrix (ISO/IEC 16022): two solid sides, two of alternating modules."""

from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

SIZES = (10, 12, 14, 16, 18, 20, 22, 24, 26)
"""Modules to a side, of the square symbols that hold one data region."""

Modules = NDArray[np.floating[Any]]


class Find(Struct, frozen=True):
    """A square in a field of modules whose border looks like a finder pattern, more so the nearer `score` is to 1.

    `turns` quarter turns against the clock bring it upright; `polarity` is -1 for light on dark.
    """

    score: float
    size: int
    row: int
    column: int
    turns: int
    polarity: int


def pattern(size: int) -> NDArray[np.int8]:
    """The border upright: 1 dark, -1 light; 0 inside, where the data are."""
    made = np.zeros((size, size), np.int8)
    alternating = np.where(np.arange(size) % 2 == 0, 1, -1)
    made[0], made[:, -1] = alternating, -alternating
    made[:, 0] = made[-1] = 1
    return made


def best(field: Modules) -> list[Find]:
    """The best place of each size, turn and polarity in a field of modules (1 dark, -1 light), the best first."""
    found = []
    sums = _Sums(field)
    for size in SIZES:
        if size > min(field.shape):
            break
        for turns, scores in enumerate(sums.likeness(size)):
            for polarity in (1, -1):
                place = int(np.argmax(scores * polarity))
                row, column = (int(each) for each in np.unravel_index(place, scores.shape))
                # Of two that look the same the bigger one is no accident.
                score = float(scores[row, column]) * polarity + 0.002 * size
                found.append(Find(score, size, row, column, turns, polarity))
    return sorted(found, key=lambda each: -each.score)


class _Sums:
    """Running sums along rows and columns, plain and with alternating sign, so that any side costs one subtraction."""

    def __init__(self, field: Modules) -> None:
        rows, columns = field.shape
        self.row_sign = np.where(np.arange(rows) % 2 == 0, 1, -1)[:, None]
        self.column_sign = np.where(np.arange(columns) % 2 == 0, 1, -1)[None, :]
        self.down = np.pad(field.cumsum(axis=0), ((1, 0), (0, 0)))
        self.along = np.pad(field.cumsum(axis=1), ((0, 0), (1, 0)))
        self.down_turning = np.pad((field * self.row_sign).cumsum(axis=0), ((1, 0), (0, 0)))
        self.along_turning = np.pad((field * self.column_sign).cumsum(axis=1), ((0, 0), (1, 0)))

    def likeness(self, size: int) -> tuple[Modules, ...]:
        """How much each square of this size looks like a finder pattern, for each number of quarter turns to upright."""
        down = self.down[size:] - self.down[:-size]
        along = self.along[:, size:] - self.along[:, :-size]
        starts = self.row_sign[: down.shape[0]], self.column_sign[:, : along.shape[1]]
        turning_down = (self.down_turning[size:] - self.down_turning[:-size]) * starts[0]
        turning_along = (self.along_turning[:, size:] - self.along_turning[:, :-size]) * starts[1]
        last = size - 1
        columns, rows = along.shape[1], down.shape[0]
        left, right = down[:, :columns], down[:, last:]
        top, bottom = along[:rows], along[last:]
        # Positive where the first module, the upper or the left one, is dark.
        left_turning, right_turning = turning_down[:, :columns], turning_down[:, last:]
        top_turning, bottom_turning = turning_along[:rows], turning_along[last:]
        sides = (
            left + bottom + top_turning - right_turning,
            top + left + right_turning + bottom_turning,
            right + top - bottom_turning + left_turning,
            bottom + right - left_turning - top_turning,
        )
        return tuple(each / (4 * size) for each in sides)
