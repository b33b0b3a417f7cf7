"""How a printed symbol would look to cameras: dots that spread, a ragged edge, a little blur, several angles, a bent sleeve.

The model is ours, no standard's: each dark dot spreads by one dot, as ink and heat do; a camera sees 0.08 mm a pixel, as a
telephone does at a hand's breadth, a little out of focus. It agrees with what trials of labels gave: 0.33 mm a module reads
at 300 and 600 dpi, 0.25 mm at 600 dpi only. The chance in it is seeded, so the same label gets the same verdict.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from service.labels.symbols import Symbol

_SIMULATED_DOTS = 12
_PIXEL_MM = 0.08
_PIXELS_A_MODULE = 5
_BLUR_PIXELS = 0.7
_RAGGED = 0.03
_ANGLES = (0, 4, 11, 23, 38, 57, 75, 90)
_INK, _PAPER = 40, 215
_OVERSAMPLED = 4
_MARGIN_MODULES = 3


def pictures(symbol: Symbol, dots: int, module_mm: float, sleeve_mm: float | None) -> Iterator[NDArray[np.uint8]]:
    """The same label as several cameras see it. More dots a module than are simulated would only be better."""
    dots = min(dots, _SIMULATED_DOTS)
    dot_mm = module_mm / dots
    chance = np.random.default_rng(1)
    pixel_mm = max(_PIXEL_MM, module_mm / _PIXELS_A_MODULE)
    for angle in _ANGLES:
        dark = _printed(symbol, dots, chance)
        fine = _bent(dark, dot_mm, sleeve_mm) if sleeve_mm is not None else _flat(dark)
        yield _seen(fine, dot_mm / _OVERSAMPLED / pixel_mm, angle)


def _printed(symbol: Symbol, dots: int, chance: np.random.Generator) -> NDArray[np.bool_]:
    wanted = np.kron(np.pad(np.array(symbol.rows), _MARGIN_MODULES), np.ones((dots, dots), dtype=bool))
    spread = wanted.copy()
    spread[:, 1:] |= wanted[:, :-1]
    spread[1:, :] |= wanted[:-1, :]
    around = np.pad(spread, 1, mode="edge")
    edge = np.zeros_like(spread)
    for neighbour in (around[1:-1, 2:], around[1:-1, :-2], around[2:, 1:-1], around[:-2, 1:-1]):
        edge |= neighbour != spread
    ragged: NDArray[np.bool_] = spread ^ (edge & (chance.random(spread.shape) < _RAGGED))
    return ragged


def _flat(dark: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.repeat(np.repeat(dark, _OVERSAMPLED, axis=0), _OVERSAMPLED, axis=1)


def _bent(dark: NDArray[np.bool_], dot_mm: float, sleeve_mm: float) -> NDArray[np.bool_]:
    """Round a sleeve, seen square from the side: a row at the arc s stands at r sin(s / r); what turned away is not seen."""
    radius_mm = sleeve_mm / 2
    half_mm = dark.shape[0] * dot_mm / 2
    reach_mm = radius_mm * np.sin(min(half_mm / radius_mm, np.pi / 2))
    heights_mm = np.arange(-reach_mm, reach_mm, dot_mm / _OVERSAMPLED)
    arcs_mm = radius_mm * np.arcsin(np.clip(heights_mm / radius_mm, -1, 1))
    rows = np.clip((arcs_mm + half_mm) / dot_mm, 0, dark.shape[0] - 1).astype(int)
    return np.repeat(dark[rows], _OVERSAMPLED, axis=1)


def _seen(dark: NDArray[np.bool_], scale: float, angle: float) -> NDArray[np.uint8]:
    paper = Image.fromarray(np.where(dark, _INK, _PAPER).astype(np.uint8))
    turned = paper.rotate(angle, Image.Resampling.BICUBIC, expand=True, fillcolor=_PAPER)
    size = (max(8, round(turned.width * scale)), max(8, round(turned.height * scale)))
    return np.asarray(turned.resize(size, Image.Resampling.BOX).filter(ImageFilter.GaussianBlur(_BLUR_PIXELS)))
