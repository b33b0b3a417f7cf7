"""The interactive bench: turns what the sources give into what the dialogue hears, and carries out what it wants."""

import queue
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from uuid import UUID

import uuid_utils
from msgspec import Struct
from rich.console import Console
from rich.text import Text

from scanner_client import bench, dialogue, outbox, screen, sending, shown, sources, station, wedge
from scanner_client.dialogue import Effect, Heard, Moment, Phase, State
from scanner_client.link import RejectedError
from scanner_client.phrases import UnclearError
from scanner_client.readings import Reading
from scanner_client.station import Bench
from service.core.discrepancies import SENTENCES
from service.messages import Problem

SHIFT = "shift"
"""The name under which the outbox remembers the shift."""
SILENCES_BETWEEN_SENDS = 50
"""A silence is a tenth of a second: what waits is tried every five seconds, less often while the service is away."""
_SENTENCES = {code.value: text for code, text in SENTENCES.items()}


def fresh_id() -> UUID:
    """A time-ordered id (UUID version 7, RFC 9562)."""
    return UUID(int=uuid_utils.uuid7().int)


class Desk:
    """One person at one bench: the state of the talk, and the screen. Everything that decides is in the dialogue."""

    def __init__(self, of: Bench, console: Console, seen: screen.Look, name: str | None = None) -> None:
        """Begin where the last talk ended: same shift, and the last act can be taken back."""
        shift = of.box.remembered(SHIFT, dialogue.Shift) or dialogue.Shift()
        if name:
            shift = dialogue.Shift(shift.badge, shift.work_order, name, shift.tool, shift.contact)
        self._bench, self._console, self._seen, self._name = of, console, seen, name
        self.state: State = bench.begin(shift, of.box.last_act())
        self.open = True
        self._silences = 0

    def greet(self) -> None:
        """Say what waits and what can be said."""
        self._say_lines([screen.waiting(self._bench.box.counts(), self._bench.clock())])
        self._prompt()

    def scanner(self, proof: station.Proof | None) -> None:
        """Say what is known of the scanner that types here."""
        self._say(proven(proof), "bold" if proof else "bold yellow")

    def event(self, event: wedge.Event | None) -> None:
        """Take what a source gave; None is a silence, in which what waits is sent."""
        match event:
            case None:
                self._idle()
            case wedge.Scan(reading):
                self.hear(dialogue.Scanned(reading))
            case wedge.Text(text):
                self.hear(dialogue.Line(text))
            case wedge.Refused(reason):
                self.hear(dialogue.Failed(reason))
            case wedge.Proven(profile):
                self.scanner(station.save_proof(self._bench, self._name, profile))
                self._prompt()
            case wedge.Interrupt() | wedge.End():
                self._interrupted()

    def _interrupted(self) -> None:
        """Ctrl-C or Ctrl-D: out of a question first, and out of the talk only when no step is left unsettled."""
        if self.state.phase in (Phase.REASON, Phase.UNDOING):
            self.hear(dialogue.Line("cancel"))
        elif self.state.pending:
            self.hear(dialogue.Failed(bench.UNSETTLED))
        else:
            self.open = False

    def hear(self, heard: Heard) -> None:
        """Let the dialogue hear something, and do what it wants until it wants nothing more."""
        waiting = deque((heard,))
        while waiting:
            ids = tuple(fresh_id() for _ in range(bench.wants(self.state)))
            before, turn = self.state, bench.step(self.state, waiting.popleft(), Moment(self._bench.clock(), ids))
            self.state = turn.state
            self._draw(before)
            for effect in turn.effects:
                came = self._carry_out(effect)
                if came is not None:
                    waiting.append(came)
        if self.open:
            self._prompt()

    def _carry_out(self, effect: Effect) -> Heard | None:
        try:
            return self._done(effect)
        except RejectedError as error:
            return dialogue.Failed(f"The service says no: {error}")
        except (UnclearError, outbox.UnusableError, outbox.ClashError) as error:
            return dialogue.Failed(str(error))

    def _done(self, effect: Effect) -> Heard | None:
        match effect:
            case dialogue.Find(reading):
                return station.find(self._bench, reading)
            case dialogue.Open(connector, mark):
                return station.open_connector(self._bench, connector, mark)
            case dialogue.Ask(subject, steps):
                return dialogue.Advised(station.advise(self._bench, subject, steps))
            case dialogue.Keep(entries):
                self._kept(len(entries), station.record(self._bench, entries))
            case dialogue.Send():
                self._sent(station.send(self._bench))
            case dialogue.Remember(shift):
                self._bench.box.remember(SHIFT, shift)
            case dialogue.Say(text, urgent):
                self._say(text, "bold yellow" if urgent else "bold")
            case dialogue.Show(what):
                self._show(what)
            case dialogue.Leave():
                self.open = False
        return None

    def _draw(self, before: State) -> None:
        """Show what is new: the answer, the connectors to choose from, or the connector at hand."""
        state = self.state
        if state.advice is not None and state.advice is not before.advice:
            self._console.clear()
            self._say_lines(self._answer(whole=False))
        elif state.choices and state.choices is not before.choices:
            self._say_lines(screen.choices(state.choices))
        elif state.subject is not None and state.subject is not before.subject:
            self._console.clear()
            self._show("cavities")

    def _answer(self, *, whole: bool) -> screen.Lines:
        state = self.state
        if state.advice is None:
            return [Text("There is no answer to show.")]
        name = state.subject.name if state.subject else ""
        board = screen.Board(name, state.shift, self._bench.box.counts(), self._bench.clock())
        return screen.answer(state.advice, board, self._seen, whole=whole)

    def _show(self, what: str) -> None:
        match what:
            case "answer":
                self._say_lines(self._answer(whole=True))
            case "cavities":
                self._say_lines(self._cavities())
            case "outbox":
                self._say_lines(list(outbox_lines(self._bench)))
            case _:
                self._say_lines([Text(each) for each in screen.HELP.split("\n")])

    def _cavities(self) -> screen.Lines:
        about = self.state.subject
        if about is None:
            return [Text("Scan the connector first.")]
        title = Text(f"{about.name}  part {about.part_number or 'not known'}", style="bold")
        standing = station.standing(self._bench, about)
        if about.snapshot is None or standing is None:
            return [title, Text("Its cavities are not known here.")]
        views = shown.cavities(about.snapshot, standing)
        rated = Text(screen.rating(shown.rating(about.snapshot)))
        return [title, rated, *screen.cavities(views, self._seen)]

    def _kept(self, count: int, sent: sending.Sent) -> None:
        told = shown.count(count, "entry", "entries")
        if sent.stopped:
            self._say(f"{told} kept here, on disk. Not sent yet: {sent.stopped}", "bold magenta")
        else:
            self._say(f"{told} recorded.", "bold green")
        self._outcomes(sent)

    def _sent(self, sent: sending.Sent) -> None:
        self._say(summary(sent), "bold magenta" if sent.stopped else "bold")
        self._outcomes(sent)

    def _outcomes(self, sent: sending.Sent) -> None:
        for line in outcomes(sent):
            self._say(line, "bold yellow")

    def _idle(self) -> None:
        self._silences += 1
        if self._silences % SILENCES_BETWEEN_SENDS or self._bench.way.resting or not self._bench.box.counts().unsent:
            return
        sent = sending.send(self._bench.box, self._bench.way, self._bench.clock)
        if sent.results:
            self._sent(sent)
            self._prompt()

    def _prompt(self) -> None:
        self._say(screen.prompt(self.state), "reverse" if self.state.phase is Phase.READY else "bold reverse")

    def _say(self, text: str, style: str) -> None:
        self._console.print(Text(text, style=style))

    def _say_lines(self, lines: screen.Lines) -> None:
        for each in lines:
            self._console.print(each)


