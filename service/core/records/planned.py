"""Planned steps against what was done: each step takes the first entries that show it and that no step before it took."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal
from uuid import UUID

from service.core import entries
from service.core.entries import Entry, Kind
from service.core.records.content import PlannedLine
from service.core.records.orders import KINDS, Act, PlannedStep
from service.core.records.scope import Line

_SHARED = frozenset({Kind.RENEWAL})
"""One entry of such a kind may name many cavities, so it shows the step of each."""


def match(
    steps: Sequence[PlannedStep], meant: Mapping[str, UUID], done: Sequence[Line], serials: Mapping[UUID, str]
) -> tuple[PlannedLine, ...]:
    """Each step with its entries. `meant`: the connector that a step's mark means, where it means one."""
    taken: set[UUID] = set()
    return tuple(
        _line(number, step, _found(step, meant, done, taken), _named(step, meant, serials))
        for number, step in enumerate(steps, 1)
    )


def _named(step: PlannedStep, meant: Mapping[str, UUID], serials: Mapping[UUID, str]) -> str | None:
    if step.connector is None:
        return None
    found = meant.get(step.connector)
    return step.connector if found is None else serials.get(found, step.connector)


def _found(step: PlannedStep, meant: Mapping[str, UUID], done: Sequence[Line], taken: set[UUID]) -> tuple[Line, ...]:
    """The entries that show a step, in order; none where any of them is missing, and then none is taken."""
    found: list[Line] = []
    for kind in KINDS[step.act]:
        after = done.index(found[-1]) if found else -1
        match_ = next(
            (each for each in done[after + 1 :] if each.entry.id not in taken and _shows(each, step, kind, meant)), None
        )
        if match_ is None:
            return ()
        found.append(match_)
    taken.update(each.entry.id for each in found if each.entry.kind not in _SHARED)
    return tuple(found)


def _shows(line: Line, step: PlannedStep, kind: Kind, meant: Mapping[str, UUID]) -> bool:
    if line.entry.kind is not kind:
        return False
    if step.connector is not None and meant.get(step.connector) != line.connector:
        return False
    return step.cavity is None or entries.concerns(line.entry, step.cavity)


def _line(number: int, step: PlannedStep, found: tuple[Line, ...], connector: str | None) -> PlannedLine:
    return PlannedLine(
        step=number,
        act=step.act,
        connector=connector,
        cavity=step.cavity,
        contact=step.contact,
        tool=step.tool,
        task=step.task,
        note=step.note,
        done=bool(found),
        entries=tuple(each.entry.id for each in found),
        differs=tuple(_differs(step, [each.entry for each in found])),
    )


def _differs(step: PlannedStep, found: Sequence[Entry]) -> Iterator[Literal["contact", "tool"]]:
    used = {each.contact for each in found if each.kind is Kind.INSERTION}
    if step.contact is not None and found and step.act in (Act.INSERT, Act.REPLACE) and used != {step.contact}:
        yield "contact"
    if step.tool is not None and found and all(each.tool != step.tool for each in found):
        yield "tool"
