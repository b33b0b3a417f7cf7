"""Where in a picture the symbol is: the busy patch near the middle, and whether it is bars or squares."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from scanner_client import levels
from scanner_client.levels import Pixels

_CELL_PX = 8
_BUSY = 0.45
"""Of the busiest cell; less is paper."""
_OF_A_SIDE = 0.3
"""A row or column of cells belongs to the patch if so much of it is busy."""
_QUIET_PX = 24
_LEAST_PX = 96
LEAST_SIDE_PX = 48
"""Pictures smaller than this have no room for a search."""
_BARS = 0.27
"""Squares have edges both ways, bars one way: 19 of 20 pictures and more lie on the right side. It decides only what is
tried first."""


class Patch(Struct, frozen=True):
    """The symbol with some quiet around it, cut out, and the longer side of the busy part in pixels."""

    grey: Pixels
    side_px: int


def patch(grey: Pixels) -> Patch:
    """The busiest patch near the middle. People aim at what they want to read."""
    busy = _business(grey)
    left, top, right, bottom = (each * _CELL_PX for each in _grown(busy))
    side = max(right - left, bottom - top)
    half = max(side / 2 + _QUIET_PX, _LEAST_PX / 2)
    x, y = (left + right) / 2, (top + bottom) / 2
    rows = slice(max(0, int(y - half)), int(y + half))
    columns = slice(max(0, int(x - half)), int(x + half))
    return Patch(np.ascontiguousarray(grey[rows, columns]), side)


def bars(grey: Pixels) -> tuple[bool, float]:
    """Whether the middle of the picture holds bars, and the degrees by which they are turned from upright.

    From the structure tensor: edges vote with their direction doubled, so that both sides of a bar vote the same.
    """
    across, down = levels.slopes(levels.blurred(levels.reduced(grey, 2), 1))
    high, wide = across.shape
    strength = across**2 + down**2
    # One hard edge of a label must not outvote all the bars.
    most = np.percentile(strength[::2, ::2], 95) + 1
    vote = _middle(high, wide, 2) * np.minimum(1, most / np.maximum(strength, 1e-3))
    both = float((across * down * vote).sum()) * 2
    apart = float(((across**2 - down**2) * vote).sum())
    agreed = np.hypot(both, apart) / (float((strength * vote).sum()) + 1)
    return bool(agreed > _BARS), float(np.degrees(np.arctan2(both, apart)) / 2)


def _business(grey: Pixels) -> NDArray[np.float32]:
    """How much happens in each cell of 8 pixels: most where edges go both ways."""
    small = levels.reduced(levels.averaged(grey, 1), 2).astype(np.int16)
    across = np.abs(small[:-1, 1:] - small[:-1, :-1])
    down = np.abs(small[1:, :-1] - small[:-1, :-1])
    edges = np.minimum(across, down) * 2 + across + down
    rows, columns = edges.shape[0] // 4, edges.shape[1] // 4
    cells = edges[: rows * 4, : columns * 4].astype(np.float32).reshape(rows, 4, columns, 4).mean(axis=(1, 3))
    around = np.pad(cells, 2, mode="edge")
    smooth = np.lib.stride_tricks.sliding_window_view(around, (5, 5)).mean(axis=(2, 3))
    busy: NDArray[np.float32] = smooth - np.float32(np.percentile(smooth, 20))
    return busy


def _grown(busy: NDArray[np.float32]) -> tuple[int, int, int, int]:
    """A box of cells from the busiest one outwards, as long as its sides are busy: left, top, right, bottom."""
    rows, columns = busy.shape
    aimed = busy * _middle(rows, columns, 1.5)
    top, left = (int(each) for each in np.unravel_index(int(np.argmax(aimed)), busy.shape))
    on = busy > _BUSY * busy[top, left]
    bottom, right = top + 1, left + 1
    grows = True
    while grows:
        grows = False
        if top > 0 and on[top - 1, left:right].mean() > _OF_A_SIDE:
            top, grows = top - 1, True
        if bottom < rows and on[bottom, left:right].mean() > _OF_A_SIDE:
            bottom, grows = bottom + 1, True
        if left > 0 and on[top:bottom, left - 1].mean() > _OF_A_SIDE:
            left, grows = left - 1, True
        if right < columns and on[top:bottom, right].mean() > _OF_A_SIDE:
            right, grows = right + 1, True
    return left, top, right, bottom


def _middle(high: int, wide: int, narrow: float) -> NDArray[np.float32]:
    down, across = np.linspace(-1, 1, high)[:, None], np.linspace(-1, 1, wide)[None, :]
    return np.exp(-narrow * (down**2 + across**2)).astype(np.float32)
