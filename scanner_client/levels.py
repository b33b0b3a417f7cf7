"""Grey levels in small steps: blur, thin, thicken, resize, spread. Pure functions on two-dimensional uint8 arrays."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter

Pixels = NDArray[np.uint8]


def blurred(grey: Pixels, sigma_px: float) -> Pixels:
    """A Gaussian blur."""
    return np.asarray(Image.fromarray(grey).filter(ImageFilter.GaussianBlur(float(sigma_px))))


def averaged(grey: Pixels, radius_px: float) -> Pixels:
    """The mean of a square around each pixel."""
    return np.asarray(Image.fromarray(grey).filter(ImageFilter.BoxBlur(float(radius_px))))


def sharpened(grey: Pixels, radius_px: float, percent: int) -> Pixels:
    """An unsharp mask."""
    return np.asarray(Image.fromarray(grey).filter(ImageFilter.UnsharpMask(radius_px, percent, 0)))


def darkest(grey: Pixels, side_px: int) -> Pixels:
    """Grey erosion: the darkest pixel of a square around each. Dark dots grow together."""
    return _extreme(grey, side_px, np.minimum)


def lightest(grey: Pixels, side_px: int) -> Pixels:
    """Grey dilation: the lightest pixel of a square around each. Light dots grow together, dark specks go."""
    return _extreme(grey, side_px, np.maximum)


def resized(grey: Pixels, width_px: int, height_px: int) -> Pixels:
    """Another size, smoothly."""
    size = (max(1, width_px), max(1, height_px))
    return np.asarray(Image.fromarray(grey).resize(size, Image.Resampling.BICUBIC))


def scaled(grey: Pixels, factor: float) -> Pixels:
    """So many times the size, smoothly."""
    height, width = grey.shape
    return resized(grey, round(width * factor), round(height * factor))


def reduced(grey: Pixels, factor: int) -> Pixels:
    """A whole fraction of the size, each pixel the mean of those it replaces."""
    return np.asarray(Image.fromarray(grey).reduce(factor))


def spread(grey: Pixels) -> Pixels:
    """Full contrast: all but the outermost hundredths of the levels are pulled out to black and white."""
    dark, light = np.percentile(grey[::2, ::2], (2, 98))
    pulled: Pixels = np.clip((grey - dark) * (255 / max(light - dark, 8)), 0, 255).astype(np.uint8)
    return pulled


def against_surroundings(grey: Pixels, radius_px: float) -> Pixels:
    """Black where darker than the mean of the surroundings, else white."""
    return np.where(grey < averaged(grey, radius_px).astype(np.int16) - 1, 0, 255).astype(np.uint8)


def darkness(grey: Pixels, radius_px: float) -> NDArray[np.float32]:
    """From -1 (as light as it gets nearby) to 1 (as dark): uneven light and shadows taken out."""
    small = reduced(grey, 4)
    side = max(3, int(radius_px / 2) | 1)
    low = _enlarged(blurred(darkest(small, side), side / 2), grey.shape)
    high = _enlarged(blurred(lightest(small, side), side / 2), grey.shape)
    return np.clip(((low + high) / 2 - grey) / np.maximum((high - low) / 2, 4), -1, 1)


def slopes(grey: Pixels) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """How the level changes to the right and downwards, for all but the outermost pixels."""
    levels = grey.astype(np.float32)
    return levels[1:-1, 2:] - levels[1:-1, :-2], levels[2:, 1:-1] - levels[:-2, 1:-1]


def _enlarged(small: Pixels, shape: tuple[int, ...]) -> NDArray[np.float32]:
    size = (shape[1], shape[0])
    return np.asarray(Image.fromarray(small).resize(size, Image.Resampling.BILINEAR), np.float32)


def _extreme(grey: Pixels, side_px: int, pick: Callable[[Pixels, Pixels], Pixels]) -> Pixels:
    """Rows, then columns; the reach doubles each time, so that a big square costs little more than a small one.

    Pillow's own rank filter takes 300 times as long.
    """
    before = side_px // 2
    found = np.pad(grey, (before, side_px - 1 - before), mode="edge")
    for _ in range(2):
        reach = 1
        while reach < side_px:
            step = min(reach, side_px - reach)
            found = pick(found[:-step], found[step:])
            reach += step
        found = found.T
    return np.ascontiguousarray(found)
