"""The operations of the outlook, as lines of the table."""

from service import outlook_messages as messages
from service import usage_messages
from service.api import outlook
from service.api import outlook_queries as queries
from service.api.operation import PLANNING, READING, Operation
from service.reports import forms

OPERATIONS = (
    Operation(
        method="PUT",
        path="/v1/usage",
        name="put_usage",
        summary="State what assets flew, 1 to 1 000 rows; one result each. The newest row for an asset and day holds.",
        scopes=PLANNING,
        call=outlook.put_usage,
        body=usage_messages.RowsEnvelope,
        shown_body=usage_messages.UsageRequest,
        reply=usage_messages.RowsReply,
        example={
            "rows": [
                {"asset": "TN-101", "day": "2026-10-31", "flight_hours": 41250.5, "flight_cycles": 22410},
                {"asset": "TN-101", "day": "2026-11-24", "flight_hours": 212.4, "flight_cycles": 118},
            ]
        },
    ),
    Operation(
        method="GET",
        path="/v1/usage",
        name="list_usage",
        summary="What is stated of the usage of assets, by asset and day.",
        scopes=READING,
        call=outlook.list_usage,
        query=queries.OfAsset,
        reply=usage_messages.UsageList,
        example_query="asset=TN-101&limit=10",
    ),
    Operation(
        method="PUT",
        path="/v1/visits",
        name="put_visits",
        summary="State planned visits, 1 to 1 000 rows; one result each. The newest row of a name holds; no day calls it off.",
        scopes=PLANNING,
        call=outlook.put_visits,
        body=usage_messages.RowsEnvelope,
        shown_body=usage_messages.VisitsRequest,
        reply=usage_messages.RowsReply,
        example={
            "rows": [
                {"asset": "TN-101", "name": "A check 12", "starts_on": "2027-02-08"},
                {"asset": "TN-101", "name": "C check 3", "starts_on": "2027-09-20"},
            ]
        },
    ),
    Operation(
        method="GET",
        path="/v1/visits",
        name="list_visits",
        summary="The visits of assets that hold, by asset and day.",
        scopes=READING,
        call=outlook.list_visits,
        query=queries.OfAsset,
        reply=usage_messages.VisitList,
        example_query="asset=TN-101",
    ),
    Operation(
        method="GET",
        path="/v1/reports/outlook",
        name="report_outlook",
        summary="Connectors by the probability to run out within a horizon; those of unknown history by band, apart.",
        scopes=READING,
        call=outlook.report,
        query=queries.Outlook,
        reply=messages.OutlookReport,
        media=("application/json", *forms.MEDIA_TYPES),
        report="outlook",
        example_query="horizon_days=180&at_least=0.05&limit=10",
    ),
    Operation(
        method="GET",
        path="/v1/reports/demand",
        name="report_demand",
        summary="Connectors expected to run out, by part number and month, with 90 % intervals.",
        scopes=READING,
        call=outlook.demand,
        query=queries.Demand,
        reply=messages.DemandReport,
        media=("application/json", *forms.MEDIA_TYPES),
        report="demand",
        example_query="months=3",
    ),
    Operation(
        method="GET",
        path="/v1/reports/stock",
        name="report_stock",
        summary="What to have on the shelf of each part number, for a service level over a horizon.",
        scopes=READING,
        call=outlook.stock,
        query=queries.Stock,
        reply=messages.StockReport,
        media=("application/json", *forms.MEDIA_TYPES),
        report="stock",
        example_query="service_level=0.95&horizon_days=90",
    ),
    Operation(
        method="GET",
        path="/v1/reports/visits",
        name="report_visits",
        summary="What to renew in the next visit of each asset, because it would not last until the one after.",
        scopes=READING,
        call=outlook.visits,
        query=queries.Visits,
        reply=messages.VisitReport,
        media=("application/json", *forms.MEDIA_TYPES),
        report="visits",
        example_query="risk=0.05&limit=10",
    ),
    Operation(
        method="GET",
        path="/v1/connectors/{connector}/outlook",
        name="show_outlook",
        summary="One connector's outlook, from what is on the books now and the newest run's priors.",
        scopes=READING,
        call=outlook.connector,
        reply=messages.ConnectorOutlook,
    ),
    Operation(
        method="POST",
        path="/v1/what-if",
        name="ask_what_if",
        summary="What a planned modification would change; nothing is recorded.",
        scopes=PLANNING,
        call=outlook.what_if,
        body=messages.WhatIf,
        reply=messages.WhatIfView,
        example={"steps": [{"asset": "TN-101", "position": "P 214", "reworks": 2}], "horizon_days": 365},
    ),
)
