"""The outlook over HTTP: lists, one connector, stock, visits and what if, against figures worked out elsewhere."""

from datetime import timedelta
from typing import Any

import httpx
import numpy as np
import pytest
from scipy import stats

from service.workflow.outlook_runs import HORIZON_DAYS
from tests.conftest import Started, run
from tests.outlook import books
from tests.outlook.books import NOW, placed, register, reworked
from tests.outlook.test_runs import fleet_on


async def get(client: httpx.AsyncClient, path: str) -> Any:
    """A report, which must be there."""
    reply = await client.get(f"/v1/{path}")
    assert reply.status_code == 200, reply.text
    return reply.json()


async def ids(client: httpx.AsyncClient) -> dict[str, str]:
    """The connectors' ids by serial."""
    return {each["serial"]: each["id"] for each in (await get(client, "connectors?limit=500"))["connectors"]}


def test_events_to_come_are_negative_binomial(service: Started, dsn: str) -> None:
    """What is said of one connector's coming events is what scipy.stats.nbinom makes of its group's prior and its own history."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
            await books.compute(dsn)
            of = (await ids(client))["EX-05"]
            found = await get(client, f"connectors/{of}/outlook")
        group, line = found["group"], found["line"]
        shape = group["spread"] ** -2
        rate = shape / (group["per_thousand"] / 1000)
        assert (line["events"], line["exposure"]) == (5, "flight_hours")
        for each in found["horizons"]:
            seen = rate + line["units_seen"]
            coming = stats.nbinom(shape + 5, seen / (seen + found["units_a_day"] * each["days"]))
            assert each["events_expected"] == pytest.approx(coming.mean())
            assert (each["events_low"], each["events_high"]) == (coming.ppf(0.05), coming.ppf(0.95))
        assert [each["days"] for each in found["horizons"]] == list(HORIZON_DAYS)
        order = [each["probability"] for each in found["horizons"]]
        assert order == sorted(order)
        # Five reworks of A and B after their assembly: six of ten cycles begun, four left.
        assert [(each["cavity"], each["left"], each["touches"]) for each in found["cavities"]] == [
            ("A", 4, 5),
            ("B", 4, 5),
            ("C", 9, 0),
            ("D", 9, 0),
        ]
        worst = max(each["probability"][-1] for each in found["cavities"])
        together = 1 - np.prod([1 - each["probability"][-1] for each in found["cavities"]])
        assert worst <= order[-1] < together, "cavities of one rework are not independent"
        assert "5 events of rework" in found["says"]

    run(work())


def test_the_live_outlook_is_that_of_the_run(service: Started, dsn: str) -> None:
    """As long as nothing is recorded one connector's outlook says what the list says of it; afterwards the list says so."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
            await books.compute(dsn)
            lines = (await get(client, "reports/outlook?horizon_days=365"))["connectors"]
            for line in lines:
                live = (await get(client, f"connectors/{line['connector']}/outlook"))["line"]
                assert live["probability"] == pytest.approx(line["probability"], rel=1e-2)
                assert live | {name: line[name] for name in live if isinstance(live[name], float)} == line
            await books.record(client, reworked("EX-08", "A", 729))
            again = (await get(client, "reports/outlook?horizon_days=365"))["connectors"]
            assert [each["serial"] for each in again if each["moved_on"]] == ["EX-08"]
            assert (await get(client, f"connectors/{(await ids(client))['EX-08']}/outlook"))["line"]["due"]

    run(work())


