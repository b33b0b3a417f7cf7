"""The operation on signals, as a line of the table."""

from service import signal_messages as messages
from service.api import signal_queries as queries
from service.api import signals
from service.api.operation import READING, Operation
from service.reports import forms

OPERATIONS = (
    Operation(
        method="GET",
        path="/v1/reports/signals",
        name="report_signals",
        summary="What wears retainers faster than it should, how sure that is, or that nothing stands out. People: admin only.",
        scopes=READING,
        call=signals.report,
        query=queries.Signals,
        reply=messages.SignalReport,
        media=("application/json", *forms.MEDIA_TYPES),
        report="signals",
        example_query="about=tool&limit=10",
    ),
)
