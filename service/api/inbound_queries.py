"""What stands behind the question mark of the operations on what another system keeps in step here."""

from msgspec import Struct

from service.api.queries import Limit
from service.core.entries import Text


class Assets(Struct, frozen=True, forbid_unknown_fields=True):
    """A page of assets by name, all or those of a type."""

    type: Text | None = None
    cursor: str | None = None
    limit: Limit = 100


class Positions(Struct, frozen=True, forbid_unknown_fields=True):
    """A page of positions; filters combine."""

    asset: Text | None = None
    zone: Text | None = None
    cursor: str | None = None
    limit: Limit = 100
