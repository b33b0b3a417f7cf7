"""What somebody may sign for: authority with its days and its scope."""

import enum
from collections.abc import Iterable
from datetime import date, datetime

from msgspec import Struct


class What(enum.StrEnum):
    """What authority is for."""

    PERFORMS = "performs"
    INSPECTS = "inspects"
    APPROVES = "approves"


ALL = "all"
"""The scope that covers everything; the others begin with what they name."""
FAMILY, SHOP = "family:", "shop:"


class Authority(Struct, frozen=True):
    """Authority from one day to another (UTC), both within, unless it was withdrawn. `number` is its place in the books."""

    number: int
    what: What
    scope: str
    from_on: date
    until_on: date | None = None
    withdrawn_at: datetime | None = None

    def holds(self, day: date) -> bool:
        """Whether a new signature may rest on it. Once withdrawn it never does, whatever day a signature would bear."""
        ended = self.until_on is not None and day > self.until_on
        return self.withdrawn_at is None and self.from_on <= day and not ended

    def held(self, at: datetime) -> bool:
        """Whether it held at a moment that has passed: a later withdrawal does not reach back."""
        ended = self.until_on is not None and at.date() > self.until_on
        return self.from_on <= at.date() and not ended and (self.withdrawn_at is None or at < self.withdrawn_at)

    def why_not(self, day: date) -> str:
        """Why it does not hold on a day, in words."""
        if self.withdrawn_at is not None:
            return f"it was withdrawn on {self.withdrawn_at:%Y-%m-%d}"
        if self.from_on > day:
            return f"it begins on {self.from_on}"
        return f"it ended on {self.until_on}"


class Place(Struct, frozen=True):
    """Where a step belongs, as scopes name it: the connector's family, and the shop of the bench."""

    family: str | None
    shop: str | None


def covers(scopes: Iterable[str], places: Iterable[Place]) -> bool:
    """Whether these scopes together cover every place. What has no place at all needs the scope of everything."""
    wanted, given = list(places), set(scopes)
    if ALL in given:
        return True
    return bool(wanted) and all(
        (each.family is not None and f"{FAMILY}{each.family}" in given)
        or (each.shop is not None and f"{SHOP}{each.shop}" in given)
        for each in wanted
    )
