"""Lines of a statement: an entry as it stands in its ledger, one that was entered in error, and what is open."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from service.core.discrepancies import SENTENCES, SERIOUSNESS
from service.core.records import counts, scope
from service.core.records.content import DiscrepancyLine, DoneLine, ErrorLine
from service.core.records.scope import Line, Work
from service.core.states import Discrepancy

_HOUR_MIN = 60


def utc(moment: datetime) -> datetime:
    """A moment in UTC."""
    return moment.astimezone(UTC)


def offset(moment: datetime) -> str:
    """What was added to UTC, as `+01:00`."""
    minutes = round((moment.utcoffset() or timedelta(0)).total_seconds() / 60)
    hours, rest = divmod(abs(minutes), _HOUR_MIN)
    return f"{'-' if minutes < 0 else '+'}{hours:02}:{rest:02}"


def done(line: Line, serial: str, step: int | None) -> DoneLine:
    """An entry as it stands in its ledger."""
    entry = line.entry
    return DoneLine(
        entry=entry.id,
        connector=line.connector,
        serial=serial,
        number=line.number,
        hash=line.hash.hex(),
        kind=entry.kind.value,
        counts=scope.is_work(entry.kind),
        step=step,
        cavity=entry.cavity,
        cavities=entry.cavities,
        performed_at=utc(entry.performed_at),
        local_offset=offset(entry.performed_at),
        performed_by=entry.performed_by,
        recorded_at=utc(line.recorded.recorded_at),
        tool=entry.tool,
        contact=entry.contact,
        force_n=entry.force_n,
        held=entry.held,
        level=entry.level,
        accepted=entry.accepted,
        note=entry.note,
        noted=line.recorded.noted,
    )


def error(line: Line, by: Line, work: Work) -> ErrorLine:
    """An entry that was made in error, with the entry that says so."""
    return ErrorLine(
        line=done(line, work.ledger.definition.serial, None),
        corrected_by=by.entry.id,
        corrected_at=utc(by.recorded.recorded_at),
        corrected_by_person=by.entry.performed_by,
        reason=by.entry.note or "",
    )


def discrepancies(work: Work) -> Iterator[DiscrepancyLine]:
    """What is open now of this work's entries, and what else is open at the cavities that it touched."""
    mine = {each.entry.id for each in (*work.done, *(line for line, _ in work.in_error))}
    near = set(counts.touched(work))
    state = work.ledger.state
    for each in state.whole.discrepancies:
        if each.entry in mine:
            yield _open(work, each, None, of_this_work=True)
    for cavity in state.cavities:
        for each in cavity.discrepancies:
            if each.entry in mine or cavity.id in near:
                yield _open(work, each, cavity.id, of_this_work=each.entry in mine)


def _open(work: Work, each: Discrepancy, cavity: str | None, *, of_this_work: bool) -> DiscrepancyLine:
    return DiscrepancyLine(
        entry=each.entry,
        connector=work.ledger.definition.connector,
        serial=work.ledger.definition.serial,
        cavity=cavity,
        code=each.code.value,
        text=SENTENCES[each.code],
        seriousness=SERIOUSNESS[each.code],
        of_this_work=of_this_work,
    )
