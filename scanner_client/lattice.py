"""A Data Matrix measured and drawn anew: its lattice is found, each module judged, the finder pattern put right.

A decoder looks for the solid sides of the symbol and gives up when they are broken, blurred, crossed by a line or made of
dots. Here the lattice is found first, from the rhythm of all edges together, which survives all of that. Then the symbol
is where the border of a square cut from the lattice looks most like a finder pattern (ISO/IEC 16022: two solid sides,
two of alternating modules). What is drawn anew goes to the decoder, whose error correction has the last word: a lattice
that is wrong gives modules that no correction accepts.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray
from PIL import Image

from scanner_client import corners, levels, spot
from scanner_client.finder import Find, best, pattern
from scanner_client.levels import Pixels

_SIDE_PX = 240
"""Every patch is brought to this size, so that all figures here are in its pixels."""
_SPECTRUM_PX = 256
_BLURS_PX = (1.2, 3.0)
"""Little for fine modules, more for grainy metal."""
_PEAKS = 8
_LEAST_SQUARE = 0.8
"""Sine of the angle between rows and columns: seen from the side a square leans, but not more than this."""
_MOST_LONGER = 1.47
_SAME_PER_PX = 0.006
_TRIED_LATTICES = 5
_TRIED_FINDS = 4
_DRAWN_AT_ONCE = 4
_DRAWN_REFINED = 5
_LEAST_SCORE = 0.4
_SURE_SCORE = 0.7
"""Drawn as soon as it is found; others wait until all lattices have been looked at."""
_MOST_MODULES_AROUND = 22
_HARMONIC = 0.2
"""Modules that alternate this much all over are no data: the lattice is twice too fine, or diagonal."""
_PHASES = 6

Vector = NDArray[np.float64]
Matrix = NDArray[np.floating[Any]]

_ACROSS = (np.arange(_SPECTRUM_PX // 2 + 1) / _SPECTRUM_PX)[None, :]
_PER_PX = np.hypot(np.fft.fftfreq(_SPECTRUM_PX)[:, None], _ACROSS)
_BAND = (_PER_PX > 1 / 26) & (_PER_PX < 1 / 4.6)
"""10 to 26 modules in the patch."""
_RING = np.minimum((_PER_PX * _SPECTRUM_PX / 2).astype(int), 96).ravel()
_RING_SIZE = np.maximum(np.bincount(_RING, minlength=97), 1)


class _Lattice(Struct, frozen=True):
    """Two wave vectors (modules per pixel) and the patch as seen by modules of this size."""

    first: Vector
    second: Vector

    @property
    def pitch_px(self) -> float:
        """The smaller distance of two modules."""
        return 1 / float(max(np.linalg.norm(self.first), np.linalg.norm(self.second)))

    @property
    def basis(self) -> Matrix:
        """From lattice steps to pixels."""
        found: Matrix = np.linalg.inv(np.array((self.first, self.second)))
        return found


class _Seen(Struct, frozen=True):
    """The patch with grain below the size of a module smoothed away: grey levels, and darkness from -1 to 1."""

    grey: Pixels
    dark: NDArray[np.float32]


class _Candidate(Struct, frozen=True):
    """A symbol that may lie here: its corners in pixels from the upper left one, clockwise."""

    score: float
    find: Find
    quad: Matrix
    seen: _Seen
    pitch_px: float


def redrawn(patch: spot.Patch) -> Iterator[Pixels]:
    """Clean drawings of what may be the symbol in a patch, the likeliest first; none if there is no lattice."""
    high, wide = patch.grey.shape
    factor = _SIDE_PX / max(high, wide)
    grey = levels.scaled(patch.grey, factor)
    found: list[_Candidate] = []
    for each in _candidates(grey, patch.side_px * factor):
        found.append(each)
        if each.score >= _SURE_SCORE:
            yield _drawn(each.find, _judged(_modules(each.seen.grey, each.quad, each.find.size)))
    likely = [each for each in sorted(found, key=lambda each: -each.score) if each.score >= _LEAST_SCORE]
    for each in likely[:_DRAWN_AT_ONCE]:
        if each.score < _SURE_SCORE:
            yield _drawn(each.find, _judged(_modules(each.seen.grey, each.quad, each.find.size)))
    for each in likely[:_DRAWN_REFINED]:
        quad = corners.refined(each.seen.dark, each.quad, each.find, each.pitch_px)
        modules = _modules(each.seen.grey, quad, each.find.size)
        yield _drawn(each.find, _judged(modules))
        yield _drawn(each.find, _judged(_crisp(modules, 0.8)))
        yield _drawn(each.find, np.median(modules) - modules)
        yield _drawn(each.find, _judged(_crisp(modules, 1.6)))
        yield _drawn(each.find, _judged(modules, 4))


def _candidates(grey: Pixels, side_px: float) -> Iterator[_Candidate]:
    waiting = _lattices(grey)[: _TRIED_LATTICES - 1]
    seen: dict[int, _Seen] = {}
    for _ in range(_TRIED_LATTICES + 2):
        if not waiting:
            return
        lattice = waiting.pop(0)
        pitch = lattice.pitch_px
        kept = seen.get(round(pitch * 1.5)) or _seen_at(grey, pitch)
        seen[round(pitch * 1.5)] = kept
        across, down = _points(lattice, kept, grey.shape)
        dark = corners.taken(kept.dark, across, down)
        rhythm, coarser = _harmonic(lattice, dark)
        if coarser and pitch < _SIDE_PX / 20:
            waiting.insert(0, coarser)
        outside = (across < 0) | (down < 0) | (across >= grey.shape[1]) | (down >= grey.shape[0])
        judged = np.where(outside, 0, _clear(corners.taken(kept.grey, across, down)))
        sized = (each for each in best(judged) if _plausible(each.size * pitch, side_px))
        for find, _ in zip(sized, range(_TRIED_FINDS), strict=False):
            quad = _quad(lattice, (across[0, 0], down[0, 0]), find)
            yield _Candidate(find.score - max(0.0, rhythm - 0.12), find, quad, kept, pitch)


def _plausible(symbol_px: float, side_px: float) -> bool:
    """Whether a symbol so big goes with the busy part of the patch; a patch full of noise says nothing."""
    return side_px > _SIDE_PX / 1.2 or 0.6 * side_px < symbol_px < 1.35 * side_px


def _seen_at(grey: Pixels, pitch_px: float) -> _Seen:
    soft = levels.blurred(grey, max(0.6, 0.22 * pitch_px))
    return _Seen(soft, levels.darkness(soft, 3 * pitch_px))


def _lattices(grey: Pixels) -> list[_Lattice]:
    """Pairs of wave vectors, about square to each other and of about one length, the strongest first."""
    found: list[tuple[float, _Lattice]] = []
    for blur_px in _BLURS_PX:
        peaks = _peaks(_rhythm(grey, blur_px))
        for index, (one, first) in enumerate(peaks):
            for other, second in peaks[index + 1 :]:
                lengths = float(np.linalg.norm(first)), float(np.linalg.norm(second))
                square = abs(first[0] * second[1] - first[1] * second[0]) / (lengths[0] * lengths[1])
                if square < _LEAST_SQUARE or max(lengths) > _MOST_LONGER * min(lengths):
                    continue
                strength = ((one + other) * square**2 + min(one, other)) / peaks[0][0]
                found.append((strength, _ordered(first, second)))
    kept: list[_Lattice] = []
    for _, lattice in sorted(found, key=lambda each: -each[0]):
        if not any(_same(lattice, each) for each in kept):
            kept.append(lattice)
    return kept


def _ordered(first: Vector, second: Vector) -> _Lattice:
    """The first vector to the right, the second down."""
    if abs(first[0]) < abs(second[0]):
        first, second = second, first
    return _Lattice(first if first[0] > 0 else -first, second if second[1] > 0 else -second)


def _same(one: _Lattice, other: _Lattice) -> bool:
    apart = np.hypot(*(one.first - other.first)), np.hypot(*(one.second - other.second))
    return bool(max(apart) < _SAME_PER_PX)


def _rhythm(grey: Pixels, blur_px: float) -> Matrix:
    """How strongly edges repeat at each spacing and direction, against other directions of the same spacing.

    The modules themselves do not show in a spectrum (that of a square is nought just there), their edges do.
    """
    across, down = levels.slopes(levels.blurred(grey, blur_px))
    edges = np.hypot(across, down)
    edges = np.minimum(edges, np.percentile(edges[::2, ::2], 95))
    window = np.hanning(edges.shape[0])[:, None] * np.hanning(edges.shape[1])[None, :]
    power = np.abs(np.fft.rfft2(((edges - edges.mean()) * window).astype(np.float32), (_SPECTRUM_PX, _SPECTRUM_PX)))
    ring = np.bincount(_RING, weights=power.ravel(), minlength=97) / _RING_SIZE
    ring = np.convolve(np.pad(ring, 2, mode="edge"), np.ones(5) / 5, "valid")
    usual = ring[_RING].reshape(power.shape) + 0.02 * ring[3:20].max() + 1e-6
    found: Matrix = np.where(_BAND, power / usual, 0)
    return found


def _peaks(power: Matrix) -> list[tuple[float, Vector]]:
    rest = power.copy()
    found = []
    for _ in range(_PEAKS):
        row, column = (int(each) for each in np.unravel_index(int(np.argmax(rest)), rest.shape))
        if rest[row, column] <= 0:
            break
        found.append((float(power[row, column]), _vector(power, row, column)))
        for y, x in ((row, column), (-row, -column)):
            rows = np.arange(y - 3, y + 4) % _SPECTRUM_PX
            rest[rows, max(0, x - 3) : max(0, x + 4)] = 0
    return found


def _vector(power: Matrix, row: int, column: int) -> Vector:
    """The wave vector of a peak, to a fraction of a step by the parabola through it and its neighbours."""
    above, below = power[(row - 1) % _SPECTRUM_PX, column], power[(row + 1) % _SPECTRUM_PX, column]
    left, right = power[row, max(column - 1, 0)], power[row, min(column + 1, power.shape[1] - 1)]
    signed = row if row < _SPECTRUM_PX // 2 else row - _SPECTRUM_PX
    x, y = _top(left, power[row, column], right), _top(above, power[row, column], below)
    return np.array(((column + x) / _SPECTRUM_PX, (signed + y) / _SPECTRUM_PX))


def _top(before: float, at: float, after: float) -> float:
    bend = before - 2 * at + after
    return float(np.clip((before - after) / 2 / bend, -0.5, 0.5)) if bend < 0 else 0.0


def _points(lattice: _Lattice, seen: _Seen, shape: tuple[int, ...]) -> tuple[Matrix, Matrix]:
    """The middles of all modules around the middle of the patch; the offset is the one of most contrast."""
    reach = min(int(0.72 * _SIDE_PX / lattice.pitch_px), _MOST_MODULES_AROUND)
    steps = np.arange(-reach, reach) + 0.5
    u, v = np.meshgrid(steps, steps)
    basis = lattice.basis
    across = shape[1] / 2 + basis[0, 0] * u + basis[0, 1] * v
    down = shape[0] / 2 + basis[1, 0] * u + basis[1, 1] * v
    phases = np.arange(_PHASES) / _PHASES
    du, dv = (each.reshape(-1, 1, 1) for each in np.meshgrid(phases, phases))
    inner = slice(max(0, reach - 6), reach + 6)
    values = corners.taken(
        seen.dark,
        across[None, inner, inner] + basis[0, 0] * du + basis[0, 1] * dv,
        down[None, inner, inner] + basis[1, 0] * du + basis[1, 1] * dv,
    )
    contrast = values.var(axis=(1, 2)).reshape(_PHASES, _PHASES)
    turn = np.exp(2j * np.pi * phases)
    first, second = (np.angle((contrast.sum(axis=axis) * turn).sum()) / (2 * np.pi) for axis in (0, 1))
    move = basis @ np.array((first, second))
    return across + move[0], down + move[1]


def _harmonic(lattice: _Lattice, dark: Matrix) -> tuple[float, _Lattice | None]:
    """How much the modules just alternate, and the coarser lattice that would explain it."""
    reach = len(dark) // 2
    inner = dark[max(0, reach - 6) : reach + 6, max(0, reach - 6) : reach + 6]
    sign = (-1.0) ** np.arange(len(inner))
    whole = float(np.abs(inner).mean()) + 1e-6
    rows = abs(float((inner * sign[:, None]).mean())) / whole
    columns = abs(float((inner * sign[None, :]).mean())) / whole
    board = abs(float((inner * sign[:, None] * sign[None, :]).mean())) / whole
    first, second = lattice.first, lattice.second
    most = max(rows, columns, board)
    if most <= _HARMONIC:
        return most, None
    if board > 1.5 * max(rows, columns):
        return most, _ordered((first + second) / 2, (first - second) / 2)
    if rows > 2.5 * columns:
        return most, _Lattice(first, second / 2)
    if columns > 2.5 * rows:
        return most, _Lattice(first / 2, second)
    return most, _Lattice(first / 2, second / 2)


def _quad(lattice: _Lattice, origin: tuple[float, float], find: Find) -> Matrix:
    places = np.array(((0, 0), (find.size, 0), (find.size, find.size), (0, find.size)), float) - 0.5
    quad: Matrix = (places + np.array((find.column, find.row))) @ lattice.basis.T + np.array(origin)
    return quad


def _modules(grey: Pixels, quad: Matrix, size: int) -> NDArray[np.float32]:
    middles = np.arange(size) + 0.5
    u, v = (each.ravel() for each in np.meshgrid(middles, middles))
    across, down = corners.placed(quad[None], size, u, v)
    return corners.taken(grey, across, down).reshape(size, size).astype(np.float32)


def _clear(modules: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Modules from -1 (light) to 1 (dark), each against its neighbours."""
    judged = _judged(_crisp(modules.astype(np.float32), 0.8))
    reach = len(judged) // 2
    middle = np.abs(judged[max(0, reach - 6) : reach + 6, max(0, reach - 6) : reach + 6])
    clear: NDArray[np.float32] = np.clip(judged / np.float32(max(3.0, np.percentile(middle, 60))), -1, 1)
    return clear


