"""What was recorded that ought not to have been possible: each with its entry, its neighbours in time, and how to resolve it.

The form writes an entry like any other, through the same workflow. Nothing disappears: what was resolved stays in the history.
"""

from typing import Annotated
from uuid import UUID, uuid4

from litestar.response import Redirect
from msgspec import Meta, Struct

from service import fleet_messages as messages
from service import problems
from service.api import queries, reading
from service.api.services import Services
from service.core import entries
from service.core.discrepancies import Code, Seriousness
from service.core.entries import Entry, Kind, Note, Text
from service.core.markup import EMPTY, Markup, element, joined, text
from service.messages import LedgerLine
from service.pages import addresses, asking, door, files, layout, sentences, tables, timeline, wording
from service.pages.asking import KIND, PLACE, SHOP, Field
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.tables import Column
from service.workflow import discrepancies, recording
from service.workflow.access import Scope
from service.workflow.discrepancies import Filters

SERIOUS = {
    Seriousness.HOLD: ("grave", "may not hold"),
    Seriousness.COUNT: ("middling", "the count may be wrong"),
    Seriousness.RECORD: ("light", "the record is in doubt"),
}
_CODES = Field("code", "What", (("", "Everything"), *((each.value, sentences.code_words(each)) for each in Code)))
_SERIOUS = Field(
    "seriousness", "How serious", (("", "All"), *((each.value, words) for each, (_, words) in SERIOUS.items()))
)
_FIELDS = (_SERIOUS, _CODES, *PLACE, *KIND, *SHOP)
_SUMMARY = (Column("What"), Column("How serious"), Column("Serial"), Column("Cavity"), Column("Done"))
_TAKEN = (Kind.RESOLUTION, Kind.CORRECTION)
"""What a planner may state at a desk. A renewal is stated by whoever did it."""


