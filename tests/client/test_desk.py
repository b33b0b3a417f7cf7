"""The interactive bench on a screen of 80 x 24: what a person sees, with and without colour, letters and the service."""

import io

import pytest
from rich.console import Console
from rich.text import Text

from scanner_client import desk, dialogue, guidance, lettering, reports, screen, sources, station, wedge
from scanner_client.dialogue import Advice, Basis
from scanner_client.outbox import Counts
from scanner_client.readings import Channel, Reading
from scanner_client.station import Bench
from service.core import wedge_profile
from service.core.answers import Answer
from service.core.wedge_profile import Profile
from service.messages import DECIDES
from tests.client import fake
from tests.client.fake import Clock, Service
from tests.client.test_bench import advice as planned
from tests.client.test_bench import at_connector


class Seen:
    """A desk whose screen is kept, line by line."""

    def __init__(self, bench: Bench, look: screen.Look = screen.Look()) -> None:  # noqa: B008 - frozen
        self.held = io.StringIO()
        console = Console(file=self.held, width=look.width, height=look.height, highlight=False, soft_wrap=True)
        self.desk = desk.Desk(bench, console, look, "A")

    def type(self, *lines: str) -> str:
        """Type lines; gives what the last one showed."""
        for each in lines:
            self.held.seek(0)
            self.held.truncate()
            self.desk.event(wedge.Text(each))
        return self.held.getvalue()


def test_a_contact_from_scan_to_ledger(bench: Bench, service: Service) -> None:
    """The whole way at the bench ends in the service's ledger, and the screen says each step."""
    seen = Seen(bench)
    seen.type("B-7", "order WO-77")
    seen.desk.event(wedge.Scan(Reading(b"SN-1042", "]C0", Channel.SERIAL)))
    shown = seen.type("insert 14")
    assert "── GO ──" in shown
    assert "cycle 1 of 10, 9 left after" in shown
    assert "NOT VERIFIED" in shown
    assert "M81969/14-10 (coloured)" in shown
    assert "tool from the wire side" in shown
    assert "WARNING: " in shown
    assert DECIDES.split(";")[0] in shown
    assert "1 entry recorded" in seen.type("done")
    assert "1 entry recorded" in seen.type("held 67N")
    assert [(each.entry.kind, each.entry.bench) for each in service.ledger] == [
        ("insertion", "A"),
        ("seating_test", "A"),
    ]
    assert "1/10" in seen.type("list")


def test_without_the_service_it_goes_on_and_says_so(bench: Bench, service: Service, clock: Clock) -> None:
    """Everything is kept, what waits and since when is on the screen, and it goes out by itself later."""
    seen = Seen(bench)
    seen.type("B-7", "SN-1042")
    service.cut = lambda _: "away"
    assert "Computed at this bench on the last known state" in seen.type("insert 14")
    assert "kept here, on disk. Not sent yet" in seen.type("done")
    clock.go(600)
    seen.type("skip")
    assert "1 entry not sent yet, the oldest for 10 minutes" in seen.type("insert C")
    assert "refused" not in seen.type("outbox")
    service.cut = lambda _: "answer"
    bench.way.wake()
    for _ in range(desk.SILENCES_BETWEEN_SENDS):
        seen.desk.event(None)
    assert "1 entry sent" in seen.held.getvalue()
    assert len(service.ledger) == 1


def test_the_shift_and_the_last_act_survive_a_restart(bench: Bench, service: Service) -> None:
    """A new start knows who works here, and can take the last act back."""
    Seen(bench).type("B-7", "order WO-77", "SN-1042", "did insert 14")
    again = Seen(bench)
    assert again.desk.state.shift == dialogue.Shift(badge="B-7", work_order="WO-77", bench="A")
    again.type("undo", "it was C")
    assert [each.entry.kind for each in service.ledger] == ["insertion", "correction"]


def test_what_the_service_says_no_to_is_shown(bench: Bench, service: Service) -> None:
    """A refusal ends neither the talk nor the outbox: it is set aside and shown with its reason."""
    service.refuse = lambda _: "the cavity is not of this connector"
    seen = Seen(bench)
    shown = seen.type("B-7", "SN-1042", "did insert 14")
    assert "Refused; kept here for somebody to look at: the cavity is not of this connector" in shown
    assert "1 refused: somebody must look" in seen.type("outbox")


def test_interrupt_leaves_questions_first(bench: Bench) -> None:
    """Ctrl-C cancels a question, never loses unsettled steps, and else ends the talk."""
    seen = Seen(bench)
    seen.type("B-7", "SN-1042", "remove 14", "done")
    seen.desk.event(wedge.Interrupt())
    assert seen.desk.state.phase is dialogue.Phase.ANSWERED
    seen.desk.event(wedge.Interrupt())
    assert seen.desk.open
    seen.type("not")
    seen.desk.event(wedge.Interrupt())
    assert not seen.desk.open


def test_a_talk_over_a_pipe(bench: Bench, service: Service) -> None:
    """Lines of a pipe drive the bench as well, messages with their separators."""
    seen = Seen(bench)
    piped = io.BytesIO(b"B-7\n]C0SN-1042\ndid insert 14\nquit\nnever reached\n")
    desk.run(seen.desk, desk.merged(sources.lines(piped), []))
    assert [each.entry.cavity for each in service.ledger] == ["14"]