def test_unknown_histories_stand_apart(service: Started, dsn: str) -> None:
    """Of a history nobody knows a lower bound is said, what if it was used alike as a supposition, and never a plain figure."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
            await register(client, "EX-bare", rating=None)
            await books.compute(dsn)
            every = await ids(client)
            dark = await get(client, f"connectors/{every['EX-dark']}/outlook")
            bare = await get(client, f"connectors/{every['EX-bare']}/outlook")
            unknown = await get(client, "reports/outlook?band=not_known")
        line = dark["line"]
        assert line["band"] == "at_least"
        assert line["probability_if_used_alike"] > 10 * line["probability"]
        assert "at least" in dark["says"]
        assert (bare["line"]["band"], bare["line"]["probability"], bare["line"]["left"]) == ("not_known", None, None)
        assert bare["says"].startswith("Nothing can be said")
        listed = {each["serial"]: each for each in unknown["connectors"]}
        assert {serial: each["band"] for serial, each in listed.items()} == {
            "EX-bare": "not_known",
            "EX-dark": "at_least",
        }
        assert listed["EX-bare"]["probability"] is None
        assert listed["EX-dark"]["probability"] == pytest.approx(line["probability"], rel=1e-2)

    run(work())


def test_filters_combine_and_pages_follow(service: Started, dsn: str) -> None:
    """Pages give every connector once in one order, and filters leave the others out."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
            await books.compute(dsn)
            whole = (await get(client, "reports/outlook?horizon_days=730"))["connectors"]
            paged: list[Any] = []
            cursor = ""
            while cursor is not None:
                page = await get(client, f"reports/outlook?horizon_days=730&limit=2{cursor}")
                paged += page["connectors"]
                cursor = page["next"] and f"&cursor={page['next']}"
            assert paged == whole
            assert len(whole) > 5
            odd = await get(client, "reports/outlook?horizon_days=730&part_number=EX-101&asset=TN-1&zone=410")
            assert [each["serial"] for each in odd["connectors"]] == [
                each["serial"] for each in whole if each["part_number"] == "EX-101"
            ]
            assert (await get(client, "reports/outlook?asset=TN-2"))["connectors"] == []
            likely = await get(client, "reports/outlook?horizon_days=730&at_least=0.5")
            assert likely["connectors"] == [each for each in whole if each["probability"] >= 0.5]
            # The horizon that answers is the one asked for or the next longer, and is said.
            assert (await get(client, "reports/outlook?horizon_days=100"))["horizon_days"] == 183
            for query in ("horizon_days=731", "at_least=0", "band=perhaps", "cursor=x", "wear=over"):
                assert (await client.get(f"/v1/reports/outlook?{query}")).status_code == 422

    run(work())


def test_stock_and_demand_add_up(service: Started, dsn: str) -> None:
    """What is due stands apart, months add up to the span, and the shelf meets the level with what it says."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
            await books.compute(dsn)
            stock = await get(client, "reports/stock?service_level=0.9&horizon_days=365")
            demand = await get(client, "reports/demand?months=12")
            lines = (await get(client, "reports/outlook?horizon_days=365&at_least=0.01"))["connectors"]
        assert (stock["service_level"], stock["horizon_days"]) == (0.9, 365)
        for each in stock["lines"]:
            months = [month for month in demand["lines"] if month["part_number"] == each["part_number"]]
            assert [month["month"] for month in months] == list(range(1, 13))
            assert sum(month["expected"] for month in months) == pytest.approx(each["expected"])
            mine = [line for line in lines if line["part_number"] == each["part_number"]]
            assert each["due"] == sum(line["due"] for line in mine)
            certain = sum(line["probability"] for line in mine if not line["due"])
            assert each["expected"] == pytest.approx(certain, abs=0.05)
            assert each["met"] >= 0.9
            assert each["low"] <= each["expected"] <= each["high"] + 1
            assert each["pieces"] >= each["due"]
            assert each["pieces_at_most"] == each["pieces"] + each["unknown"]
        assert demand["lines"][0]["begins_on"] == "2026-11-25"
        assert demand["lines"][0]["ends_on"] == "2026-12-24"
        assert demand["lines"][1]["begins_on"] == "2026-12-25"

    run(work())


def test_what_to_renew_in_the_next_visit(service: Started, dsn: str) -> None:
    """A connector is renewed if it is likelier than the risk not to last until the visit after the next."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
            await register(client, "EX-bare", rating=None)
            await books.record(client, [placed("EX-bare", "TN-1"), placed("EX-bare", "TN-2", 1)])
            await books.compute(dsn)
            first, second = ((NOW + timedelta(days=days)).date().isoformat() for days in (50, 365))
            rows = [
                {"asset": "TN-1", "name": "C 3", "starts_on": second},
                {"asset": "TN-1", "name": "A 12", "starts_on": first},
                {"asset": "TN-1", "name": "A 11", "starts_on": "2026-01-01"},
                {"asset": "TN-2", "name": "A 1", "starts_on": first},
            ]
            await client.put("/v1/visits", json={"rows": rows})
            found = await get(client, "reports/visits?risk=0.3")
            year = {each["serial"]: each for each in (await get(client, "reports/outlook"))["connectors"]}
            month = await get(client, "reports/outlook?horizon_days=30&at_least=0.01")
            quarter = await get(client, "reports/outlook?horizon_days=91&at_least=0.01")
        asset, other = found["assets"]
        assert (asset["asset"], asset["next_name"], asset["after_name"]) == ("TN-1", "A 12", "C 3")
        assert {each["serial"] for each in asset["renew"]} == {
            serial for serial, each in year.items() if each["probability"] > 0.3
        }
        assert all(
            each["before_after"] == pytest.approx(year[each["serial"]]["probability"]) for each in asset["renew"]
        )
        order = [each["before_after"] for each in asset["renew"]]
        assert order == sorted(order, reverse=True)
        assert len(asset["renew"]) + asset["keep"] + asset["not_known"] == 13
        assert asset["not_known"] == 1
        assert "no visit after the next" in other["problem"]
        # The 50th day lies between the horizons of 30 and of 61 days, for which nobody asked: between those of 30 and 91.
        worst = asset["renew"][3]
        before, behind = (
            next((each["probability"] for each in of["connectors"] if each["serial"] == worst["serial"]), 0)
            for of in (month, quarter)
        )
        assert before < worst["before_next"] < behind

    run(work())