class Asking(queries.Shop, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is wanted. `recorded` is an entry that a form has just written."""

    code: Code | None = None
    seriousness: Seriousness | None = None
    connector: UUID | None = None
    cursor: str | None = None
    recorded: UUID | None = None
    limit: Annotated[int, Meta(ge=1, le=200)] = 25

    @property
    def filters(self) -> Filters:
        """The filters as the report takes them."""
        return Filters(**{name: getattr(self, name) for name in Filters.__struct_fields__})

    def address(self, **changes: addresses.Value) -> str:
        """The page with something else."""
        told = {name: getattr(self, name) for name in Filters.__struct_fields__}
        shown = {name: None if value is None else str(value) for name, value in told.items()}
        return addresses.page(addresses.DISCREPANCIES, **(shown | changes))


class Act(Struct, frozen=True, kw_only=True):
    """What the form says: the entry to write, made of what was proposed, with a reason and whose it is."""

    id: UUID
    connector: UUID
    kind: Kind
    about: UUID
    reason: Annotated[Note, Meta(min_length=1)]
    by: Text
    code: Code | None = None


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The open list, the most serious first and of those the oldest."""
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    async with services.pool.acquire() as connection:
        report, following = await discrepancies.open_ones(
            connection, asked.filters, reading.cursor(asked.cursor, discrepancies.Cursor), asked.limit, services.clock()
        )
    cursor = reading.encode_cursor(following)
    values = {each.name: getattr(asked, each.name) for each in _FIELDS}
    content = (
        layout.heading("Discrepancies", layout.note(text(f"{report.open:,} open in all"))),
        _said(asked, report),
        asking.form(addresses.DISCREPANCIES, _FIELDS, values, connector=str(asked.connector or "")),
        _one(asked),
        *(_shown(each, asked, visitor) for each in report.discrepancies),
        EMPTY if report.discrepancies else layout.nothing("Nothing that fits is open."),
        asking.pager(asked.address() if asked.cursor else None, asked.address(cursor=cursor) if cursor else None),
        files.links("discrepancies", asked.address()),
    )
    return Sheet(title="Discrepancies", content=content, path=addresses.DISCREPANCIES)


def _said(asked: Asking, report: messages.DiscrepancyReport) -> Markup:
    del report
    if asked.recorded is None:
        return EMPTY
    where = addresses.page(addresses.SEARCH, mark=str(asked.recorded))
    return element("p", text("Recorded. "), link("The entry in its history", where), class_="said", role="status")


def _one(asked: Asking) -> Markup:
    if asked.connector is None:
        return EMPTY
    return element(
        "p",
        text("Of one connector only: "),
        link("its page", addresses.connector(asked.connector)),
        text(", "),
        link("those of all", asked.address(connector=None)),
    )


def summary(lines: tuple[messages.DiscrepancyLine, ...]) -> Markup:
    """The open ones in a table, where there is no room for more."""
    rows = [
        (
            link(
                sentences.code_words(each.code), addresses.page(addresses.DISCREPANCIES, connector=str(each.connector))
            ),
            _flag(each.seriousness),
            link(each.serial, addresses.connector(each.connector)),
            text(each.cavity or "-"),
            joined(wording.moment(each.performed_at), text(f", open for {wording.days(each.age_days)}")),
        )
        for each in lines
    ]
    return tables.listed("The most serious first", _SUMMARY, rows)


def _flag(seriousness: Seriousness) -> Markup:
    kind, words = SERIOUS[seriousness]
    return element("span", text(words), class_=f"flag {kind}")


def _shown(line: messages.DiscrepancyLine, asked: Asking, visitor: Visitor) -> Markup:
    what = sentences.code_words(line.code)
    key = f"{line.entry.id}-{line.code}-{line.cavity or ''}"
    cavity = f", cavity {line.cavity}" if line.cavity else ""
    where = addresses.connector(line.connector, timeline.entry_id(line.entry.id))
    told = (
        element("h2", text(f"{what[:1].upper()}{what[1:]}{cavity}"), id=f"h-{key}"),
        element(
            "p",
            _flag(line.seriousness),
            text(f" open for {wording.days(line.age_days)}. "),
            link(line.serial, addresses.connector(line.connector)),
            text(", "),
            wording.place(line.place),
            text(f". {line.text}"),
        ),
        _neighbours(line),
        element("p", link("In the history of the connector", where), class_="note"),
    )
    may = visitor.session.bearer.allowed((Scope.PLANNER,))
    return element(
        "article",
        element("div", *told),
        element("div", _ways(line), _form(line, asked, visitor) if may else EMPTY),
        class_=f"open {SERIOUS[line.seriousness][0]}",
        aria_labelledby=f"h-{key}",
    )


def _neighbours(line: messages.DiscrepancyLine) -> Markup:
    """What happened there before and after, in the order of the work."""
    items = (
        *(_neighbour(each) for each in reversed(line.before)),
        _neighbour(line.entry, itself=True),
        *(_neighbour(each) for each in line.after),
    )
    return element("ol", *items, class_="neighbours")


def _neighbour(line: LedgerLine, *, itself: bool = False) -> Markup:
    return element(
        "li",
        wording.moment(line.performed_at),
        text(" "),
        sentences.told(line.entry),
        text(f", by {line.performed_by}"),
        EMPTY if not itself else joined(text("; recorded "), wording.moment(line.recorded_at), text(" (this entry)")),
        element("span", text(f" “{line.entry.note}”"), class_="dim") if line.entry.note else EMPTY,
        class_="itself" if itself else None,
    )


def _ways(line: messages.DiscrepancyLine) -> Markup:
    items = (
        joined(
            element("b", text(f"{each.way.capitalize()}: ")),
            text(each.text),
            *(
                joined(text(" "), link(f"Other {at}", addresses.connector(other)))
                for at, other in enumerate(each.connectors, 1)
            ),
        )
        for each in line.ways
    )
    return joined(element("h3", text("Ways to resolve it")), layout.lines(*items))


def _form(line: messages.DiscrepancyLine, asked: Asking, visitor: Visitor) -> Markup:
    kinds = {Kind(each.draft["kind"]) for each in line.ways if each.draft and "kind" in each.draft}
    choices = [each for each in _TAKEN if each in kinds]
    if not choices:
        return EMPTY
    who = visitor.name if visitor.session.vouched else None
    hidden = {
        door.FIELD: visitor.form_token,
        "id": str(uuid4()),
        "connector": str(line.connector),
        "about": str(line.entry.id),
        "code": line.code.value,
        "back": asked.address(),
    }
    words = {
        Kind.RESOLUTION: "It is as recorded, and accepted for this reason",
        Kind.CORRECTION: "The entry was made in error: mark it so",
    }
    options = (
        element(
            "label",
            element("input", type="radio", name="kind", value=each.value, checked=at == 0, required=True),
            text(words[each]),
            class_="choice",
        )
        for at, each in enumerate(choices)
    )
    name = element(
        "input", name="by", required=True, maxlength=200, value=who, readonly=who is not None, autocomplete="username"
    )
    return element(
        "details",
        element("summary", text("Resolve it here")),
        element(
            "form",
            *(element("input", type="hidden", name=key, value=value) for key, value in hidden.items()),
            element(
                "fieldset",
                element("legend", text("What is to be recorded")),
                *(element("div", each) for each in options),
            ),
            element("label", text("Reason"), element("textarea", name="reason", required=True, maxlength=4000)),
            element("label", text("Your badge"), name),
            element("button", text("Record it"), type="submit", class_="main"),
            action=addresses.DISCREPANCIES,
            method="post",
        ),
    )


async def resolve(request: Asked, visitor: Visitor) -> Redirect:
    """Write the entry that resolves one, and go back to the list. Sent twice, it is written once."""
    services: Services = request.app.state.services
    form = {name: str(value).strip() for name, value in (await request.form()).items()}
    act = _read(form)
    now = services.clock()
    entry = Entry(
        id=act.id,
        connector=str(act.connector),
        kind=act.kind,
        performed_at=now,
        performed_by=visitor.name if visitor.session.vouched else act.by,
        note=act.reason,
        corrects=act.about if act.kind is Kind.CORRECTION else None,
        refers_to=act.about if act.kind is Kind.RESOLUTION else None,
        code=act.code if act.kind is Kind.RESOLUTION else None,
    )
    faults = entries.faults(entry)
    if faults:
        raise problems.raised(problems.Type.INVALID_ENTRY, "; ".join(each.text for each in faults))
    if services.reference.stale:
        async with services.pool.acquire() as connection:
            await services.reference.refresh(connection)
    submission = recording.submission(entry, visitor.name, now, None, services.reference)
    (result,) = await services.recorder.record([submission])
    if result.problem is not None and result.problem.type != problems.Type.ID_REUSED.uri:
        raise problems.ProblemRaised(result.problem)
    back = door.local(form.get("back", addresses.DISCREPANCIES))
    return Redirect(f"{back}{'&' if '?' in back else '?'}recorded={act.id}", status_code=303)


def _read(form: dict[str, str]) -> Act:
    told = {name: value for name, value in form.items() if name in Act.__struct_fields__ and value}
    act = asking.filled(told, Act)
    if act.kind not in _TAKEN:
        raise problems.raised(problems.Type.INVALID_REQUEST, f"in the form: no {act.kind} is recorded here")
    return act
