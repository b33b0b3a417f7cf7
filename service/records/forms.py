"""A record in each form that it is given out in. All are drawn from its frozen content: the same bytes at every export."""

from typing import Any, Literal, assert_never

import msgspec

from service.core.records.content import MaintenanceRecord
from service.messages import DECIDES
from service.records import hypertext, record_entry

Form = Literal["json", "html", "pdf"]
Language = Literal["en", "de"]
MEDIA_TYPES: dict[Form, str] = {"json": "application/json", "html": "text/html", "pdf": "application/pdf"}
SCHEMA_ID = "urn:tinebook:schema:record:1"


def drawn(canonical: bytes, record: MaintenanceRecord, sha256: str, form: Form, language: Language) -> bytes:
    """A record in a form. As JSON it is its canonical bytes themselves, whose hash is the record's."""
    match form:
        case "json":
            return canonical
        case "html":
            return hypertext.page(record_entry.paper(record, sha256, language))
        case "pdf":
            from service.records import archival  # noqa: PLC0415 - takes long to load, and most never ask for it

            return archival.pdf(record_entry.paper(record, sha256, language))
        case _:
            assert_never(form)


def schema() -> dict[str, Any]:
    """The schema of a record in JSON (JSON Schema, Draft 2020-12). Fields may be added to later records, none renamed."""
    (top,), components = msgspec.json.schema_components([MaintenanceRecord], ref_template="#/$defs/{name}")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": SCHEMA_ID,
        "title": "Maintenance record entry",
        "description": f"The record of a closed work order. {DECIDES}",
        **top,
        "$defs": components,
    }
