"""The operations on what another system keeps in step here, as lines of the table."""

from service import inbound_messages as messages
from service import usage_messages
from service.api import inbound
from service.api import inbound_queries as queries
from service.api.operation import PLANNING, READING, Operation

OPERATIONS = (
    Operation(
        method="PUT",
        path="/v1/assets",
        name="put_assets",
        summary="Say what assets are, 1 to 1 000 rows; one result each. A row says all of its asset, and the newest holds.",
        scopes=PLANNING,
        call=inbound.put_assets,
        body=usage_messages.RowsEnvelope,
        shown_body=messages.AssetsRequest,
        reply=messages.UpsertReply,
        example={"rows": [{"asset": "TN-101", "type": "Regional 70", "serial": "70-0112"}]},
        keyed=True,
    ),
    Operation(
        method="GET",
        path="/v1/assets",
        name="list_assets",
        summary="What is stated of assets, by asset.",
        scopes=READING,
        call=inbound.list_assets,
        query=queries.Assets,
        reply=messages.AssetList,
        example_query="limit=10",
    ),
    Operation(
        method="PUT",
        path="/v1/positions",
        name="put_positions",
        summary="Say which part number of connector belongs where, 1 to 1 000 rows; one result each.",
        scopes=PLANNING,
        call=inbound.put_positions,
        body=usage_messages.RowsEnvelope,
        shown_body=messages.PositionsRequest,
        reply=messages.UpsertReply,
        example={
            "rows": [{"asset": "TN-101", "zone": "410", "position": "P1021", "part_number": "D38999/26WE35SN"}],
        },
        keyed=True,
    ),
    Operation(
        method="GET",
        path="/v1/positions",
        name="list_positions",
        summary="Positions with what belongs there, and the connectors that are recorded to be there now.",
        scopes=READING,
        call=inbound.list_positions,
        query=queries.Positions,
        reply=messages.PositionList,
        example_query="asset=TN-101&limit=10",
    ),
    Operation(
        method="PUT",
        path="/v1/tools",
        name="put_tools",
        summary="Say what the shop's tools are, 1 to 1 000 rows by their marks; one result each.",
        scopes=PLANNING,
        call=inbound.put_tools,
        body=usage_messages.RowsEnvelope,
        shown_body=messages.ToolsRequest,
        reply=messages.UpsertReply,
        example={"rows": [{"mark": "T-20-03", "part_number": "M81969/14-02", "due_on": "2027-03-31"}]},
        keyed=True,
    ),
)
