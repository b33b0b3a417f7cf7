"""Typed words to what they mean: steps, forces, places. Cavity ids keep their case."""

import re
from collections.abc import Iterable

import msgspec
from msgspec import Struct

from scanner_client.dialogue import Unit
from service.core.answers import Action
from service.core.entries import CavityId, Definition
from service.messages import PlannedStep

NEWTONS_PER_POUND_FORCE = 4.4482216152605
"""Exact, by the definition of the pound-force."""

_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)?")
_FORCE = re.compile(r"([0-9]+(?:[.,][0-9]+)?)(N|lbf)", re.IGNORECASE)
_WORD_BREAK = re.compile(r"[\s,]+")
ACTIONS = {"insert": Action.INSERT, "remove": Action.REMOVE, "replace": Action.REPLACE}


class UnclearError(ValueError):
    """Words that can't be followed; the text says what would be clear."""


class Seating(Struct, frozen=True):
    """A seating test as told: the cavity where it was named, the force, and whether the face was level."""

    cavity: str | None
    force_n: float | None
    level: bool | None = None


class Chosen(Struct, frozen=True):
    """Which steps are meant, by their places, and whether of a replacement only the removal was done."""

    places: tuple[int, ...] | None
    removal_only: bool


def words(text: str) -> list[str]:
    """The words of a typed line."""
    return [each for each in _WORD_BREAK.split(text) if each]


def steps(told: Iterable[str], tool: str | None = None) -> tuple[PlannedStep, ...]:
    """Steps from words like `insert 14 15`, `remove:C` or `insert:14@TOOL`; `tool` holds where a step names none."""
    action, found = None, []
    for word in told:
        name, colon, rest = word.partition(":")
        if colon and name.lower() in ACTIONS:
            found.append(_step(ACTIONS[name.lower()], rest, tool))
        elif word.lower() in ACTIONS:
            action = ACTIONS[word.lower()]
        elif action is None:
            raise UnclearError(f"'{word}' is no step. Say insert, remove or replace and the cavity, like: insert 14")
        else:
            found.append(_step(action, word, tool))
    if not found:
        raise UnclearError("Say which cavity, like: insert 14")
    return tuple(found)


def seating(told: Iterable[str], unit: Unit | None = None) -> Seating:
    """A seating test from words like `14 67N`, `15lbf` or `14 15lbf level`.

    A force has its unit, so that it can't pass for a cavity; once the shop has set one, `14 15` will do.
    """
    level, rest = _level(list(told))
    cavity, force = None, None
    for word in rest:
        measured = _FORCE.fullmatch(word)
        bare = unit is not None and cavity is not None and _NUMBER.fullmatch(word) is not None
        if measured and force is None:
            force = newtons(measured[1], Unit.NEWTON if measured[2].lower() == "n" else Unit.POUND_FORCE)
        elif bare and force is None:
            force = newtons(word, unit or Unit.NEWTON)
        elif cavity is None and not measured:
            cavity = _cavity(word)
        else:
            raise UnclearError("Say the cavity and the force with its unit, like: held 14 67N (or 15lbf)")
    return Seating(cavity, force, level)


def newtons(told: str, unit: Unit) -> float:
    """A force as it was measured, in newtons to a tenth."""
    return round(float(told.replace(",", ".")) * (1.0 if unit is Unit.NEWTON else NEWTONS_PER_POUND_FORCE), 1)


def force(force_n: float, unit: Unit | None) -> str:
    """A force as the shop likes it."""
    if unit is Unit.POUND_FORCE:
        return f"{force_n / NEWTONS_PER_POUND_FORCE:.1f} lbf"
    return f"{force_n:.1f} N"


def number(word: str) -> bool:
    """Whether a word could be a force as well as a cavity."""
    return _NUMBER.fullmatch(word) is not None


def confirmed(told: list[str], count: int) -> Chosen:
    """Which steps were done, from words like `1 3`, `1 removal`; no places if none is named."""
    removal = [each for each in told if each.lower() in ("removal", "removed")]
    rest = [each for each in told if each not in removal and each.lower() != "only"]
    return Chosen(places(rest, count) if rest else None, bool(removal))


def places(told: list[str], count: int) -> tuple[int, ...]:
    """Which steps are meant, from numbers that begin at 1; all of them if none is named. Gives places from 0."""
    if not told or [each.lower() for each in told] == ["all"]:
        return tuple(range(count))
    numbers = [int(each) if each.isascii() and each.isdigit() else 0 for each in told]
    if any(not 1 <= each <= count for each in numbers):
        raise UnclearError(f"Say the number of the step, 1 to {count}, or 'done' for all of them.")
    return tuple(dict.fromkeys(each - 1 for each in numbers))


def unknown_cavity(definition: Definition, cavity: str) -> str | None:
    """Why a cavity id is none of this connector's; None if it is one. Ids that differ in case alone are pointed out."""
    ids = [each.id for each in definition.cavities]
    if cavity in ids:
        return None
    near = [each for each in ids if each.casefold() == cavity.casefold()]
    if near:
        return (
            f"There is no cavity {cavity} here, but there is {' and '.join(near)}: capitals and small letters differ."
        )
    return f"There is no cavity {cavity} in this connector. Say 'list' to see its cavities."


def _step(action: Action, word: str, tool: str | None) -> PlannedStep:
    cavity, _, own_tool = word.partition("@")
    return PlannedStep(action=action, cavity=_cavity(cavity), tool=own_tool or tool)


def _cavity(word: str) -> str:
    try:
        return msgspec.convert(word, CavityId)
    except msgspec.ValidationError:
        raise UnclearError(f"'{word}' can't be a cavity: an id has 1 to 16 characters and no space.") from None


def _level(told: list[str]) -> tuple[bool | None, list[str]]:
    """Whether the face was said to be level, and the other words."""
    at = next((place for place, each in enumerate(told) if each.lower() == "level"), None)
    if at is None:
        return None, told
    negated = at > 0 and told[at - 1].lower() == "not"
    return not negated, told[: at - negated] + told[at + 1 :]
