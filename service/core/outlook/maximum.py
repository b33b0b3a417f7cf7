"""The top of a log likelihood in two parameters: Newton's method with a damped step. From memory, any numerical text."""

from collections.abc import Callable

import numpy as np
from msgspec import Struct

from service.core.outlook.arrays import Floats

_MOST_STEPS = 200
_MOST_HALVINGS = 40
_LONGEST_STEP = 2.0
"""In logarithms: no step multiplies a parameter by more than about seven."""
_CLOSE = 1e-9


class Slope(Struct, frozen=True, eq=False):
    """A function at one point: its value, gradient (2,) and matrix of second derivatives (2, 2)."""

    value: float
    gradient: Floats
    curvature: Floats


def climb(function: Callable[[Floats], Slope], start: Floats) -> tuple[Floats, Floats]:
    """Where the function is greatest, and the covariance there: the inverse of the negated second derivatives.

    Where the function is not concave the step follows the gradient in that direction instead.

    Raises:
        ArithmeticError: no top was found, or the top is flat. A proper penalty on both parameters excludes it.
    """
    point, here = start, function(start)
    for _ in range(_MOST_STEPS):
        values, axes = np.linalg.eigh(-here.curvature)
        step = axes @ ((axes.T @ here.gradient) / np.maximum(np.abs(values), 1e-6))
        step *= min(1.0, _LONGEST_STEP / max(float(np.abs(step).max()), 1e-300))
        if float(np.abs(step).max()) < _CLOSE:
            return point, _covariance(here.curvature)
        point, here = _uphill(function, point, here, step)
    raise ArithmeticError("no maximum was found")


def _uphill(function: Callable[[Floats], Slope], point: Floats, here: Slope, step: Floats) -> tuple[Floats, Slope]:
    for _ in range(_MOST_HALVINGS):
        there = function(point + step)
        # At the top itself rounding decides which of two values is the greater, and either will do.
        if there.value >= here.value - 1e-12 * abs(here.value):
            return point + step, there
        step = step / 2
    return point, here


def _covariance(curvature: Floats) -> Floats:
    values, axes = np.linalg.eigh(-curvature)
    if values.min() <= 0:
        raise ArithmeticError("the maximum is flat")
    return np.asarray((axes / values) @ axes.T, dtype=np.float64)
