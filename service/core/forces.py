"""Forces: newtons inside, pounds-force beside them where the trade speaks of those."""

LBF_N = 4.4482216152605
"""Newtons in a pound-force, exactly (a pound of 0.45359237 kg in a standard gravity of 9.80665 m/s2)."""


def newtons(force_lbf: float) -> float:
    """A force stated in pounds-force, to the tenth of a newton that a gauge shows."""
    return round(force_lbf * LBF_N, 1)


def pounds(force_n: float) -> float:
    """A force stated in newtons, to the tenth of a pound-force."""
    return round(force_n / LBF_N, 1)
