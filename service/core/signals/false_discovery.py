"""How many of the things pointed out are chance: control of the false discovery rate over many tests.

Benjamini and Hochberg's step-up procedure, for tests that are independent or lean the same way; Benjamini and Yekutieli's for any
dependence whatever. Formulas from memory; the tests compare them with scipy.stats.
"""

import numpy as np

from service.core.outlook.arrays import Flags, Floats


def adjusted(p_values: Floats, *, any_dependence: bool = False, silent: int = 0) -> Floats:
    """The smallest false discovery rate at which each test (n,) is pointed out; NaN, a test that was not made, stays NaN.

    `silent` further tests were made whose p-value is 1, such as those of units that have had no event; they are not listed.

    Raises:
        ValueError: a p-value is not between 0 and 1.
    """
    made = np.flatnonzero(~np.isnan(p_values))
    values = p_values[made]
    if values.size and (values.min() < 0 or values.max() > 1):
        raise ValueError("a p-value lies between 0 and 1")
    count = values.size + silent
    order = np.argsort(values, kind="stable")
    ranks = np.arange(1, values.size + 1)
    scale = float((1 / np.arange(1, count + 1)).sum()) if any_dependence else 1.0
    stepped = np.minimum.accumulate((values[order] * scale * count / ranks)[::-1])[::-1]
    found = np.full(p_values.shape, np.nan)
    found[made[order]] = np.minimum(stepped, 1)
    return found


def pointed_out(p_values: Floats, rate: float, *, any_dependence: bool = False, silent: int = 0) -> Flags:
    """Which tests (n,) to point out so that of those, on average, no more than the share `rate` is chance; `silent` as above.

    Raises:
        ValueError: a p-value or the rate is not between 0 and 1.
    """
    if not 0 < rate < 1:
        raise ValueError("a rate lies between 0 and 1")
    return np.nan_to_num(adjusted(p_values, any_dependence=any_dependence, silent=silent), nan=1.0) <= rate
