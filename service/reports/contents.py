"""Which columns each report has."""

from datetime import date
from uuid import UUID

from service import fleet_messages, outlook_messages, signal_messages
from service.messages import Reply
from service.outlook_messages import AssetVisits, Band, VisitLine
from service.reports.tables import table

CONNECTORS = table(
    "Connectors that are not within their rating",
    fleet_messages.CycleLimitLine,
    ("serial", "Serial", 3),
    ("part_number", "Part number", 3.5),
    ("asset", "Asset", 2),
    ("zone", "Zone", 1.4),
    ("position", "Position", 2),
    ("bench", "Bench", 2),
    ("wear", "Wear", 1.6),
    ("limiting_cavity", "Limiting cavity", 1.6),
    ("cycles_begun", "Cycles begun", 1.5),
    ("rating", "Rating", 1.8),
    ("left", "Left", 1),
    ("worn_cavities", "Worn cavities", 1.5),
    ("unknown_cavities", "Unknown cavities", 1.7),
)

CAVITIES = table(
    "Cavities that are not within their rating",
    fleet_messages.CavityLimitLine,
    ("serial", "Serial", 3),
    ("part_number", "Part number", 3.5),
    ("asset", "Asset", 2),
    ("zone", "Zone", 1.4),
    ("position", "Position", 2),
    ("bench", "Bench", 2),
    ("cavity", "Cavity", 1.4),
    ("wear", "Wear", 1.6),
    ("occupied", "Occupied", 1.6),
    ("cycles_begun", "Cycles begun", 1.5),
    ("cycles_completed", "Cycles completed", 1.8),
    ("rating", "Rating", 1.8),
    ("left", "Left", 1),
)

WEAR = table(
    "Wear counted together",
    fleet_messages.WearGroup,
    ("name", "Name", 4),
    *((each, each.capitalize(), 1.5) for each in ("connectors", "cavities", "within", "nearing", "spent", "over")),
    ("unknown", "Unknown", 1.5),
    ("discrepancies", "Open discrepancies", 2),
)

DISCREPANCIES = table(
    "Open discrepancies",
    fleet_messages.DiscrepancyLine,
    ("seriousness", "Seriousness", 1.8),
    ("age_days", "Age, days", 1.3),
    ("serial", "Serial", 2.4),
    ("part_number", "Part number", 2.8),
    ("asset", "Asset", 1.6),
    ("position", "Position", 1.6),
    ("cavity", "Cavity", 1.2),
    ("text", "What", 5.5),
    ("kind", "Entry", 1.8),
    ("performed_at", "Performed at", 2.6),
    ("performed_by", "Performed by", 1.9),
    ("bench", "Bench", 1.7),
    ("ways", "Ways to resolve", 2.2),
)

OUTLOOK = table(
    "Connectors by the probability to run out",
    outlook_messages.OutlookLine,
    ("serial", "Serial", 3),
    ("part_number", "Part number", 3.5),
    ("asset", "Asset", 2),
    ("zone", "Zone", 1.4),
    ("position", "Position", 2),
    ("band", "Certainty", 1.8),
    ("due", "Run out already", 1.5),
    ("probability", "Probability", 1.9),
    ("runs_out_in_days", "Runs out in days", 1.7),
    ("runs_out_in_days_low", "From", 1.3),
    ("runs_out_in_days_high", "To", 1.3),
    ("limiting_cavity", "Limiting cavity", 1.6),
    ("left", "Left", 1),
    ("rating", "Rating", 1.8),
)

DEMAND = table(
    "Connectors expected to run out, by part number and month",
    outlook_messages.DemandLine,
    ("part_number", "Part number", 4),
    ("family", "Family", 2),
    ("begins_on", "From", 2),
    ("ends_on", "To", 2),
    ("expected", "Expected", 1.5),
    ("low", "At least (90 %)", 1.6),
    ("high", "At most (90 %)", 1.6),
    ("due", "Run out already", 1.6),
    ("unknown", "Not known", 1.5),
    ("unknown_at_least", "Of these at least", 1.7),
)

STOCK = table(
    "Shelf stock for a service level",
    outlook_messages.StockLine,
    ("part_number", "Part number", 4),
    ("family", "Family", 2),
    ("pieces", "Pieces", 1.5),
    ("pieces_at_most", "With all not known", 1.8),
    ("due", "Run out already", 1.6),
    ("unknown", "Not known", 1.5),
    ("expected", "Expected", 1.5),
    ("low", "At least (90 %)", 1.6),
    ("high", "At most (90 %)", 1.6),
    ("met", "Suffices with", 1.6),
    ("short", "Expected missing", 1.6),
)


class VisitRow(Reply, frozen=True, kw_only=True):
    """One connector to renew in a visit, with the visit. Without a connector: a visit in which there is none to renew."""

    asset: str
    next_name: str
    next_on: date
    after_name: str | None
    after_on: date | None
    keep: int
    not_known: int
    problem: str | None
    connector: UUID | None = None
    serial: str | None = None
    part_number: str | None = None
    family: str | None = None
    zone: str | None = None
    position: str | None = None
    band: Band | None = None
    due: bool | None = None
    before_next: float | None = None
    before_after: float | None = None
    between: float | None = None


_OF_VISIT = ("asset", "next_name", "next_on", "after_name", "after_on", "keep", "not_known", "problem")
_OF_LINE = tuple(each for each in VisitLine.__struct_fields__ if each != "place")


def visit_rows(visit: AssetVisits) -> tuple[VisitRow, ...]:
    """The rows of one asset's visit: a row each for what is to be renewed, else one for the visit."""
    told = {name: getattr(visit, name) for name in _OF_VISIT}
    if not visit.renew:
        return (VisitRow(**told),)
    return tuple(
        VisitRow(
            **told,
            **{name: getattr(each, name) for name in _OF_LINE},
            zone=each.place.zone,
            position=each.place.position,
        )
        for each in visit.renew
    )


VISITS = table(
    "Connectors to renew in the next visit",
    VisitRow,
    ("asset", "Asset", 2),
    ("next_name", "Visit", 2),
    ("next_on", "On", 1.8),
    ("after_on", "Next after", 1.8),
    ("serial", "Renew serial", 2.6),
    ("part_number", "Part number", 3),
    ("zone", "Zone", 1.4),
    ("position", "Position", 1.8),
    ("band", "Certainty", 1.7),
    ("due", "Run out already", 1.5),
    ("before_after", "Would run out with", 1.8),
    ("keep", "Others that last", 1.5),
    ("not_known", "Others not known", 1.6),
    ("problem", "No advice because", 3),
)

SIGNALS = table(
    "What stands out",
    signal_messages.SignalLine,
    ("name", "Name", 3),
    ("role", "Role", 1.5),
    ("group", "Group", 2),
    ("observed", "Observed", 1.4),
    ("of", "Of", 1.5),
    ("expected", "Expected", 1.5),
    ("effect", "Effect", 1.4),
    ("effect_low", "From (90 %)", 1.4),
    ("effect_high", "To (90 %)", 1.4),
    ("q_value", "q-value", 1.4),
    ("verdict", "Verdict", 1.5),
    ("says", "In words", 7),
)
