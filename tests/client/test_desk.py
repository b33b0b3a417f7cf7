"""The interactive bench on a screen of 80 x 24: what a person sees, with and without colour, letters and the service."""

import io
from datetime import date
from uuid import UUID

import httpx
import pytest
from msgspec import structs
from rich.console import Console
from rich.text import Text

from scanner_client import bench as commands
from scanner_client import (
    desk,
    dialogue,
    feeds,
    guidance,
    lettering,
    outbox,
    reports,
    screen,
    shop,
    sources,
    station,
    wedge,
)
from scanner_client.dialogue import Advice, Basis
from scanner_client.outbox import Counts
from scanner_client.readings import Channel, Reading
from scanner_client.station import Bench
from service.core import wedge_profile
from service.core.answers import Answer
from service.core.entries import CavityDefinition, Entry, Kind
from service.core.wedge_profile import Profile
from service.messages import DECIDES
from service.reference_messages import ShopToolView
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
    desk.run(seen.desk, feeds.merged(sources.lines(piped), []))
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
        hidden = sum(int(each.split()[0]) for each in cut if each.endswith("more lines: 'more' (or --whole)"))
        assert len(whole) - len(cut) == hidden - sum(each.endswith("more lines: 'more' (or --whole)") for each in cut)
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


def tool(mark: str, due_on: date | None) -> ShopToolView:
    """A tool on the shop's list."""
    return ShopToolView(mark=mark, part_number="M81969/14-10", due_on=due_on, serves=())


def words(shown: str) -> str:
    """What is on the screen without its line breaks."""
    return " ".join(shown.split())


def test_an_unattended_bench_warns_signs_off_and_clears(bench: Bench, clock: Clock) -> None:
    """A minute before it says so; then nothing of the person before can be read, and Enter in time stays."""
    seen = Seen(bench)
    seen.type("B-7", "SN-1042", "insert 14")
    clock.go(14 * 60 + 5)
    seen.desk.event(None)
    assert "It signs off in 55 s" in words(seen.held.getvalue())
    seen.type("")
    assert seen.desk.state.shift.badge == "B-7"
    clock.go(15 * 60)
    seen.held.truncate(0)
    seen.desk.event(None)
    assert "Signed off: nobody has used this bench for 15 minutes" in words(seen.held.getvalue())
    assert "SN-1042" not in seen.held.getvalue()
    assert "SN-1042" not in seen.type("B-9", "list")
    assert seen.desk.forgetting() is True
    assert seen.desk.forgetting() is False


def test_keys_without_enter_are_use(bench: Bench, clock: Clock) -> None:
    """Somebody who types a long reason is there."""
    seen = Seen(bench)
    seen.type("B-7")
    for _ in range(3):
        clock.go(14 * 60)
        seen.desk.stir()
        seen.desk.event(None)
    assert seen.desk.state.shift.badge == "B-7"
    clock.go(15 * 60)
    seen.desk.stir()
    seen.desk.event(None)
    assert seen.desk.state.shift.badge is None


def test_unsettled_work_waits_over_time_out_and_restart(bench: Bench, service: Service, clock: Clock) -> None:
    """Another person sees none of it; its own is asked again, and what is done then is recorded once."""
    seen = Seen(bench)
    seen.type("B-7", "SN-1042", "insert 14 C", "done 1")
    clock.go(3600)
    later = Seen(bench)
    later.desk.greet()
    assert later.desk.state.phase is dialogue.Phase.SIGN_ON
    assert "insert C" not in later.type("B-9")
    shown = later.type("urn:tinebook:badge:B-7")
    assert "You left this unsettled here" in words(shown)
    assert "1 insert C" in shown
    later.type("done", "held 67N", "skip")
    assert [each.entry.cavity for each in service.ledger] == ["14", "C", "14"]


def test_a_crash_between_act_and_sending_asks_nothing_twice(bench: Bench, service: Service) -> None:
    """The entries and what is still open reach the disk together, whatever is cut afterwards."""
    seen = Seen(bench)
    seen.type("B-7", "SN-1042", "insert 14 C")

    def killed(_: httpx.Request) -> str:
        raise KeyboardInterrupt

    service.cut = killed
    with pytest.raises(KeyboardInterrupt):
        seen.type("done 1")
    service.cut = lambda _: "answer"
    again = Seen(bench)
    again.desk.greet()
    assert [(each.action, each.cavity) for each in again.desk.state.steps] == [("insert", "C")]
    again.type("done", "skip all")
    assert sorted(each.entry.cavity or "" for each in service.ledger) == ["14", "C"]


