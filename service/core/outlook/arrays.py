"""The kinds of array that the outlook and the signals speak in."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Counts = NDArray[np.integer]
"""Any integer type: a fleet's counts are kept as narrow as they allow."""
Flags = NDArray[np.bool_]


def total(values: Floats, places: Integers, count: int) -> Floats:
    """Sums of values by their place, 0 where there are none. Shape (count,)."""
    return np.bincount(places, weights=values, minlength=count).astype(np.float64, copy=False)
