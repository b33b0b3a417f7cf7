"""The fleet's reports over HTTP: who is not within the rating, how wear is spread, what is open, and how it is resolved."""

import asyncio
import uuid
from collections import Counter
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx

from service.store import database
from tests.api.test_contract import pages
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run

RATED = {"value": 3, "basis": "house"}


async def get(client: httpx.AsyncClient, address: str) -> dict[str, Any]:
    """What an address gives."""
    reply = await client.get(address)
    assert reply.status_code == 200, reply.text
    found: dict[str, Any] = reply.json()
    return found


async def fleet(client: httpx.AsyncClient) -> dict[str, str]:
    """Twelve connectors at three assets and two benches, worn differently; two of unknown history."""
    made = {}
    for number in range(12):
        serial, asset = f"F-{number:02}", f"TN-{number % 3}"
        more = {"part_number": f"PN-{number % 2}", "family": "F-A" if number % 4 else "F-B", "rating": RATED}
        if number in (4, 9):
            more |= {"history": "unknown"}
        made[serial] = (await client.post("/v1/connectors", json=registration(serial, **more))).json()["id"]
        place = {"asset": asset, "zone": str(400 + number % 2), "position": f"P{number}"}
        work = [entry("placement", None, 0, serial, **place)]
        for turn in range(number % 5):
            bench = f"Bench {1 + number % 2}"
            work += [
                entry("insertion", "C", 1 + 2 * turn, serial, bench=bench),
                entry("removal", "C", 2 + 2 * turn, serial, bench=bench),
            ]
        await post(client, *work)
    return made


def test_lists_of_connectors_and_cavities_agree(service: Started) -> None:
    """Each filter gives just the lines it names, page by page, worst first; the cavities listed are those of the connectors."""

    async def work() -> None:
        async with service() as client:
            await fleet(client)
            await client.put("/v1/benches/Bench 1", json={"shop": "Shop N"})
            whole = await pages(client, "/v1/reports/cycle-limits", "connectors")
            cavities = await pages(client, "/v1/reports/cycle-limits?of=cavities", "cavities")
            order = ["over", "spent", "nearing", "unknown"]
            keys = [order.index(each["wear"]) for each in cavities]
            assert keys == sorted(keys)
            assert len({(each["connector"], each["cavity"]) for each in cavities}) == len(cavities)
            assert {each["connector"] for each in cavities} == {each["connector"] for each in whole}
            counted = Counter(each["connector"] for each in cavities if each["wear"] == "unknown")
            assert {
                each["connector"]: each["unknown_cavities"] for each in whole if each["unknown_cavities"]
            } == counted
            for query, name, value in FILTERS:
                for listed, what in ((whole, "connectors"), (cavities, "cavities")):
                    found = await pages(client, f"/v1/reports/cycle-limits?of={what}&{query}", what)
                    assert found == [each for each in listed if flat(each)[name] in value], (query, what)
                    assert found, query
            both = await pages(client, "/v1/reports/cycle-limits?asset=TN-1&part_number=PN-0", "connectors")
            assert both == [each for each in whole if flat(each)["asset"] == "TN-1" and each["part_number"] == "PN-0"]
            assert not await pages(client, "/v1/reports/cycle-limits?shop=Shop%20S", "connectors")

    run(work())


FILTERS = (
    ("asset=TN-1", "asset", ["TN-1"]),
    ("zone=401", "zone", ["401"]),
    ("position=P3", "position", ["P3"]),
    ("family=F-A", "family", ["F-A"]),
    ("part_number=PN-1", "part_number", ["PN-1"]),
    ("bench=Bench%202", "bench", ["Bench 2"]),
    ("shop=Shop%20N", "bench", ["Bench 1"]),
    ("wear=over", "wear", ["over"]),
    ("wear=nearing&wear=unknown", "wear", ["nearing", "unknown"]),
)
"""Query -> the field it is about and the values it lets through."""


def flat(line: dict[str, Any]) -> dict[str, Any]:
    """A line with its place beside the rest."""
    return {**line, **line["place"]}


