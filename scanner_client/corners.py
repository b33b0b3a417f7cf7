"""The four corners of a symbol, moved until its modules fit: for symbols seen from the side."""

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from scanner_client import finder
from scanner_client.finder import Find

Quads = NDArray[np.floating[Any]]
Places = NDArray[np.floating[Any]]
Level = TypeVar("Level", bound=np.generic)

_FIRST_STEP, _LAST_STEP = 0.3, 0.07
"""Of a module."""
_ROUNDS = 10
_INSIDE = 0.6
"""How much clear modules inside count beside a border that fits."""


def _moves() -> Quads:
    """What is tried in each round: every corner each way, the whole square each way, wider, narrower, turned."""
    ways = ((1, 0), (-1, 0), (0, 1), (0, -1))
    single = [[way if corner == moved else (0, 0) for corner in range(4)] for moved in range(4) for way in ways]
    whole = [[way] * 4 for way in ways]
    wider = ((-0.7, -0.7), (0.7, -0.7), (0.7, 0.7), (-0.7, 0.7))
    turned = ((0.7, -0.7), (0.7, 0.7), (-0.7, 0.7), (-0.7, -0.7))
    both = [[(sign * x, sign * y) for x, y in each] for each in (wider, turned) for sign in (1, -1)]
    return np.array([*single, *whole, *both], float)


_MOVES = _moves()


def refined(dark: NDArray[np.float32], quad: Quads, find: Find, pitch_px: float) -> Quads:
    """The corners at which the border fits the finder pattern best and the modules inside are clearest."""
    border = np.rot90(finder.pattern(find.size), -find.turns).ravel() * find.polarity
    edge, inside = np.flatnonzero(border), np.flatnonzero(border == 0)[::2]
    middles = np.arange(find.size) + 0.5
    u, v = (each.ravel()[np.concatenate((edge, inside))] for each in np.meshgrid(middles, middles))
    wanted = border[edge].astype(np.float32)

    def fits(quads: Quads) -> Places:
        values = taken(dark, *placed(quads, find.size, u, v))
        clear = np.abs(values[:, len(edge) :]).mean(axis=1)
        score: Places = (values[:, : len(edge)] * wanted).mean(axis=1) + _INSIDE * clear
        return score

    best, step = float(fits(quad[None])[0]), _FIRST_STEP
    for _ in range(_ROUNDS):
        tried = quad[None] + _MOVES * (step * pitch_px)
        scores = fits(tried)
        winner = int(np.argmax(scores))
        if scores[winner] > best + 1e-4:
            quad, best = tried[winner], float(scores[winner])
        elif step / 2 < _LAST_STEP:
            break
        else:
            step /= 2
    return quad


def placed(quads: Quads, size: int, u: Places, v: Places) -> tuple[Places, Places]:
    """Where points of a square of `size` modules fall, for several sets of corners at once: (set, point) each."""
    x, y = quads[:, :, 0], quads[:, :, 1]
    x1, x2, x3 = x[:, 1] - x[:, 2], x[:, 3] - x[:, 2], x[:, 0] - x[:, 1] + x[:, 2] - x[:, 3]
    y1, y2, y3 = y[:, 1] - y[:, 2], y[:, 3] - y[:, 2], y[:, 0] - y[:, 1] + y[:, 2] - y[:, 3]
    area = x1 * y2 - x2 * y1
    g, h = ((each / area)[:, None] for each in (x3 * y2 - x2 * y3, x1 * y3 - x3 * y1))
    along, down = (u / size)[None], (v / size)[None]
    depth = g * along + h * down + 1

    def seen(part: Places) -> Places:
        first, second, last = part[:, :1], part[:, 1:2], part[:, 3:]
        place: Places = ((second - first + g * second) * along + (last - first + h * last) * down + first) / depth
        return place

    return seen(x), seen(y)


def taken(seen: NDArray[Level], across: Places, down: Places) -> NDArray[Level]:
    """The pixels nearest to places; outside of the picture those at its edge."""
    high, wide = seen.shape
    rows = np.clip(np.rint(down), 0, high - 1).astype(np.int32)
    return seen[rows, np.clip(np.rint(across), 0, wide - 1).astype(np.int32)]
