"""The operations on log cards, tags and transfers, as lines of the table."""

from service import transfer_messages as messages
from service.api import transfer_queries as asked
from service.api import transfers
from service.api.operation import ANYBODY, PLANNING, READING, Operation
from service.workflow import log_cards

_CONNECTOR = "/v1/connectors/{connector}"
_TRANSFER = "/v1/transfers/{transfer}"

OPERATIONS = (
    Operation(
        method="GET",
        path=f"{_CONNECTOR}/log-card",
        name="show_log_card",
        summary="A connector's whole life as PDF/A, HTML or JSON: the same ledger gives the same bytes.",
        scopes=ANYBODY,
        call=transfers.log_card,
        query=asked.LogCard,
        media=("application/pdf", "text/html", "application/json"),
        example_query="format=html",
        verbatim=True,
    ),
    Operation(
        method="GET",
        path=f"{_CONNECTOR}/tag",
        name="draw_tag",
        summary="A tag for a connector that was taken off: status, limit with its source, and a QR code back to its ledger.",
        scopes=ANYBODY,
        call=transfers.tag,
        query=asked.Tag,
        media=tuple(log_cards.TAG_MEDIA_TYPES.values()),
        example_query="format=svg",
    ),
    Operation(
        method="POST",
        path=f"{_CONNECTOR}/transfer",
        name="hand_over",
        summary="Hand a connector over to another owner: its ledger in a signed bundle. From then on nothing is go for it here.",
        scopes=PLANNING,
        call=transfers.hand_over,
        body=messages.HandOver,
        reply=messages.TransferView,
        statuses=(201, 200),
        example={"to": "Example Air Repair", "reason": "Sold with the assembly, order 4711"},
    ),
    Operation(
        method="GET",
        path="/v1/transfers",
        name="list_transfers",
        summary="Connectors that were handed over and those that came, the newest first.",
        scopes=READING,
        call=transfers.every,
        query=asked.Transfers,
        reply=messages.TransferList,
        example_query="limit=10",
    ),
    Operation(
        method="GET",
        path=_TRANSFER,
        name="show_transfer",
        summary="One transfer.",
        scopes=READING,
        call=transfers.show,
        reply=messages.TransferView,
    ),
    Operation(
        method="GET",
        path=f"{_TRANSFER}/bundle",
        name="get_bundle",
        summary="The bundle of a transfer, as it went or came: definitions, entries, hashes, records, signatures, log card.",
        scopes=PLANNING,
        call=transfers.bundle,
        media=("application/zip",),
        verbatim=True,
    ),
    Operation(
        method="POST",
        path="/v1/transfers",
        name="take_in",
        summary="Take a connector over: everything of the bundle is proved, then all of it is on the books, or nothing is.",
        scopes=PLANNING,
        call=transfers.take_in,
        body=messages.Incoming,
        reply=messages.TransferView,
        statuses=(201, 200),
        example={"bundle_base64": "{bundle}"},
    ),
    Operation(
        method="GET",
        path="/v1/transfer-keys",
        name="list_transfer_keys",
        summary="The public key that signs what is handed over, and the keys whose bundles are taken in.",
        scopes=PLANNING,
        call=transfers.keys,
        reply=messages.KeyRing,
    ),
    Operation(
        method="POST",
        path="/v1/transfer-keys",
        name="state_sender",
        summary="Say that the bundles of a key are taken in from now on, or no longer, with how that is known.",
        scopes=(),
        call=transfers.state_sender,
        body=messages.SenderStatement,
        reply=messages.SenderView,
        statuses=(201,),
        example={
            "public_key": "ed25519:11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=",
            "name": "Example Air Repair",
            "trusted": True,
            "reason": "Fingerprint compared by telephone with R. Example",
        },
    ),
)
