"""The statement of a work order: what is on the books of it, in one form that is shown, signed and recorded."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

from msgspec import Struct

from service.core import chain
from service.core.entries import HouseRule, Kind
from service.core.records import counts, lines, planned, remarks, scope, status
from service.core.records.content import (
    CavityLine,
    ContactLine,
    Count,
    DoneLine,
    PersonLine,
    PlannedLine,
    SignatureLine,
    ToolLine,
    WorkOrderStatement,
)
from service.core.records.orders import Stated, WorkOrder
from service.core.records.scope import Ledger, Line, Work


class Tool(Struct, frozen=True):
    """A tool of the shop's list: what it is, and the last day of its check."""

    part_number: str
    due_on: date | None


class Person(Struct, frozen=True):
    """Somebody on the shop's list, with the certificate held when the work was done."""

    name: str
    certificate_number: str | None = None
    certificate_kind: str | None = None


class Books(Struct, frozen=True, kw_only=True):
    """Everything that a statement is made of. `meant`: connectors by the marks of planned steps; `waiting`: entries without one."""

    number: str
    stated: Stated | None
    ledgers: tuple[Ledger, ...]
    meant: Mapping[str, UUID]
    tools: Mapping[str, Tool]
    people: Mapping[str, Person]
    signatures: tuple[SignatureLine, ...]
    waiting: int
    house: HouseRule
    notice: str


def works(number: str, ledgers: Iterable[Ledger]) -> tuple[Work, ...]:
    """The work of an order, connector by connector, in the order of serials."""
    ordered = sorted(ledgers, key=lambda each: (each.definition.serial, each.definition.connector))
    return tuple(scope.find(each, number) for each in ordered)


def make(books: Books) -> WorkOrderStatement:
    """The statement. The same books always give the same one."""
    found = works(books.number, books.ledgers)
    steps = sorted((line for work in found for line in work.steps), key=_place)
    serials = {each.definition.connector: each.definition.serial for each in books.ledgers}
    order = books.stated.order if books.stated is not None else None
    plan = planned.match(order.steps if order else (), books.meant, steps, serials)
    cavities = tuple(_cavity(work, name, books.house) for work in found for name in counts.touched(work))
    drafted = WorkOrderStatement(
        work_order=books.number,
        version=books.stated.version if books.stated is not None else 0,
        **_stated(order),
        **_times(steps),
        connectors=tuple(status.connector(work) for work in found),
        planned=plan,
        done=tuple(_done(found, plan)),
        entered_in_error=tuple(lines.error(line, by, work) for work in found for line, by in work.in_error),
        waiting_entries=books.waiting,
        cavities=cavities,
        life_status=tuple(each for work in found for each in status.life(work, books.house)),
        contacts=_contacts(steps),
        tools=_tools(steps, books.tools),
        performers=performers(steps, books.people),
        discrepancies=tuple(each for work in found for each in lines.discrepancies(work)),
        remarks=(),
        signatures=books.signatures,
        facts_sha256=_facts(books, found, cavities),
        notice=books.notice,
    )
    return remarks.marked(drafted)


def _times(steps: Sequence[Line]) -> dict[str, Any]:
    """When the work began and ended (43.9(a)(2)); an end after its own recording is none, so the recording's time stands there."""
    if not steps:
        return dict.fromkeys(("began_at", "completed_at", "completed_local"))
    last = max(steps, key=_ordered_at)
    ended = last.recorded.ordered_at.astimezone(last.entry.performed_at.tzinfo)
    return {
        "began_at": lines.utc(steps[0].recorded.ordered_at),
        "completed_at": lines.utc(ended),
        "completed_local": ended,
    }


def _place(line: Line) -> tuple[datetime, str, int]:
    return line.recorded.ordered_at, str(line.connector), line.number


def _ordered_at(line: Line) -> datetime:
    return line.recorded.ordered_at


def _stated(order: WorkOrder | None) -> dict[str, Any]:
    if order is None:
        return dict.fromkeys(("title", "description", "asset", "reference")) | {"inspection_required": False}
    names = ("title", "description", "asset", "reference", "inspection_required")
    return {name: getattr(order, name) for name in names}