def test_sums_are_those_of_the_cavities(service: Started) -> None:
    """Wear by anything adds up to the connectors' own cavities, and cycles by family to as many as there are."""

    async def work() -> None:
        async with service() as client:
            made = await fleet(client)
            await client.put("/v1/benches/Bench 1", json={"shop": "Shop N"})
            views = [await get(client, f"/v1/connectors/{each}") for each in made.values()]
            listed = {each["connector"]: each for each in await pages(client, "/v1/reports/cycle-limits", "connectors")}
            views = [view | {"bench": listed.get(view["id"], {}).get("bench")} | view["place"] for view in views]
            for by in ("asset", "zone", "position", "family", "part_number"):
                groups = await pages(client, f"/v1/reports/wear?by={by}", "groups")
                check(groups, views, by)
            narrowed = await pages(client, "/v1/reports/wear?by=zone&asset=TN-1", "groups")
            check(narrowed, [each for each in views if each["asset"] == "TN-1"], "zone")
            shops = await pages(client, "/v1/reports/wear?by=shop", "groups")
            assert {each["name"] for each in shops} == {"Shop N", None}
            assert sum(each["connectors"] for each in shops) == len(views)
            total = (await get(client, "/v1/reports/wear?by=bench&limit=1"))["total"]
            assert (total["connectors"], total["cavities"]) == (12, 24)
            assert total["discrepancies"] == (await get(client, "/v1/discrepancies"))["open"] > 0
            steps = (await get(client, "/v1/reports/cycles"))["groups"]
            begun = Counter((view["family"], each["cycles_begun"]) for view in views for each in view["cavities"])
            assert {(each["family"], each["cycles_begun"]): each["cavities"] for each in steps} == begun
            refused = await client.get("/v1/reports/wear?by=position&asset=TN-1")
            assert refused.status_code == 422
            assert refused.json()["errors"][0]["pointer"] == "?asset"

    run(work())


def check(groups: list[dict[str, Any]], views: list[dict[str, Any]], by: str) -> None:
    """Each group holds its connectors' cavities by their wear, and the worst come first."""
    assert {each["name"] for each in groups} == {each[by] for each in views}
    keys = [(-each["over"], -each["spent"], -each["nearing"], each["name"]) for each in groups]
    assert keys == sorted(keys)
    for group in groups:
        own = [each for each in views if each[by] == group["name"]]
        wears = Counter(each["wear"] for view in own for each in view["cavities"])
        assert group["connectors"] == len(own)
        assert {name: group[name] for name in wears} == wears
        assert group["cavities"] == sum(wears.values())


def test_retired_connectors_leave_the_reports(service: Started) -> None:
    """A retired connector is neither listed nor counted; what is open at it stays open."""

    async def work() -> None:
        async with service() as client:
            await fleet(client)
            before = (await get(client, "/v1/reports/wear?by=asset"))["total"]
            await post(client, entry("retirement", None, 300, "F-04"))
            after = (await get(client, "/v1/reports/wear?by=asset"))["total"]
            assert (after["connectors"], after["cavities"]) == (before["connectors"] - 1, before["cavities"] - 2)
            assert after["discrepancies"] == before["discrepancies"]
            for what in ("connectors", "cavities"):
                listed = await pages(client, f"/v1/reports/cycle-limits?of={what}", what)
                assert "F-04" not in {each["serial"] for each in listed}

    run(work())


