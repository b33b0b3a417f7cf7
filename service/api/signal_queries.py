"""What stands behind the question mark of the signals."""

from service.api.queries import Format, Limit, Place
from service.core.entries import EARLIEST, LATEST, Instant
from service.signal_messages import About, Verdict


class Signals(Place, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A question, about a stretch of time (the last 24 months where `since` is not said) and a part of the fleet."""

    about: About
    since: Instant | None = None
    until: Instant | None = None
    verdict: Verdict | None = None
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"

    def __post_init__(self) -> None:
        """Refuse a moment that no entry can have: some overflow on the way to the database."""
        for each in (self.since, self.until):
            if each is not None and not EARLIEST <= each < LATEST:
                raise ValueError("`since` and `until` are out of range")
