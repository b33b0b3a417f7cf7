"""The dialogue as tables: what is heard, what state follows, what is wanted."""

from datetime import timedelta
from uuid import UUID

import pytest
from msgspec import structs

from scanner_client import acts, bench, dialogue, readings, shifts, shown
from scanner_client.dialogue import (
    Advice,
    Advised,
    Basis,
    Effect,
    Heard,
    Line,
    Memory,
    Moment,
    Opened,
    Phase,
    Say,
    Scanned,
    Shift,
    State,
    Subject,
)
from scanner_client.readings import Channel, Reading
from service.core import plans
from service.core.answers import Action
from service.core.entries import Entry, HouseRule
from service.core.states import ConnectorState, blank
from service.messages import ConnectorLine, PlannedStep, Snapshot
from tests.client import fake
from tests.client.symbols import MESSAGE

SHIFT = Shift(badge="B-7", work_order="WO-77", bench="A")
KNOWN = Subject(
    mark="SN-1042",
    connector=fake.CONNECTOR,
    name="SN-1042",
    snapshot=Snapshot(
        definition=fake.definition(),
        state=blank(fake.definition()),
        house=HouseRule(),
        tooling=fake.TOOLING,
        entries=0,
        as_of=fake.START,
    ),
)
UNKNOWN = Subject(mark="SN-9", name="SN-9")


class Talk:
    """A talk under test: time goes on by a second with each thing heard, ids count up."""

    def __init__(self, state: State, first_id: int = 1) -> None:
        self.state, self.ids, self.now = state, fake.ids(first_id), fake.START
        self.effects: tuple[Effect, ...] = ()

    def hear(self, *heard: Heard | str) -> "Talk":
        """Hear things one after the other; text is a typed line. Keeps the effects of the last one."""
        for each in heard:
            self.now += timedelta(seconds=1)
            moment = Moment(self.now, tuple(next(self.ids) for _ in range(bench.wants(self.state))))
            turn = bench.step(self.state, Line(each) if isinstance(each, str) else each, moment)
            self.state, self.effects = turn.state, turn.effects
        return self

    def answered(self, state: ConnectorState | None = None) -> "Talk":
        """Give the true answer to the steps that were asked, on a blank connector or another state."""
        assert isinstance(self.effects[-1], dialogue.Ask)
        return self.hear(Advised(advice(self.effects[-1].steps, state)))

    @property
    def kept(self) -> tuple[Entry, ...]:
        """The entries that the last thing heard wants kept."""
        return tuple(entry for each in self.effects if isinstance(each, dialogue.Keep) for entry in each.entries)

    @property
    def said(self) -> str:
        """What the last thing heard says."""
        return " ".join(each.text for each in self.effects if isinstance(each, Say))


def advice(steps: tuple[PlannedStep, ...], state: ConnectorState | None = None) -> Advice:
    """The service's answer to steps."""
    assert KNOWN.snapshot is not None
    made = plans.plan(
        fake.definition(),
        HouseRule(),
        state or blank(fake.definition()),
        [plans.Step(each.action, each.cavity, "20") for each in steps],
    )
    return Advice(plan=shown.plan(KNOWN.snapshot, made, ()), basis=Basis.SERVICE)


def begun(shift: Shift = SHIFT, recent: tuple[Entry, ...] = ()) -> State:
    """A talk that begins with that shift."""
    return shifts.begin(Memory(shift=shift), recent=recent)


def at_connector(subject: Subject = KNOWN, shift: Shift = SHIFT) -> Talk:
    """A talk with a connector at hand."""
    return Talk(begun(shift)).hear(Opened(subject))


def line(connector: UUID, part: str) -> ConnectorLine:
    """A connector in a list."""
    assert KNOWN.snapshot is not None
    found = shown.line(KNOWN.snapshot)
    return ConnectorLine(
        id=connector,
        serial=found.serial,
        cage=found.cage,
        part_number=part,
        family=None,
        wear=found.wear,
        limiting_cavity=found.limiting_cavity,
        left=found.left,
        place=found.place,
    )