def board(name: str = "SN-1042") -> screen.Board:
    """What stands around an answer."""
    return screen.Board(name, dialogue.Shift(badge="B-7", work_order="WO-77"), Counts(), fake.START)


def lines(told: Advice, look: screen.Look, *, whole: bool = False) -> list[str]:
    """An answer as plain lines."""
    return [each.plain for each in screen.answer(told, board(), look, whole=whole)]


ANSWERS = ["insert 14", "replace 14 C c 1", "remove 1 14 C c insert 1 14 C c"]


@pytest.mark.parametrize("told", ANSWERS)
@pytest.mark.parametrize("ascii_only", [False, True])
def test_an_answer_fits_the_screen(told: str, *, ascii_only: bool) -> None:
    """80 columns, 24 rows with the prompt; what is cut is counted and can be asked for."""
    (asked,) = at_connector().hear(told).effects
    assert isinstance(asked, dialogue.Ask)
    look = screen.Look(80, 24, ascii_only)
    cut, whole = lines(planned(asked.steps), look), lines(planned(asked.steps), look, whole=True)
    assert len(cut) <= 22
    assert max(map(len, whole)) <= 80
    if len(whole) > len(cut):
        hidden = sum(int(each.split()[0]) for each in cut if each.endswith("more lines: say 'more' (or --whole)"))
        assert len(whole) - len(cut) == hidden - sum(
            each.endswith("more lines: say 'more' (or --whole)") for each in cut
        )
    assert cut[-1] == "Everything is sent."
    if ascii_only:
        assert all(each.isascii() for each in whole)


def test_answers_differ_without_colour() -> None:
    """Each word has its own letters, its own frame and its own symbol, in Unicode and in ASCII."""
    for ascii_only in (False, True):
        frames = {word: lettering.framed(word, 80, ascii_only=ascii_only) for word in (*Answer, None)}
        assert len({each[-1] for each in frames.values()}) == 4
        assert len({each[1][:3] for each in frames.values()}) == 4
        assert len({"".join(each) for each in frames.values()}) == 4
        for word, each in frames.items():
            assert lettering.WORDS[word] in each[0]
            assert {len(line) for line in each} == {80}


def test_no_answer_has_its_own_frame() -> None:
    """Where nothing is known the screen says NO ANSWER, not warn."""
    shown = lines(Advice(plan=None, basis=Basis.NOTHING, remarks=("Not known here.",)), screen.Look())
    assert "NO ANSWER" in shown[1]
    assert "Not known here." in shown


def test_colour_is_left_out_where_it_is_not_wanted(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """NO_COLOR (no-color.org) is obeyed: no colour code reaches the terminal."""
    monkeypatch.setenv("NO_COLOR", "1")
    held = io.StringIO()
    console = Console(file=held, force_terminal=True, width=80)
    console.print(Text("GO", style="bold black on green"))
    assert "\x1b[" not in held.getvalue().replace("\x1b[1m", "").replace("\x1b[0m", "")
    assert bench


def test_a_terminal_without_utf8_gets_ascii() -> None:
    """The look follows the terminal's encoding."""
    plain = Console(file=io.TextIOWrapper(io.BytesIO(), "latin-1"))
    assert screen.look(plain).ascii
    rich_one = Console(file=io.TextIOWrapper(io.BytesIO(), "utf-8"))
    assert not screen.look(rich_one).ascii
    assert screen.look(rich_one, ascii_only=True).ascii


def test_the_prompt_fits_one_line() -> None:
    """What can be said now is one line in every phase."""
    for phase in dialogue.Phase:
        assert len(guidance.prompt(dialogue.State(phase=phase, to_test=("14",)))) <= 80
    for width in (40, 80):
        assert all(len(each) <= width for each in guidance.help_lines(width))


def test_the_check_symbol_proves_the_scanner_of_a_station(bench: Bench) -> None:
    """Scanned in the middle of the work it is kept for this station with the day, shown by name, and kept from others."""
    seen = Seen(bench)
    seen.desk.scanner(station.proof(bench, "A"))
    assert "not proven here" in seen.held.getvalue()
    assert "tinebook label check" in seen.held.getvalue()
    profile = wedge_profile.prove(list(wedge_profile.CHECK.replace("\x1d", "|")))
    assert isinstance(profile, Profile)
    seen.held.truncate(0)
    seen.desk.event(wedge.Proven(profile))
    assert "proven on 2026-" in seen.held.getvalue()
    assert "GS=|" in seen.held.getvalue()
    kept = station.proof(bench, "A")
    assert kept == station.Proof(profile, bench.clock().date())
    assert station.proof(bench, "B") is None
    assert station.proof(bench, None) is None
    assert reports.proven(kept) in seen.held.getvalue()


def test_an_unproven_scan_says_to_scan_the_check_symbol(bench: Bench) -> None:
    """A scan that nobody can trust yet is refused on the screen, with what to do."""
    seen = Seen(bench)
    seen.type("B-7")
    seen.held.truncate(0)
    seen.desk.event(wedge.Refused(wedge.UNPROVEN))
    assert "Scan the check symbol first" in " ".join(seen.held.getvalue().split())
