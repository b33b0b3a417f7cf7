"""The operations of the fleet's reports, as lines of the table."""

from service import fleet_messages as messages
from service.api import fleet
from service.api import fleet_queries as queries
from service.api.operation import ANYBODY, PLANNING, READING, Operation
from service.api.queries import Page
from service.messages import Written
from service.reports import forms

OPERATIONS = (
    Operation(
        method="GET",
        path="/v1/reports/cycle-limits",
        name="report_cycle_limits",
        summary="The fleet's connectors, or cavities, that are not within their rating, worst first; or as of a past moment.",
        scopes=READING,
        call=fleet.cycle_limits,
        query=queries.CycleLimits,
        reply=messages.CycleLimitReport,
        media=("application/json", *forms.MEDIA_TYPES),
        report="cycle-limits",
        example_query="of=cavities&wear=nearing&wear=spent&limit=10",
    ),
    Operation(
        method="GET",
        path="/v1/reports/wear",
        name="report_wear",
        summary="How many cavities stand where, counted by asset, zone, position, family, part number, bench or shop.",
        scopes=READING,
        call=fleet.wear,
        query=queries.WearBy,
        reply=messages.WearReport,
        media=("application/json", *forms.MEDIA_TYPES),
        report="wear",
        example_query="by=family&limit=10",
    ),
    Operation(
        method="GET",
        path="/v1/reports/cycles",
        name="report_cycles",
        summary="How many retainers have begun how many cycles, by family and rating.",
        scopes=READING,
        call=fleet.cycles,
        query=queries.Cycles,
        reply=messages.CyclesReport,
    ),
    Operation(
        method="GET",
        path="/v1/discrepancies",
        name="list_discrepancies",
        summary="What is open, the most serious first and then the oldest: entry, neighbours in time, and the ways out.",
        scopes=READING,
        call=fleet.list_discrepancies,
        query=queries.Discrepancies,
        reply=messages.DiscrepancyReport,
        media=("application/json", *forms.MEDIA_TYPES),
        report="discrepancies",
        example_query="seriousness=hold&limit=10",
    ),
    Operation(
        method="GET",
        path="/v1/connectors/{connector}/merge",
        name="propose_merge",
        summary="Entries to send to POST /v1/entries where this connector is a double of another. Records nothing itself.",
        scopes=PLANNING,
        call=fleet.propose_merge,
        query=queries.Merge,
        reply=messages.MergeProposal,
        example_query="into={other}&by=badge%20204&reason=Registered%20twice",
        verbatim=True,
    ),
    Operation(
        method="PUT",
        path="/v1/benches/{bench}",
        name="put_bench",
        summary="Say to which shop a bench belongs.",
        scopes=PLANNING,
        call=fleet.put_bench,
        body=messages.BenchPut,
        reply=Written,
        example={"shop": "Shop 2"},
    ),
    Operation(
        method="GET",
        path="/v1/benches",
        name="list_benches",
        summary="The benches of which the shop is known, by name.",
        scopes=ANYBODY,
        call=fleet.list_benches,
        query=Page,
        reply=messages.BenchList,
        example_query="limit=10",
    ),
)
