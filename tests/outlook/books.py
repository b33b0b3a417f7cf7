"""A small fleet on the books for the tests of the outlook: what was recorded, and when its outlook is computed."""

import uuid
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx

from service import outlook_messages as messages
from service.core.outlook.prior import Exposure
from service.store import database
from service.workflow import outlook_runs
from tests.api.test_recording import post

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
BEGAN = datetime(2024, 11, 25, 12, 0, tzinfo=UTC)
"""Two years before now the first placements were made."""


async def register(client: httpx.AsyncClient, serial: str, cavities: str = "ABCD", **more: Any) -> str:
    """A connector of these cavities, rated 10 and its history known unless said otherwise; its id."""
    made = {
        "serial": serial,
        "history": "new",
        "populated": True,
        "part_number": "EX-100",
        "family": "house",
        "cavities": [{"id": each, "contact_size": "20"} for each in cavities],
        "rating": {"value": 10, "basis": "house"},
    }
    reply = await client.post("/v1/connectors", json=made | more)
    assert reply.status_code == 201, reply.text
    found: str = reply.json()["id"]
    return found


def entry(kind: str, serial: str, days: float, cavity: str | None = None, **more: Any) -> dict[str, Any]:
    """One entry, so many days after the beginning."""
    made = {
        "id": str(uuid.uuid4()),
        "connector": serial,
        "kind": kind,
        "performed_at": (BEGAN + timedelta(days=days)).isoformat(),
        "performed_by": "badge 117",
    }
    return made | ({"cavity": cavity} if cavity else {}) | more


def placed(serial: str, asset: str | None, days: float = 0, zone: str = "410") -> dict[str, Any]:
    """A placement on an asset, or off any."""
    return entry("placement", serial, days, **({"asset": asset, "zone": zone} if asset else {"zone": "store"}))


def reworked(serial: str, cavities: str, days: float, **more: Any) -> list[dict[str, Any]]:
    """A rework of some cavities: each contact out, and in again a minute later."""
    return [
        entry(kind, serial, days + minute / 1440, cavity, **more)
        for place, cavity in enumerate(cavities)
        for minute, kind in ((2 * place, "removal"), (2 * place + 1, "insertion"))
    ]


async def record(client: httpx.AsyncClient, entries: Sequence[dict[str, Any]]) -> None:
    """Record entries, however many."""
    for first in range(0, len(entries), 1000):
        results = await post(client, *entries[first : first + 1000])
        assert {each["outcome"] for each in results} == {"recorded"}


async def flown(client: httpx.AsyncClient, asset: str, a_day: float = 8.0) -> None:
    """State two years of usage of an asset, month by month: its life before, then so many hours a day."""
    rows = [{"asset": asset, "day": (BEGAN - timedelta(days=1)).date().isoformat(), "flight_hours": 20_000.0}]
    rows += [
        {"asset": asset, "day": (BEGAN + timedelta(days=days - 1)).date().isoformat(), "flight_hours": 30 * a_day}
        for days in range(30, 721, 30)
    ]
    reply = await client.put("/v1/usage", json={"rows": rows})
    assert {each["outcome"] for each in reply.json()["results"]} == {"recorded"}, reply.text


async def compute(dsn: str, exposure: Exposure = Exposure.FLIGHT_HOURS) -> messages.Rested:
    """Compute the outlook as of now."""
    connection = await database.service_connection(dsn)
    try:
        return await outlook_runs.compute(connection, exposure, "test", lambda: NOW, lambda *_: None)
    finally:
        await connection.close()
