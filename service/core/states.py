"""What is known of a connector at a moment: one part per cavity and one for the connector as a whole."""

import bisect
from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

import msgspec
from msgspec import Struct

from service.core import cycles
from service.core.discrepancies import TIME_DOUBTS, Code
from service.core.entries import Definition


class Discrepancy(Struct, frozen=True, array_like=True):
    """Something recorded that ought not to have been possible: the entry and the code."""

    entry: UUID
    code: Code


def ordered(discrepancies: Iterable[Discrepancy]) -> tuple[Discrepancy, ...]:
    """Discrepancies in the one order in which they are kept, whichever way they were found."""
    return tuple(sorted(discrepancies, key=_place))


def including(discrepancies: tuple[Discrepancy, ...], one: Discrepancy) -> tuple[Discrepancy, ...]:
    """Ordered discrepancies with one more. Sorting for each would take minutes where thousands are open."""
    at = bisect.bisect_right(discrepancies, _place(one), key=_place)
    return (*discrepancies[:at], one, *discrepancies[at:])


def _place(discrepancy: Discrepancy) -> tuple[UUID, Code]:
    return discrepancy.entry, discrepancy.code


class Finding(Struct, frozen=True, array_like=True):
    """An open finding; while it blocks, the cavity must not be worked on. `wide`: it is about the connector as a whole."""

    entry: UUID
    blocks: bool
    wide: bool


class CavityState(Struct, array_like=True, kw_only=True):
    """What is known of one cavity. Counts belong to the present retainer life and include what was carried in."""

    id: str
    life: int = 1
    known: bool = True
    occupied: bool | None = None
    insertions: int = 0
    removals: int = 0
    tine_entries: int = 0
    opening: tuple[int, int, int] = (0, 0, 0)
    carried: bool = False
    seating_tests: int = 0
    held: bool | None = None
    did_not_hold: bool = False
    contact: str | None = None
    retired: bool = False
    findings: tuple[Finding, ...] = ()
    discrepancies: tuple[Discrepancy, ...] = ()
    last_at: datetime | None = None

    @property
    def counts(self) -> cycles.Counts:
        """The half cycles of the present retainer life."""
        return cycles.Counts(self.insertions, self.removals, self.tine_entries)

    @property
    def blocked(self) -> bool:
        """Whether an open finding forbids work."""
        return bool(self.findings) and any(finding.blocks for finding in self.findings)

    @property
    def time_in_doubt(self) -> bool:
        """Whether an entry has a time that can't be trusted, so that it may stand in the wrong retainer life."""
        return any(each.code in TIME_DOUBTS for each in self.discrepancies)


class WholeState(Struct, array_like=True, kw_only=True):
    """What is known of the connector as a whole.

    `referring`: some entry acts on another, so a refold needs the whole history. `pending`: ids referred to that have not arrived.
    """

    matings: int = 0
    unmatings: int = 0
    mated: bool | None = None
    retired: bool = False
    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    findings: tuple[Finding, ...] = ()
    discrepancies: tuple[Discrepancy, ...] = ()
    referring: bool = False
    pending: tuple[UUID, ...] = ()
    last_at: datetime | None = None

    @property
    def time_in_doubt(self) -> bool:
        """Whether an entry about the whole connector (a renewal, say) has a time that can't be trusted."""
        return any(each.code in TIME_DOUBTS for each in self.discrepancies)


class ConnectorState(Struct, array_like=True, kw_only=True):
    """The state of one connector: the whole, and its cavities in the order of its definition."""

    whole: WholeState
    cavities: tuple[CavityState, ...]

    def cavity(self, cavity: str) -> CavityState | None:
        """The state of a cavity by its exact id."""
        return next((each for each in self.cavities if each.id == cavity), None)


def blank(definition: Definition) -> ConnectorState:
    """A connector as registered: a new one comes empty unless it is said to come populated, which is an insertion each."""
    known = definition.history == "new"
    occupied = False if known and definition.populated is None else definition.populated
    assembly = 1 if known and occupied else 0
    return ConnectorState(
        whole=WholeState(mated=False if known else None),
        cavities=tuple(
            CavityState(id=each.id, known=known, occupied=occupied, insertions=assembly, opening=(assembly, 0, 0))
            for each in definition.cavities
        ),
    )


_encoder = msgspec.json.Encoder()
_decoder = msgspec.json.Decoder(ConnectorState)


def encode(state: ConnectorState) -> bytes:
    """The bytes in which a state is kept: the same state always gives the same bytes."""
    return _encoder.encode(state)


class StateError(Exception):
    """A kept state can't be read: another version wrote it, or somebody altered it. The ledger gives it anew."""


def decode(data: bytes) -> ConnectorState:
    """Read a state that `encode` wrote. Raises StateError where it can't be one."""
    try:
        return _decoder.decode(data)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise StateError(f"the kept state can't be read ({error}): run `tinebook rebuild`") from error