def test_the_whole_way_of_one_contact() -> None:
    """Scan, choose, answer, done, seating test: each step leads to the next, and the entries say who, what, where."""
    talk = Talk(begun()).hear(Scanned(Reading(MESSAGE, "]d1", Channel.SERIAL)))
    assert list(talk.effects) == [dialogue.Find(Reading(MESSAGE, "]d1", Channel.SERIAL))]
    talk.hear(dialogue.Found("m", (line(fake.CONNECTOR, "P"),)))
    assert list(talk.effects) == [dialogue.Open(fake.CONNECTOR, "m")]
    talk.hear(Opened(KNOWN), "insert 14")
    assert list(talk.effects) == [dialogue.Ask(KNOWN, (PlannedStep(action=Action.INSERT, cavity="14"),))]
    talk.answered()
    assert (talk.state.phase, talk.state.pending) == (Phase.ANSWERED, (0,))
    talk.hear("done")
    (entry,) = talk.kept
    assert (entry.kind, entry.cavity, entry.connector) == ("insertion", "14", str(fake.CONNECTOR))
    assert (entry.performed_by, entry.work_order, entry.bench, entry.performed_at) == ("B-7", "WO-77", "A", talk.now)
    assert (talk.state.phase, talk.state.to_test) == (Phase.TESTING, ("14",))
    talk.hear("held 67N")
    (entry,) = talk.kept
    assert (entry.kind, entry.cavity, entry.held, entry.force_n) == ("seating_test", "14", True, 67.0)
    assert talk.state.phase is Phase.CONNECTOR
    talk.hear("next")
    assert (talk.state.phase, talk.state.subject, talk.state.shift) == (Phase.READY, None, SHIFT)


STEPS = [
    ("insert 14", [("insert", "14")]),
    ("INSERT 14", [("insert", "14")]),
    ("insert 14 C c", [("insert", "14"), ("insert", "C"), ("insert", "c")]),
    ("insert 14, C", [("insert", "14"), ("insert", "C")]),
    ("remove 14 insert 14", [("remove", "14"), ("insert", "14")]),
    ("insert:14 remove:C replace:1", [("insert", "14"), ("remove", "C"), ("replace", "1")]),
    ("replace 1", [("replace", "1")]),
]


@pytest.mark.parametrize(("told", "steps"), STEPS, ids=[each[0] for each in STEPS])
def test_steps_are_understood(told: str, steps: list[tuple[str, str]]) -> None:
    """Words for steps become the steps that are asked about, in order, cavities with their case."""
    talk = at_connector().hear(told)
    (asked,) = talk.effects
    assert isinstance(asked, dialogue.Ask)
    assert [(each.action, each.cavity) for each in asked.steps] == steps


def test_a_step_can_name_its_own_tool() -> None:
    """A tool of the shift holds for steps that name none."""
    talk = at_connector().hear("tool M81969/14-10", "remove:14@OTHER insert:14")
    (asked,) = talk.effects
    assert isinstance(asked, dialogue.Ask)
    assert [each.tool for each in asked.steps] == ["OTHER", "M81969/14-10"]


UNCLEAR = [
    ("insert", "which cavity"),
    ("insert 99", "no cavity 99"),
    ("insert 1 4", "no cavity 4"),
    ("replace aa", "no cavity aa"),
    ("frobnicate", "not understood"),
    ("done", "Nothing waits"),
    ("held", "which cavity"),
    ("held 14 67", "unit"),
    ("held 14 15 67N", "unit"),
    ("tine", "one cavity"),
    ("tine 1 14", "one cavity"),
    ("finding 14", "what is wrong"),
    ("remark 98 x", "no cavity 98"),
    ("undo", "nothing here to take back"),
    ("did", "which cavity"),
    ("insert " + "x" * 17, "can't be a cavity"),
]


