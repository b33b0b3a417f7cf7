"""Entries about other entries: corrections, resolutions and acceptances. They act whatever the order of their times."""

from collections.abc import Iterable
from uuid import UUID

from msgspec import Struct

from service.core import entries
from service.core.discrepancies import Code
from service.core.entries import Entry, Kind, Recorded
from service.core.states import Discrepancy


class References(Struct, frozen=True):
    """Which entries are void, which discrepancies are settled, what is odd about either, and which ids have not arrived."""

    void: frozenset[UUID] = frozenset()
    settled: frozenset[tuple[UUID, str | None]] = frozenset()
    raised: tuple[Discrepancy, ...] = ()
    pending: tuple[UUID, ...] = ()
    present: bool = False


_NONE = References()


def read(history: Iterable[Recorded]) -> References:
    """Read a history for what its entries say about each other. Any order of the same entries gives the same reading."""
    known = {each.entry.id: each.entry for each in history}
    referring = sorted(
        (entry for entry in known.values() if entry.kind in entries.REFERRING), key=lambda entry: entry.id
    )
    if not referring:
        return _NONE
    void = frozenset(
        target.id
        for entry in referring
        if entry.corrects is not None
        and entry.note
        and (target := known.get(entry.corrects)) is not None
        and target.kind is not Kind.CORRECTION
    )
    effective = [entry for entry in referring if entry.id not in void]
    settled = frozenset(
        (entry.refers_to, entry.code)
        for entry in effective
        if entry.kind is Kind.RESOLUTION and entry.note and entry.refers_to is not None
    )
    raised = tuple(
        Discrepancy(about, code)
        for entry in effective
        for about, code in _oddities(entry, known, void)
        if (about, code) not in settled and (about, None) not in settled
    )
    targets = {entry.corrects or entry.refers_to for entry in effective}
    return References(
        void, settled, raised, tuple(sorted(each for each in targets if each and each not in known)), True
    )


def _oddities(entry: Entry, known: dict[UUID, Entry], void: frozenset[UUID]) -> Iterable[tuple[UUID, Code]]:
    if entry.kind is not Kind.ACCEPTANCE and not entry.note:
        yield entry.id, Code.NO_REASON
    target_id = entry.corrects or entry.refers_to
    if target_id is None:
        return
    target = known.get(target_id)
    if target is None:
        yield entry.id, Code.CORRECTS_UNKNOWN if entry.kind is Kind.CORRECTION else Code.REFERS_TO_UNKNOWN
    elif entry.kind is Kind.CORRECTION and target.kind is Kind.CORRECTION:
        yield entry.id, Code.CORRECTS_A_CORRECTION
    elif entry.kind is Kind.ACCEPTANCE and target.id not in void:
        if entry.accepted is False:
            yield target.id, Code.WORK_REFUSED
        elif target.performed_by == entry.performed_by:
            yield entry.id, Code.INSPECTED_OWN_WORK