def test_what_cannot_be_written_is_asked_for_again(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk records nothing and says so; the step stays open and can be said again."""
    seen = Seen(bench)
    seen.type("B-7", "SN-1042", "insert 14")

    def full(*_: object) -> None:
        raise outbox.UnusableError("The disk is full.")

    with monkeypatch.context() as broken:
        broken.setattr(outbox.Outbox, "keep", full)
        shown = words(seen.type("done"))
        assert "NOT RECORDED: write it down on paper" in shown
        assert "1 entry recorded" not in shown
        assert seen.desk.state.pending == (0,)
    assert "1 entry recorded" in seen.type("done")


def test_the_question_after_an_insertion_is_shown_once(bench: Bench) -> None:
    """Pull, look and what can be said, for each contact that went in; not again after another command."""
    seen = Seen(bench)
    shown = words(seen.type("B-7", "SN-1042", "did insert 14 C"))
    assert "14: no pull is known" in shown
    assert "Look at the face" in shown
    assert "Is 14 seated?" in shown
    assert "Look at the face" not in seen.type("outbox")
    assert "C: no pull is known" in words(seen.type("held 67N"))


def test_the_due_date_of_a_tool_is_shown(bench: Bench, service: Service) -> None:
    """From the shop's list as last fetched: in time, overdue, and where there is no date."""
    service.tools = (tool("T-1", date(2026, 12, 31)), tool("T-2", date(2026, 11, 24)), tool("T-3", None))
    seen = Seen(bench)
    seen.type("B-7")
    assert "Tool T-1: M81969/14-10, due 2026-12-31" in seen.type("SN-1042", "tool T-1", "insert 14")
    service.tools = ()
    assert "CHECK OVERDUE, it was due 2026-11-24" in words(seen.type("tool T-2"))
    shown = seen.type("tool T-3")
    assert "Tool T-3: M81969/14-10" in shown
    assert "due" not in shown
    assert "not looked over yet ('looked')" in words(shown)
    assert "M81969/14-10; looked over" in words(seen.type("looked", "more"))


def test_an_overdue_tool_warns_without_the_service_as_well(bench: Bench, service: Service) -> None:
    """The rule holds the date as last fetched against the day; on the last day itself it says nothing."""
    service.tools = (tool("T-1", date(2026, 11, 25)), tool("T-2", date(2026, 11, 24)))
    shop.fetch(bench.box, bench.way, bench.clock)
    seen = Seen(bench)
    seen.type("B-7", "SN-1042")
    service.cut = lambda _: "away"
    assert "── GO ──" in seen.type("tool T-1", "insert 14")
    shown = seen.type("tool T-2")
    assert " WARN " in shown
    assert "due for a check before today" in words(shown)


def test_the_outbox_says_age_and_why(bench: Bench, service: Service, clock: Clock) -> None:
    """What waits and since when, what is kept aside until when, what was refused and why; a refused one goes once more."""
    seen = Seen(bench)
    seen.type("B-7", "SN-77", "did insert 14", "skip")
    service.refuse = lambda _: "the cavity is not of this connector"
    seen.type("next SN-1042", "did insert 14", "skip")
    service.cut = lambda _: "away"
    seen.type("did remove 14")
    clock.go(180)
    shown = words(seen.type("outbox"))
    assert "1 entry not sent yet, the oldest for 3 minutes" in shown
    assert "unsent: removal 14 by B-7" in shown
    assert "kept for 3 minutes" in shown
    assert "until its connector SN-77 is registered" in shown
    assert "refused 1: insertion 14" in shown
    assert "the cavity is not of this connector" in shown
    assert "1 connector is known here without the network" in shown
    service.cut, service.refuse = (lambda _: "answer"), lambda _: None
    assert "no refused entry 2" in seen.type("again 2")
    assert "2 entries sent" in seen.type("again 1")


def test_connectors_are_taken_along(bench: Bench, service: Service, clock: Clock) -> None:
    """By serial or by asset: opened afterwards without the network, and what could not be fetched is named."""
    placed = Entry(
        id=UUID(int=7), connector="SN-1042", kind=Kind.PLACEMENT, performed_at=clock(), performed_by="B", asset="EX-101"
    )
    service.one(placed)
    seen = Seen(bench)
    shown = words(seen.type("B-7", "take SN-1042 SN-9"))
    assert "SN-1042: 1 connector fetched." in shown
    assert "SN-9: 0 connectors fetched. No connector is registered" in shown
    assert "EX-101: 1 connector fetched." in seen.type("take asset EX-101")
    assert "No connector is placed there" in seen.type("take asset EX-999")
    service.cut = lambda _: "away"
    seen.type("SN-1042")
    assert "── GO ──" in seen.type("insert 14")


def test_a_spent_cavity_shows_the_ways_out(bench: Bench, clock: Clock) -> None:
    """Where a cavity takes no contact any more the answer says what is left, and that the approved data decide."""
    seen = Seen(bench, screen.Look(80, 60))
    seen.type("B-7", "SN-1042")
    for _ in range(10):
        clock.go()
        seen.type("did insert 14", "skip")
        clock.go()
        seen.type("did remove 14")
    shown = words(seen.type("insert 14"))
    assert "NO GO" in shown
    assert "What is left to do, if the approved data allow it:" in shown
    assert "that needs a drawing change" in shown
    assert "Open: " not in words(seen.type("not", "list"))


def test_how_to_count_to_a_cavity(bench: Bench, service: Service) -> None:
    """On a numbered insert the answer counts by rings; elsewhere it says nothing of it (common practice, no source)."""
    numbered = structs.replace(
        fake.definition(), cavities=tuple(CavityDefinition(str(each), "20") for each in range(1, 41))
    )
    service.definitions[numbered.connector] = numbered
    seen = Seen(bench, screen.Look(80, 60))
    assert "Find it: third ring, then 4" in words(seen.type("B-7", "SN-1042", "insert 34"))
    service.definitions[numbered.connector] = fake.definition()
    assert "Find it" not in seen.type("not", "next SN-1042", "insert 14")


def test_the_connector_says_what_is_open(bench: Bench) -> None:
    """Open discrepancies stand under the cavities, each with the place that it is about."""
    seen = Seen(bench)
    shown = words(seen.type("B-7", "SN-1042", "did remove 14", "list"))
    assert "Open: 14: A contact came out of a cavity that, as recorded, was empty." in shown
    assert "part TEST-20-4" in shown


@pytest.mark.parametrize("ascii_only", [False, True])
def test_a_narrow_terminal_is_still_read(bench: Bench, *, ascii_only: bool) -> None:
    """At 40 columns nothing runs over the edge, and every word of an answer stands there whole."""
    seen = Seen(bench, screen.Look(40, 18, ascii_only))
    for told in (
        "B-7",
        "SN-1042",
        "tool T-1",
        "insert 14 C",
        "more",
        "help",
        "done",
        "level",
        "outbox",
        "list",
        "next",
    ):
        assert max(map(len, seen.type(told).split("\n"))) <= 40
    for word in (*Answer, None):
        framed = lettering.framed(word, 40, ascii_only=ascii_only)
        assert {len(each) for each in framed} == {40}
        assert lettering.WORDS[word] in framed[0]
    assert "NO ANSWER" in " ".join(lettering.framed(None, 40, ascii_only=ascii_only)[1:])


def test_what_an_order_is_about_is_fetched_in_between(bench: Bench, service: Service, clock: Clock) -> None:
    """After a work order is scanned its connectors come one by one while nothing is said, and are known without network."""
    done = Entry(id=UUID(int=8), connector="SN-1042", kind=Kind.MATING, performed_at=clock(), performed_by="B")
    service.one(structs.replace(done, work_order="WO-5"))
    seen = Seen(bench)
    seen.type("B-7", "urn:tinebook:work_order:WO-5")
    assert bench.box.snapshot(fake.CONNECTOR) is None
    seen.desk.event(None)
    assert bench.box.snapshot(fake.CONNECTOR) is not None
    service.cut = lambda _: "away"
    assert "Work order WO-6." in seen.type("order WO-6")


def test_help_names_every_command() -> None:
    """Nothing can be said that help does not tell; `?` and `connector` are other words for `help` and `next`."""
    told = " ".join(guidance.help_lines(80))
    missing = {each for each in commands.COMMANDS - {"?", "help", "connector", "cancel"} if f"{each}" not in told}
    assert not missing


def test_the_bell_rings_for_what_needs_attention(bench: Bench) -> None:
    """At a terminal a warning and a no go are heard, a go is not; a pipe gets no control characters."""
    held = io.StringIO()
    console = Console(file=held, force_terminal=True, width=80, highlight=False, soft_wrap=True)
    at = desk.Desk(bench, console, screen.Look(), "A")
    for told in ("B-7", "SN-1042", "insert 14"):
        at.event(wedge.Text(told))
    assert "\a" not in held.getvalue()
    at.event(wedge.Text("tool T-9"))
    assert "\a" in held.getvalue()
    seen = Seen(bench)
    seen.type("not")
    assert "\a" not in seen.type("frobnicate")


def test_the_screen_of_another_person_is_wiped_with_what_scrolled_away(bench: Bench) -> None:
    """Signing off clears the terminal and its memory of lines."""
    held = io.StringIO()
    console = Console(file=held, force_terminal=True, width=80, highlight=False, soft_wrap=True)
    at = desk.Desk(bench, console, screen.Look(), "A")
    for told in ("B-7", "SN-1042", "off"):
        at.event(wedge.Text(told))
    assert "\x1b[3J" in held.getvalue()


def test_the_list_of_tools_is_fetched_while_nothing_is_said(bench: Bench, service: Service) -> None:
    """A bench that nobody has asked about a tool yet knows the due dates when the network goes."""
    service.tools = (tool("T-1", date(2026, 12, 31)),)
    seen = Seen(bench)
    seen.type("B-7")
    for _ in range(desk.SILENCES_BETWEEN_SENDS):
        seen.desk.event(None)
    assert shop.told(bench.box, "T-1", bench.clock()) == "Tool T-1: M81969/14-10, due 2026-12-31"
