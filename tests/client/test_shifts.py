"""Whose bench it is: the time-out, another person, and work that waits for whoever did it."""

from datetime import timedelta

import msgspec
from msgspec import structs

from scanner_client import dialogue, readings, shifts
from scanner_client.dialogue import (
    Advice,
    Advised,
    Basis,
    Memory,
    Opened,
    Phase,
    Say,
    Scanned,
    Shift,
    Subject,
    Tick,
    Wipe,
)
from scanner_client.readings import Reading
from tests.client import fake
from tests.client.test_bench import KNOWN, SHIFT, Talk, at_connector, begun, line

BADGE = Scanned(Reading(b"urn:tinebook:badge:204"))
MINE = Scanned(Reading(b"urn:tinebook:badge:B-7"))


def idle(talk: Talk, minutes: float) -> Talk:
    """Let nobody use the bench for so long."""
    talk.now += timedelta(minutes=minutes)
    return talk.hear(Tick())


def again(talk: Talk, later: timedelta = timedelta(0)) -> Talk:
    """The same bench after a restart, with what it wrote down."""
    kept = msgspec.json.decode(msgspec.json.encode(shifts.memory(talk.state)), type=Memory)
    begins = Talk(shifts.begin(kept), 10_000)
    begins.now = talk.now + later
    return begins.hear(Tick(), dialogue.Resume())


def test_the_time_left_is_counted_from_the_last_act_of_a_person() -> None:
    """A line puts the time-out off, and so does a key; what comes back from the service does not."""
    talk = at_connector().hear("list")
    used = talk.now
    assert shifts.left_s(talk.state, used) == 15 * 60
    talk.now += timedelta(minutes=14)
    talk.hear(Opened(KNOWN))
    assert shifts.left_s(talk.state, talk.now) == 59
    talk.hear(dialogue.Stir())
    assert shifts.left_s(talk.state, talk.now) == 15 * 60
    assert shifts.left_s(begun(Shift()), used) is None


def test_a_shop_sets_the_time() -> None:
    """The minutes of the settings count."""
    state = shifts.begin(Memory(shift=SHIFT, used_at=fake.START), idle_min=2)
    assert shifts.tick(state, fake.START + timedelta(seconds=119)).state == state
    assert shifts.tick(state, fake.START + timedelta(minutes=2)).state.phase is Phase.SIGN_ON


def test_the_time_out_leaves_nothing_of_the_person_before() -> None:
    """Connector, tool, contact, choice, order and last act are gone; the bench keeps its name."""
    talk = at_connector().hear(
        "tool T-1", "contact AS39029/58-363", "did remove 14", Scanned(Reading(b"urn:tinebook:cavity:C"))
    )
    idle(talk, 15)
    assert talk.effects[0] == Wipe()
    assert "15 minutes" in talk.said
    cleared = dialogue.State(shift=Shift(bench="A"), used_at=talk.state.used_at)
    assert talk.state == cleared
    assert talk.hear(BADGE, "undo").said.startswith("There is nothing here to take back")


def test_a_time_out_in_the_middle_of_a_reason_forgets_no_step() -> None:
    """What was being reasoned about is asked again."""
    talk = at_connector().hear("remove 14").answered().hear("done")
    assert talk.state.phase is Phase.REASON
    assert idle(talk, 16).state.open["B-7"].steps[0].cavity == "14"
    assert "asked again when its person signs on" in talk.said
    talk.hear(MINE)
    assert dialogue.Open(fake.CONNECTOR, "SN-1042") in talk.effects


def test_two_people_leave_work_at_one_bench() -> None:
    """Each is asked about their own, in whatever order they come back."""
    talk = at_connector().hear("insert 14").answered()
    idle(talk, 16).hear(BADGE, Opened(KNOWN), "insert C").answered()
    idle(talk, 16)
    assert {name: each.steps[0].cavity for name, each in talk.state.open.items()} == {"B-7": "14", "204": "C"}
    talk.hear(MINE, Opened(KNOWN)).answered().hear("not")
    assert set(shifts.memory(talk.state).open) == {"204"}
    talk.hear(BADGE, Opened(KNOWN))
    (asked,) = talk.effects
    assert isinstance(asked, dialogue.Ask)
    assert [each.cavity for each in asked.steps] == ["C"]


def test_nobody_signs_off_over_unsettled_steps() -> None:
    """`off` asks what became of them first; without any it signs off."""
    talk = at_connector().hear("insert 14").answered().hear("off")
    assert talk.effects == (Say(shifts.UNSETTLED, urgent=True),)
    assert talk.hear("not", "off").state.phase is Phase.SIGN_ON


def test_the_same_badge_twice_is_nothing_new() -> None:
    """Scanning one's badge again clears nothing."""
    talk = at_connector().hear("insert 14").answered().hear(MINE)
    assert talk.state.subject == KNOWN
    assert talk.state.pending == (0,)


def test_a_restart_goes_on_where_it_ended() -> None:
    """What a crash leaves on disk asks the same question again, with the tool and the contact."""
    talk = at_connector().hear("tool M81969/14-10", "contact AS39029/58-363", "replace 14").answered()
    asked = talk.state.steps
    resumed = again(talk)
    assert dialogue.Open(fake.CONNECTOR, "SN-1042") in resumed.effects
    resumed.hear(Opened(KNOWN))
    assert dialogue.Ask(KNOWN, asked) in resumed.effects
    assert resumed.state.pending == (0,)
    assert again(talk, timedelta(minutes=16)).state.phase is Phase.SIGN_ON


def test_only_whoever_did_it_takes_the_last_act_back_after_a_restart() -> None:
    """Another person's act is nobody else's to undo by a slip."""
    made = at_connector().hear("did insert 14").kept
    assert begun(recent=made).recent == made
    assert begun(structs.replace(SHIFT, badge="204"), made).recent == ()


def test_what_was_left_is_never_taken_up_on_another_connector() -> None:
    """Where its mark means several now, no other connector gets between; `not` settles it."""
    talk = Talk(begun()).hear(dialogue.Missing("SN-1042", "Not known."), "insert 14")
    talk.hear(Advised(Advice(plan=None, basis=Basis.NOTHING)))
    idle(talk, 16).hear(MINE)
    assert dialogue.Find(readings.typed("SN-1042")) in talk.effects
    talk.hear(dialogue.Found("SN-1042", (line(fake.CONNECTOR, "P-1"), line(fake.OTHER, "P-2"))))
    talk.hear(Scanned(Reading(b"SN-7")))
    assert talk.effects == (Say(shifts.UNSETTLED, urgent=True),)
    talk.hear("2", Opened(Subject(mark="SN-1042", connector=fake.OTHER)))
    assert isinstance(talk.effects[-1], dialogue.Ask)
    idle(talk, 16).hear(MINE, dialogue.Failed("The disk is full."), Scanned(Reading(b"SN-7")), "not")
    assert not shifts.memory(talk.state).open
    assert isinstance(talk.hear(Scanned(Reading(b"SN-7"))).effects[-1], dialogue.Find)


def test_commands_before_anybody_has_signed_on() -> None:
    """Help, what waits and leaving need no badge; a bench mark names the bench."""
    talk = Talk(begun(Shift()))
    assert talk.hear("help").effects == (dialogue.Show("help"),)
    assert talk.hear("outbox").effects == (dialogue.Show("outbox"),)
    assert talk.hear("unit lbf").state.unit is dialogue.Unit.POUND_FORCE
    assert talk.hear(Scanned(Reading(b"urn:tinebook:bench:B2"))).state.shift == Shift(bench="B2")
    assert talk.hear("quit").effects == (dialogue.Leave(),)
