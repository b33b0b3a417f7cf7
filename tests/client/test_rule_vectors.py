"""The cases for the rule's twin in the page: the file holds what Python answers now, and enough of everything."""

from collections import Counter
from typing import Any

import pytest

from service.core import answers, entries
from tests.client import packing, rule_vectors


@pytest.fixture(scope="module")
def cases() -> list[dict[str, Any]]:
    """The committed cases."""
    return rule_vectors.read()


def test_the_file_is_what_python_answers_now() -> None:
    """A change of the rule shows here: `python -m tests.client.rule_vectors` writes the file anew."""
    # Bare: to lay megabytes beside each other would take hours.
    same = rule_vectors.PLACE.read_bytes() == rule_vectors.made()
    assert same, "run: python -m tests.client.rule_vectors"


def test_packing_loses_nothing() -> None:
    """What is packed comes out as it went in."""
    values = [
        {"a": [1, True, None, {}, []], "b": "a text that is long", "c": {"d": "a text that is long"}},
        [],
        "x",
        1.5,
    ]
    assert packing.unpacked(packing.packed([*values, *values])) == [*values, *values]


def test_every_answer_reason_kind_and_way_is_among_the_cases(cases: list[dict[str, Any]]) -> None:
    """No part of the rule is left out: each answer, each reason a bench can give, each kind of entry, each way out."""
    plans = [each["expected"]["advice"]["plan"] for each in cases if each["expected"]["advice"] != "unclear"]
    steps = [step for plan in plans for step in plan["steps"]]
    found = Counter(step["answer"] for step in steps)
    assert min(found[each.value] for each in answers.Answer) > 100
    reasons = {reason["code"] for step in steps for reason in step["reasons"]}
    assert reasons == {*answers.SENTENCES, "order_uncertain"}
    kinds = {kept["entry"]["kind"] for each in cases for kept in each["waiting"]}
    assert kinds == {each.value for each in entries.Kind}
    ways = {(way["way"], way["answer"]) for step in steps for way in step["ways"]}
    assert ways == {("free_cavity", "go"), ("free_cavity", "warn"), ("renewal", None), ("replacement", None)}
