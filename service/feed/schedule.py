"""When a call that failed is made again, and when no more."""

from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

DELAYS_S = (5.0, 300.0, 1_800.0, 7_200.0, 18_000.0, 36_000.0, 50_400.0, 72_000.0, 86_400.0)
"""Seconds from a failure to the next attempt: the example of the Standard Webhooks specification, 75 h 35 min in all."""
JITTER = 0.1
"""The share by which a delay varies either way, so that receivers that failed together are not called together."""
_LONGEST_ASKED_S = 30 * 86_400.0
"""What a receiver may ask for at most: a longer time is more likely to be a mistake than a wish."""


def delay_s(
    failures: int, asked_s: float | None, chance: float, delays_s: tuple[float, ...] = DELAYS_S
) -> float | None:
    """Seconds until the next attempt after so many failures in a row, or None where there is no next one.

    `chance` is between 0 and 1. The receiver's own wish (`Retry-After`) is a least, never a most.
    """
    if failures > len(delays_s):
        return None
    own_s = delays_s[failures - 1] * (1 + JITTER * (2 * chance - 1))
    return max(own_s, asked_s or 0.0)


def asked_s(retry_after: str | None, now: datetime) -> float | None:
    """The seconds that a `Retry-After` asks for, given as a number or as a date (RFC 9110, 10.2.3); None for anything else."""
    if retry_after is None:
        return None
    text = retry_after.strip()
    if text.isascii() and text.isdigit():
        return min(float(text), _LONGEST_ASKED_S)
    try:
        at = parsedate_to_datetime(text)
    except ValueError:
        return None
    if at.tzinfo is None:
        at = at.replace(tzinfo=UTC)
    return min(max((at - now).total_seconds(), 0.0), _LONGEST_ASKED_S)