def test_what_a_modification_changes(service: Started, dsn: str) -> None:
    """Reworks that a rating leaves, just leaves, or does not leave; steps that meet add up; what is not there is said."""

    async def work() -> None:
        async with service() as client:
            await fleet_on(client)
            await books.compute(dsn)
            every = await ids(client)

            async def ask(*steps: dict[str, Any]) -> Any:
                reply = await client.post("/v1/what-if", json={"steps": steps, "horizon_days": 365})
                assert reply.status_code == 200, reply.text
                return reply.json()

            # EX-05 has four left in A and B, nine in C and D.
            (line,) = (await ask({"connector": every["EX-05"], "reworks": 3}))["connectors"]
            assert (line["impossible"], line["used_up"]) == ([], [])
            assert line["probability_before"] < line["probability_after"] < 1
            (line,) = (await ask({"connector": every["EX-05"], "reworks": 4}))["connectors"]
            assert (line["impossible"], line["used_up"], line["probability_after"]) == ([], ["A", "B"], 1)
            (line,) = (await ask({"connector": every["EX-05"], "reworks": 5}))["connectors"]
            assert (line["impossible"], line["used_up"]) == (["A", "B"], [])
            step = {"connector": every["EX-05"], "cavities": ["C"], "reworks": 4}
            (line,) = (await ask(step, step | {"reworks": 5, "cavities": ["C", "Z"]}))["connectors"]
            assert (line["impossible"], line["used_up"]) == ([], ["C"])
            whole = await ask(
                {"asset": "TN-1", "part_number": "EX-101"}, {"asset": "TN-9"}, {"zone": "410", "cavities": ["Z"]}
            )
            assert whole["steps_without"] == [1, 2]
            assert whole["reworked"] == 6
            assert whole["not_possible"] == 2
            assert whole["expected_after"] > whole["expected_before"]
            assert [bool(each["impossible"]) for each in whole["connectors"]] == [True] * 2 + [False] * 4
            gone = await ask({"connector": every["EX-gone"]})
            assert (gone["connectors"], gone["steps_without"]) == ([], [0])
            dark = await ask({"connector": every["EX-dark"]})
            assert dark["connectors"][0]["not_known"] == ["A", "B", "C", "D"]
            assert (await client.post("/v1/what-if", json={"steps": [{"reworks": 2}]})).status_code == 422

    run(work())


def test_before_the_first_run_the_assumed_prior_holds(service: Started) -> None:
    """A connector's outlook is there before any was computed, and says that it rests on what is assumed."""

    async def work() -> None:
        async with service() as client:
            of = await register(client, "EX-1")
            found = await get(client, f"connectors/{of}/outlook")
            assert (found["rests_on"], found["group"]["basis"]) == (None, "stated")
            assert "assumption without a source" in found["says"]
            asked = await client.post("/v1/what-if", json={"steps": [{"connector": of}]})
            assert asked.json()["rests_on"] is None
            for wrong in ("x", "5e5e5e5e-0000-4000-8000-000000000001"):
                assert (await client.get(f"/v1/connectors/{wrong}/outlook")).status_code == 404

    run(work())
