"""What is planted in the demo fleet is found, and where nothing is planted no more is found than chance is allowed."""

from typing import get_args

import pytest

from service import signal_messages as messages
from service.demo import loading, operator
from service.demo.fleet import Size
from service.store import database
from service.workflow import signals
from tests.conftest import run
from tests.demo import fleets
from tests.demo.test_fleet import NIGHTFALL

PLANTED = Size(aircraft=24, positions=40, spares=2)
NOTHING = Size(aircraft=24, positions=40, spares=2, troubled=False)
BY_KIND: tuple[messages.About, ...] = tuple(
    each for each in get_args(messages.About) if each not in ("connector", "person")
)
"""Connectors differ by nature in the fleet, so that some do stand out; people are not asked about."""


async def _shown(dsn: str, seed: int, size: Size) -> dict[str, set[str]]:
    """What stands out in a fleet, by question."""
    await loading.load(dsn, fleets.HOUSE, fleets.BOOK, fleets.made(seed, size), lambda *_: None)
    connection = await database.service_connection(dsn)
    filters = signals.Filters(verdict="shown")
    found: dict[str, set[str]] = {}
    try:
        for about in BY_KIND:
            report, _ = await signals.report(connection, about, filters, NIGHTFALL, None, 100)
            found[about] = {f"{each.name} {each.role or ''}".strip() for each in report.signals}
            assert report.shown == len(report.signals)
            assert report.says.startswith(
                "Nothing stands out" if not report.shown else ("One stands", f"{report.shown} stand")
            )
        return found
    finally:
        await connection.close()


def test_what_is_planted_is_found(dsn: str) -> None:
    """The worn removal tool, the chronic position and its part number stand out, and nothing else."""
    chronic = next(each for each in operator.POSITIONS if each.name == operator.CHRONIC)
    found = run(_shown(dsn, 2026, PLANTED))
    assert found == {
        "tool": {f"{operator.WORN_TOOL} removal"},
        "chronic": {operator.CHRONIC},
        "position": {operator.CHRONIC},
        "part_number": {chronic.part_number},
    } | {each: set() for each in ("family", "bench", "batch", "retention")}


@pytest.mark.parametrize("seed", [11, 12])
def test_chance_is_not_taken_for_a_signal(dsn: str, seed: int) -> None:
    """Of eight questions to a fleet with nothing planted, each may be wrong once in ten times: hardly more than two are."""
    found = run(_shown(dsn, seed, NOTHING))
    assert sum(1 for each in found.values() if each) <= 2
