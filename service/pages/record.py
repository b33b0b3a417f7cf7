"""One record as it was made, what became of it since, and the ways to have it as a file; and the list of all."""

from typing import Annotated, Any

from litestar import Response
from msgspec import Meta, Struct

from service import record_messages as messages
from service.api import http, reading, records
from service.api import records_queries as queries
from service.api.services import Services
from service.core.entries import Text
from service.core.markup import Markup, element, joined, text
from service.core.records import lines, phrases
from service.core.records.content import MaintenanceRecord
from service.pages import addresses, asking, layout, stated, tables, wording
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.tables import Column
from service.store import database
from service.workflow import records as kept

_FORMS = (("pdf", "PDF/A"), ("html", "HTML"), ("json", "JSON"))
_COLUMNS = (Column("Record"), Column("Work order"), Column("Made (UTC)"), Column("Corrections"), Column("SHA-256"))


class Asking(Struct, frozen=True, forbid_unknown_fields=True):
    """Which records are wanted."""

    work_order: Text | None = None
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=200)] = 50


async def listed(request: Asked, visitor: Visitor) -> Sheet:
    """All records, the newest first."""
    del visitor
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    after = reading.cursor(asked.cursor, queries.RecordCursor)
    async with services.pool.acquire() as connection, database.report(connection):
        found, following = await kept.page(connection, after.number if after else None, asked.limit, asked.work_order)
    cursor = reading.encode_cursor(queries.RecordCursor(following) if following is not None else None)
    first = addresses.page(addresses.RECORDS, work_order=asked.work_order)
    onward = addresses.page(addresses.RECORDS, work_order=asked.work_order, cursor=cursor)
    content = (
        layout.heading("Records", layout.note(text("Numbered without gaps; none is ever changed"))),
        tables.listed("The newest first", _COLUMNS, [_row(each) for each in found])
        if found
        else layout.nothing("No record was made yet."),
        asking.pager(first if asked.cursor else None, onward if cursor else None),
    )
    return Sheet(title="Records", content=content, path=addresses.RECORDS)


def _row(each: messages.RecordLine) -> tuple[Markup, ...]:
    told = [
        words
        for other, words in ((each.corrects, "corrects {}"), (each.corrected_by, "corrected by {}"))
        if other is not None
        for words in (words.format(other),)
    ]
    return (
        link(f"Record {each.number}", addresses.record(each.number)),
        link(each.work_order, addresses.work_order(each.work_order)),
        wording.moment(each.made_at),
        text(", ".join(told) or "-"),
        text(each.sha256),
    )


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """One record: what it states, as it stated it then."""
    del visitor
    services: Services = request.app.state.services
    async with services.pool.acquire() as connection:
        view = await kept.show(connection, records.number(request.path_params["record"]))
    record = view.record
    told = record.statement
    content = (
        layout.heading(f"Record {view.number}", *_flags(view)),
        *_corrections(view),
        element("p", text(record.description)),
        layout.pairs(
            ("Work order", link(told.work_order, addresses.work_order(told.work_order))),
            ("Reference data", text(stated.reference(told))),
            (
                "Completed",
                joined(
                    wording.moment(record.completed_at),
                    text(f" UTC, {record.completed_local:%H:%M} {lines.offset(record.completed_local)}"),
                ),
            ),
            ("Made", joined(wording.moment(record.made_at), text(f" by {record.made_by}"))),
            ("Approved by", _approved(record)),
            ("Connectors", stated.connectors(told)),
        ),
        element("p", element("b", text(phrases.english("approves")))),
        element("p", *_files(view.number), class_="files noprint"),
        stated.remarks(told),
        stated.performers(told),
        _signatures(record),
        stated.counts(told),
        stated.life(told),
        stated.discrepancies(told, "Open when it was approved"),
        stated.planned(told),
        stated.done(told),
        stated.means(told),
        layout.note(text(f"SHA-256 of the content: {view.sha256}")),
    )
    return Sheet(title=f"Record {view.number}", content=content, path=addresses.RECORDS)


def _flags(view: messages.RecordView) -> tuple[Markup, ...]:
    broken = element("span", text("NOT as it was made"), class_="flag grave")
    over = element("span", text("corrected"), class_="flag middling")
    return tuple(mark for said, mark in ((not view.intact, broken), (view.corrected_by is not None, over)) if said)


def _corrections(view: messages.RecordView) -> tuple[Markup, ...]:
    return tuple(
        element("p", text(before), link(f"record {other}", addresses.record(other)), text(after))
        for other, before, after in (
            (view.corrected_by, "What holds now is ", ", which corrects this one. This one stays as it was made."),
            (view.corrects, "It corrects ", f": {view.record.correction_reason}."),
        )
        if other is not None
    )


def _completed(record: MaintenanceRecord) -> Markup:
    local = record.completed_local
    return joined(wording.moment(record.completed_at), text(f" UTC, {local:%H:%M} {lines.offset(local)} there"))


def _approved(record: MaintenanceRecord) -> Markup:
    each = record.approval
    certificate = " ".join(part for part in (each.certificate_kind, each.certificate_number) if part)
    return text(f"{each.name}, {certificate or 'no certificate'}, {each.badge}")


def _signatures(record: MaintenanceRecord) -> Markup:
    return stated.signed((*record.statement.signatures, record.approval))


def _files(number: int) -> tuple[Markup, ...]:
    ways = [
        link(f"{words}{beside}", addresses.page(f"{addresses.record(number)}/document", format=form, language=language))
        for form, words in _FORMS
        for language, beside in (("en", ""), ("de", " with German"))
        if form != "json" or language == "en"
    ]
    return (text("As a file: "), *(joined(each, text(" ")) for each in ways))


async def document(request: Asked, visitor: Visitor) -> Response[Any]:
    """The record as a file, for who has signed in."""
    del visitor
    services: Services = request.app.state.services
    asked = reading.query(request.query_params, queries.Document)
    async with services.pool.acquire() as connection:
        found = await kept.kept(connection, records.number(request.path_params["record"]))
    reply = http.response(await records.drawn(found, asked))
    reply.headers.update({"cache-control": "no-store", "x-content-type-options": "nosniff"})
    return reply
