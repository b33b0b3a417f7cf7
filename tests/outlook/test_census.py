"""A census says of each connector what the rules say of its history."""

import uuid
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from service.core import chain, cycles, fold, states
from service.core.entries import Definition, HouseRule, Recorded
from service.core.outlook import fleet
from service.core.outlook.fleet import UNRATED
from service.core.outlook.prior import Exposure
from service.store import columns, database
from service.workflow import census, roll
from service.workflow.census import Census, Group
from tests import histories
from tests.conftest import Started, run
from tests.core.test_properties import any_definition, any_history
from tests.outlook import books
from tests.outlook.books import NOW, entry, placed, register, reworked


async def taken(dsn: str, exposure: Exposure = Exposure.FLIGHT_HOURS, chosen: Any = None) -> Census:
    """A census as of now."""
    connection = await database.service_connection(dsn)
    try:
        async with connection.transaction(isolation="repeatable_read", readonly=True):
            return await census.take(connection, exposure, NOW, chosen)
    finally:
        await connection.close()


def shown(of: Census, connector: str) -> dict[str, Any]:
    """What a census says of one connector."""
    ids = [str(of.id(each)) for each in range(of.connectors.size)]
    place = ids.index(connector)
    one = fleet.select(of.fleet, np.array([place]))
    return {
        "events": int(one.events[0]),
        "full": int(one.full_events[0]),
        "touches": one.touches.tolist(),
        "left": one.left.tolist(),
        "known": one.known.tolist(),
        "exposure": float(one.exposure[0]),
        "unseen": float(one.unseen[0]),
        "pace": float(one.pace[0]),
        "group": of.groups[one.group[0]],
        "days": float(of.days_seen[place]),
        "rating": int(of.rating[place]),
        "limiting": census.limiting(of)[place],
    }


def test_a_census_counts_what_was_done(service: Started, dsn: str) -> None:
    """Events, touches, what is left and what it was along for: worked out by hand for each connector of a small fleet."""

    async def work() -> None:
        async with service() as client:
            await books.flown(client, "TN-1")
            on, off, in_store = [await register(client, serial) for serial in ("EX-1", "EX-2", "EX-3")]
            wrong, gone = await register(client, "EX-4"), await register(client, "EX-5")
            dark = await register(client, "EX-6", history="unknown", populated=None)
            mistake = reworked("EX-4", "A", 20)
            await books.record(
                client,
                [
                    placed("EX-1", "TN-1"),
                    *reworked("EX-1", "AB", 10, work_order="WO-1"),
                    *reworked("EX-1", "C", 12, work_order="WO-1"),
                    *reworked("EX-1", "ABCD", 100),
                    *reworked("EX-1", "AA", 200),
                    placed("EX-2", "TN-9"),
                    *reworked("EX-2", "D", 10),
                    placed("EX-3", "TN-1"),
                    placed("EX-3", None, 100),
                    placed("EX-3", "TN-1", 630),
                    placed("EX-4", "TN-1"),
                    *mistake,
                    *(entry("correction", "EX-4", 21, corrects=each["id"], note="other serial") for each in mistake),
                    placed("EX-5", "TN-1"),
                    *reworked("EX-5", "A", 100),
                    entry("retirement", "EX-5", 365),
                    placed("EX-6", "TN-1"),
                    *reworked("EX-6", "B", 50),
                    entry("renewal", "EX-6", 60, "C"),
                    entry("insertion", "EX-6", 60.1, "C"),
                ],
            )
        found = await taken(dsn)
        flying = Group("house", "410", Exposure.FLIGHT_HOURS)
        first = shown(found, on)
        # WO-1 over two days; a full event; A twice in one sitting. TN-1 flies 8 hours a day, the last ten days at its pace.
        assert (first["events"], first["full"], first["touches"]) == (4, 1, [3, 1, 1, 0])
        assert first["left"] == [5, 7, 7, 8]
        assert (first["limiting"], first["rating"], first["group"]) == ("A", 10, flying)
        assert first["exposure"] == pytest.approx(730 * 8, abs=8)
        assert (first["pace"], first["unseen"], first["days"]) == (pytest.approx(8), 0, 730)
        second = shown(found, off)
        assert (second["events"], second["touches"], second["pace"]) == (1, [0, 0, 0, 1], 1)
        assert (second["exposure"], second["group"]) == (730, Group("house", "410", Exposure.DAYS))
        assert shown(found, in_store)["exposure"] == pytest.approx(200 * 8, abs=8)
        assert (shown(found, wrong)["events"], shown(found, wrong)["left"]) == (0, [9, 9, 9, 9])
        assert shown(found, gone)["exposure"] == pytest.approx(365 * 8, abs=8)
        assert found.retired.tolist().count(True) == 1
        last = shown(found, dark)
        assert (last["events"], last["touches"], last["known"]) == (1, [0, 1, 0, 0], [False, False, True, False])
        assert last["unseen"] == pytest.approx(20_000, abs=8)
        assert (found.unreadable, str(found.usage_from), str(found.usage_to)) == (0, "2024-11-24", "2026-11-14")

    run(work())