def _judged(modules: NDArray[np.float32], reach: int = 2) -> NDArray[np.float32]:
    """Dark above nought: against halfway between the darkest and the lightest of the modules around."""
    low: Matrix = modules
    high: Matrix = modules
    for axis in (0, 1):
        pad = [(reach, reach) if axis == each else (0, 0) for each in (0, 1)]
        view = np.lib.stride_tricks.sliding_window_view
        low = view(np.pad(low, pad, mode="edge"), 2 * reach + 1, axis=axis).min(axis=-1)
        high = view(np.pad(high, pad, mode="edge"), 2 * reach + 1, axis=axis).max(axis=-1)
    middle = np.pad((low + high) / 2, 1, mode="edge")
    smooth: Matrix = np.lib.stride_tricks.sliding_window_view(middle, (3, 3)).mean(axis=(2, 3))
    return np.asarray(smooth - modules, np.float32)


def _crisp(modules: NDArray[np.float32], amount: float) -> NDArray[np.float32]:
    """What blur took from each module to its four neighbours is given back."""
    around = np.pad(modules, 1, mode="edge")
    mean = (around[:-2, 1:-1] + around[2:, 1:-1] + around[1:-1, :-2] + around[1:-1, 2:]) / np.float32(4)
    return np.asarray(modules + np.float32(amount) * (modules - mean), np.float32)


def _drawn(find: Find, judged: Matrix) -> Pixels:
    """The symbol in black on white, upright, with a whole finder pattern and a quiet zone; four pixels a module."""
    upright = np.rot90(judged * find.polarity, find.turns)
    border = pattern(find.size)
    dark = np.pad(np.where(border == 0, upright, border) > 0, 2)
    drawn = np.where(dark, 0, 255).astype(np.uint8)
    return np.asarray(Image.fromarray(drawn).resize((4 * len(drawn), 4 * len(drawn)), Image.Resampling.NEAREST))
