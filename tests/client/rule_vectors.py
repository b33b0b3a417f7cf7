"""Cases of the rule with what Python answers, for its twin in the page: `python -m tests.client.rule_vectors` writes the file.

Connectors, histories, what waits at the bench and steps are drawn by chance from a seed: the same seed gives the same cases.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from scanner_client import offline, phrases
from scanner_client.outbox import Cached, Kept
from service import messages, views
from service.core import noting, states
from service.messages import PlannedStep, Snapshot
from service.reference_messages import ShopToolView
from tests.client import chances, packing
from tests.client.chances import Chance

PLACE = Path(__file__).with_name("rule_vectors.json")
SEED, COUNT = 20261125, 1500


def cases(seed: int, count: int) -> Iterator[dict[str, Any]]:
    """Cases as JSON values: what is asked, and under `expected` what Python answers."""
    for number in range(count):
        yield case(Chance(f"{seed}/{number}"))


class Asked(Struct, kw_only=True):
    """What is asked of the rule at a bench without network."""

    snapshot: Snapshot
    fetched_at: datetime
    waiting: tuple[Kept, ...]
    steps: tuple[PlannedStep, ...]
    now: datetime
    reached: bool
    tools: tuple[ShopToolView, ...]
    parked: tuple[Kept, ...]
    names: tuple[str, ...]


def case(chance: Chance) -> dict[str, Any]:
    """One case."""
    hand = chances.Hand(chance, chances.definition(chance), wild=chance.once_in(5))
    snapshot = chances.snapshot(chance, hand)
    waiting = tuple(chances.waiting(chance, hand, snapshot))
    fetched_at = snapshot.as_of + timedelta(seconds=chance.randrange(100))
    now = fetched_at + timedelta(seconds=chance.one_of((-5, 0, 30, 119, 4000, 200_000)))
    asked = Asked(
        snapshot=snapshot,
        fetched_at=fetched_at,
        waiting=waiting,
        steps=tuple(chances.steps(chance, hand)),
        now=now,
        reached=chance.once_in(6),
        tools=tuple(chances.shop(chance, now)),
        parked=tuple(chances.parked(chance, hand, now)),
        names=chances.MET_UNDER,
    )
    result: dict[str, Any] = {**plain(asked), "expected": plain(answered(asked))}
    return result


def answered(asked: Asked) -> dict[str, Any]:
    """What Python answers: advice (or that the steps are unclear), the state with what waits, and the connector's view in it."""
    snapshot = asked.snapshot
    cached = Cached(snapshot, asked.fetched_at, 0)
    state = offline.state(cached, asked.waiting)
    return {
        "advice": _advice(asked, cached),
        "state": state,
        "view": views.connector(snapshot.definition, state, snapshot.house, snapshot.entries, ""),
    }


def _advice(asked: Asked, cached: Cached) -> dict[str, Any] | str:
    lists = noting.Lists(
        tools={each.mark: each.part_number for each in asked.tools},
        due={each.mark: each.due_on for each in asked.tools if each.due_on is not None},
    )
    parked = offline.meaning(asked.parked, asked.snapshot.definition, asked.names)
    try:
        advice = offline.advise(
            cached, asked.waiting, asked.steps, asked.now, reached=asked.reached, lists=lists, parked=parked
        )
    except phrases.UnclearError:
        return "unclear"
    return {"plan": advice.plan, "basis": advice.basis, "remarks": advice.remarks, "as_of": advice.as_of}


def plain(value: Any) -> Any:
    """A value as the JSON that it becomes on the wire."""
    return msgspec.json.decode(messages.to_json(value))


def differences(expected: Any, got: Any, place: str = "") -> list[str]:
    """Where two JSON values differ; a truth value never passes for a number."""
    if isinstance(expected, dict) and isinstance(got, dict):
        names = sorted({*expected, *got})
        return [
            found
            for name in names
            for found in differences(expected.get(name, "(missing)"), got.get(name, "(missing)"), f"{place}/{name}")
        ]
    if isinstance(expected, list) and isinstance(got, list) and len(expected) == len(got):
        pairs = zip(expected, got, strict=True)
        return [found for at, (one, other) in enumerate(pairs) for found in differences(one, other, f"{place}/{at}")]
    same = expected == got and isinstance(expected, bool) is isinstance(got, bool)
    return [] if same else [f"{place}: expected {expected!r}, got {got!r}"]


def disagreements(expected: dict[str, Any], got: dict[str, Any]) -> list[str]:
    """Where the twin's answer to a case differs from Python's. Times in a state are compared as moments, however written."""
    theirs = states.decode(msgspec.json.encode(got["state"])) if got.get("state") else None
    ours = states.decode(msgspec.json.encode(expected["state"]))
    other_state = [] if ours == theirs else [f"/state: expected {ours!r}, got {theirs!r}"]
    asked = {name: got.get(name) for name in expected}
    return other_state + differences({**expected, "state": None}, {**asked, "state": None})


def made() -> bytes:
    """The bytes of the file. The connector's view stands with every third case: it takes the most room."""
    kept = list(cases(SEED, COUNT))
    for number, each in enumerate(kept):
        if number % 3:
            del each["expected"]["view"]
    return packing.packed(kept)


def read() -> list[dict[str, Any]]:
    """The cases of the committed file."""
    return packing.unpacked(PLACE.read_bytes())


if __name__ == "__main__":
    PLACE.write_bytes(made())