def test_some_are_counted_as_all_are(service: Started, dsn: str) -> None:
    """The census of a chosen connector says of it what that of the fleet says."""

    async def work() -> None:
        async with service() as client:
            await books.flown(client, "TN-1")
            ids = [await register(client, f"EX-{each}", "ABC"[: each + 1]) for each in range(3)]
            acts = [placed(f"EX-{each}", "TN-1" if each else None) for each in range(3)]
            acts += [each for number in range(3) for each in reworked(f"EX-{number}", "A", 40 + number)]
            await books.record(client, acts)
        whole = await taken(dsn)
        for each in ids:
            alone = await taken(dsn, chosen=[each])
            assert alone.connectors.size == 1
            assert shown(alone, each) == shown(whole, each)

    run(work())


def test_other_exposures(service: Started, dsn: str) -> None:
    """Rework is counted against flight cycles only where these are stated, and against days where days are asked for."""

    async def work() -> None:
        async with service() as client:
            await books.flown(client, "TN-1")
            one = await register(client, "EX-1")
            await books.record(client, [placed("EX-1", "TN-1")])
            rows = [{"asset": "TN-1", "day": f"2025-0{month}-01", "flight_cycles": 60} for month in (1, 2, 3)]
            days = shown(await taken(dsn, Exposure.DAYS), one)
            assert (days["exposure"], days["pace"], days["group"].exposure) == (730, 1, Exposure.DAYS)
            assert shown(await taken(dsn, Exposure.FLIGHT_CYCLES), one)["group"].exposure is Exposure.DAYS
            await client.put("/v1/usage", json={"rows": rows})
            cycled = shown(await taken(dsn, Exposure.FLIGHT_CYCLES), one)
            assert cycled["group"].exposure is Exposure.FLIGHT_CYCLES
            assert cycled["pace"] == pytest.approx(120 / 59)
            # A row for the same day with hours alone takes the cycles back: the newest statement of a day holds.
            await client.put(
                "/v1/usage", json={"rows": [each | {"flight_cycles": None, "flight_hours": 1} for each in rows]}
            )
            assert shown(await taken(dsn, Exposure.FLIGHT_CYCLES), one)["group"].exposure is Exposure.DAYS

    run(work())


def test_an_empty_register_is_a_census_of_none(dsn: str) -> None:
    """Without connectors there is nothing, and no failure."""
    found = run(taken(dsn))
    assert (found.connectors.size, found.fleet.left.size, found.groups, found.parts) == (0, 0, (), ())


def test_an_unreadable_state_is_left_out_and_counted(service: Started, dsn: str) -> None:
    """A connector whose state can't be read is not in the census, which says that there is one."""

    async def work() -> None:
        async with service() as client:
            one = await register(client, "EX-1")
            await register(client, "EX-2")
        async with database.owner(dsn) as connection:
            await connection.execute("update tinebook.head set state = '[[]]' where connector = $1", one)
        found = await taken(dsn)
        assert (found.connectors.size, found.unreadable) == (1, 1)

    run(work())


