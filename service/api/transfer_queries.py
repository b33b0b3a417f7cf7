"""What stands behind the question mark where log cards, tags and transfers are asked for."""

from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.core.entries import Text


class LogCard(Struct, frozen=True, forbid_unknown_fields=True):
    """In which form a log card is wanted."""

    format: Literal["pdf", "html", "json"] = "pdf"


class Tag(Struct, frozen=True, forbid_unknown_fields=True):
    """In which form a tag is wanted, and the number of the record that it goes with."""

    format: Literal["pdf", "svg"] = "pdf"
    record: Text | None = None


class Transfers(Struct, frozen=True, forbid_unknown_fields=True):
    """A page of the transfers, of all connectors or of one."""

    connector: UUID | None = None
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=500)] = 100
