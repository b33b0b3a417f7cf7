"""Typed words to what they mean: steps, forces, places. Cavity ids keep their case."""

import re
from collections.abc import Iterable

import msgspec
from msgspec import Struct

from service.core.answers import Action
from service.core.entries import CavityId, Definition
from service.messages import PlannedStep

NEWTONS_PER_POUND_FORCE = 4.4482216152605
"""Exact, by the definition of the pound-force."""

_FORCE = re.compile(r"([0-9]+(?:[.,][0-9]+)?)(N|lbf)", re.IGNORECASE)
_WORD_BREAK = re.compile(r"[\s,]+")
ACTIONS = {"insert": Action.INSERT, "remove": Action.REMOVE, "replace": Action.REPLACE}


class UnclearError(ValueError):
    """Words that can't be followed; the text says what would be clear."""


class Seating(Struct, frozen=True):
    """A seating test as told: the cavity where it was named, and the force."""

    cavity: str | None
    force_n: float | None


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


def seating(told: Iterable[str]) -> Seating:
    """A seating test from words like `14 67N` or `15lbf`. A force has its unit, so that it can't pass for a cavity."""
    cavity, force = None, None
    for word in told:
        measured = _FORCE.fullmatch(word)
        if measured and force is None:
            force = round(float(measured[1].replace(",", ".")) * _newtons(measured[2]), 1)
        elif cavity is None and not measured:
            cavity = _cavity(word)
        else:
            raise UnclearError("Say the cavity and the force with its unit, like: held 14 67N (or 15lbf)")
    return Seating(cavity, force)


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


def _newtons(unit: str) -> float:
    return 1.0 if unit.lower() == "n" else NEWTONS_PER_POUND_FORCE
