"""A small invented shop for the tests: a connector, people with authority and secrets, and work carried through its states."""

import uuid
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime, timedelta, timezone
from typing import Any

import httpx

from tests.conftest import Started

AT = datetime(2026, 11, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))
"""Where the shop is, clocks are an hour before UTC."""
ORDER = "WO-2026-0412"
TECHNICIAN, INSPECTOR, APPROVER = "badge 117", "badge 204", "badge 301"
SECRET = "known to one person only"  # noqa: S105 - of people who do not exist
PEOPLE = {
    TECHNICIAN: ("T. Example", None, ("performs", "inspects")),
    INSPECTOR: ("I. Example", ("EX-204", "inspector"), ("inspects",)),
    APPROVER: ("A. Example", ("EX-301", "repairman"), ("approves", "performs")),
}
RATING = {"value": 10, "basis": "house", "document": "Shop practice 7", "revision": "C", "paragraph": "4.2"}
PLAN = {
    "title": "Replace the contact in cavity C",
    "asset": "EX-01",
    "reference": {"document": "Shop practice 7", "revision": "C", "task": "4.2"},
    "inspection_required": True,
    "steps": [{"act": "replace", "connector": "EX-1", "cavity": "C"}],
}


class Shop:
    """What the tests do, through the API alone."""

    def __init__(self, client: httpx.AsyncClient) -> None:
        self.client = client

    async def register(self, serial: str = "EX-1", **changes: Any) -> str:
        """A connector with the cavities C and c, a contact in each; its id."""
        told = {
            "serial": serial,
            "cage": "0CVA5",
            "part_number": "D38999/26WE35SN",
            "history": "new",
            "populated": True,
            "cavities": [{"id": each, "contact_size": "22D"} for each in ("C", "c")],
            "rating": RATING,
        }
        reply = await self.client.post("/v1/connectors", json=told | changes)
        assert reply.status_code == 201, reply.text
        found: str = reply.json()["id"]
        return found

    async def hire(self, *badges: str) -> None:
        """Put these people, or all, on the list, with authority and a secret of their own."""
        for badge in badges or PEOPLE:
            name, certificate, roles = PEOPLE[badge]
            told: dict[str, Any] = {
                "name": name,
                "authorities": [{"what": each, "from_on": "2020-01-01"} for each in roles],
            }
            if certificate is not None:
                number, kind = certificate
                told["certificate"] = {"number": number, "kind": kind, "from_on": "2020-01-01"}
            await self._said("PUT", f"/v1/people/{badge}", told)
            await self._said("POST", f"/v1/people/{badge}/secret", {"secret": "to be changed"})
            await self._said("PUT", f"/v1/people/{badge}/secret", {"old": "to be changed", "new": SECRET})

    async def _said(self, method: str, path: str, told: dict[str, Any]) -> None:
        reply = await self.client.request(method, path, json=told)
        assert reply.is_success, reply.text

    async def plan(self, number: str = ORDER, **changes: Any) -> dict[str, Any]:
        """State an order."""
        reply = await self.client.put(f"/v1/work-orders/{number}", json=PLAN | changes)
        assert reply.is_success, reply.text
        found: dict[str, Any] = reply.json()
        return found

    async def do(
        self, *kinds: str, cavity: str | None = "C", minute: float = 0, serial: str = "EX-1", **more: Any
    ) -> list[str]:
        """Record steps a minute apart; their ids."""
        made = [
            {
                "id": str(uuid.uuid4()),
                "connector": serial,
                "kind": kind,
                "performed_at": (AT + timedelta(minutes=minute + at)).isoformat(),
                "performed_by": TECHNICIAN,
                "work_order": ORDER,
            }
            | ({"cavity": cavity} if cavity else {})
            | more
            for at, kind in enumerate(kinds)
        ]
        reply = await self.client.post("/v1/entries", json={"entries": made})
        assert {each["outcome"] for each in reply.json()["results"]} == {"recorded"}, reply.text
        return [each["id"] for each in made]

    async def order(self, number: str = ORDER) -> dict[str, Any]:
        """An order as it stands."""
        reply = await self.client.get(f"/v1/work-orders/{number}")
        assert reply.status_code == 200, reply.text
        found: dict[str, Any] = reply.json()
        return found

    async def state(self, number: str = ORDER) -> str:
        """The state of an order."""
        found: str = (await self.order(number))["state"]
        return found

    async def statement(self, number: str = ORDER) -> dict[str, Any]:
        """What there is to sign of an order."""
        reply = await self.client.get(f"/v1/work-orders/{number}/statement")
        assert reply.status_code == 200, reply.text
        found: dict[str, Any] = reply.json()
        return found

    async def try_sign(self, meaning: str, badge: str, number: str = ORDER, **more: Any) -> httpx.Response:
        """Sign an order as it is shown now, and see what comes of it."""
        told = {
            "subject": "work_order",
            "reference": number,
            "statement": await self.statement(number),
            "meaning": meaning,
            "badge": badge,
            "secret": SECRET,
        }
        return await self.client.post("/v1/signatures", json=told | more)

    async def sign(self, meaning: str, badge: str, number: str = ORDER, **more: Any) -> dict[str, Any]:
        """Sign an order as it is shown now."""
        reply = await self.try_sign(meaning, badge, number, **more)
        assert reply.status_code == 201, reply.text
        found: dict[str, Any] = reply.json()
        return found

    async def close(self, number: str = ORDER) -> None:
        """Inspect and approve what was done."""
        await self.sign("inspected", INSPECTOR, number)
        await self.sign("approved", APPROVER, number)

    async def record(self, number: str = ORDER, **more: Any) -> dict[str, Any]:
        """Make the record of a closed order."""
        reply = await self.client.post("/v1/records", json={"work_order": number} | more)
        assert reply.is_success, reply.text
        found: dict[str, Any] = reply.json()
        return found


@asynccontextmanager
async def opened(service: Started, **registered: Any) -> AsyncIterator[Shop]:
    """A shop with its people, one connector, and an order planned."""
    async with service(**CHEAP) as client:
        shop = Shop(client)
        await shop.hire()
        await shop.register(**registered)
        await shop.plan()
        yield shop


CHEAP: dict[str, Any] = {"argon2_passes": 1, "argon2_memory_kib": 64, "argon2_lanes": 1}
"""A hash that costs nothing: what is tested here is not the secret."""
