"""The API as a table: one line an operation. Routes, rights, decoding and the OpenAPI document all come from it."""

from collections.abc import Awaitable, Callable
from typing import Any, Literal

from msgspec import Struct

from service import messages, part_number_messages, reference_messages
from service.api import handlers, queries, shop
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.labels import drawing
from service.workflow.access import Scope

ANYBODY = (Scope.BENCH, Scope.PLANNER, Scope.RECORDS)
AT_WORK = (Scope.BENCH, Scope.PLANNER)
PLANNING = (Scope.PLANNER,)
READING = (Scope.PLANNER, Scope.RECORDS)


class Operation(Struct, frozen=True, kw_only=True):
    """One operation: how it is reached, who may, what it reads and writes, and an example that the tests execute.

    `reply` is a message where the reply is JSON; where it is a file, `media` are the types that it can have.
    """

    method: Literal["GET", "POST", "PUT"]
    path: str
    name: str
    summary: str
    scopes: tuple[Scope, ...]
    call: Callable[[Services, Call], Awaitable[Reply]]
    reply: Any = None
    media: tuple[str, ...] = ("application/json",)
    statuses: tuple[int, ...] = (200,)
    body: Any = None
    shown_body: Any = None
    query: Any = queries.Nothing
    example: Any = None
    example_query: str = ""


_CONNECTOR = "/v1/connectors/{connector}"
_ENTRY_ID = "019ac0de-0000-7000-8000-000000000001"
_EXAMPLE_ENTRY = {
    "id": _ENTRY_ID,
    "connector": "EX-0001",
    "kind": "insertion",
    "cavity": "C",
    "performed_at": "2026-11-02T09:30:00+01:00",
    "performed_by": "badge 117",
    "tool": "M81969/14-02",
    "work_order": "WO-2026-0412",
}

