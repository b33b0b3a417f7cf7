"""Bars to clean strips: turned upright, averaged along the bars, light evened out, sharpened.

Averaging along the bars takes out noise, specks and scratches that no single line survives. The upper and the lower half
of the bars give two strips that share no pixel: two readings that agree are two observations.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from scanner_client import levels
from scanner_client.levels import Pixels

Profile = NDArray[np.floating[Any]]

_ENLARGED = 4
_ROWS = 24
_LEAST_ROWS = 8
"""Of the picture, for two halves that each have some; lower bars are read as they are or not at all."""
_AROUND_PX = 40
"""Wider than the widest bar with its gap, narrower than a shadow."""


def upright(grey: Pixels, degrees: float) -> Pixels:
    """The picture turned back so that the bars stand upright."""
    paper = int(np.median(grey[::8, ::8]))
    return np.asarray(Image.fromarray(grey).rotate(degrees, Image.Resampling.BICUBIC, fillcolor=paper))


def strips(standing: Pixels) -> Iterator[tuple[str, Pixels]]:
    """Strips of a picture whose bars stand upright, each with what was done, those that read most often first."""
    top, bottom = _band(standing)
    if bottom - top < _LEAST_ROWS:
        return
    part = {
        name: standing[top + int(above * (bottom - top)) : top + int(below * (bottom - top))].mean(axis=0)
        for name, above, below in (("upper", 0.05, 0.5), ("lower", 0.5, 0.95), ("whole", 0.15, 0.85))
    }
    for name, profile in part.items():
        yield f"{name} sharp", _strip(_even(_crisp(profile, 1.5, 3)))
    yield "whole sharp light on dark", 255 - _strip(_even(_crisp(part["whole"], 1.5, 3)))
    for name, profile in part.items():
        yield f"{name} sharper", _strip(_even(_crisp(profile, 4, 2)))
    for name in ("upper", "lower"):
        yield f"{name} sharp light on dark", 255 - _strip(_even(_crisp(part[name], 1.5, 3)))
    for name, profile in part.items():
        yield f"{name} as it is", _strip(profile)


def _band(standing: Pixels) -> tuple[int, int]:
    """The rows that the bars reach over: where levels change across much more than down."""
    across, down = (np.abs(each) for each in levels.slopes(levels.blurred(standing, 1)))
    middle = np.exp(-2 * np.linspace(-1, 1, across.shape[1]) ** 2)
    rows = np.convolve(((across - 1.2 * down) * middle).sum(axis=1), np.ones(9) / 9, "same")
    best = int(np.argmax(rows * np.exp(-(np.linspace(-1, 1, len(rows)) ** 2))))
    off = np.flatnonzero(rows <= rows[best] / 2)
    top = int(off[off < best].max(initial=-1)) + 1
    bottom = int(off[off > best].min(initial=len(rows)))
    return top + 1, max(bottom + 1, top + 2)


def _strip(profile: Profile) -> Pixels:
    places = np.arange(len(profile))
    drawn = np.interp(np.linspace(0, len(profile) - 1, len(profile) * _ENLARGED), places, profile)
    dark, light = np.percentile(drawn, (2, 98))
    row = np.clip((drawn - dark) / max(light - dark, 2) * 235 + 10, 0, 255).astype(np.uint8)
    return np.repeat(row[None], _ROWS, axis=0)


def _crisp(profile: Profile, amount: float, sigma_px: float) -> Profile:
    return profile + amount * (profile - _smooth(profile, sigma_px))


def _even(profile: Profile) -> Profile:
    """The light levelled: between the darkest and the lightest nearby."""
    around = np.lib.stride_tricks.sliding_window_view(np.pad(profile, _AROUND_PX, mode="edge"), 2 * _AROUND_PX + 1)
    low, high = (_smooth(each, _AROUND_PX / 2) for each in (around.min(axis=1), around.max(axis=1)))
    return (profile - low) / np.maximum(high - low, 3) * 200 + 20


def _smooth(profile: Profile, sigma_px: float) -> Profile:
    reach = int(4 * sigma_px) + 1
    bell = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma_px) ** 2)
    return np.convolve(np.pad(profile, reach, mode="edge"), bell / bell.sum(), "valid")
