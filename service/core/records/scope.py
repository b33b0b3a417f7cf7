"""Which entries are the work of an order, in the order of the work, and which of them were entered in error."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from msgspec import Struct

from service.core import references
from service.core.entries import Definition, Entry, Kind, Recorded
from service.core.signing import rules
from service.core.states import ConnectorState


class Line(Struct, frozen=True):
    """One entry of a connector's ledger with its hash."""

    connector: UUID
    number: int
    recorded: Recorded
    hash: bytes

    @property
    def entry(self) -> Entry:
        """The fact."""
        return self.recorded.entry


class Ledger(Struct, frozen=True):
    """Everything that is on the books of one connector, and the state that it gives."""

    definition: Definition
    state: ConnectorState
    lines: tuple[Line, ...]


class Work(Struct, frozen=True):
    """What of one connector's ledger is an order's: entries that stand, and those in error with what corrects each."""

    ledger: Ledger
    done: tuple[Line, ...]
    in_error: tuple[tuple[Line, Line], ...]

    @property
    def steps(self) -> tuple[Line, ...]:
        """The entries that are work."""
        return tuple(each for each in self.done if is_work(each.entry.kind))


def is_work(kind: Kind) -> bool:
    """Whether an entry is something that was done. What was found, accepted, corrected or resolved is said about the work."""
    return kind not in rules.NOT_WORK


def find(ledger: Ledger, number: str) -> Work:
    """The work of an order on one connector."""
    void = references.read(each.recorded for each in ledger.lines).void
    mine = [each for each in ledger.lines if each.entry.work_order == number]
    done = sorted((each for each in mine if each.entry.id not in void), key=_place)
    wrong = sorted((each for each in mine if each.entry.id in void), key=_place)
    return Work(ledger, tuple(done), tuple((each, _correction(ledger.lines, each.entry.id)) for each in wrong))


def _place(line: Line) -> tuple[datetime, int]:
    """The order in which the fold takes them, but for entries of one instant."""
    return line.recorded.ordered_at, line.entry.id.int


def _correction(lines: Iterable[Line], voided: UUID) -> Line:
    return next(each for each in lines if each.entry.corrects == voided and each.entry.note)
