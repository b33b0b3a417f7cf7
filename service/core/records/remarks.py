"""What whoever signs must not miss, drawn from the rest of the statement. Nothing here is hidden by a signature."""

from collections.abc import Iterator

from msgspec import structs

from service.core.cycles import Wear
from service.core.records import phrases
from service.core.records.content import CavityLine, Remark, WorkOrderStatement


def marked(statement: WorkOrderStatement) -> WorkOrderStatement:
    """The statement with its remarks."""
    found = (*_of_order(statement), *_of_counts(statement), *_of_work(statement))
    return structs.replace(statement, remarks=tuple(dict.fromkeys(found)))


def _remark(code: str, about: str | None = None) -> Remark:
    return Remark(code=code, text=phrases.remark(code), about=about)


def _of_order(statement: WorkOrderStatement) -> Iterator[Remark]:
    if statement.version == 0:
        yield _remark("not_on_the_books")
    elif statement.reference is None:
        yield _remark("no_reference_data")
    if statement.waiting_entries:
        yield _remark("entries_wait", str(statement.waiting_entries))
    for each in statement.planned:
        what = f"{each.step}. {phrases.act(each.act)}" + (f" {each.cavity}" if each.cavity else "")
        if not each.done:
            yield _remark("step_without_entry", what)
        for differs in each.differs:
            yield _remark(f"other_{differs}", what)
    if statement.planned:
        outside = sum(each.counts and each.step is None for each in statement.done)
        if outside:
            yield _remark("not_planned", str(outside))


def _of_counts(statement: WorkOrderStatement) -> Iterator[Remark]:
    for each in statement.cavities:
        yield from _of_cavity(each)
    for connector in statement.connectors:
        limit, used = connector.mating_limit, connector.matings_after != connector.matings_before
        if limit is not None and not limit.verified and used:
            yield _remark("mating_limit_not_verified", connector.serial)
        if limit is not None and connector.matings_after > limit.value:
            yield _remark("over_mating_limit", connector.serial)


def _of_cavity(each: CavityLine) -> Iterator[Remark]:
    where = f"{each.serial} {each.cavity}"
    if each.limit is None:
        yield _remark("no_limit", each.serial)
    elif not each.limit.verified:
        yield _remark("limit_not_verified", each.serial)
    if not each.after.history_known:
        yield _remark("history_not_known", where)
    if each.after.wear is Wear.OVER:
        yield _remark("over_limit", where)
    if each.after.wear is Wear.SPENT:
        yield _remark("spent", where)
    if each.held is False:
        yield _remark("did_not_hold", where)
    if each.blocked:
        yield _remark("blocked", where)
    if each.other_entries:
        yield _remark("other_work_between", where)


def _of_work(statement: WorkOrderStatement) -> Iterator[Remark]:
    open_here = sum(each.of_this_work for each in statement.discrepancies)
    if open_here:
        yield _remark("discrepancies_open", str(open_here))
    for tool in statement.tools:
        if tool.overdue:
            yield _remark("tool_overdue", tool.tool)
        if tool.tool is None:
            yield _remark("tool_not_stated", str(tool.uses))
    for person in statement.performers:
        if person.name is None:
            yield _remark("person_not_listed", person.badge)
    if statement.entered_in_error:
        yield _remark("entered_in_error", str(len(statement.entered_in_error)))