@pytest.mark.parametrize(("told", "says"), UNCLEAR, ids=[each[0][:20] for each in UNCLEAR])
def test_what_is_not_clear_changes_nothing_and_says_what_would_be(told: str, says: str) -> None:
    """Nothing is guessed: the state stays, nothing is recorded, and the sentence says how to put it."""
    talk = at_connector()
    before = talk.state
    talk.hear(told)
    assert structs.replace(talk.state, used_at=before.used_at) == before
    assert talk.kept == ()
    assert says in talk.said


def test_the_other_case_is_pointed_out() -> None:
    """C and c are two cavities; where only one exists and the other is asked for, that is said."""
    definition = fake.definition()
    assert "c" in [each.id for each in definition.cavities]
    talk = at_connector().hear("insert AA")
    assert "no cavity AA" in talk.said
    only_upper = Subject(
        mark="m",
        connector=fake.CONNECTOR,
        snapshot=Snapshot(
            definition=structs.replace(definition, cavities=definition.cavities[:3]),
            state=blank(definition),
            house=HouseRule(),
            tooling=None,
            entries=0,
            as_of=fake.START,
        ),
    )
    assert "there is C" in at_connector(only_upper).hear("insert c").said


def test_no_go_needs_a_reason_and_is_then_recorded() -> None:
    """A no_go stops nobody, but what was done against it carries its reason."""
    talk = at_connector().hear("remove 14").answered().hear("done")
    assert (talk.state.phase, talk.kept) == (Phase.REASON, ())
    talk.hear("done")
    assert (talk.state.phase, talk.kept) == (Phase.REASON, ())
    assert "no reason" in talk.said
    talk.hear("  it was in there  ")
    assert [(each.kind, each.note) for each in talk.kept] == [("removal", "it was in there")]
    assert talk.state.phase is Phase.CONNECTOR


def test_no_go_can_be_cancelled() -> None:
    """Cancelling the reason goes back to the answer; nothing is recorded."""
    talk = at_connector().hear("remove 14").answered().hear("done", "cancel")
    assert (talk.state.phase, talk.kept, talk.state.pending) == (Phase.ANSWERED, (), (0,))
    talk.hear("not")
    assert (talk.state.phase, talk.state.pending) == (Phase.CONNECTOR, ())


def test_steps_are_confirmed_one_by_one() -> None:
    """Some steps may be done and others not; what is left stays to be settled."""
    talk = at_connector().hear("insert 1 14 C").answered().hear("done 2")
    assert [each.cavity for each in talk.kept] == ["14"]
    assert talk.state.pending == (0, 2)
    talk.hear("done 2")
    assert "recorded already" in talk.said
    talk.hear("next")
    assert shifts.UNSETTLED in talk.said
    talk.hear("done")
    assert [each.cavity for each in talk.kept] == ["1", "C"]
    assert talk.state.to_test == ("14", "1", "C")


def test_a_scan_does_not_push_unsettled_steps_away() -> None:
    """While an answer waits to be confirmed, the next connector's mark is not taken."""
    talk = at_connector().hear("insert 1").answered().hear(Scanned(Reading(b"SN-2", None, Channel.SERIAL)))
    assert talk.effects == (Say(shifts.UNSETTLED, urgent=True),)
    assert talk.state.subject == KNOWN


def test_halves_of_a_replacement_keep_their_order() -> None:
    """A removal is told before its insertion, by time, and the last one is at the moment of telling."""
    talk = at_connector().hear("did replace 14 remove 1")
    assert [(each.kind, each.cavity) for each in talk.kept] == [
        ("removal", "14"),
        ("insertion", "14"),
        ("removal", "1"),
    ]
    times = [each.performed_at for each in talk.kept]
    assert times == sorted(times)
    assert len(set(times)) == 3
    assert times[-1] == talk.now
    assert len({each.id for each in talk.kept}) == 3


def test_what_has_happened_is_recorded_without_being_asked_about() -> None:
    """`did` records a fact at once, even where the answer would have been no_go."""
    talk = at_connector().hear("did remove 14")
    assert [(each.kind, each.cavity) for each in talk.kept] == [("removal", "14")]


