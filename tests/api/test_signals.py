"""The signals over HTTP: what counts as what, who may ask about people, and pages."""

from datetime import UTC, datetime
from typing import Any

import httpx

from service.store import database
from service.workflow import signals as workflow
from service.workflow.access import Scope
from tests.api.test_contract import pages
from tests.api.test_recording import entry, post, registration
from tests.conftest import Started, run

SINCE = {"since": "2026-10-01T00:00:00Z", "until": "2026-11-24T00:00:00Z"}
DAY = 24 * 60


async def signals(client: httpx.AsyncClient, about: str, **more: Any) -> dict[str, Any]:
    """The answer to a question about the weeks of these tests."""
    reply = await client.get("/v1/reports/signals", params={"about": about, **SINCE, **more})
    assert reply.status_code == 200, reply.text
    found: dict[str, Any] = reply.json()
    return found


def counted(report: dict[str, Any]) -> dict[str, tuple[int, float]]:
    """Of each unit what was observed and in how much."""
    return {
        f"{each['name']} {each['role'] or ''}".strip(): (each["observed"], round(each["of"], 2))
        for each in report["signals"]
    }


def turn(minute: float, serial: str = "EX-1", *, held: bool = True, **more: Any) -> list[dict[str, Any]]:
    """A contact out, in, and tested."""
    tools = {key: more.pop(key) for key in ("out", "into") if key in more}
    return [
        entry("removal", "C", minute, serial, tool=tools.get("out", "R-1"), **more),
        entry("insertion", "C", minute + 1, serial, tool=tools.get("into", "I-1"), **more),
        entry("seating_test", "C", minute + 2, serial, held=held, bench="Bench 1"),
    ]


def test_seating_counts_each_tested_insertion_once(service: Started) -> None:
    """A second test of an insertion is part of the first, a look that is not level failed, what was wrong is left out."""

    async def work() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration(populated=True))
            wrong = turn(40, held=False, into="I-9", out="R-9")
            await post(
                client,
                *turn(0, held=False, out="R-2"),
                entry("seating_test", "C", 4, held=True, bench="Bench 2"),
                *turn(10, into="I-2"),
                entry("seating_test", "C", 14, level=False, bench="Bench 1"),
                *turn(20),
                entry("removal", "C", 30, tool="R-1"),
                entry("insertion", "C", 31, tool="I-1"),
                *wrong,
                *(entry("correction", "C", 50, corrects=each["id"], note="other connector") for each in wrong),
            )
            assert counted(await signals(client, "tool")) == {
                "R-2 removal": (1, 1),
                "R-1 removal": (1, 2),
                "I-1 insertion": (1, 2),
                "I-2 insertion": (1, 1),
            }
            assert counted(await signals(client, "bench")) == {"Bench 1": (2, 3)}
            assert counted(await signals(client, "tool", asset="TN-9")) == {}

    run(work())


def test_contacts_are_compared_within_their_size(service: Started) -> None:
    """The size is that of the cavity in the definition, whatever characters its id has."""
    ids = {"C": "20", "c": "16", '"\\é': "22D"}

    async def work() -> None:
        async with service() as client:
            cavities = [{"id": each, "contact_size": size} for each, size in ids.items()]
            await client.post("/v1/connectors", json=registration(cavities=cavities))
            acts = []
            for each, size in ids.items():
                acts.append(entry("insertion", each, 1, contact=f'M39029/"é" \\ {size}', tool="I-1"))
                acts.append(entry("seating_test", each, 2, held=True))
            await post(client, *acts)
            found = (await signals(client, "batch"))["signals"]
            assert {each["name"]: each["group"] for each in found} == {
                f'M39029/"é" \\ {size}': f"contact size {size}" for size in ids.values()
            }

    run(work())


def test_a_position_keeps_its_history(service: Started) -> None:
    """Trouble counts where the connector sat then; a programme on three assets does not count, nor one work twice in a week."""

    async def work() -> None:
        async with service() as client:
            for number in range(4):
                serial = f"EX-{number}"
                await client.post("/v1/connectors", json=registration(serial, populated=True))
                place = {"asset": f"TN-{number}", "zone": "Z", "position": "P1"}
                work = [entry("placement", None, 0, serial, **place), *turn(1 * DAY, serial, work_order="MOD-1")]
                if number == 0:
                    work += [*turn(2 * DAY, serial), *turn(11 * DAY, serial, work_order="WO-2")]
                    work += [entry("placement", None, 12 * DAY, serial, position="Quarantine cage")]
                    work += turn(20 * DAY, serial)
                if number == 1:
                    work += [*turn(3 * DAY, serial), entry("finding", "C", 6 * DAY, serial, note="low", blocks=False)]
                await post(client, *work)
            chronic, position = await signals(client, "chronic"), await signals(client, "position")
            # From 2 November 08:00: three of them up to the end of the stretch of time, one for twelve days.
            years = round((3 * (21 + 16 / 24) + 12) / 365.25, 2)
            assert counted(chronic) == {"P1": (1, years)}
            assert counted(position) == {"P1": (2, years)}
            assert position["says"].startswith("Nothing stands out, and there is nothing to compare.")
            connector = await signals(client, "connector")
            assert {name: seen for name, (seen, _) in counted(connector).items()} == {"EX-0": 3, "EX-1": 1}
            assert connector["units"] == 4
            assert any("programme" in each for each in connector["left_out"])
            assert {each["connector"] for each in connector["signals"]} <= {
                each["id"] for each in (await client.get("/v1/connectors")).json()["connectors"]
            }

    run(work())


