"""People and work orders, many at once: each kept as one alone would be."""

from typing import Any

import pytest

from service.workflow.access import Scope
from tests.conftest import Started, make_token, run
from tests.inbound.test_rows import events, put

PERSON: dict[str, Any] = {
    "badge": "117",
    "name": "R. Example",
    "certificate": {"number": "EX-4711", "kind": "repairman", "from_on": "2025-01-01"},
    "authorities": [{"what": "performs", "from_on": "2025-01-01"}],
}
ORDER: dict[str, Any] = {
    "number": "WO-1",
    "title": "Replace a contact",
    "asset": "TN-1",
    "reference": {"document": "Shop practice 7", "revision": "C", "task": "3.2"},
    "inspection_required": True,
    "steps": [{"act": "replace", "connector": "EX-1", "cavity": "C"}],
}
KEPT = [
    ("people", PERSON, PERSON | {"name": "R. Sample"}),
    ("people", PERSON, PERSON | {"authorities": [{"what": "inspects", "from_on": "2025-01-01"}]}),
    ("people", PERSON, PERSON | {"certificate": {"number": "EX-4712", "kind": "repairman", "from_on": "2026-01-01"}}),
    ("people", {"badge": "118", "name": "S. Example"}, {"badge": "118", "name": "T. Example"}),
    ("work-orders", ORDER, ORDER | {"title": "Replace two contacts"}),
    ("work-orders", ORDER, ORDER | {"steps": []}),
]


@pytest.mark.parametrize(("what", "row", "other"), KEPT)
def test_a_row_counts_once(service: Started, what: str, row: Any, other: Any) -> None:
    """New, the same again, another about the same: created, unchanged, changed; and what is kept is what one alone gives."""

    async def work() -> None:
        async with service() as client:
            assert await put(client, what, row) == ["created"]
            assert await put(client, what, row, row) == ["unchanged", "unchanged"]
            assert await put(client, what, other, other) == ["changed", "unchanged"]
            key = row.get("badge") or row["number"]
            kept = (await client.get(f"/v1/{what}/{key}")).json()
            assert (kept.get("name") or kept["order"]["title"]) == (other.get("name") or other["title"])

    run(work())


def test_one_refused_row_does_not_sink_the_others(service: Started) -> None:
    """What the operation for one refuses is refused of its row alone, pointing at it, and leaves nothing behind."""
    halved = {"badge": "119", "name": "U. Example", "certificate": {"number": "EX-1", "from_on": "2025-01-01"}}
    ends = {
        "badge": "120",
        "name": "V.",
        "authorities": [{"what": "performs", "from_on": "2025-02-01", "until_on": "2025-01-01"}],
    }

    async def work() -> None:
        async with service() as client:
            reply = await client.put(
                "/v1/people", json={"rows": [PERSON, halved, ends, {"badge": "121", "name": "W. Example"}]}
            )
            results = reply.json()["results"]
            assert [each["outcome"] for each in results] == ["created", "refused", "refused", "created"]
            assert results[1]["problem"]["errors"][0]["pointer"] == "#/rows/1/certificate"
            assert results[2]["problem"]["errors"][0]["pointer"] == "#/rows/2/authorities/0/until_on"
            listed = (await client.get("/v1/people")).json()["people"]
            assert [each["badge"] for each in listed] == ["117", "121"]
            assert await put(client, "work-orders", ORDER, {"number": "WO-2"}, ORDER | {"number": "WO-3"}) == [
                "created",
                "refused",
                "created",
            ]
            assert len(await events(client, "work_order.stated")) == 2

    run(work())


def test_authority_is_for_an_administrator_to_say(service: Started, dsn: str) -> None:
    """A planner's token says names; rows that say more of people are refused, and the others kept."""

    async def work() -> None:
        async with service() as client:
            headers = {"Authorization": f"Bearer {await make_token(dsn, Scope.PLANNER)}"}
            rows = [PERSON, {"badge": "118", "name": "S. Example"}]
            reply = await client.put("/v1/people", json={"rows": rows}, headers=headers)
            first, second = reply.json()["results"]
            assert (first["outcome"], first["problem"]["status"], second["outcome"]) == ("refused", 403, "created")

    run(work())
