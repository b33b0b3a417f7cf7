"""Runs are whole or not at all, say what the rule says, and what they rest on."""

import asyncio
from collections.abc import Callable
from typing import get_args

import asyncpg
import httpx
import numpy as np
import pytest

from service import outlook_daily, signal_messages
from service import outlook_messages as messages
from service.core.outlook import demand, prior
from service.core.outlook.prior import Exposure
from service.store import database
from service.workflow import census, outlook, outlook_runs
from service.workflow.outlook_runs import HORIZON_DAYS, RunningError
from tests.conftest import Started, run
from tests.outlook import books
from tests.outlook.books import NOW, entry, placed, register, reworked
from tests.outlook.test_census import taken


async def fleet_on(client: httpx.AsyncClient) -> None:
    """Twelve connectors on an asset, reworked from never to eleven times, one of no known history, one retired."""
    await books.flown(client, "TN-1")
    entries = []
    for number in range(12):
        serial = f"EX-{number:02}"
        await register(client, serial, part_number=f"EX-{100 + number % 2}")
        entries.append(placed(serial, "TN-1"))
        entries += [each for turn in range(number) for each in reworked(serial, "AB", 10 + 60 * turn)]
    await register(client, "EX-dark", history="unknown", populated=None)
    await register(client, "EX-gone")
    entries += [placed("EX-dark", "TN-1"), placed("EX-gone", "TN-1"), entry("retirement", "EX-gone", 300)]
    await books.record(client, entries)


async def report(dsn: str, band: messages.Band = "known", horizon_days: int = 365) -> messages.OutlookReport:
    """The list of connectors, whole."""
    async with database.owner(dsn) as connection:
        found, following = await outlook.connectors(connection, outlook.Filters(), horizon_days, band, 0.01, None, 500)
        assert following is None
        return found


def test_a_run_keeps_what_the_rule_says(service: Started, dsn: str) -> None:
    """The kept lines and part numbers are to the digit what the pure rule makes of the census of the same moment."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
        await books.compute(dsn)
        of = await taken(dsn)
        _, found = outlook_runs.worked_out(of, lambda *_: None)
        chosen, _ = census.active(of)
        ids = [of.id(each) for each in chosen.tolist()]
        for name in outlook_runs.BANDS:
            for line in (await report(dsn, name)).connectors:
                place = ids.index(line.connector)
                assert outlook_runs.BANDS[found.run_out.band[place]] == line.band
                if line.probability is not None:
                    assert line.probability == pytest.approx(found.run_out.probability[place, 11], rel=1e-6)
        within = demand.within(found.lots, len(of.parts))
        async with database.owner(dsn) as connection:
            stock, _ = await outlook.stock(connection, outlook.Filters(), 0.95, 365, None, 100)
        means = {of.parts[each].part_number: within.mean[each, 11] for each in range(len(of.parts))}
        assert {each.part_number: each.expected for each in stock.lines} == pytest.approx(means)

    run(work())


def test_the_list_is_what_it_says(service: Started, dsn: str) -> None:
    """Worn-out ones first with certainty, then by probability; a history not known stands apart; the retired are nowhere."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
        done = await books.compute(dsn)
        assert (done.connectors, done.known, done.not_known, done.retired) == (13, 12, 1, 1)
        assert done.events == sum(range(12))
        known = (await report(dsn)).connectors
        # Populated is the first cycle, so nine reworks use up a rating of ten.
        assert [(each.serial, each.left, each.due) for each in known[:3]] == [
            ("EX-11", 0, True),
            ("EX-10", 0, True),
            ("EX-09", 0, True),
        ] or {each.serial for each in known if each.due} == {"EX-09", "EX-10", "EX-11"}
        assert all(each.probability == 1 for each in known if each.due)
        order = [each.probability for each in known if each.probability is not None]
        assert order == sorted(order, reverse=True)
        assert [each.serial for each in known if not each.due][:3] == ["EX-08", "EX-07", "EX-06"]
        eight = next(each for each in known if each.serial == "EX-08")
        assert eight.limiting_cavity in ("A", "B")
        assert (eight.left, eight.events, eight.exposure) == (1, 8, Exposure.FLIGHT_HOURS)
        assert eight.runs_out_in_days_low is not None
        assert eight.runs_out_in_days is not None
        assert eight.runs_out_in_days_low < eight.runs_out_in_days
        serials = {each.serial for each in known}
        assert not serials & {"EX-dark", "EX-gone"}
        dark = (await report(dsn, "at_least", HORIZON_DAYS[-1])).connectors
        assert all(each.serial == "EX-dark" and each.band == "at_least" for each in dark)

    run(work())


def test_a_fleet_without_events_rests_on_what_is_assumed(service: Started, dsn: str) -> None:
    """Where nothing was ever done the prior is the stated one to the digit, and every answer says so."""

    async def work() -> None:
        async with service() as client:
            await register(client, "EX-1")
        done = await books.compute(dsn)
        assert (done.groups, done.stated, done.events) == (1, 1, 0)
        assert "nothing was learnt" in done.thin
        async with database.owner(dsn) as connection:
            (group,) = await outlook.groups(connection)
        assert group.per_thousand == pytest.approx(1000 * prior.WEAK[Exposure.DAYS].mean, rel=0.01)
        assert (group.exposure, group.basis) == (Exposure.DAYS, "stated")
        assert "assumption without a source" in group.prior
        assert group.per_thousand_low < group.per_thousand < group.per_thousand_high

    run(work())