def test_readings_begin_anew_with_a_retainer(service: Started) -> None:
    """Forces are compared within one retainer's life, over insertions."""

    async def work() -> None:
        async with service() as client:
            await client.post("/v1/connectors", json=registration(family="F-A"))
            forces = [60.0, 58.0, 55.0, 53.0, 51.0]
            acts = []
            for number, force_n in enumerate(forces):
                acts += turn(10 * number)[1:2]
                acts.append(entry("seating_test", "C", 10 * number + 2, force_n=force_n, held=True))
                acts.append(entry("removal", "C", 10 * number + 3))
            acts.append(entry("renewal", "C", 60))
            for number, force_n in enumerate((66.0, 66.0)):
                acts += turn(70 + 10 * number)[1:2]
                acts.append(entry("seating_test", "C", 72 + 10 * number, force_n=force_n, held=True))
                acts.append(entry("removal", "C", 73 + 10 * number))
            await post(client, *acts)
            (line,) = (await signals(client, "retention"))["signals"]
            assert (line["observed"], line["of"], line["group"]) == (7, 2, "F-A")
            assert line["effect"] < -2
            assert "fall by" in line["says"]

    run(work())


def test_people_are_asked_about_by_an_administrator_only(service: Started) -> None:
    """A planner is refused; the answer says what it can't show; nothing else names anybody."""

    async def work() -> None:
        async with service(scopes=(Scope.PLANNER,)) as planner:
            refused = await planner.get("/v1/reports/signals", params={"about": "person"})
            assert refused.status_code == 403
            assert (await planner.get("/v1/reports/signals", params={"about": "tool"})).status_code == 200
        async with service() as admin:
            await admin.post("/v1/connectors", json=registration(populated=True))
            await post(admin, *turn(0), *turn(10, held=False))
            report = await signals(admin, "person")
            assert counted(report) == {"badge 117": (1, 2)}
            assert any("no basis for judging a person" in each for each in report["cannot_show"])
            for about in ("tool", "bench", "batch", "connector", "position", "chronic", "family", "retention"):
                reply = await admin.get("/v1/reports/signals", params={"about": about, **SINCE})
                assert "badge 117" not in reply.text

    run(work())


def test_what_makes_no_sense_is_refused(service: Started) -> None:
    """A stretch of time that ends before it begins, one that no entry can have, and a question that is none."""

    async def work() -> None:
        async with service() as client:
            for query in (
                "about=tool&since=2026-11-02T00:00:00Z&until=2026-11-01T00:00:00Z",
                "about=tool&since=0001-01-01T00:00:00Z",
                "about=weather",
                "",
            ):
                assert (await client.get(f"/v1/reports/signals?{query}")).status_code == 422, query

    run(work())


def test_pages_give_each_unit_once_and_a_bad_tool_stands_out(service: Started) -> None:
    """Page by page it is the same list, the clearest first; forty failures after one tool in sixty uses of five are shown."""

    async def work() -> None:
        async with service() as client:
            await client.post(
                "/v1/connectors", json=registration(populated=True, rating={"value": 1000, "basis": "house"})
            )
            acts = []
            for number in range(300):
                into = f"I-{number % 5}"
                bad = into == "I-3" and number % 15 != 3
                acts += turn(5 * number, into=into, out="R-1", held=not bad and number % 50 != 0)
            await post(client, *acts)
            whole = await signals(client, "tool")
            (first, *_), shown = whole["signals"], await signals(client, "tool", verdict="shown")
            assert (first["name"], first["role"], first["verdict"]) == ("I-3", "insertion", "shown")
            assert whole["shown"] == len(shown["signals"]) == 1
            assert shown["says"].startswith("One stands out: I-3 (insertion).")
            assert first["effect_low"] > 5
            assert first["q_value"] < 0.001
            query = "&".join(f"{key}={value}" for key, value in ({"about": "tool"} | SINCE).items())
            paged = await pages(client, f"/v1/reports/signals?{query}", "signals")
            assert paged == whole["signals"]

    run(work())


def test_a_large_fleet_s_answer_is_the_one_of_the_day(service: Started, dsn: str) -> None:
    """What took long is answered from what is kept, whole or page by page, until it is old; a part of the fleet always anew."""

    async def work() -> None:
        async with service() as client, database.owner(dsn) as owner:
            await client.post("/v1/connectors", json=registration(populated=True))
            await post(client, *turn(0, held=False, out="R-2"), *turn(10, into="I-2"), *turn(20))
            now = (await client.get("/v1/reports/signals?about=tool")).json()
            assert len(now["signals"]) == 4
            await workflow.keep(owner, "tool", datetime.now(UTC))
            await post(client, *turn(30, out="R-7"))
            quick = (await client.get("/v1/reports/signals?about=tool")).json()
            assert len(quick["signals"]) == 5
            await owner.execute("update tinebook.signal_answer set took_s = 60")
            kept = (await client.get("/v1/reports/signals?about=tool")).json()
            assert [kept["signals"], kept["says"]] == [now["signals"], now["says"]]
            paged = await pages(client, "/v1/reports/signals?about=tool&limit=1", "signals")
            assert paged == kept["signals"]
            few = (await client.get("/v1/reports/signals?about=tool&verdict=too_little&limit=2")).json()
            assert [each["verdict"] for each in few["signals"]] == ["too_little"] * 2
            fresh = (await client.get("/v1/reports/signals?about=tool&since=2020-01-01T00:00:00Z")).json()
            assert len(fresh["signals"]) == 5
            await owner.execute("update tinebook.signal_answer set until = until - interval '37 hours'")
            assert len((await client.get("/v1/reports/signals?about=tool")).json()["signals"]) == 5

    run(work())
