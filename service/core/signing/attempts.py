"""How often a secret may be guessed, and at what cost: each wrong one makes the next wait longer."""

from datetime import datetime, timedelta

from msgspec import Struct

FREE = 3
"""Wrong secrets in a row of which none but the last makes anybody wait: people mistype. Common practice, no source."""
_FIRST_S = 5
LONGEST_S = 3600
"""About 9 000 guesses a year for whoever has a token of ours and keeps at it."""


class Cost(Struct, frozen=True):
    """What a hash costs whoever makes or guesses one, with argon2id (RFC 9106)."""

    passes: int
    memory_kib: int
    lanes: int


def delay_s(failures: int) -> int:
    """How long no further attempt is taken after so many wrong ones in a row: none at first, then doubling."""
    if failures < FREE:
        return 0
    # Bounded before it is doubled: a count of years would be an enormous number.
    return min(LONGEST_S, _FIRST_S << min(failures - FREE, 16))


def blocked_until(failures: int, at: datetime) -> datetime:
    """Until when none is taken."""
    return at + timedelta(seconds=delay_s(failures))


def wait_s(until: datetime, at: datetime) -> int:
    """How long that still is: whole seconds, and at least one while it lasts."""
    left = (until - at).total_seconds()
    return 0 if left <= 0 else int(left) + 1
