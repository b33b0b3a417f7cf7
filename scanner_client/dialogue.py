"""What is said at the bench: the state of the talk, what the bench hears, and what it wants done."""

import enum
from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from msgspec import Struct, structs

from scanner_client.readings import Reading
from service.core.answers import Answer
from service.core.entries import Entry
from service.messages import ConnectorLine, PlannedStep, PlanView, Snapshot


class Phase(enum.StrEnum):
    """Where the talk stands: what the next thing heard will be taken for."""

    SIGN_ON = "sign_on"
    READY = "ready"
    CHOOSING = "choosing"
    CONNECTOR = "connector"
    ANSWERED = "answered"
    REASON = "reason"
    TESTING = "testing"
    UNDOING = "undoing"


class Field(enum.StrEnum):
    """What can be asked for by itself: the next thing heard is then taken for it."""

    BADGE = "badge"
    WORK_ORDER = "work_order"
    TOOL = "tool"
    CONTACT = "contact"


class Unit(enum.StrEnum):
    """In what the shop measures the pull of a seating test."""

    NEWTON = "N"
    POUND_FORCE = "lbf"


class Shift(Struct, frozen=True):
    """Who works here, on what order, at which bench. Goes into every entry; kept over a restart."""

    badge: str | None = None
    work_order: str | None = None
    bench: str | None = None


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


class Left(Struct, frozen=True):
    """What somebody left unsettled when the screen was cleared: asked again when the same badge signs on."""

    mark: str
    connector: UUID | None
    steps: tuple[PlannedStep, ...]
    tool: str | None
    contact: str | None
    to_test: tuple[str, ...]
    shared: bool = False


class Memory(Struct, frozen=True):
    """What outlasts a restart, a crash and a sign-off. `open`: by badge."""

    shift: Shift = Shift()
    used_at: datetime | None = None
    open: Mapping[str, Left] = {}
    unit: Unit | None = None


class State(Struct, frozen=True):
    """The whole talk. `pending`: places of the steps not yet confirmed; `reasoned`: those that wait for a reason.

    `shared`: other connectors carry the mark of the one at hand, too. `chosen`: cavities chosen by their marks for the next
    question. `resume`: what is taken up again once its connector is at hand. `used_at`: when a person last did something;
    `idle_min`: minutes after which the bench then signs off.
    """

    phase: Phase = Phase.SIGN_ON
    shift: Shift = Shift()
    used_at: datetime | None = None
    idle_min: int = 15
    open: Mapping[str, Left] = {}
    unit: Unit | None = None
    resume: Left | None = None
    expects: Field | None = None
    choices: tuple[ConnectorLine, ...] = ()
    mark: str = ""
    subject: Subject | None = None
    shared: bool = False
    tool: str | None = None
    contact: str | None = None
    tool_looked_at: bool = False
    chosen: tuple[str, ...] = ()
    steps: tuple[PlannedStep, ...] = ()
    advice: Advice | None = None
    pending: tuple[int, ...] = ()
    reasoned: tuple[int, ...] = ()
    removal_only: bool = False
    to_test: tuple[str, ...] = ()
    recent: tuple[Entry, ...] = ()
    back: Phase = Phase.READY

    def cleared(self, phase: Phase) -> "State":
        """The same person with the same last act, and no connector at hand."""
        return State(
            phase=phase,
            shift=self.shift,
            used_at=self.used_at,
            idle_min=self.idle_min,
            open=self.open,
            unit=self.unit,
            resume=self.resume,
            recent=self.recent,
        )

    def at_rest(self) -> "State":
        """Nothing is asked any more; a contact that went in is up for its test."""
        phase = Phase.TESTING if self.to_test else Phase.CONNECTOR
        return structs.replace(
            self, phase=phase, steps=(), advice=None, pending=(), reasoned=(), removal_only=False, chosen=()
        )


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


class Tick(Struct, frozen=True):
    """Time has passed."""


class Stir(Struct, frozen=True):
    """A person is there, without having said anything yet."""


class Resume(Struct, frozen=True):
    """The program has started: go on with what was left here."""


Told = Found | Missing | Opened | Advised | Failed
Heard = Scanned | Line | Tick | Stir | Resume | Told


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


class Wipe(Struct, frozen=True):
    """Clear the screen: what stood there was another person's."""


class Say(Struct, frozen=True):
    """Tell the person a sentence. `urgent`: something was not done."""

    text: str
    urgent: bool = False


class Show(Struct, frozen=True):
    """Show something in full: the cavities, the help, the whole answer."""

    what: str


class Send(Struct, frozen=True):
    """Try to send what waits, now."""


class Again(Struct, frozen=True):
    """Send a refused entry once more, by its number in the list, from 1."""

    number: int


class Take(Struct, frozen=True):
    """Fetch connectors for work without network: by their marks, or all that are in an asset."""

    marks: tuple[str, ...] = ()
    asset: str | None = None


class Prepare(Struct, frozen=True):
    """Fetch what a work order is about, in between: its work may be where there is no network."""

    work_order: str


class Leave(Struct, frozen=True):
    """End the talk."""


Effect = Find | Open | Ask | Keep | Wipe | Say | Show | Send | Again | Take | Prepare | Leave


class Turn(Struct, frozen=True):
    """The state after something was heard, and what is wanted now, in order."""

    state: State
    effects: tuple[Effect, ...] = ()
