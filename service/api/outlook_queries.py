"""What stands behind the question mark of the outlook's operations."""

from typing import Annotated

from msgspec import Meta, Struct

from service.api.queries import Format, Kind, Limit, Place
from service.core.entries import Text
from service.outlook_messages import Band
from service.workflow import outlook_runs

Days = Annotated[int, Meta(ge=1, le=outlook_runs.HORIZON_DAYS[-1])]
Share = Annotated[float, Meta(gt=0, lt=1)]


class OfAsset(Struct, frozen=True, forbid_unknown_fields=True):
    """A page of a list, of one asset if it is named."""

    asset: Text | None = None
    cursor: str | None = None
    limit: Limit = 100


class Outlook(Place, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which connectors, within how many days, of what certainty, from which probability on; filters combine."""

    horizon_days: Days = 365
    band: Band = "known"
    at_least: Annotated[float, Meta(ge=0.01, le=1)] = 0.01
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"


class Demand(Kind, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """For how many months; of which family or part number."""

    months: Annotated[int, Meta(ge=1, le=outlook_runs.MONTHS)] = 6
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"


class Stock(Kind, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The probability that nothing is missing, and over how many days; of which family or part number."""

    service_level: Share = 0.95
    horizon_days: Days = 90
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"


class Visits(Place, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The probability of running out before the visit after the next that is accepted; filters combine."""

    risk: Share = 0.05
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=50)] = 10
    format: Format = "json"