def test_an_unknown_connector_can_be_worked_on_with_a_reason() -> None:
    """Without any answer the entries go by the mark, and recording them takes a reason like a no_go."""
    talk = Talk(begun()).hear(dialogue.Missing("SN-9", "Not known here."), "insert 99")
    talk.hear(Advised(Advice(plan=None, basis=Basis.NOTHING)), "done")
    assert talk.state.phase is Phase.REASON
    talk.hear("the label is new")
    assert [(each.connector, each.cavity, each.note) for each in talk.kept] == [("SN-9", "99", "the label is new")]


KINDS = [
    ("tine 14", [("tine_entry", "14", None)]),
    ("finding 14 tine bent, dirty", [("finding", "14", "tine bent, dirty")]),
    ("finding - shell cracked", [("finding", None, "shell cracked")]),
    ("remark c scratched", [("finding", "c", "scratched")]),
    ("mated", [("mating", None, None)]),
    ("unmated", [("unmating", None, None)]),
    ("held 14 15lbf", [("seating_test", "14", None)]),
    ("failed 14", [("seating_test", "14", None)]),
]


@pytest.mark.parametrize(("told", "entries"), KINDS, ids=[each[0] for each in KINDS])
def test_other_acts(told: str, entries: list[tuple[str, str | None, str | None]]) -> None:
    """Each of the other acts makes its one entry."""
    talk = at_connector().hear(told)
    assert [(each.kind, each.cavity, each.note) for each in talk.kept] == entries


def test_a_remark_forbids_no_work_and_a_finding_does() -> None:
    """A remark says that it does not block; a finding leaves the default, which does."""
    assert at_connector().hear("remark 14 x").kept[0].blocks is False
    assert at_connector().hear("finding 14 x").kept[0].blocks is None


def test_forces_are_told_with_their_unit() -> None:
    """15 lbf is 66.7 N (common practice's figure for size 20; 1 lbf = 4.4482216152605 N by definition)."""
    assert at_connector().hear("held 14 15lbf").kept[0].force_n == 66.7
    assert at_connector().hear("held 14 66,7N").kept[0].force_n == 66.7


def test_a_contact_that_did_not_hold_is_spoken_of() -> None:
    """A failed test says that the insertion has used a cycle (counting rule) and how to record the removal."""
    talk = at_connector().hear("did insert 14", "failed 10N")
    assert talk.kept[0].held is False
    assert "used a cycle" in talk.said
    assert "remove 14" in talk.said


def test_undo_is_a_correction_with_a_reason() -> None:
    """Taking back leaves the entries and adds a correction of each, with why."""
    talk = at_connector().hear("did replace 14")
    first = talk.kept
    talk.hear("undo")
    assert talk.state.phase is Phase.UNDOING
    talk.hear("it was cavity 1")
    assert [(each.kind, each.corrects, each.note) for each in talk.kept] == [
        ("correction", first[0].id, "it was cavity 1"),
        ("correction", first[1].id, "it was cavity 1"),
    ]
    talk.hear("undo")
    assert "nothing here to take back" in talk.said


def test_undo_after_a_restart() -> None:
    """The last act is known after a restart, so that it can still be taken back."""
    made = at_connector().hear("did insert 14").kept
    talk = Talk(begun(recent=made), 10_000).hear("undo", "wrong one")
    assert [each.corrects for each in talk.kept] == [made[0].id]


def test_nobody_signed_on_records_nothing() -> None:
    """An entry needs somebody who did it: until somebody signs on nothing is found, asked or recorded."""
    talk = Talk(begun(Shift()))
    for told in ("did insert 14", "insert 14", "next", "tool T-1", "undo"):
        talk.hear(told)
        assert talk.effects == (Say(shifts.NOBODY, urgent=True),)
    talk.hear("B-8")
    assert talk.state.shift == Shift(badge="B-8")
    assert talk.state.phase is Phase.READY
    assert "15 minutes" in talk.said


def test_a_message_is_nobodys_badge() -> None:
    """An item's mark (ISO/IEC 15434) signs nobody on; any other card does."""
    talk = Talk(begun(Shift())).hear(Scanned(Reading(MESSAGE, "]d1", Channel.SERIAL)))
    assert talk.effects == (Say(shifts.NOBODY, urgent=True),)
    assert talk.state.shift.badge is None
    assert talk.hear(Scanned(Reading(b"B-9", "]C0"))).state.shift.badge == "B-9"


