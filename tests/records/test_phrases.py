"""The words of a record: every one of them in both languages, and every one that a statement may need."""

import re
from pathlib import Path

from service.core.entries import Kind
from service.core.records import german, phrases
from service.core.records.orders import Act

_CORE = Path(phrases.__file__).parent


def test_both_languages_say_the_same() -> None:
    """No word lacks its German one, and none stands there that no English one asks for."""
    assert set(german.WORDS) == set(phrases.codes())
    assert all(german.WORDS.values())


def test_every_remark_act_and_kind_has_words() -> None:
    """Whatever a statement may hold can be told."""
    raised = set(re.findall(r'_remark\("(\w+)"', (_CORE / "remarks.py").read_text())) | {"other_contact", "other_tool"}
    assert len(raised) > 15
    assert {f"remark_{each}" for each in raised} == {each for each in phrases.codes() if each.startswith("remark_")}
    assert all(phrases.english(f"kind_{each.value}") for each in Kind)
    assert all(phrases.act(each) for each in Act)


def test_one_language_stands_alone_and_two_beside_each_other() -> None:
    """English alone, or both with a stroke between; where both say the same it stands once."""
    assert phrases.beside("limit", "en") == "Limit"
    assert phrases.beside("limit", "de") == "Limit / Grenzwert"
    assert phrases.beside("uii", "de") == "UII"
