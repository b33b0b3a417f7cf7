"""The shop's tools over HTTP: their list, and a check that has run out."""

from typing import Any

from service.workflow.access import Scope
from tests.api.test_recording import AT, entry, post, registration
from tests.conftest import Started, run

DAY = f"{AT:%Y-%m-%d}"


def test_the_list_says_what_each_tool_serves_and_until_when(service: Started) -> None:
    """A bench may read the list, page by page by mark; a tool that the catalogue does not know serves nothing."""

    async def work() -> None:
        async with service() as client:
            for mark, number, due in (
                ("T-2", "M81969/14-02", "2027-03-31"),
                ("T-1", "M81969/14-03", None),
                ("T-3", "X", None),
            ):
                body = {"part_number": number} | ({"due_on": due} if due else {})
                assert (await client.put(f"/v1/tools/{mark}", json=body)).json() == {"key": mark, "note": None}
        async with service(scopes=(Scope.BENCH,)) as client:
            first = (await client.get("/v1/tools?limit=2")).json()
            rest = (await client.get("/v1/tools", params={"limit": 2, "cursor": first["next"]})).json()
            assert [each["mark"] for each in first["tools"]] == ["T-1", "T-2"]
            assert ([each["mark"] for each in rest["tools"]], rest["next"]) == (["T-3"], None)
            assert [each["due_on"] for each in first["tools"]] == [None, "2027-03-31"]
            serves = first["tools"][1]["serves"]
            assert {each["half"] for each in serves} == {"insert", "remove"}
            assert all(each["contact_size"] and each["families"] and each["source"] for each in serves)
            assert rest["tools"][0]["serves"] == []
            assert (await client.put("/v1/tools/T-9", json={"part_number": "X"})).status_code == 403

    run(work())


def test_a_check_that_has_run_out(service: Started) -> None:
    """A plan with an overdue tool warns, and its use after the last day is noted; on the last day it is neither."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration())).json()
            plan = f"/v1/connectors/{made['id']}/plan"
            asked = {"steps": [{"action": "insert", "cavity": "C", "tool": "T-1"}]}

            async def answered(due_on: str | None) -> tuple[str, list[str]]:
                await client.put("/v1/tools/T-1", json={"part_number": "X", "due_on": due_on})
                step: dict[str, Any] = (await client.post(plan, json=asked)).json()["steps"][0]
                return step["answer"], [each["code"] for each in step["reasons"]]

            assert await answered("2000-01-01") == ("warn", ["tool_overdue"])
            assert await answered("2099-12-31") == ("go", [])
            assert await answered(None) == ("go", [])
            await answered(DAY)
            (fine,) = await post(client, entry("insertion", tool="T-1"))
            (late,) = await post(client, entry("removal", minute=24 * 60, tool="T-1"))
            (other,) = await post(client, entry("insertion", minute=24 * 60 + 1, tool="T-2"))
            assert fine["discrepancies"] == []
            assert late["discrepancies"] == ["tool_overdue"]
            assert other["discrepancies"] == ["unknown_tool"]
            assert (
                await client.put("/v1/tools/T-1", json={"part_number": "X", "due_on": "2026-02-30"})
            ).status_code == 422

    run(work())


def test_a_contact_is_judged(service: Started) -> None:
    """A contact of another size or sex is a no_go and is noted; one that can't be judged warns and is not noted."""

    async def work() -> None:
        async with service() as client:
            body: dict[str, Any] = {"serial": "EX-1", "part_number": "D38999/26WD19SN", "history": "new"}
            body |= {"rating": {"value": 10, "basis": "house"}}
            made = (await client.post("/v1/connectors", json=body)).json()
            cavity = made["cavities"][0]["id"]
            assert made["cavities"][0]["contact_size"] == "20"
            for contact, wanted in (
                ("AS39029/56-351", ("go", [])),
                ("M39029/56-351", ("go", [])),
                ("AS39029/56-348", ("no_go", ["wrong_contact"])),
                ("AS39029/58-363", ("no_go", ["wrong_contact"])),
                ("AS39029/57-357", ("warn", ["unknown_contact"])),
                ("wire 17", ("warn", ["unknown_contact"])),
            ):
                asked = {"steps": [{"action": "insert", "cavity": cavity, "contact": contact}]}
                step = (await client.post(f"/v1/connectors/{made['id']}/plan", json=asked)).json()["steps"][0]
                assert (step["answer"], [each["code"] for each in step["reasons"]]) == wanted, contact
                codes = ["wrong_contact"] if wanted[0] == "no_go" else []
                (done,) = await post(client, entry("insertion", cavity, contact=contact))
                assert (done["outcome"], done["discrepancies"]) == ("recorded", codes), contact
                await post(client, entry("correction", None, corrects=done["id"], note="for the test"))

    run(work())


def test_a_plan_names_the_ways_out(service: Started) -> None:
    """A no_go for a spent retainer comes with the ways out, each only if the approved data allow it."""

    async def work() -> None:
        async with service() as client:
            made = (await client.post("/v1/connectors", json=registration())).json()
            spent: dict[str, Any] = {"insertions": 10, "removals": 10, "source": "card", "occupied": False}
            await post(client, entry("carry_in", **spent))
            asked = {"steps": [{"action": "insert", "cavity": "C"}]}
            step = (await client.post(f"/v1/connectors/{made['id']}/plan", json=asked)).json()["steps"][0]
            free, renewal, replacement = step["ways"]
            assert free | {"text": ""} == {
                "way": "free_cavity",
                "cavity": "c",
                "wear": "within",
                "cycles": 0,
                "answer": "go",
                "needs": "a drawing change",
                "text": "",
            }
            assert (renewal["way"], renewal["cavity"]) == ("renewal", "C")
            assert replacement["way"] == "replacement"
            assert all("if the approved data allow it" in each["text"].lower() for each in step["ways"])
            fine = {"steps": [{"action": "insert", "cavity": "c"}]}
            answer = (await client.post(f"/v1/connectors/{made['id']}/plan", json=fine)).json()
            assert answer["steps"][0]["ways"] == []

    run(work())
