"""What goes wrong between a symbol and its picture: one function each, from a scene and a severity to a scene."""

import io
from collections.abc import Callable

import msgspec
import numpy as np
from PIL import Image, ImageDraw

from tests.corpus.scenes import Grey, Scene, softened

Damage = Callable[[np.random.Generator, Scene, float], Scene]


def none(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """A good picture."""
    del rng, severity
    return scene


def blur(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """Out of focus, by up to 0.65 of a module."""
    del rng
    return _with(scene, softened(scene.grey, scene.pose.module_px * _between(0.2, 0.65, severity)))


def tilt(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """Seen from the side (the pose leans already), so that most of it is a bit out of focus."""
    return blur(rng, scene, 0.8 * severity)


def motion(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """Moved while it was taken, by up to 1.8 modules."""
    reach = scene.pose.module_px * _between(0.4, 1.8, severity)
    angle = rng.uniform(0, np.pi)
    steps = np.linspace(-reach / 2, reach / 2, max(3, round(2 * reach)))
    moved = [_moved(scene.grey, each * np.cos(angle), each * np.sin(angle)) for each in steps]
    return _with(scene, np.mean(moved, axis=0).astype(np.float32))


def pale(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """Little contrast: from 60 grey levels down to 9."""
    span = _between(60, 9, severity) / 180
    return _with(scene, (scene.grey - 128) * np.float32(span) + np.float32(rng.uniform(70, 170)))


def noise(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """A dark picture made bright: noise of 15 to 100 grey levels."""
    grain = rng.normal(0, _between(15, 100, severity), scene.grey.shape)
    return _with(scene, scene.grey + grain.astype(np.float32))


def glare(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """A lamp's reflection somewhere over the symbol."""
    angle, reach = rng.uniform(0, 2 * np.pi), scene.reach_px
    x, y = scene.middle + np.array((np.cos(angle), np.sin(angle))) * reach * rng.uniform(0.2, 0.9)
    size = reach * _between(0.3, 0.8, severity)
    spot = np.exp(-(((_across(scene) - x) / size) ** 2 + ((_down(scene) - y) / (size * rng.uniform(0.4, 1))) ** 2))
    return _with(scene, scene.grey + (spot * _between(90, 300, severity)).astype(np.float32))


def shade(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """Light from one side, and the edge of a shadow across the symbol."""
    angle = rng.uniform(0, 2 * np.pi)
    x, y = scene.middle
    along = (_across(scene) - x) * np.cos(angle) + (_down(scene) - y) * np.sin(angle)
    slope = 1 / (1 + np.exp(-along / (scene.reach_px * rng.uniform(0.03, 0.4))))
    dark = _between(0.6, 0.05, severity)
    return _with(scene, (scene.grey * (dark + (1 - dark) * slope)).astype(np.float32))


def burn(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """A scorch, a scratch or a splash of paint over up to a fifth of the symbol."""
    reach = scene.reach_px
    image = Image.fromarray(np.clip(scene.grey, 0, 255).astype(np.uint8))
    draw = ImageDraw.Draw(image)
    level = int(rng.choice((25, 230)))
    spots = int(rng.integers(1, 4))
    size = reach * np.sqrt(_between(0.02, 0.2, severity) * 4 / np.pi / spots)
    for _ in range(spots):
        x, y = scene.middle + rng.uniform(-0.9, 0.9, 2) * reach
        draw.ellipse((x - size, y - size * 0.8, x + size, y + size * 0.8), fill=level)
    return _with(scene, softened(np.asarray(image, np.float32), 0.6))


def far(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """Too far away: the picture holds as few as one of its pixels to a module, then is enlarged by the camera."""
    del rng
    least = _between(2.1, 1.0, severity)
    height, width = scene.grey.shape
    factor = least / scene.pose.module_px
    image = Image.fromarray(np.clip(scene.grey, 0, 255).astype(np.uint8))
    small = image.resize((max(8, round(width * factor)), max(8, round(height * factor))), Image.Resampling.BOX)
    return _with(scene, np.asarray(small.resize((width, height), Image.Resampling.BILINEAR), np.float32))


def inverted(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """Light on dark, as a laser leaves it on anodised aluminium, and a bit out of focus."""
    return blur(rng, _with(scene, 255 - scene.grey), 0.9 * severity)


def jpeg(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """Squeezed by the camera at a third of the size: JPEG quality from 40 down to 1."""
    del rng
    held = io.BytesIO()
    image = Image.fromarray(np.clip(scene.grey, 0, 255).astype(np.uint8))
    image.reduce(3).save(held, "JPEG", quality=max(1, round(_between(40, 1, severity))))
    return _with(scene, np.asarray(Image.open(held).resize(image.size, Image.Resampling.BILINEAR), np.float32))


def grease(rng: np.random.Generator, scene: Scene, severity: float) -> Scene:
    """A dirty lens and a dirty label: veiled, blurred, unevenly lit and noisy all at once."""
    seen = shade(rng, blur(rng, scene, 0.7 * severity), 0.6 * severity)
    veiled = seen.grey * np.float32(1 - 0.5 * severity) + np.float32(60 * severity)
    return noise(rng, _with(seen, veiled), 0.12 * severity)


def ordinary(rng: np.random.Generator, scene: Scene) -> Scene:
    """What every picture has before anything is wrong with it: ink and lens a bit soft, light a bit weak and uneven."""
    soft = softened(scene.grey, scene.pose.module_px * rng.uniform(0.05, 0.3))
    angle, slope = rng.uniform(0, 2 * np.pi), rng.uniform(0, 0.25)
    tilt = (_across(scene) / 320 - 1) * np.cos(angle) + (_down(scene) / 240 - 1) * np.sin(angle)
    return _with(scene, (soft * np.float32(rng.uniform(0.45, 0.95)) * (1 + slope * tilt)).astype(np.float32))


def taken(rng: np.random.Generator, scene: Scene) -> Scene:
    """What every sensor does: noise of three grey levels."""
    return _with(scene, scene.grey + rng.normal(0, 3, scene.grey.shape).astype(np.float32))


def _between(least: float, most: float, severity: float) -> float:
    return least + (most - least) * severity


def _with(scene: Scene, grey: Grey) -> Scene:
    return msgspec.structs.replace(scene, grey=grey)


def _moved(grey: Grey, across: float, down: float) -> Grey:
    image = Image.fromarray(grey)
    shift = image.transform(image.size, Image.Transform.AFFINE, (1, 0, across, 0, 1, down), Image.Resampling.BILINEAR)
    return np.asarray(shift)


def _across(scene: Scene) -> Grey:
    return np.arange(scene.grey.shape[1], dtype=np.float32)[None, :]


def _down(scene: Scene) -> Grey:
    return np.arange(scene.grey.shape[0], dtype=np.float32)[:, None]
