"""What stands behind the question mark of the outlook's operations."""

from typing import Annotated

from msgspec import Meta, Struct

from service.api.queries import Format, Limit
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


class Outlook(Struct, frozen=True, forbid_unknown_fields=True):
    """Which connectors, within how many days, of what certainty, from which probability on; filters combine."""

    horizon_days: Days = 365
    band: Band = "known"
    at_least: Annotated[float, Meta(ge=0.01, le=1)] = 0.01
    asset: Text | None = None
    zone: Text | None = None
    position: Text | None = None
    family: Text | None = None
    part_number: Text | None = None
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"


class Demand(Struct, frozen=True, forbid_unknown_fields=True):
    """For how many months; of which family or part number."""

    months: Annotated[int, Meta(ge=1, le=outlook_runs.MONTHS)] = 6
    family: Text | None = None
    part_number: Text | None = None
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"


class Stock(Struct, frozen=True, forbid_unknown_fields=True):
    """The probability that nothing is missing, and over how many days; of which family or part number."""

    service_level: Share = 0.95
    horizon_days: Days = 90
    family: Text | None = None
    part_number: Text | None = None
    cursor: str | None = None
    limit: Limit = 100
    format: Format = "json"


class Visits(Struct, frozen=True, forbid_unknown_fields=True):
    """The probability of running out before the visit after the next that is accepted; filters combine."""

    risk: Share = 0.05
    asset: Text | None = None
    zone: Text | None = None
    position: Text | None = None
    family: Text | None = None
    part_number: Text | None = None
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=50)] = 10
    format: Format = "json"
