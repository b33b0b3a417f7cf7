"""The test of what went in: words, units, the look, and what is shown with the question."""

import pytest
from msgspec import structs

from scanner_client import guidance, phrases
from scanner_client.dialogue import Opened, Phase, Subject, Unit
from scanner_client.phrases import Seating, UnclearError
from service.core.tooling import Pull
from tests.client import fake
from tests.client.test_bench import KNOWN, at_connector

TOLD = [
    ("14 67N", None, Seating("14", 67.0)),
    ("14 15lbf level", None, Seating("14", 66.7, level=True)),
    ("level 14", None, Seating("14", None, level=True)),
    ("not level 14", None, Seating("14", None, level=False)),
    ("14 NOT LEVEL 10n", None, Seating("14", 10.0, level=False)),
    ("14 15", Unit.POUND_FORCE, Seating("14", 66.7)),
    ("14 66,7", Unit.NEWTON, Seating("14", 66.7)),
    ("14 67N", Unit.POUND_FORCE, Seating("14", 67.0)),
    ("15", Unit.POUND_FORCE, Seating("15", None)),
    ("", None, Seating(None, None)),
]


@pytest.mark.parametrize(("told", "unit", "meant"), TOLD, ids=[each[0] for each in TOLD])
def test_words_of_a_seating_test(told: str, unit: Unit | None, meant: Seating) -> None:
    """Cavity, force and look in any order; a number alone is a force only after its cavity, once a unit is set.

    15 lbf is 66.7 N (1 lbf = 4.4482216152605 N, by the definition of the pound-force).
    """
    assert phrases.seating(told.split(), unit) == meant


@pytest.mark.parametrize("told", ["14 15", "14 15N 16N", "14 C 15N", "67N 14 C"])
def test_what_could_be_two_things_is_not_guessed(told: str) -> None:
    """Without a unit of the shop's, a bare number is no force."""
    with pytest.raises(UnclearError, match="unit"):
        phrases.seating(told.split(), None)


def test_a_force_without_unit_never_passes_for_another_cavity() -> None:
    """`held 14` while C is asked about might be 14 lbf: it is asked which, and nothing is recorded."""
    talk = at_connector().hear("unit lbf", "did insert C", "held 14")
    assert talk.kept == ()
    assert "Is 14 a force?" in talk.said
    assert talk.hear("held 14lbf").kept[0].cavity == "C"
    assert at_connector().hear("did insert C", "held 14 67N").kept[0].cavity == "14"


def test_the_unit_stays_with_the_bench() -> None:
    """Set once, it holds for the next person as well; anything but the two is refused."""
    talk = at_connector().hear("unit LBF", "off", "B-9")
    assert talk.state.unit is Unit.POUND_FORCE
    assert "unit lbf" in talk.hear("unit kg").said
    assert talk.hear(Opened(KNOWN), "held 14 15").kept[0].force_n == 66.7


def test_a_look_is_no_pull() -> None:
    """`level` alone states no pull; with a force the pull has to be told as well."""
    (entry,) = at_connector().hear("level 14").kept
    assert (entry.level, entry.held, entry.force_n) == (True, None, None)
    assert "say whether it held" in at_connector().hear("level 14 67N").said


def test_out_of_line_is_not_seated() -> None:
    """A contact that stands out of line has used its cycle as one that came out (counting rule)."""
    talk = at_connector().hear("did insert 14", "not level")
    assert talk.kept[0].level is False
    assert "14 is not seated" in talk.said
    assert "used a cycle" in talk.said
    assert "not seated" in at_connector().hear("did insert 14", "held 67N not level").said


def test_no_test_is_said_aloud() -> None:
    """`skip` names what is not tested: the one asked about, the one named, or all."""
    talk = at_connector().hear("did insert 1 14 C", "skip 14")
    assert talk.said == "No seating test is recorded for 14."
    assert talk.hear("skip").said == "No seating test is recorded for 1."
    assert talk.hear("skip all").state.phase is Phase.CONNECTOR
    assert "is asked for" in talk.hear("skip").said


def with_pull(*, verified: bool) -> Subject:
    """A connector whose shop knows the pull."""
    assert KNOWN.snapshot is not None
    pull = Pull("20", 66.7, 15.0, verified, "read", "Manual 20-10-13 para. 4")
    tooling = structs.replace(fake.TOOLING, pulls=(pull,))
    return structs.replace(KNOWN, snapshot=structs.replace(KNOWN.snapshot, tooling=tooling))


def test_the_question_shows_the_pull_with_its_provenance() -> None:
    """How much, in the shop's unit, how often, from where, and whether somebody verified it."""
    talk = at_connector(with_pull(verified=False)).hear("did insert 14 C")
    pull, look = guidance.question(talk.state)
    assert pull == "14: pull 66.7 N, lightly and straight, once. Not verified: Manual 20-10-13 para. 4."
    assert "pins all at one height" in look
    assert "pull 15.0 lbf" in guidance.question(talk.hear("unit lbf").state)[0]
    assert "15lbf" in guidance.prompt(talk.state)
    assert (
        "Not verified" not in guidance.question(at_connector(with_pull(verified=True)).hear("did insert 14").state)[0]
    )


def test_where_no_pull_is_known_the_approved_data_are_named() -> None:
    """No figure is invented."""
    assert "approved data" in guidance.question(at_connector().hear("did insert 14").state)[0]
    assert guidance.question(at_connector().state) == ()
