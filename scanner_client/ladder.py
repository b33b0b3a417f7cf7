"""A ladder of image rescues in front of the decoder: each rung is another look at a picture that gave nothing as it is.

Which rungs, their figures and their order were chosen on the tuning pictures of `tests.corpus` by what each adds for its
time. The cheap ones look at the patch with the symbol, cut out and brought to one size, so that a figure in pixels means
the same for a symbol near and far. Then the symbol is drawn anew from its lattice, bars are averaged along their length.
The last rungs add little and have their turn only where there is time, as with single photos.

Pure: nothing here decodes. A ladder is a generator, so that a rung costs nothing until it is asked for.
"""

import enum
from collections.abc import Callable, Iterable, Iterator

import numpy as np
from msgspec import Struct

from scanner_client import lattice, levels, spot, strips
from scanner_client.levels import Pixels
from scanner_client.readings import Reading

_RETICLE = 0.75
_PATCH_PX = 200
_LINEAR_FAMILIES = ("]C", "]A")
_AGREEING_PARTS = 2
_AGREEING_LOOKS = 3


class Wanted(enum.Enum):
    """What a look is good for, and so what the decoder needs to try."""

    ANY = enum.auto()
    MATRIX = enum.auto()
    LINEAR = enum.auto()
    STRIP = enum.auto()
    """Bars that stand upright, one line."""
    DRAWN = enum.auto()
    """A clean Data Matrix, upright, with nothing else in the picture."""


class Threshold(enum.Enum):
    """How black is told from white: against the surroundings, or against the whole picture."""

    LOCAL = enum.auto()
    GLOBAL = enum.auto()


class Part(enum.Enum):
    """Which pixels of a bar code a look goes by. What shares pixels shares their faults."""

    LINES = enum.auto()
    """Single lines anywhere across the bars, as the decoder picks them."""
    UPPER = enum.auto()
    LOWER = enum.auto()
    WHOLE = enum.auto()


class Look(Struct, frozen=True):
    """One way of seeing a picture, under a name of its own."""

    name: str
    pixels: Pixels
    wanted: Wanted
    threshold: Threshold = Threshold.LOCAL
    part: Part = Part.LINES


Box = tuple[int, int, int, int]
"""Left, top, right, bottom: where a symbol lies in what a look shows."""


class Rung(Struct, frozen=True):
    """One rescue: what it does to a picture, and how black is told from white then."""

    name: str
    change: Callable[[Pixels], Pixels]
    threshold: Threshold = Threshold.LOCAL


class Sight(Struct, frozen=True):
    """A symbol that one look gave, and where in it."""

    look: str
    reading: Reading
    part: Part = Part.LINES
    box: Box = (0, 0, 0, 0)


def _same(grey: Pixels) -> Pixels:
    return grey


PATCH = (
    Rung("patch, Gaussian 2 px", lambda grey: levels.blurred(grey, 2)),
    Rung("patch, unsharp", lambda grey: levels.sharpened(levels.blurred(grey, 1), 4, 300)),
    Rung("patch, Gaussian 2 px, global", lambda grey: levels.blurred(grey, 2), Threshold.GLOBAL),
    Rung(
        "patch, against surroundings",
        lambda grey: levels.against_surroundings(levels.blurred(grey, 1.5), 20),
        Threshold.GLOBAL,
    ),
    Rung("patch, dilation 7 and blur", lambda grey: levels.blurred(levels.lightest(grey, 7), 2)),
    Rung("patch, erosion 5", lambda grey: levels.darkest(grey, 5)),
)
"""For matrix symbols, on the patch at full contrast and `_PATCH_PX` to its longer side."""

RETICLE = (
    Rung("mean of 5 px", lambda grey: levels.averaged(grey, 2)),
    Rung("Gaussian 1.5 px, global", lambda grey: levels.blurred(grey, 1.5), Threshold.GLOBAL),
    Rung("global", _same, Threshold.GLOBAL),
    Rung("Gaussian 3 px", lambda grey: levels.blurred(grey, 3)),
)
"""For matrix symbols, on the middle of the picture."""

LAST = (
    Rung("unsharp", lambda grey: levels.sharpened(levels.blurred(grey, 1), 4, 300)),
    Rung("twice", lambda grey: levels.scaled(grey, 2)),
    Rung("Gaussian 1.5 px", lambda grey: levels.blurred(grey, 1.5)),
    Rung("erosion 5 and blur", lambda grey: levels.blurred(levels.darkest(grey, 5), 1.5)),
    Rung("dilation 5 and blur", lambda grey: levels.blurred(levels.lightest(grey, 5), 1.5)),
    Rung("dilation 3", lambda grey: levels.lightest(grey, 3)),
    Rung("half", lambda grey: levels.reduced(grey, 2)),
)
"""For matrix symbols, on the middle of the picture, after all else."""

BARS = (
    Rung("bars, Gaussian 1 px", lambda grey: levels.blurred(grey, 1)),
    Rung("bars, half", lambda grey: levels.reduced(grey, 2)),
    Rung("bars, twice", lambda grey: levels.scaled(grey, 2)),
)
"""For bars, on the whole picture: what is large and clear is seen by them a second time."""