def test_as_of_a_past_moment(service: Started, dsn: str) -> None:
    """What the lists said at a moment they say of it for ever, whatever is recorded, corrected or revised later."""

    async def work() -> None:
        async with service() as client:
            made = await fleet(client)
            listed = {}
            for what in ("connectors", "cavities"):
                listed[what] = await pages(client, f"/v1/reports/cycle-limits?of={what}", what)
            moment = await now(dsn)
            last = (await get(client, f"/v1/connectors/{made['F-04']}/entries?limit=500"))["entries"][-1]["id"]
            late = entry("insertion", "c", 0, "F-00")
            correction = entry("correction", None, 400, "F-04", corrects=last, note="typing error")
            more = [entry("tine_entry", "c", 200 + turn, "F-11") for turn in range(9)]
            await post(client, *more, late, correction, entry("placement", None, 500, "F-03", asset="TN-9"))
            await client.put(
                f"/v1/connectors/{made['F-02']}/rating", json={"rating": RATED | {"value": 1}, "reason": "x"}
            )
            await client.post("/v1/connectors", json=registration("F-99", history="unknown"))
            for what, then in listed.items():
                assert await pages(client, f"/v1/reports/cycle-limits?of={what}", what) != then
                found = await pages(client, f"/v1/reports/cycle-limits?of={what}&as_of={moment}", what)
                assert [each["connector"] for each in found] == sorted(each["connector"] for each in found)
                assert sorted(map(repr, found)) == sorted(map(repr, then))
                one = await pages(client, f"/v1/reports/cycle-limits?of={what}&as_of={moment}&asset=TN-0", what)
                assert one == [each for each in found if each["place"]["asset"] == "TN-0"]
            before = await get(client, "/v1/reports/cycle-limits?as_of=2001-01-01T00:00:00Z")
            assert (before["connectors"], before["next"]) == ([], None)
            assert (await client.get("/v1/reports/cycle-limits?as_of=1900-01-01T00:00:00Z")).status_code == 422

    run(work())


async def now(dsn: str) -> str:
    """This moment, as the service's clock has it, with no entry recorded at it later."""
    await asyncio.sleep(0.01)
    found = datetime.now(UTC).isoformat().replace("+00:00", "Z")
    await asyncio.sleep(0.01)
    assert dsn
    return found


def test_discrepancies_with_neighbours_and_ways_out(service: Started) -> None:
    """What is open shows its entry and what happened next to it; each way out takes it off the list, the worst come first."""

    async def work() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration("D-1", rating=RATED))
            work = [entry("insertion", "C", minute, "D-1", bench="Bench 1") for minute in range(5)]
            work += [entry("removal", "c", 7, "D-1"), entry("seating_test", "c", 8, "D-1")]
            await post(client, *work)
            shown = await pages(client, "/v1/discrepancies", "discrepancies")
            ranks = [["hold", "count", "record"].index(each["seriousness"]) for each in shown]
            assert ranks == sorted(ranks)
            assert Counter(each["code"] for each in shown) == {
                "over_rating": 2,
                "inserted_while_occupied": 4,
                "removed_while_empty": 1,
                "seating_test_of_empty": 1,
            }
            over = next(
                each for each in shown if each["entry"]["id"] == work[3]["id"] and each["code"] == "over_rating"
            )
            assert [each["id"] for each in over["before"]] == [work[2]["id"], work[1]["id"]]
            assert [each["id"] for each in over["after"]] == [work[4]["id"]]
            assert [each["way"] for each in over["ways"]] == ["correction", "renewal", "acceptance"]
            assert over["bench"] == "Bench 1"
            assert over["age_days"] >= 0
            only = await pages(client, "/v1/discrepancies?code=removed_while_empty", "discrepancies")
            assert [each["entry"]["id"] for each in only] == [work[5]["id"]]
            for code, way in (("removed_while_empty", "correction"), ("over_rating", "acceptance")):
                await resolve(client, code, way)
            left = Counter(each["code"] for each in await pages(client, "/v1/discrepancies", "discrepancies"))
            assert left == {"over_rating": 1, "inserted_while_occupied": 4, "seating_test_of_empty": 1}
            assert (await get(client, "/v1/discrepancies?limit=1"))["open"] == left.total()

    run(work())