def test_no_run_is_no_failure(dsn: str) -> None:
    """Before the first run every report says that there is none; after one of an empty register, that it is empty."""

    async def work() -> None:
        for turn in range(2):
            async with database.owner(dsn) as connection:
                everything = outlook.Filters()
                for found, following in (
                    await outlook.connectors(connection, everything, 365, "known", 0.01, None, 10),
                    await outlook.demand(connection, everything, 3, None, 10),
                    await outlook.stock(connection, everything, 0.95, 90, None, 10),
                    await outlook.visits(connection, everything, 0.05, NOW.date(), None, 10),
                ):
                    assert (found.rests_on is None) == (turn == 0)
                    assert following is None
                assert await outlook.groups(connection) == ()
            await books.compute(dsn)

    run(work())


def test_a_run_that_is_cut_off_leaves_nothing(service: Started, dsn: str) -> None:
    """Wherever a run is cut off, the one before it is still the newest, and the next run can begin at once."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
        first = await books.compute(dsn)
        for what in ("connectors read", "connectors worked out"):
            connection = await database.service_connection(dsn)
            with pytest.raises(KeyboardInterrupt):
                await outlook_runs.compute(connection, Exposure.FLIGHT_HOURS, "test", lambda: NOW, _cutting(what))
            await connection.close()
            async with database.owner(dsn) as owner:
                assert await owner.fetchval("select count(distinct run) from tinebook.outlook_line") == 1
                assert (await outlook.rests_on(owner)) == first
        assert (await books.compute(dsn)).run == 2

    run(work())


def _cutting(what: str) -> Callable[[str, int, int], None]:
    def tell(now: str, _done: int, _of: int) -> None:
        if now == what:
            raise KeyboardInterrupt

    return tell


def test_one_at_a_time_and_two_kept(service: Started, dsn: str) -> None:
    """While one session computes another is refused; lines of two runs are kept, what they rest on for good."""

    async def work() -> None:
        async with service() as client:
            await register(client, "EX-1")
        async with database.owner(dsn) as other:
            assert await other.fetchval("select pg_try_advisory_lock(6016202611250005)")
            with pytest.raises(RunningError, match="another session"):
                await books.compute(dsn)
            await other.fetchval("select pg_advisory_unlock(6016202611250005)")
            for _ in range(3):
                await books.compute(dsn)
            kept = await other.fetch("select distinct run from tinebook.outlook_line order by run")
            assert [each["run"] for each in kept] == [2, 3]
            assert await other.fetchval("select count(*) from tinebook.outlook_run") == 3

    run(work())


@pytest.mark.parametrize("table", ["asset_usage", "visit", "outlook_run"])
def test_statements_are_append_only(table: str, service: Started, dsn: str) -> None:
    """Neither the service nor the owner changes or deletes what was stated of assets, or that a run was made."""

    async def work() -> None:
        async with service() as client:
            await books.flown(client, "TN-1")
            await client.put("/v1/visits", json={"rows": [{"asset": "TN-1", "name": "A", "starts_on": "2027-01-01"}]})
        await books.compute(dsn)
        async with database.owner(dsn) as owner:
            for change in (f"delete from tinebook.{table}", f"truncate tinebook.{table} cascade"):
                with pytest.raises(asyncpg.RestrictViolationError):
                    await owner.execute(change)
        connection = await database.service_connection(dsn)
        with pytest.raises(asyncpg.InsufficientPrivilegeError):
            await connection.execute(f"delete from tinebook.{table}")
        await connection.close()

    run(work())


def test_the_daily_run_is_one_a_day(service: Started, dsn: str) -> None:
    """However many serving processes ask at their hour, one outlook is computed."""

    async def work() -> None:
        async with service() as client:
            await register(client, "EX-1")
        for command in (*outlook_daily.COMMANDS, *outlook_daily.COMMANDS):
            assert await outlook_daily.compute(dsn, command) == 0
        async with database.owner(dsn) as owner:
            rows = await owner.fetch("select computed_by from tinebook.outlook_run")
            assert [each["computed_by"] for each in rows] == ["daily"]
            kept = {each["about"] for each in await owner.fetch("select about from tinebook.signal_answer")}
            assert kept == set(get_args(signal_messages.About)) - {"person"}

    run(work())


def test_the_hour_comes_once_a_day() -> None:
    """The next time is today's if it is still to come, else tomorrow's."""
    hour = outlook_daily.following(NOW, NOW.time())
    assert (hour - NOW).days == 1
    assert (outlook_daily.following(NOW, NOW.replace(hour=13).time()) - NOW).total_seconds() == 3600


def test_closing_ends_the_waiting(dsn: str) -> None:
    """A service that stops does not wait for the hour."""

    async def work() -> None:
        daily = outlook_daily.Daily(NOW.time(), dsn, lambda: NOW)
        daily.start()
        await asyncio.sleep(0)
        await asyncio.wait_for(daily.close(), 5)

    run(work())


def test_intervals_say_when(service: Started, dsn: str) -> None:
    """The middle and the ends of when a connector runs out are where its probability passes a half and five in a hundred."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
        await books.compute(dsn)
        seen: dict[str, list[tuple[int, float, messages.OutlookLine]]] = {}
        for place in (0, 2, 5, 11, 13, 15):
            for line in (await report(dsn, "known", HORIZON_DAYS[place])).connectors:
                assert line.probability is not None
                seen.setdefault(line.serial, []).append((HORIZON_DAYS[place], line.probability, line))
        for several in seen.values():
            for days, probability, line in several:
                for when, level in ((line.runs_out_in_days_low, 0.05), (line.runs_out_in_days, 0.5)):
                    assert (when is not None and when <= days) == (probability >= level), (line.serial, days)
        assert len(seen) > 6
        assert np.isfinite([line.units_seen for several in seen.values() for _, _, line in several]).all()

    run(work())
