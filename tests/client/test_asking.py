"""Asking again: what changes the answer is asked about before the work, and no failure makes an open step forgotten."""

from scanner_client import dialogue, shifts
from scanner_client.dialogue import Advised, Failed, Opened, Phase, Say, Subject
from service.core.answers import Action
from service.messages import PlannedStep
from tests.client import fake
from tests.client.test_bench import Talk, advice, at_connector


def asked(talk: Talk) -> list[tuple[str, str, str | None, str | None]]:
    """The steps that the last thing heard asks about."""
    (found,) = [each for each in talk.effects if isinstance(each, dialogue.Ask)]
    return [(each.action, each.cavity, each.tool, each.contact) for each in found.steps]


def test_a_new_tool_leaves_a_step_the_tool_that_it_names() -> None:
    """`insert:14@TOOL` keeps its own; every other step goes with the tool in the hand."""
    talk = at_connector().hear("tool T-1", "insert:14@OWN insert:C").answered().hear("tool T-2")
    assert asked(talk) == [("insert", "14", "OWN", None), ("insert", "C", "T-2", None)]
    assert asked(talk.answered().hear("tool -")) == [("insert", "14", "OWN", None), ("insert", "C", None, None)]


def test_a_contact_goes_with_what_goes_in() -> None:
    """No removal is asked about with a contact."""
    talk = at_connector().hear("remove 14 insert C").answered().hear("contact AS39029/58-363")
    assert asked(talk) == [("remove", "14", None, None), ("insert", "C", None, "AS39029/58-363")]


def test_a_question_that_fails_leaves_open_steps_open() -> None:
    """Asked again without an answer, what was open can still be recorded, with a reason; a first question is dropped."""
    talk = at_connector().hear("insert 14").answered().hear("tool T-1", Failed("The service says no: what?"))
    assert talk.state.pending == (0,)
    assert talk.hear("done").state.phase is Phase.REASON
    talk.hear("done before the tool was scanned")
    assert [(each.cavity, each.tool) for each in talk.kept] == [("14", "T-1")]
    talk = at_connector().hear("insert 14", Failed("The service says no: what?"))
    assert (talk.state.steps, talk.state.pending, talk.state.phase) == ((), (), Phase.CONNECTOR)


def test_what_is_recorded_in_between_is_asked_about() -> None:
    """A tine entry or a finding changes the count or the answer of a step that is still open."""
    for told in ("tine 14", "finding 14 tine bent", "closed 14 renewed", "renewed 14 by the manual"):
        talk = at_connector().hear("insert 14").answered().hear(told)
        assert [type(each) for each in talk.effects] == [dialogue.Keep, dialogue.Ask]
        assert talk.state.pending == (0,)


def test_steps_are_left_out_by_their_numbers() -> None:
    """The others are asked again under new numbers; the last one left out withdraws the question."""
    talk = at_connector().hear("insert 1 14 C").answered().hear("drop 2")
    assert [each[1] for each in asked(talk)] == ["1", "C"]
    talk.answered().hear("drop 9")
    assert "1 to 2" in talk.said
    talk.hear("drop 1 2")
    assert (talk.state.phase, talk.state.pending) == (Phase.CONNECTOR, ())
    assert "nothing to leave out" in talk.hear("drop 1").said


def test_after_not_the_contacts_that_went_in_are_still_tested() -> None:
    """One of two done and the other not: the test of the first is asked for."""
    talk = at_connector().hear("insert 1 14").answered().hear("done 1", "not")
    assert (talk.state.phase, talk.state.to_test) == (Phase.TESTING, ("1",))
    talk.hear("insert 14").answered().hear("done")
    assert talk.state.to_test == ("1", "14")


def test_not_with_anything_else_is_no_not() -> None:
    """`not 2` might mean one step: nothing is withdrawn."""
    talk = at_connector().hear("insert 1 14").answered().hear("not 2")
    assert "drop 2" in talk.said
    assert talk.state.pending == (0, 1)


def test_the_look_at_the_tool_needs_a_tool_and_goes_with_it() -> None:
    """The look is the tool's: another one has to be looked at again; it can be taken back before the work."""
    assert "tool first" in at_connector().hear("looked").said
    assert at_connector().hear("tool T-1", "looked", "did remove 14").kept[0].tool_looked_at is True
    assert at_connector().hear("tool T-1", "looked", "not looked", "did remove 14").kept[0].tool_looked_at is None
    assert at_connector().hear("tool T-1", "looked", "tool T-2", "did remove 14").kept[0].tool_looked_at is None
    assert at_connector().hear("tool T-1", "looked", "tine 14").kept[0].tool_looked_at is True
    assert at_connector().hear("tool T-1", "looked", "tool -", "tine 14").kept[0].tool_looked_at is None


def test_only_a_replacement_can_be_done_by_half() -> None:
    """`done 1 removal` of anything else is not understood."""
    talk = at_connector().hear("insert 14 replace C").answered()
    assert "Only of a replacement" in talk.hear("done removal").said
    assert talk.hear("done 2 removal").state.phase is Phase.REASON
    talk.hear("the wire was cut")
    assert [(each.kind, each.cavity) for each in talk.kept] == [("removal", "C")]
    assert talk.state.pending == (0,)


def test_an_answer_that_nobody_waits_for_changes_nothing() -> None:
    """A late answer to a question that is withdrawn is no answer to another one."""
    talk = at_connector()
    late = advice((PlannedStep(action=Action.INSERT, cavity="14"),))
    assert talk.hear(Advised(late)).state.phase is Phase.CONNECTOR


def test_a_cavity_cannot_be_chosen_over_open_steps() -> None:
    """First what is open."""
    talk = at_connector().hear("insert 14").answered().hear("urn:tinebook:cavity:C")
    assert talk.effects == (Say(shifts.UNSETTLED, urgent=True),)
    elsewhere = at_connector().hear(Opened(Subject(mark="SN-9", connector=fake.OTHER))).hear("urn:tinebook:cavity:ZZ")
    assert elsewhere.state.chosen == ("ZZ",)
