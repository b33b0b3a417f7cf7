"""The wire contract for what is looked things up in: the shop's own figures, arrangements and their drawings."""

from datetime import date, datetime
from typing import Annotated

from msgspec import Meta

from service.core.entries import ContactSize, Day, Note, Text
from service.core.house import Figure, What
from service.core.sights import Sight
from service.messages import Reply, Request
from service.part_number_messages import ToolUseView


class HouseValueRequest(Request, frozen=True, kw_only=True):
    """A figure of the shop's own for a family, a part number, or a part number in its family.

    `value` holds what the kind asks for: `cycles` and `basis` of a rating or mating_rating, `nearing_fraction`, the `force_n`
    of a pull, the `tools` for one contact size, the `release` side. Null withdraws what was stated for the same before.
    """

    what: What
    value: Figure | None
    reason: Annotated[Note, Meta(min_length=1)]
    family: Text | None = None
    part_number: Text | None = None
    contact_size: ContactSize | None = None
    document: Text | None = None
    revision: Text | None = None
    paragraph: Text | None = None
    verified_by: Text | None = None
    verified_on: Day | None = None


class HouseValueView(Reply, frozen=True, kw_only=True):
    """A figure of the shop's own as it was recorded. `holds`: no later one was stated for the same."""

    number: int
    what: What
    family: str | None
    part_number: str | None
    contact_size: str | None
    value: Figure | None
    document: str | None
    revision: str | None
    paragraph: str | None
    verified_by: str | None
    verified_on: str | None
    verified: bool
    reason: str
    recorded_by: str
    recorded_at: datetime
    holds: bool


class HouseValueList(Reply, frozen=True, kw_only=True):
    """A page of the shop's figures, newest first."""

    values: tuple[HouseValueView, ...]
    next: str | None


class ContactsView(Reply, frozen=True, kw_only=True):
    """How many cavities of one contact size an arrangement has."""

    contact_size: str
    count: int


class PlacedCavityView(Reply, frozen=True, kw_only=True):
    """A cavity of an arrangement. Without true coordinates where it is is not known, and any drawing is schematic."""

    id: str
    contact_size: str | None
    x_mm: float | None
    y_mm: float | None
    status: str
    source: str


class InsertView(Reply, frozen=True, kw_only=True):
    """An insert arrangement, and its cavities as they are seen from one side; null where nobody listed them.

    `schematic` is false only where somebody imported true coordinates: then `coordinates_source` says from where.
    """

    standard: str
    revision: str
    name: str
    families: tuple[str, ...]
    contacts: tuple[ContactsView, ...]
    total: int
    active: bool
    doubt: str
    status: str
    source: str
    cavities: tuple[PlacedCavityView, ...] | None
    view: Sight
    schematic: bool
    coordinates_source: str | None


class ShopToolView(Reply, frozen=True, kw_only=True):
    """A tool on the shop's list: until when its check holds, and which halves and sizes the catalogue has its number serve."""

    mark: str
    part_number: str
    due_on: date | None
    serves: tuple[ToolUseView, ...]


class ShopToolList(Reply, frozen=True, kw_only=True):
    """A page of the shop's tools by mark; `next` is the cursor of the following page."""

    tools: tuple[ShopToolView, ...]
    next: str | None
