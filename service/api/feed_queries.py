"""What stands behind the question mark where the feed is asked, and the cursor of a webhook's log."""

from typing import Annotated
from uuid import UUID

from msgspec import Meta, Struct

from service.core.entries import Text
from service.feed_messages import Start

Limit = Annotated[int, Meta(ge=1, le=500)]


class Feed(Struct, frozen=True, forbid_unknown_fields=True):
    """Filters of the feed; they combine. `types` has commas between; one that ends in a dot means all that begin so.

    Without a cursor a reader begins at `start`.
    """

    cursor: Text | None = None
    start: Start = "beginning"
    types: Annotated[str, Meta(max_length=2000)] = ""
    connector: UUID | None = None
    limit: Limit = 100


class Handover(Struct, frozen=True, forbid_unknown_fields=True):
    """Which part of the feed an EPCIS document is to hold."""

    cursor: Text | None = None
    start: Start = "beginning"
    connector: UUID | None = None
    limit: Limit = 100


class LogCursor(Struct, frozen=True, array_like=True):
    """Where the next page of a webhook's log begins."""

    number: Annotated[int, Meta(ge=0, le=2**63 - 1)]
