"""What stands behind the question mark, and the cursors that pages give out."""

from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta, Struct

from service.core import entries
from service.core.entries import MarkText, Text
from service.core.house import What
from service.core.sights import Sight
from service.reports import forms

Limit = Annotated[int, Meta(ge=1, le=500)]
Format = Literal["json"] | forms.Name
"""A page as JSON, or all rows as a file; then `limit` means nothing and there is no `cursor`."""


class Nothing(Struct, frozen=True, forbid_unknown_fields=True):
    """No query."""


class Kind(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What connectors are, for filters that combine."""

    family: Text | None = None
    part_number: Text | None = None


class Place(Kind, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Where they are, too."""

    asset: Text | None = None
    zone: Text | None = None
    position: Text | None = None


class Shop(Place, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which bench recorded at them last, and of which shop that is, too."""

    bench: Text | None = None
    shop: Text | None = None


class Connectors(Place, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Find by a mark, or page through all by serial. Filters combine; `work_order` is one that some entry states."""

    mark: MarkText | None = None
    work_order: Text | None = None
    cursor: str | None = None
    limit: Limit = 100


class Page(Struct, frozen=True, forbid_unknown_fields=True):
    """A page of a list."""

    cursor: str | None = None
    limit: Limit = 100


class PartNumber(Struct, frozen=True, forbid_unknown_fields=True):
    """The number of a connector, a contact or a tool, exactly as it is written."""

    number: Text


class Label(Struct, frozen=True, forbid_unknown_fields=True):
    """How a label is to be drawn: the size of a module, the printer's resolution, the diameter of the sleeve it goes round."""

    format: Literal["svg", "png", "pdf"] = "svg"
    module_mm: Annotated[float, Meta(ge=0.05, le=2)] = 0.33
    dpi: Annotated[int, Meta(ge=100, le=1200)] = 300
    sleeve_mm: Annotated[float, Meta(ge=1, le=200)] | None = None


class HouseValues(Struct, frozen=True, forbid_unknown_fields=True):
    """Filters of the shop's figures; they combine."""

    what: What | None = None
    family: Text | None = None
    part_number: Text | None = None
    cursor: str | None = None
    limit: Limit = 100


class Arrangement(Struct, frozen=True, forbid_unknown_fields=True):
    """From which side an arrangement is to be seen."""

    view: Sight = Sight.PIN_FRONT


class LedgerCursor(Struct, frozen=True, array_like=True):
    """Where the next page of a ledger begins."""

    number: Annotated[int, Meta(ge=0, le=2_147_483_647)]


class ParkedCursor(Struct, frozen=True, array_like=True):
    """Where the next page of parked entries begins."""

    recorded_at: entries.Instant
    id: UUID

    def __post_init__(self) -> None:
        """Refuse a time that no entry can have: some of them overflow on the way to the database."""
        if not entries.EARLIEST <= self.recorded_at < entries.LATEST:
            raise ValueError("out of range")