def _done(found: Sequence[Work], plan: Sequence[PlannedLine]) -> Iterator[DoneLine]:
    step_of = {entry: each.step for each in reversed(plan) for entry in each.entries}
    every = sorted(((line, work) for work in found for line in work.done), key=lambda pair: _place(pair[0]))
    for line, work in every:
        yield lines.done(line, work.ledger.definition.serial, step_of.get(line.entry.id))


def _cavity(work: Work, name: str, house: HouseRule) -> CavityLine:
    definition = work.ledger.definition
    change, judged_by = counts.change(work, name), counts.figures(definition, house)
    return CavityLine(
        connector=definition.connector,
        serial=definition.serial,
        cavity=name,
        contact_size=next(each.contact_size for each in definition.cavities if each.id == name),
        before=counts.count(change.before, judged_by),
        after=counts.count(change.after, judged_by),
        limit=counts.limit(definition.rating),
        held=change.after.held,
        blocked=change.after.blocked,
        other_entries=change.others,
    )


def _contacts(steps: Sequence[Line]) -> tuple[ContactLine, ...]:
    used: dict[str | None, int] = {}
    for each in steps:
        if each.entry.kind is Kind.INSERTION:
            used[each.entry.contact] = used.get(each.entry.contact, 0) + 1
    return tuple(ContactLine(contact=each, insertions=used[each]) for each in sorted(used, key=_named_first))


def _named_first(name: str | None) -> tuple[bool, str]:
    return name is None, name or ""


def _tools(steps: Sequence[Line], listed: Mapping[str, Tool]) -> tuple[ToolLine, ...]:
    uses: dict[str | None, list[Line]] = {}
    for each in steps:
        if each.entry.tool is not None or each.entry.kind in (Kind.INSERTION, Kind.REMOVAL, Kind.TINE_ENTRY):
            uses.setdefault(each.entry.tool, []).append(each)
    return tuple(_tool(name, uses[name], listed.get(name or "")) for name in sorted(uses, key=_named_first))


def _tool(name: str | None, uses: Sequence[Line], tool: Tool | None) -> ToolLine:
    due_on = tool.due_on if tool is not None else None
    return ToolLine(
        tool=name,
        part_number=tool.part_number if tool is not None else None,
        due_on=due_on.isoformat() if due_on else None,
        # What stood at the recording holds too: the list may say otherwise by now.
        overdue=any(
            (due_on is not None and lines.utc(each.recorded.ordered_at).date() > due_on)
            or "tool_overdue" in each.recorded.noted
            for each in uses
        ),
        uses=len(uses),
    )


def performers(steps: Sequence[Line], people: Mapping[str, Person]) -> tuple[PersonLine, ...]:
    """Who did the work: every name that an entry of it states."""
    counted: dict[str, int] = {}
    for each in steps:
        counted[each.entry.performed_by] = counted.get(each.entry.performed_by, 0) + 1
    return tuple(
        PersonLine(
            badge=badge,
            name=person.name if (person := people.get(badge)) is not None else None,
            certificate_number=person.certificate_number if person is not None else None,
            certificate_kind=person.certificate_kind if person is not None else None,
            entries=counted[badge],
        )
        for badge in sorted(counted)
    )


def _facts(books: Books, found: Sequence[Work], cavities: Sequence[CavityLine]) -> str:
    """What no signature survives a change of: the order's version, its entries, which of them stand, and the counts."""
    stand = [[str(each.connector), each.number, each.hash.hex()] for work in found for each in work.done]
    void = [[str(each.connector), each.number, each.hash.hex()] for work in found for each, _ in work.in_error]
    counted = [[str(each.connector), each.cavity, *_loads(each.before), *_loads(each.after)] for each in cavities]
    version = books.stated.version if books.stated is not None else 0
    stated = {"order": books.number, "version": version, "done": stand, "in_error": void, "counts": counted}
    return chain.digest(chain.canonical(stated)).hex()


def _loads(count: Count) -> tuple[int, int, int, int]:
    """What was counted, whatever it is judged by: a rating that is revised later changes no fact."""
    return count.retainer_life, count.insertions, count.removals, count.tine_entries
