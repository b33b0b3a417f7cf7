"""What is said at the bench: the state of the talk, what the bench hears, and what it wants done."""

import enum
from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scanner_client.readings import Reading
from service.core.answers import Answer
from service.core.entries import Entry
from service.messages import ConnectorLine, PlannedStep, PlanView, Snapshot


class Phase(enum.StrEnum):
    """Where the talk stands: what the next thing heard will be taken for."""

    READY = "ready"
    CHOOSING = "choosing"
    CONNECTOR = "connector"
    ANSWERED = "answered"
    REASON = "reason"
    TESTING = "testing"
    UNDOING = "undoing"


class Field(enum.StrEnum):
    """What stays the same from one act to the next until somebody changes it."""

    BADGE = "badge"
    WORK_ORDER = "work_order"
    TOOL = "tool"
    CONTACT = "contact"


class Shift(Struct, frozen=True):
    """Who works here, on what, with what. Goes into every entry; kept over a restart."""

    badge: str | None = None
    work_order: str | None = None
    bench: str | None = None
    tool: str | None = None
    contact: str | None = None


class Subject(Struct, frozen=True):
    """The connector at hand. Without an id it is not known here: entries go by its mark, and the service parks them."""

    mark: str
    connector: UUID | None = None
    name: str = ""
    part_number: str | None = None
    snapshot: Snapshot | None = None
    remarks: tuple[str, ...] = ()

    @property
    def reference(self) -> str:
        """What an entry says for its connector."""
        return str(self.connector) if self.connector else self.mark


class Basis(enum.StrEnum):
    """What an answer rests on."""

    SERVICE = "service"
    BENCH = "bench"
    NOTHING = "nothing"


class Advice(Struct, frozen=True):
    """An answer with what it rests on. No plan means no answer: nothing is known here, and that is never a go."""

    plan: PlanView | None
    basis: Basis
    remarks: tuple[str, ...] = ()
    as_of: datetime | None = None

    @property
    def answer(self) -> Answer | None:
        """The word of the answer; None if there is none."""
        return self.plan.answer if self.plan else None

    def step_answer(self, index: int) -> Answer | None:
        """The answer to one step, by its place."""
        return self.plan.steps[index].answer if self.plan else None


class State(Struct, frozen=True):
    """The whole talk. `pending`: places of the steps not yet confirmed; `reasoned`: those that wait for a reason."""

    phase: Phase = Phase.READY
    shift: Shift = Shift()
    expects: Field | None = None
    choices: tuple[ConnectorLine, ...] = ()
    mark: str = ""
    subject: Subject | None = None
    steps: tuple[PlannedStep, ...] = ()
    advice: Advice | None = None
    pending: tuple[int, ...] = ()
    reasoned: tuple[int, ...] = ()
    to_test: tuple[str, ...] = ()
    recent: tuple[Entry, ...] = ()
    back: Phase = Phase.READY


class Moment(Struct, frozen=True):
    """What a pure talk can't make itself: the time, and fresh ids for what will be recorded."""

    at: datetime
    ids: tuple[UUID, ...]


# --- heard


class Scanned(Struct, frozen=True):
    """A symbol was scanned."""

    reading: Reading


class Line(Struct, frozen=True):
    """A person typed a line."""

    text: str


class Found(Struct, frozen=True):
    """These connectors carry the mark: one, or several to choose from."""

    mark: str
    connectors: tuple[ConnectorLine, ...]


class Missing(Struct, frozen=True):
    """No connector with this mark is known here, and why that may be."""

    mark: str
    why: str


class Opened(Struct, frozen=True):
    """The connector at hand."""

    subject: Subject


class Advised(Struct, frozen=True):
    """The answer to the steps that were asked."""

    advice: Advice


class Failed(Struct, frozen=True):
    """Something that was wanted could not be done."""

    text: str


Told = Found | Missing | Opened | Advised
Heard = Scanned | Line | Failed | Told


# --- wanted


class Find(Struct, frozen=True):
    """Find the connectors that carry a mark."""

    reading: Reading


class Open(Struct, frozen=True):
    """Fetch the state of a connector."""

    connector: UUID
    mark: str


class Ask(Struct, frozen=True):
    """Ask for the answer to steps."""

    subject: Subject
    steps: tuple[PlannedStep, ...]


class Keep(Struct, frozen=True):
    """Put entries into the outbox, on disk, and then send what can be sent."""

    entries: tuple[Entry, ...]


class Remember(Struct, frozen=True):
    """Keep the shift over a restart."""

    shift: Shift


class Say(Struct, frozen=True):
    """Tell the person a sentence. `urgent`: something was not done."""

    text: str
    urgent: bool = False


class Show(Struct, frozen=True):
    """Show something in full: the cavities, the help, the whole answer."""

    what: str


class Send(Struct, frozen=True):
    """Try to send what waits, now."""


class Leave(Struct, frozen=True):
    """End the talk."""


Effect = Find | Open | Ask | Keep | Remember | Say | Show | Send | Leave


class Turn(Struct, frozen=True):
    """The state after something was heard, and what is wanted now, in order."""

    state: State
    effects: tuple[Effect, ...] = ()