def run(desk: Desk, events: Iterable[wedge.Event | None]) -> None:
    """Work until somebody leaves or the source ends."""
    desk.greet()
    for each in events:
        desk.event(each)
        if not desk.open:
            return


def merged(
    primary: Iterable[wedge.Event | None], others: Iterable[Iterable[wedge.Event]]
) -> Iterator[wedge.Event | None]:
    """Events of the keys, and between them those of scanners and cameras, which run in threads of their own."""
    arrived: queue.SimpleQueue[wedge.Event] = queue.SimpleQueue()
    for each in others:
        threading.Thread(target=_pour, args=(each, arrived.put), daemon=True).start()
    for event in primary:
        while not arrived.empty():
            yield arrived.get()
        yield event


def scans(seen: Iterable[Reading]) -> Iterator[wedge.Event]:
    """A camera's readings as events."""
    for each in seen:
        yield wedge.Scan(each)


CHECK_SYMBOL = "tinebook label check --output check.pdf prints it"


def proven(proof: station.Proof | None) -> str:
    """What is known of the scanner that types at a station, and what to do about it."""
    if proof is None:
        return (
            "Scanner that types: not proven here, so that only plain serial numbers can be scanned with it. Scan the check "
            f"symbol once ({CHECK_SYMBOL})."
        )
    return f"Scanner that types: proven on {proof.proven_on}, {proof.profile.name}."


def summary(sent: sending.Sent) -> str:
    """What one round of sending did, in a sentence."""
    parts = [
        f"{shown.count(sent.recorded + sent.already_recorded, 'entry', 'entries')} sent",
        *([f"{sent.parked} kept aside by the service"] if sent.parked else []),
        *([f"{sent.refused} refused"] if sent.refused else []),
    ]
    return "; ".join(parts) + (f". Stopped: {sent.stopped}" if sent.stopped else ".")


def outcomes(sent: sending.Sent) -> Iterator[str]:
    """What a person must know of single entries: discrepancies, and what was kept aside or refused."""
    for each in sent.results:
        if each.outcome == "parked":
            yield "Kept aside by the service until its connector is registered" + _because(each.problem)
        if each.outcome == "refused":
            yield "Refused; kept here for somebody to look at" + _because(each.problem)
        for code in each.discrepancies:
            yield f"Discrepancy: {_SENTENCES.get(code, code)}"


def outbox_lines(of: Bench) -> Iterator[Text]:
    """What waits, what was kept aside, what was refused and why."""
    yield screen.waiting(of.box.counts(), of.clock())
    for status in ("unsent", "parked", "refused"):
        for each in of.box.of_status(status):
            entry = each.entry
            when = f"{entry.performed_at:%Y-%m-%d %H:%M}"
            what = f"{status}: {entry.kind} {entry.cavity or ''} by {entry.performed_by}, {when}"
            yield Text(f"{what}  {entry.id}{_because(each.problem)}")


def _because(problem: Problem | None) -> str:
    return f": {problem.detail}" if problem else "."


def _pour(events: Iterable[wedge.Event], put: Callable[[wedge.Event], None]) -> None:
    try:
        for each in events:
            put(each)
    except sources.UnavailableError as error:
        put(wedge.Refused(str(error)))


class Sources(Struct, frozen=True):
    """Which sources feed the talk beside the keys."""

    camera: str | None = None
    serial: str | None = None
    baud: int = 9600


def others(chosen: Sources) -> Iterator[Iterable[wedge.Event]]:
    """The sources beside the keys, opened."""
    if chosen.camera:
        yield scans(sources.camera(chosen.camera))
    if chosen.serial:
        yield sources.serial_messages(sources.serial_port(chosen.serial, chosen.baud))
