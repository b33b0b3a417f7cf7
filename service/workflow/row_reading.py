"""Rows as they arrive in a request: each is read on its own, so that one that can't be read does not sink the others."""

import re
from collections.abc import Sequence
from typing import TypeVar

import msgspec

from service import problems
from service.messages import Problem
from service.workflow.sheets import Form

R = TypeVar("R")

_PART = re.compile(r"\.(\w+)|\[(\d+)\]")


def read(raw: Sequence[msgspec.Raw], form: Form[R]) -> list[R | Problem]:
    """Rows of a kind of table, each as what it says or what is wrong with it; pointers begin at the request."""
    found: list[R | Problem] = []
    for place, each in enumerate(raw):
        row = _row(each, place, form)
        found.append(row)
    return found


def _row(raw: msgspec.Raw, place: int, form: Form[R]) -> R | Problem:
    try:
        row = msgspec.json.decode(raw, type=form.made)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        text, _, path = str(error).partition(" - at `$")
        parts = [name or index for name, index in _PART.findall(path)]
        pointer = "".join(f"/{each}" for each in ("#", "rows", str(place), *parts))[1:]
        return problems.problem(problems.Type.INVALID_REQUEST, text, (pointer, text))
    faults = list(form.faults(row))
    if not faults:
        return row
    pairs = [(f"#/rows/{place}/{column}", text) for column, text in faults]
    return problems.problem(problems.Type.INVALID_REQUEST, "; ".join(text for _, text in faults), *pairs)


def claimed(raw: msgspec.Raw, columns: Sequence[str]) -> tuple[str, ...]:
    """What a row that can't be read says in some columns, as far as that is text."""
    try:
        found = msgspec.json.decode(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return ()
    told = found if isinstance(found, dict) else {}
    return tuple(told[name] for name in columns if isinstance(told.get(name), str))


def none_read(several: list[Problem]) -> problems.ProblemRaised:
    """The problem of a request of which no row can be read."""
    errors = [(error.pointer, error.detail) for each in several for error in each.errors]
    text = f"none of the {len(several)} rows can be read, nothing was recorded: {errors[0][1] if errors else ''}"
    return problems.raised(problems.Type.INVALID_REQUEST, text, *errors)
