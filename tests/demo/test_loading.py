"""Loading the demo fleet: whole, once, and as if the service had recorded it."""

from datetime import timedelta

import pytest

from service.demo import loading
from service.store import database
from service.workflow import proof
from tests.conftest import run
from tests.demo import fleets

SEED = 5


def _quiet(_what: str, _done: int, _total: int) -> None:
    pass


async def _counts(dsn: str) -> tuple[int, int, int]:
    async with database.owner(dsn) as connection:
        connectors = await connection.fetchval("select count(*) from tinebook.connector")
        entries = await connection.fetchval("select count(*) from tinebook.entry")
        parked = await connection.fetchval("select count(*) from tinebook.parked where joined is null")
        return connectors, entries, parked


async def _breaks(dsn: str) -> list[str]:
    async with database.owner(dsn) as connection:
        return [str(each) async for each in proof.verify(connection, fleets.HOUSE, None, lambda _done, _total: None)]


def test_a_fleet_is_loaded_whole_and_once(dsn: str) -> None:
    """Everything is there, verify finds nothing, and a second load changes nothing."""
    fleet = fleets.made(SEED, fleets.SMALL)
    expected = (len(fleet.connectors), len(fleet.entries) - len(fleet.strays), len(fleet.strays))

    async def work() -> None:
        assert await loading.begun_on(dsn, SEED) is None
        assert not await loading.complete(dsn, SEED)
        first = await loading.load(dsn, fleets.HOUSE, fleets.BOOK, fleet, _quiet)
        assert (first.registered, first.recorded) == (len(fleet.connectors), len(fleet.entries))
        assert await _counts(dsn) == expected
        assert await _breaks(dsn) == []
        assert await loading.begun_on(dsn, SEED) == fleets.TODAY
        assert await loading.complete(dsn, SEED)
        assert (await loading.load(dsn, fleets.HOUSE, fleets.BOOK, fleet, _quiet)).already_there
        assert await _counts(dsn) == expected

    run(work())


def test_the_ledger_says_what_the_fold_of_the_fleet_says(dsn: str) -> None:
    """The list of connectors that run out is the one that folding the fleet by itself gives."""
    expected = {
        each.definition.connector: each.wear
        for each in fleets.folded(SEED, fleets.SMALL)
        if each.wear not in ("within", "retired")
    }

    async def work() -> None:
        await loading.load(dsn, fleets.HOUSE, fleets.BOOK, fleets.made(SEED, fleets.SMALL), _quiet)
        async with database.owner(dsn) as connection:
            rows = await connection.fetch("select connector, wear from tinebook.limit_line")
        assert {row["connector"]: row["wear"] for row in rows} == expected

    run(work())


class _CutOffError(Exception):
    pass


@pytest.mark.parametrize("during", ["connectors", "entries"])
def test_cut_off_and_started_again_on_a_later_day_it_completes(dsn: str, during: str) -> None:
    """The second start goes on with the fleet that the first began, and nothing is lost or doubled."""
    fleet = fleets.made(SEED, fleets.SMALL)

    def cut_off(what: str, _done: int, _total: int) -> None:
        if what == during:
            raise _CutOffError

    async def work() -> None:
        with pytest.raises(_CutOffError):
            await loading.ensure(dsn, fleets.HOUSE, fleets.BOOK, SEED, fleets.TODAY, cut_off, fleets.SMALL)
        assert not await loading.complete(dsn, SEED)
        later = fleets.TODAY + timedelta(days=9)
        done = await loading.ensure(dsn, fleets.HOUSE, fleets.BOOK, SEED, later, _quiet, fleets.SMALL)
        assert done is not None
        assert done.recorded + done.registered > 0
        assert await _counts(dsn) == (
            len(fleet.connectors),
            len(fleet.entries) - len(fleet.strays),
            len(fleet.strays),
        )
        assert await _breaks(dsn) == []
        assert await loading.ensure(dsn, fleets.HOUSE, fleets.BOOK, SEED, later, _quiet, fleets.SMALL) is None

    run(work())


def test_progress_is_told_to_the_end(dsn: str) -> None:
    """Connectors first, then entries, each up to its total."""
    told: list[tuple[str, int, int]] = []

    async def work() -> None:
        fleet = fleets.made(SEED, fleets.SMALL)
        await loading.load(dsn, fleets.HOUSE, fleets.BOOK, fleet, lambda *each: told.append(each))
        assert told[-1] == ("entries", len(fleet.entries), len(fleet.entries))
        assert ("connectors", len(fleet.connectors), len(fleet.connectors)) in told

    run(work())