OPERATIONS = (
    Operation(
        method="POST",
        path="/v1/connectors",
        name="register_connector",
        summary="Register a connector, by serial or by scanning. The same again answers 200 with what is on the books.",
        scopes=AT_WORK,
        call=handlers.register,
        body=messages.Registration,
        reply=messages.ConnectorView,
        statuses=(201, 200),
        example={
            "serial": "EX-0001",
            "cage": "0CVA5",
            "cavities": [{"id": "C", "contact_size": "20"}, {"id": "c", "contact_size": "20"}],
            "rating": {
                "value": 10,
                "basis": "house",
                "document": "Shop practice 7",
                "revision": "B",
                "paragraph": "3.2",
            },
            "history": "new",
        },
    ),
    Operation(
        method="GET",
        path="/v1/connectors",
        name="find_connectors",
        summary="Find connectors by anything scannable, or page through them by serial: all, those at a place, or of a work order.",
        scopes=ANYBODY,
        call=handlers.find_connectors,
        query=queries.Connectors,
        reply=messages.ConnectorList,
        example_query="mark=EX-0001",
    ),
    Operation(
        method="GET",
        path=_CONNECTOR,
        name="show_connector",
        summary="One connector with every cavity: counts, occupancy, wear, rating with its provenance, open discrepancies.",
        scopes=ANYBODY,
        call=handlers.show_connector,
        reply=messages.ConnectorView,
    ),
    Operation(
        method="GET",
        path=f"{_CONNECTOR}/state",
        name="show_state",
        summary="The inputs of the rule, for a bench that answers while the service is away.",
        scopes=AT_WORK,
        call=handlers.show_state,
        reply=messages.Snapshot,
    ),
    Operation(
        method="GET",
        path=f"{_CONNECTOR}/entries",
        name="list_ledger",
        summary="A connector's ledger in the order of recording, with the hash of each link of its chain.",
        scopes=ANYBODY,
        call=handlers.list_ledger,
        query=queries.Page,
        reply=messages.Ledger,
    ),
    Operation(
        method="GET",
        path=f"{_CONNECTOR}/label",
        name="draw_label",
        summary="A label with a Data Matrix symbol that was checked to read back at the printer's resolution.",
        scopes=ANYBODY,
        call=handlers.label,
        query=queries.Label,
        media=tuple(drawing.MEDIA_TYPES.values()),
        example_query="format=svg&module_mm=0.33&dpi=300",
    ),
    Operation(
        method="PUT",
        path=f"{_CONNECTOR}/rating",
        name="revise_rating",
        summary="Let another rating hold, with a reason. The old one stays in the connector's chain of definitions.",
        scopes=PLANNING,
        call=handlers.revise_rating,
        body=messages.RatingRevision,
        reply=messages.ConnectorView,
        example={
            "rating": {
                "value": 10,
                "basis": "house",
                "document": "Shop practice 7",
                "revision": "C",
                "paragraph": "3.2",
                "verified_by": "badge 204",
                "verified_on": "2026-10-30",
            },
            "reason": "Figure checked against revision C",
        },
    ),
    Operation(
        method="POST",
        path=f"{_CONNECTOR}/plan",
        name="answer_plan",
        summary="Answer steps before they are done: go, warn or no_go, each with its reasons, tool, face and order of work.",
        scopes=AT_WORK,
        call=handlers.plan,
        body=messages.PlanRequest,
        reply=messages.PlanView,
        example={
            "steps": [{"action": "insert", "cavity": "C", "tool": "M81969/14-02"}, {"action": "replace", "cavity": "C"}]
        },
    ),
    Operation(
        method="POST",
        path="/v1/entries",
        name="record_entries",
        summary="Record 1 to 1 000 facts; one result each, in order. If none can be read the answer is a 422 problem.",
        scopes=AT_WORK,
        call=handlers.record,
        body=messages.EntriesEnvelope,
        shown_body=messages.EntriesRequest,
        reply=messages.EntriesReply,
        example={"entries": [_EXAMPLE_ENTRY]},
    ),
    Operation(
        method="GET",
        path="/v1/entries/{entry}",
        name="show_entry",
        summary="Where an entry is: in which ledger, or waiting for its connector.",
        scopes=ANYBODY,
        call=handlers.show_entry,
        reply=messages.EntryPlace,
    ),
    Operation(
        method="GET",
        path="/v1/parked",
        name="list_parked",
        summary="Entries whose connector is not registered yet, or is not the only one that the mark means; oldest first.",
        scopes=ANYBODY,
        call=handlers.list_parked,
        query=queries.Page,
        reply=messages.ParkedList,
    ),
    Operation(
        method="POST",
        path="/v1/parked/{entry}",
        name="assign_parked",
        summary="Say to which connector a parked entry belongs; it joins the ledger with the id and times that it has.",
        scopes=PLANNING,
        call=handlers.assign_parked,
        body=messages.Assignment,
        reply=messages.EntryResult,
        example={"connector": "{connector}"},
    ),
    Operation(
        method="POST",
        path="/v1/scans",
        name="read_scan",
        summary="What a scan means, and which connectors it matches.",
        scopes=ANYBODY,
        call=handlers.scan,
        body=messages.Scan,
        reply=messages.ScanView,
        example={"bytes_base64": "Wyk+HjA2HTE4UzBDVkE1RVgtMDAwMR4E", "symbology": "]d1"},
    ),
    Operation(
        method="GET",
        path="/v1/part-numbers",
        name="read_part_number",
        summary="What the part number of a connector, a contact or a tool means, field by field, or where it is wrong.",
        scopes=ANYBODY,
        call=handlers.part_number,
        query=queries.PartNumber,
        reply=part_number_messages.PartNumberView,
        example_query="number=D38999%2F26WE35SN",
    ),
    Operation(
        method="GET",
        path="/v1/reports/cycle-limits",
        name="report_cycle_limits",
        summary="The fleet's connectors that are not within their rating, worst first.",
        scopes=READING,
        call=handlers.cycle_limits,
        query=queries.CycleLimits,
        reply=messages.CycleLimitReport,
        example_query="wear=nearing&limit=10",
    ),
    Operation(
        method="GET",
        path="/v1/arrangements/{standard}/{name}",
        name="show_arrangement",
        summary="An insert arrangement with its cavities; true places where somebody imported them, else it says schematic.",
        scopes=ANYBODY,
        call=shop.show_arrangement,
        query=queries.Arrangement,
        reply=reference_messages.InsertView,
        example_query="view=socket_front",
    ),
    Operation(
        method="POST",
        path="/v1/house-values",
        name="record_house_value",
        summary="State a figure of the shop's own, with its document; from now on it holds. Without a value: withdraw it.",
        scopes=PLANNING,
        call=shop.record_house_value,
        body=reference_messages.HouseValueRequest,
        reply=reference_messages.HouseValueView,
        statuses=(201,),
        example={
            "what": "rating",
            "family": "38999-III",
            "value": {"cycles": 10, "basis": "house"},
            "document": "Shop practice 7",
            "revision": "C",
            "paragraph": "3.2",
            "verified_by": "badge 204",
            "verified_on": "2026-10-30",
            "reason": "First statement for this family",
        },
    ),
    Operation(
        method="GET",
        path="/v1/house-values",
        name="list_house_values",
        summary="Every figure that the shop ever stated, newest first, and which of them hold.",
        scopes=PLANNING,
        call=shop.list_house_values,
        query=queries.HouseValues,
        reply=reference_messages.HouseValueList,
        example_query="what=rating&limit=10",
    ),
    Operation(
        method="PUT",
        path="/v1/people/{badge}",
        name="put_person",
        summary="Add a person to the shop's list. While the list is empty nobody is unknown by it.",
        scopes=PLANNING,
        call=handlers.put_person,
        body=messages.PersonPut,
        reply=messages.Written,
        example={"name": "R. Example"},
    ),
    Operation(
        method="PUT",
        path="/v1/tools/{mark}",
        name="put_tool",
        summary="Add a tool to the shop's list by its part number. While the list is empty no tool is unknown by it.",
        scopes=PLANNING,
        call=shop.put_tool,
        body=messages.ToolPut,
        reply=messages.Written,
        example={"part_number": "M81969/14-02", "due_on": "2027-03-31"},
    ),
    Operation(
        method="GET",
        path="/v1/tools",
        name="list_tools",
        summary="The shop's tools by their marks: until when the check of each holds, and what the catalogue has it serve.",
        scopes=ANYBODY,
        call=shop.list_tools,
        query=queries.Page,
        reply=reference_messages.ShopToolList,
        example_query="limit=10",
    ),
)