def test_badge_and_order_stay_and_what_is_in_the_hands_does_not() -> None:
    """The order goes on at the next connector; its tool and contact are stated anew, so that none is carried over unseen."""
    talk = at_connector().hear("order WO-78", "tool T-1", "contact M39029/58-363", "did insert 14")
    (entry,) = talk.kept
    assert (entry.work_order, entry.tool, entry.contact) == ("WO-78", "T-1", "M39029/58-363")
    talk.hear("tool -", "did remove 1")
    assert (talk.kept[0].tool, talk.kept[0].contact) == (None, None)
    talk.hear("tool T-1", "next", Opened(KNOWN), "did insert 1")
    (entry,) = talk.kept
    assert (entry.work_order, entry.tool, entry.contact) == ("WO-78", None, None)


def test_several_connectors_are_chosen_from() -> None:
    """One mark on two connectors is never decided by the bench."""
    lines = (line(fake.CONNECTOR, "P-1"), line(fake.OTHER, "P-2"))
    talk = Talk(begun()).hear(dialogue.Found("SN-1042", lines))
    assert talk.state.phase is Phase.CHOOSING
    talk.hear("3")
    assert "1 to 2" in talk.said
    talk.hear("2")
    assert talk.effects == (dialogue.Open(fake.OTHER, "SN-1042"),)


def test_commands_can_be_scanned_from_a_card() -> None:
    """A bar code that reads as a command is one, for hands in gloves."""
    talk = at_connector().hear("insert 14").answered().hear(Scanned(Reading(b"done", "]C0", Channel.SERIAL)))
    assert [each.cavity for each in talk.kept] == ["14"]


def test_lost_separators_are_refused_with_how_to_set_the_scanner() -> None:
    """A message without GS can't be taken apart, so it is never looked up."""
    talk = Talk(begun()).hear(Scanned(Reading(b"[)>0617V0CVA5", "]d1", Channel.SERIAL)))
    assert talk.said == readings.LOST_SEPARATORS


def test_untested_contacts_are_named_at_the_next_connector() -> None:
    """Leaving without a seating test is allowed and said."""
    talk = at_connector().hear("did insert 14 C", "skip", "next")
    assert "No seating test is recorded for C" in talk.said


def test_leaving_is_not_possible_over_unsettled_steps() -> None:
    """`quit` with an answer not confirmed asks first; else it ends the talk."""
    talk = at_connector().hear("insert 1").answered().hear("quit")
    assert talk.effects == (Say(shifts.UNSETTLED, urgent=True),)
    assert talk.hear("not", "quit").effects == (dialogue.Leave(),)


@pytest.mark.parametrize("phase", list(Phase))
def test_every_command_is_answered_in_every_phase(phase: Phase) -> None:
    """No command in any phase raises, and ids handed in always suffice."""
    for command in sorted(bench.COMMANDS):
        for rest in ("", " 14", " 14 something", " 1 14 C c"):
            state = State(phase=phase, shift=SHIFT, subject=None if phase is Phase.READY else KNOWN)
            if phase in (Phase.ANSWERED, Phase.REASON):
                steps = (PlannedStep(action=Action.REPLACE, cavity="14"),)
                state = State(
                    phase=phase,
                    shift=SHIFT,
                    subject=KNOWN,
                    steps=steps,
                    advice=advice(steps),
                    pending=(0,),
                    reasoned=(0,) if phase is Phase.REASON else (),
                )
            Talk(state).hear(command + rest)


def test_one_line_never_makes_more_entries_than_ids_are_handed_in() -> None:
    """A line that tells too much at once is refused, not cut."""
    told = "did replace " + " ".join(["14"] * (acts.MOST_DONE // 2 + 1))
    talk = at_connector().hear(told)
    assert talk.kept == ()
    assert "at a time" in talk.said