def linear(reading: Reading) -> bool:
    """Whether it is a bar code, which has no error correction (AIM families of ISO/IEC 15424)."""
    return (reading.symbology or "").startswith(_LINEAR_FAMILIES)


def believed(sights: Iterable[Sight]) -> tuple[Reading, ...]:
    """The readings that are sure, in the order seen: a matrix symbol seen once, a bar code that was confirmed.

    A bar code is confirmed when looks at two different parts of it agree, or three looks by single lines; two such would
    be the same pixels twice. Where one look reads the same bars in two ways, it has no say in either.
    """
    kept = tuple(sights)
    seen: dict[Reading, list[Sight]] = {}
    for each in kept:
        agreeing = seen.setdefault(each.reading, [])
        if not any(_contradict(each, other) for other in kept):
            agreeing.append(each)
    return tuple(reading for reading, agreeing in seen.items() if not linear(reading) or _confirmed(agreeing))


def settled(sights: Iterable[Sight]) -> bool:
    """Whether no further look is worth its time: what is in doubt is not known to be another symbol than what is sure.

    To go on until every doubtful reading has found another like it would be to look for agreement in errors.
    """
    kept = tuple(sights)
    sure, unsure = believed(kept), doubted(kept)
    if not sure or not unsure:
        return bool(sure)
    if not any(linear(each) for each in sure):
        return False
    certain = [each for each in kept if each.reading in sure]
    return not any(_beside(each, other) for each in kept if each.reading in unsure for other in certain)


def _confirmed(agreeing: list[Sight]) -> bool:
    parts = {each.part for each in agreeing}
    return len(parts) >= _AGREEING_PARTS or len({each.look for each in agreeing}) >= _AGREEING_LOOKS


def _contradict(one: Sight, other: Sight) -> bool:
    """Whether one look read the same bars in two ways."""
    both = one.look == other.look and linear(one.reading) and linear(other.reading)
    return both and one.reading != other.reading and not _beside(one, other)


def _beside(one: Sight, other: Sight) -> bool:
    """Whether one look saw them in two places."""
    left, top, right, bottom = one.box
    apart = right < other.box[0] or other.box[2] < left or bottom < other.box[1] or other.box[3] < top
    return one.look == other.look and apart


def doubted(sights: Iterable[Sight]) -> tuple[Reading, ...]:
    """The readings that are not sure (yet)."""
    kept = tuple(sights)
    sure = believed(kept)
    return tuple(dict.fromkeys(each.reading for each in kept if each.reading not in sure))


def reticle(grey: Pixels) -> Pixels:
    """The middle of a picture, where people hold what they mean: a square of three quarters of the shorter side."""
    high, wide = grey.shape
    side = max(1, round(min(high, wide) * _RETICLE))
    top, left = (high - side) // 2, (wide - side) // 2
    return np.ascontiguousarray(grey[top : top + side, left : left + side])


def climbs(grey: Pixels, *, aimed: bool) -> tuple[tuple[Wanted, Iterator[Look]], ...]:
    """The ladders for a picture: for bars and for matrix symbols, the likelier first.

    In an `aimed` picture the symbol is expected in the reticle, and the whole of it is looked at late.
    """
    if min(grey.shape) < spot.LEAST_SIDE_PX:
        return ((Wanted.ANY, _tiny(grey)),) if grey.size else ()
    middle = reticle(grey) if min(grey.shape) * _RETICLE >= spot.LEAST_SIDE_PX else grey
    has_bars, degrees = spot.bars(middle)
    both = ((Wanted.LINEAR, _bars(grey, degrees)), (Wanted.MATRIX, _matrix(grey, middle, aimed)))
    return both if has_bars else both[::-1]


def _tiny(grey: Pixels) -> Iterator[Look]:
    """At one pixel to a module only more pixels help."""
    for factor in (2, 3):
        yield Look(f"{factor} times", levels.scaled(grey, factor), Wanted.ANY)


def _matrix(grey: Pixels, middle: Pixels, aimed: bool) -> Iterator[Look]:
    patch = spot.patch(middle)
    cut = levels.spread(levels.blurred(patch.grey, 0.6))
    yield from _looks(PATCH, levels.scaled(cut, _PATCH_PX / max(cut.shape)))
    yield from _looks(RETICLE, middle)
    for drawn in lattice.redrawn(patch):
        yield Look("lattice", drawn, Wanted.DRAWN)
    yield from _looks(LAST, middle if aimed else grey)
    if aimed:
        yield Look("whole", grey, Wanted.MATRIX)


def _bars(grey: Pixels, degrees: float) -> Iterator[Look]:
    standing = strips.upright(grey, degrees)
    yield Look("upright", standing, Wanted.LINEAR)
    for name, strip in strips.strips(standing):
        yield Look(name, strip, Wanted.STRIP, part=Part[name.split()[0].upper()])
    for rung in BARS:
        yield Look(rung.name, rung.change(grey), Wanted.LINEAR, rung.threshold)


def _looks(rungs: tuple[Rung, ...], grey: Pixels) -> Iterator[Look]:
    for rung in rungs:
        yield Look(rung.name, rung.change(grey), Wanted.MATRIX, rung.threshold)