@given(any_definition, any_history)
def test_what_is_left_is_what_the_rule_says(definition: Definition, history: list[Recorded]) -> None:
    """For any history, a cavity has left what its standing allows, or would allow if its count were all there was."""
    state = fold.fold(definition, history)
    read = roll.STATES.decode(states.encode(state))
    figures = cycles.limits(definition.rating, None, HouseRule())
    for kept, whole in zip(read.cavities, state.cavities, strict=True):
        key = (kept.known, kept.occupied, kept.insertions, kept.removals, kept.tine_entries)
        stands = cycles.standing(whole.counts, whole.occupied, known=True, figures=figures)
        rating = definition.rating
        figure = (0, True, False) if rating is None else (rating.value, rating.first_insertion_counts, False)
        assert census.allowed(key, figure) == (UNRATED if rating is None else min(stands.left or 0, UNRATED - 1))
        assert kept.known == whole.known
    assert read.whole.retired == state.whole.retired


def test_states_that_stand_alike_are_read_alike() -> None:
    """Reading cavities once for all that are alike gives what reading each gives, whatever a place is called."""
    tricky = 'x"],[["A"'
    states_: list[states.ConnectorState] = []
    for place in (None, "TN-1", tricky, "null],[["):
        for retired in (False, True):
            state = states.blank(histories.definition())
            state.whole.asset, state.whole.position, state.whole.retired = place, place, retired
            if retired:
                state.cavities[1].insertions = 3
            states_.append(state)
    definitions = roll.Definitions()
    heads = roll.Heads(definitions)
    body = chain.canonical_definition(
        chain.DefinitionBody(definition=histories.definition(), recorded_at=NOW, recorded_by="x", reason="y")
    )
    for state in [*states_, *states_]:
        connector = uuid.uuid4()
        definitions.add([{"connector": connector, "body": body}])
        nothing = dict.fromkeys(("asset", "zone", "asset_type", "family", "part_number"))
        heads.add(
            [
                nothing
                | {"connector": connector, "entries": 0, "registered_at": NOW}
                | {"state": states.encode(state), "handed_over": False}
            ]
        )
    assert heads.unreadable == 0
    assert [each & 1 for each in heads.flags] == [state.whole.retired for state in [*states_, *states_]]
    kinds = list(heads.standing)
    wanted = [(c.known, c.occupied, c.insertions, 0, 0) for state in [*states_, *states_] for c in state.cavities]
    assert [kinds[each] for each in heads.standings] == wanted


def test_columns_refuse_another_width() -> None:
    """Rows that are not as wide as promised are refused instead of read askew."""
    head = b"PGCOPY\n\xff\r\n\x00" + bytes(8)
    whole = head + b"\x00\x01\x00\x00\x00\x02\x00\x07\xff\xff"
    assert columns.read(whole, {"kind": columns.SMALL})["kind"].tolist() == [7]
    for broken in (whole[:-2], head + b"\x00\x01\xff\xff\xff\xff\xff\xff", whole.replace(b"\x00\x07", b"\x00\x07\x00")):
        with pytest.raises(columns.ColumnsError):
            columns.read(broken, {"kind": columns.SMALL})
    with pytest.raises(columns.ColumnsError, match="kind is null"):
        columns.read(whole.replace(b"\x00\x00\x00\x02", b"\x00\x00\x00\x03"), {"kind": columns.SMALL})


def test_assets_of_one_type_are_a_group(service: Started, dsn: str) -> None:
    """Connectors of one family and zone are expected to be reworked alike on assets of one type; the newest statement holds."""

    async def work() -> None:
        async with service() as client:
            types = [("TN-1", "Larkmoor 4"), ("TN-2", "Larkmoor 4"), ("TN-3", "Larkmoor 4"), ("TN-3", "Larkmoor 7")]
            for asset, kind in types:
                told = await client.put("/v1/assets", json={"rows": [{"asset": asset, "type": kind}]})
                assert told.status_code == 200, told.text
            serials = [f"EX-{asset}" for asset in ("TN-1", "TN-2", "TN-3", "TN-4")]
            ids = [await register(client, each) for each in serials]
            await books.record(client, [placed(each, each.removeprefix("EX-")) for each in serials])
        found = await taken(dsn)
        assert [shown(found, each)["group"].asset_type for each in ids] == [
            "Larkmoor 4",
            "Larkmoor 4",
            "Larkmoor 7",
            None,
        ]

    run(work())
