"""The operations on work orders and on the records of them, as lines of the table."""

from service import record_messages as messages
from service.api import records
from service.api import records_queries as asked
from service.api.operation import ANYBODY, AT_WORK, PLANNING, READING, Operation
from service.core.records import content, orders
from service.records import forms

_ORDER = "/v1/work-orders/{number}"

OPERATIONS = (
    Operation(
        method="PUT",
        path=_ORDER,
        name="put_work_order",
        summary="State a work order, or what it is from now on. Every version is kept; the same again changes nothing.",
        scopes=PLANNING,
        call=records.put_order,
        body=orders.WorkOrder,
        reply=messages.WorkOrderView,
        statuses=(201, 200),
        example={
            "title": "Insert the contact in cavity C",
            "asset": "EX-01",
            "reference": {"document": "Shop practice 7", "revision": "C", "task": "4.2"},
            "inspection_required": True,
            "steps": [{"act": "insert", "connector": "EX-0001", "cavity": "C", "tool": "M81969/14-02"}],
        },
    ),
    Operation(
        method="GET",
        path="/v1/work-orders",
        name="list_work_orders",
        summary="The work orders on the books, those that came last first, each with the state that follows from its entries.",
        scopes=ANYBODY,
        call=records.list_orders,
        query=asked.WorkOrders,
        reply=messages.WorkOrderList,
        example_query="recorded=false&limit=10",
    ),
    Operation(
        method="GET",
        path=_ORDER,
        name="show_work_order",
        summary="One work order: planned and done, with what, counts before and after, what is open, who signed, its records.",
        scopes=ANYBODY,
        call=records.show_order,
        reply=messages.WorkOrderView,
    ),
    Operation(
        method="GET",
        path=f"{_ORDER}/statement",
        name="show_statement",
        summary="What is signed of a work order: its RFC 8785 form depends on what is on the books alone.",
        scopes=ANYBODY,
        call=records.show_statement,
        reply=content.WorkOrderStatement,
        verbatim=True,
    ),
    Operation(
        method="POST",
        path="/v1/records",
        name="make_record",
        summary="Record a closed work order. Once for each approval; after more work another, with a reason, corrects the last.",
        scopes=AT_WORK,
        call=records.make,
        body=messages.RecordRequest,
        reply=messages.RecordView,
        statuses=(201, 200),
        example={"work_order": "WO-2026-0412"},
        verbatim=True,
    ),
    Operation(
        method="GET",
        path="/v1/records",
        name="list_records",
        summary="The records, newest first: number, hash, what each corrects and is corrected by.",
        scopes=ANYBODY,
        call=records.list_records,
        query=asked.Records,
        reply=messages.RecordList,
        example_query="work_order=WO-2026-0412&limit=10",
    ),
    Operation(
        method="GET",
        path="/v1/records/{record}",
        name="show_record",
        summary="One record with what corrects it, and whether its bytes and its approval are still as they were made.",
        scopes=ANYBODY,
        call=records.show_record,
        reply=messages.RecordView,
        verbatim=True,
    ),
    Operation(
        method="GET",
        path="/v1/records/{record}/document",
        name="export_record",
        summary="A record as PDF/A, HTML or JSON (schema: /schema/record.json): the same bytes at every export.",
        scopes=READING,
        call=records.document,
        query=asked.Document,
        media=tuple(forms.MEDIA_TYPES.values()),
        example_query="format=pdf&language=de",
        verbatim=True,
    ),
)
