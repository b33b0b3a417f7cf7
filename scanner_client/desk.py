"""The interactive bench: turns what the sources give into what the dialogue hears, and carries out what it wants."""

from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import suppress
from uuid import UUID

import uuid_utils
from msgspec import structs
from rich.console import Console
from rich.text import Text

from scanner_client import (
    bench,
    dialogue,
    guidance,
    outbox,
    reports,
    screen,
    sending,
    shifts,
    shop,
    shown,
    station,
    wedge,
)
from scanner_client.dialogue import Effect, Heard, Moment, Phase, State
from scanner_client.link import AwayError, DeniedError, GarbledError, RejectedError
from scanner_client.phrases import UnclearError
from scanner_client.station import Bench
from service.core.answers import Answer
from service.core.entries import Entry

MEMORY = "talk"
"""The name under which the outbox remembers the shift and what is not settled."""
LONG_S = 86_400
NOT_LOOKED = "not looked over yet ('looked')"
SILENCES_BETWEEN_SENDS = 50
"""A silence is a tenth of a second: what waits is tried every five seconds, less often while the service is away."""


def fresh_id() -> UUID:
    """A time-ordered id (UUID version 7, RFC 9562)."""
    return UUID(int=uuid_utils.uuid7().int)


class Desk:
    """One person at one bench: the state of the talk, and the screen. Everything that decides is in the dialogue."""

    def __init__(
        self,
        of: Bench,
        console: Console,
        seen: screen.Look,
        name: str | None = None,
        idle_min: int = shifts.IDLE_MIN,
    ) -> None:
        """Begin where the last talk ended: same shift, same open work, and the last act can be taken back."""
        memory = of.box.remembered(MEMORY, dialogue.Memory) or dialogue.Memory()
        if name:
            memory = structs.replace(memory, shift=structs.replace(memory.shift, bench=name))
        self._bench, self._console, self._seen, self._name = of, console, seen, name
        self.state: State = shifts.begin(memory, idle_min, of.box.last_act())
        self.open = True
        self._forgetting = False
        self._silences = 0
        self._wanted: deque[UUID] = deque()
        self._remembered = memory
        self._left_s = LONG_S
        self._questioned: tuple[str, ...] = ()

    def greet(self) -> None:
        """Say what waits, sign off whoever left long ago, and go on with what is not settled."""
        self._say_lines(screen.wrapped(screen.waiting(self._bench.box.counts(), self._bench.clock()), self._seen))
        if self._timed_out():
            return
        if self.state.shift.badge:
            self._say(f"Badge {self.state.shift.badge} is signed on ('off' signs off).", "bold")
        self.hear(dialogue.Resume())

    def scanner(self, proof: station.Proof | None) -> None:
        """Say what is known of the scanner that types here."""
        self._say(reports.proven(proof), "bold" if proof else "bold yellow")

    def stir(self) -> None:
        """Somebody is at the keys, without having ended a line yet."""
        if self.state.shift.badge and not self._late():
            self.state = bench.step(self.state, dialogue.Stir(), Moment(self._bench.clock(), ())).state

    def forgetting(self) -> bool:
        """Whether what is half typed was another person's: true once after each time-out."""
        forgetting, self._forgetting = self._forgetting, False
        return forgetting

    def event(self, event: wedge.Event | None) -> None:
        """Take what a source gave; None is a silence, in which what waits is sent."""
        self._timed_out()
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

    def _late(self) -> bool:
        left = shifts.left_s(self.state, self._bench.clock())
        return left is not None and left <= 0

    def _timed_out(self) -> bool:
        """Sign an unattended bench off; tell a person before."""
        left = shifts.left_s(self.state, self._bench.clock())
        if left is None:
            return False
        if left <= 0:
            self._forgetting = True
            self.hear(dialogue.Tick())
            return True
        if any(left <= each < min(self._left_s, 60 * self.state.idle_min) for each in shifts.NOTICES_S):
            told = f"Nobody has used this bench for a while. It signs off in {left} s. Press Enter to stay."
            self._say(told, "bold yellow")
        self._left_s = left
        return False

    def _interrupted(self) -> None:
        """Ctrl-C or Ctrl-D: out of a question first, and out of the talk only when no step is left unsettled."""
        if self.state.phase in (Phase.REASON, Phase.UNDOING):
            self.hear(dialogue.Line("cancel"))
        elif self.state.pending:
            self._say(shifts.UNSETTLED, "bold yellow")
            self._prompt()
        else:
            self.open = False

    def hear(self, heard: Heard) -> None:
        """Let the dialogue hear something, and do what it wants until it wants nothing more."""
        waiting = deque((heard,))
        while waiting:
            waiting.extend(self._taken(waiting.popleft()))
        if self.open:
            self._prompt()

    def _taken(self, heard: Heard) -> Iterator[Heard]:
        """One turn of the talk; gives what came of what it wanted."""
        ids = tuple(fresh_id() for _ in range(bench.wants(self.state)))
        before, turn = self.state, bench.step(self.state, heard, Moment(self._bench.clock(), ids))
        kept = tuple(entry for each in turn.effects if isinstance(each, dialogue.Keep) for entry in each.entries)
        if kept and not self._keep(kept, turn.state):
            return
        self.state = turn.state
        self._remember()
        if any(isinstance(each, dialogue.Wipe) for each in turn.effects):
            self._wipe()
        self._draw(before)
        for effect in turn.effects:
            came = self._carry_out(effect)
            if came is not None:
                yield came

    def _keep(self, entries: tuple[Entry, ...], after: State) -> bool:
        """Entries, and what is to be remembered after them, reach the disk together before anything else is done.

        If they can't, the talk stays where it was: what was done is still asked for, and can be said again.
        """
        memory = shifts.memory(after)
        try:
            self._bench.box.keep(entries, (MEMORY, memory))
        except (outbox.UnusableError, outbox.ClashError) as error:
            self._say(f"NOT RECORDED: write it down on paper, and say it again later. {error}", "bold white on red")
            return False
        self._remembered = memory
        return True

    def _wipe(self) -> None:
        self._questioned = ()
        self._clear(whole=True)

    def _remember(self) -> None:
        """Keep on disk what must outlast a crash."""
        memory = shifts.memory(self.state)
        if memory == self._remembered:
            return
        try:
            self._bench.box.remember(MEMORY, memory)
            self._remembered = memory
        except outbox.UnusableError as error:
            self._say(str(error), "bold yellow")

    def _carry_out(self, effect: Effect) -> Heard | None:
        try:
            return self._done(effect)
        except RejectedError as error:
            return dialogue.Failed(f"The service says no: {error}")
        except (UnclearError, LookupError, outbox.UnusableError, outbox.ClashError) as error:
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
                self._delivered(entries)
            case dialogue.Show(what):
                self._show(what)
            case dialogue.Say(text, urgent):
                self._ring(urgent)
                self._say(text, "bold yellow" if urgent else "bold")
            case _:
                self._arrange(effect)
        return None

    def _arrange(self, effect: Effect) -> None:
        """What concerns the bench more than the work."""
        match effect:
            case dialogue.Send():
                self._sent(station.send(self._bench))
            case dialogue.Again(number):
                self._sent(station.again(self._bench, number))
            case dialogue.Take(marks, asset):
                for each in station.take(self._bench, marks, asset):
                    self._say(reports.taken(each), "bold yellow" if each.why else "bold")
            case dialogue.Prepare(work_order):
                self._wanted = deque(station.of_order(self._bench, work_order))
            case dialogue.Leave():
                self.open = False

    def _clear(self, *, whole: bool = False) -> None:
        self._console.clear()
        if whole and self._console.is_terminal:
            # What has scrolled out of sight was another person's as well.
            self._console.file.write("\x1b[3J")

    def _ring(self, needed: bool) -> None:
        """For eyes that are on the work: whatever needs attention is heard."""
        if needed and self._console.is_terminal:
            self._console.bell()

    def _draw(self, before: State) -> None:
        """Show what is new: the answer, the connectors to choose from, or the connector at hand."""
        state = self.state
        if state.advice is not None and state.advice is not before.advice:
            self._clear()
            self._ring(state.advice.answer is not Answer.GO)
            self._say_lines(self._answer(whole=False))
        elif state.choices and state.choices is not before.choices:
            self._say_lines(screen.choices(state.choices, self._seen))
        elif state.subject is not None and state.subject is not before.subject:
            self._clear()
            self._show("cavities")

    def _answer(self, *, whole: bool) -> screen.Lines:
        state = self.state
        if state.advice is None:
            return [Text("There is no answer to show.")]
        snapshot = state.subject.snapshot if state.subject else None
        board = screen.Board(
            name=state.subject.name if state.subject else "",
            shift=state.shift,
            counts=self._bench.box.counts(),
            now=self._bench.clock(),
            equipment=self._equipment(),
            ids=tuple(each.id for each in snapshot.definition.cavities) if snapshot else (),
            unit=state.unit,
        )
        return screen.answer(state.advice, board, self._seen, whole=whole)

    def _equipment(self) -> tuple[str, ...]:
        """What is in the hands, and whether the tool was looked at."""
        state = self.state
        held = reports.equipment(self._bench, state.tool, state.contact)
        if not state.tool:
            return held
        return (f"{held[0]}; {'looked over' if state.tool_looked_at else NOT_LOOKED}", *held[1:])

    def _show(self, what: str) -> None:
        match what:
            case "answer":
                self._say_lines(self._answer(whole=True))
            case "cavities":
                self._say_lines(self._connector())
            case "outbox":
                for each in reports.outbox_lines(self._bench):
                    self._say_lines(screen.wrapped(each, self._seen))
            case _:
                self._say_lines([Text(each) for each in guidance.help_lines(self._seen.width)])

    def _connector(self) -> screen.Lines:
        about = self.state.subject
        if about is None:
            return [Text("Scan the connector first.")]
        standing = station.standing(self._bench, about)
        if about.snapshot is None or standing is None:
            return screen.said(f"{about.name}. Its cavities are not known here.", self._seen, "bold")
        return screen.connector(shown.connector(about.snapshot, standing), self._seen)

    def _delivered(self, entries: tuple[Entry, ...]) -> None:
        sent = station.deliver(self._bench, entries)
        told = shown.count(len(entries), "entry", "entries")
        if sent.stopped:
            self._say(f"{told} kept here, on disk. Not sent yet: {sent.stopped}", "bold magenta")
        else:
            self._say(f"{told} recorded.", "bold green")
        self._outcomes(sent)

    def _sent(self, sent: sending.Sent) -> None:
        self._say(reports.summary(sent), "bold magenta" if sent.stopped else "bold")
        self._outcomes(sent)

    def _outcomes(self, sent: sending.Sent) -> None:
        for line in reports.outcomes(sent):
            self._say(line, "bold yellow")

    def _idle(self) -> None:
        self._silences += 1
        if self._bench.way.resting:
            return
        if self._wanted:
            # One in each silence, so that a scan never waits for a whole order.
            with suppress(AwayError, DeniedError, GarbledError, RejectedError):
                station.refreshed(self._bench, self._wanted.popleft())
        if self._silences % SILENCES_BETWEEN_SENDS:
            return
        if self._bench.box.counts().unsent:
            sent = sending.send(self._bench.box, self._bench.way, self._bench.clock)
            if sent.results:
                self._sent(sent)
                self._prompt()
        elif shop.stale(self._bench.box, self._bench.clock()):
            # The list as last fetched serves until then.
            with suppress(AwayError, DeniedError, GarbledError, RejectedError):
                shop.fetch(self._bench.box, self._bench.way, self._bench.clock)

    def _prompt(self) -> None:
        asked = guidance.question(self.state)
        if asked != self._questioned:
            for each in asked:
                self._say(each, "bold")
        self._questioned = asked
        style = "reverse" if self.state.phase in (Phase.READY, Phase.SIGN_ON) else "bold reverse"
        self._say(guidance.prompt(self.state), style)

    def _say(self, text: str, style: str) -> None:
        self._say_lines(screen.said(text, self._seen, style))

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
