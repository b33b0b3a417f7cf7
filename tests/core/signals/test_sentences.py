"""Signals in plain words: nothing that is not known is said as if it were."""

import math
from typing import get_args

import pytest

from service.core.signals import sentences
from service.core.signals.sentences import Effect, Summary
from service.core.signals.verdict import Verdict
from service.signal_messages import About

TOOL = sentences.QUESTIONS["tool"]
NAN, INF = math.nan, math.inf


def test_every_question_is_spoken_of() -> None:
    """Each has its words, and says what must not be read into it."""
    assert set(get_args(About)) == set(sentences.QUESTIONS)
    for each in sentences.QUESTIONS.values():
        assert each.cannot_show
        assert each.fact.format(name="X", role="removal", observed="1", of="2").startswith(("X", "after"))


@pytest.mark.parametrize(
    ("effect", "q_value", "verdict", "says"),
    [
        (
            Effect(3.04, 2.2, 4.1),
            0.0004,
            Verdict.SHOWN,
            ("3 times the odds", "2.2 to 4.1", "less than 0.1 % is chance"),
        ),
        (Effect(3.04, 2.2, 4.1), 0.04, Verdict.SHOWN, ("4.0 % is chance",)),
        (
            Effect(INF, 0.4, INF),
            0.6,
            Verdict.TOO_LITTLE,
            ("more than any number of times", "0.4 or more", "Too little data"),
        ),
        (Effect(1.1, 0.8, 1.5), 0.8, Verdict.NOT_SHOWN, ("1.1 times", "do not show a difference")),
        (Effect(NAN, NAN, NAN), NAN, Verdict.TOO_LITTLE, ("X. There is nothing to compare it with.",)),
    ],
)
def test_a_unit_in_words(effect: Effect, q_value: float, verdict: Verdict, says: tuple[str, ...]) -> None:
    """Effect, interval and certainty stand in the sentence; what is infinite or unknown is said in words."""
    said = sentences.line(TOOL, "X", 1.5, effect, q_value, verdict)
    for each in says:
        assert each in said
    assert "nan" not in said
    assert "inf" not in said


@pytest.mark.parametrize(
    ("effect", "says"),
    [
        (Effect(-0.42, -0.6, -0.2), "fall by 0.42 N with each cycle (90 % interval: -0.6 to -0.2 N)"),
        (Effect(0.1, -INF, INF), "rise by 0.1 N with each cycle (too few for an interval)"),
        (Effect(NAN, NAN, NAN), "No two of them can be compared."),
    ],
)
def test_a_drift_in_words(effect: Effect, says: str) -> None:
    """Whether readings fall or rise, by how much, and how sure that is."""
    assert says in sentences.drift("12 readings of 3 retainers", effect, 0.02, Verdict.SHOWN)


@pytest.mark.parametrize(
    ("units", "shown", "detectable", "says"),
    [
        (40, 1, 2.0, "One stands out: A. 40 uses of tools were compared: 12 failed"),
        (40, 5, 2.0, "5 stand out: A; B; C and 2 more."),
        (40, 0, 2.0, "Nothing stands out. 40 uses of tools were compared: 12 failed"),
        (40, 0, 2.0, "an effect would most likely have shown from 2 times the odds"),
        (40, 0, INF, "That is too little"),
        (1, 0, INF, "Nothing stands out, and there is nothing to compare."),
    ],
)
def test_a_question_in_words(units: int, shown: int, detectable: float, says: str) -> None:
    """Where nothing stands out the answer says how much data there was and what would have been seen."""
    named = ("A", "B", "C")[: min(shown, 3)]
    found = Summary(units=units, observed=12, of=800.0, named=named, shown=shown, detectable=detectable)
    assert says in sentences.summary(TOOL, found)