async def resolve(client: httpx.AsyncClient, code: str, way: str) -> None:
    """Take one discrepancy off the list by sending the draft of a way out, completed by a person."""
    found = (await get(client, f"/v1/discrepancies?code={code}&limit=1"))["discrepancies"][0]
    draft = next(each["draft"] for each in found["ways"] if each["way"] == way)
    facts = {"id": str(uuid.uuid4()), "performed_at": "2026-11-20T10:00:00Z", "performed_by": "badge 204"}
    results = await post(client, draft | facts | {"note": "looked into"})
    assert [each["outcome"] for each in results] == ["recorded"]


def test_a_doubled_connector_is_merged(service: Started, dsn: str) -> None:
    """The proposal, sent as it stands, gives the other connector the double's cycles; twice sent, nothing is counted twice."""

    async def work() -> None:
        async with service() as client:
            one = (await client.post("/v1/connectors", json=registration("M-1", part_number="PN-1"))).json()["id"]
            two = (await client.post("/v1/connectors", json=registration("M-1", part_number=None))).json()["id"]
            await post(
                client, entry("insertion", "C", 0, one), entry("removal", "C", 2, two), entry("insertion", "C", 4, two)
            )
            shown = await pages(client, f"/v1/discrepancies?connector={two}", "discrepancies")
            assert [(each["code"], each["ways"][0]["way"]) for each in shown] == [("removed_while_empty", "merge")]
            assert shown[0]["ways"][0]["connectors"] == [one]
            address = f"/v1/connectors/{two}/merge?into={one}&by=badge%20204&reason=Registered%20twice"
            for _ in range(2):
                proposal = await get(client, address)
                sent = [each[name] for each in proposal["steps"] for name in ("correction", "fact") if each[name]]
                sent += [proposal["retirement"]] if proposal["retirement"] else []
                if sent:
                    await post(client, *sent)
            assert proposal["steps"] == []
            kept = await get(client, f"/v1/connectors/{one}")
            cavity = next(each for each in kept["cavities"] if each["id"] == "C")
            assert (cavity["cycles_begun"], cavity["cycles_completed"], cavity["occupied"]) == (2, 1, True)
            assert kept["discrepancies"] == []
            assert (await get(client, f"/v1/connectors/{two}"))["discrepancies"] == []
            assert (await get(client, "/v1/discrepancies"))["open"] == 0
            for wrong, status in ((two, 422), (uuid.uuid4(), 404)):
                reply = await client.get(f"/v1/connectors/{two}/merge?into={wrong}&by=x&reason=x")
                assert reply.status_code == status
        async with database.owner(dsn) as connection:
            assert not await connection.fetchval("select count(*) from tinebook.open_discrepancy")

    run(work())


def test_what_a_clock_ahead_dated_keeps_its_place_when_merged(service: Started) -> None:
    """A fact counts where it was recorded, and so it does in the other's ledger, recorded there much later."""

    async def work() -> None:
        async with service() as client:
            made = [registration("M-2", part_number=each) for each in ("PN-1", None)]
            one, two = [(await client.post("/v1/connectors", json=each)).json()["id"] for each in made]
            dated = (datetime.now(UTC) + timedelta(days=2)).isoformat()
            await post(client, entry("renewal", "C", 0, two) | {"performed_at": dated})
            proposal = await get(
                client, f"/v1/connectors/{two}/merge?into={one}&by=badge%20204&reason=Registered%20twice"
            )
            (step,) = proposal["steps"]
            assert step["fact"]["performed_at"] == step["entry"]["recorded_at"]
            assert f"dated {dated}" in step["fact"]["note"]

    run(work())


def test_benches_and_their_shops(service: Started) -> None:
    """A bench is put into a shop, into another one later, and listed by name."""

    async def work() -> None:
        async with service() as client:
            for name, shop in (("Bench 2", "Shop N"), ("Bench 1", "Shop S"), ("Bench 2", "Shop S")):
                assert (await client.put(f"/v1/benches/{name}", json={"shop": shop})).json()["key"] == name
            found = await pages(client, "/v1/benches", "benches")
            assert found == [{"name": "Bench 1", "shop": "Shop S"}, {"name": "Bench 2", "shop": "Shop S"}]

    run(work())
