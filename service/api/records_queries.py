"""What stands behind the question mark where work orders and records are asked for, and the cursors of their lists."""

from typing import Annotated

from msgspec import Meta, Struct

from service.core.entries import Text
from service.records.forms import Form, Language
from service.workflow.work_orders import Limit


class WorkOrders(Struct, frozen=True, forbid_unknown_fields=True):
    """Filters of the work orders; they combine. `recorded`: whether any record was made of them."""

    asset: Text | None = None
    recorded: bool | None = None
    cursor: str | None = None
    limit: Limit = 25


class Records(Struct, frozen=True, forbid_unknown_fields=True):
    """Filters of the records."""

    work_order: Text | None = None
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=500)] = 100


class Document(Struct, frozen=True, forbid_unknown_fields=True):
    """In which form a record is wanted. The English text is always there; `de` puts German beside it."""

    format: Form = "pdf"
    language: Language = "en"


class RecordCursor(Struct, frozen=True, array_like=True):
    """Where the next page of records begins."""

    number: Annotated[int, Meta(ge=0, le=2**63 - 1)]
