"""A shop of the tests' own: its database, the service, the page's server, and what a test asks of them beside the page."""

from pathlib import Path
from typing import Any

import httpx

from tests.browser import programs

CAVITIES = ("1", "2", "C", "c")


class Site:
    """The service and the page's server in front of it. `token` is a bench's, as a device has it; `admin` opens all."""

    def __init__(self, dsn: str, tokens: dict[str, str], folder: Path) -> None:
        first, second = programs.free_ports(2)
        self.dsn, self.folder, self.token, self.admin = dsn, folder, tokens["bench"], tokens["admin"]
        self.service = programs.service(dsn, first, folder / "service.log")
        self.bench = programs.bench(self.service.address, second, folder / "bench.log")
        self._headers = {"Authorization": f"Bearer {tokens['admin']}"}
        self.service.ready("/health/ready")
        self.bench.ready()

    @property
    def address(self) -> str:
        """Where the page is."""
        return self.bench.address

    def close(self) -> None:
        """Stop both."""
        self.bench.stop()
        self.service.stop()

    def up(self) -> None:
        """Start again whichever of the two a test left down."""
        for each in (self.service, self.bench):
            if each.process.poll() is not None:
                each.start()
        self.service.ready("/health/ready")

    def ask(self, method: str, path: str, body: Any = None) -> Any:
        """One request to the service itself, by somebody who may do everything; it must succeed."""
        reply = httpx.request(
            method, f"{self.service.address}{path}", json=body, headers=self._headers, trust_env=False, timeout=30
        )
        assert reply.is_success, reply.text
        return reply.json()

    def register(self, serial: str, rating: int | None = 10, **more: Any) -> str:
        """A new connector with four cavities, two of which differ in case alone; its id."""
        cavities = [{"id": each, "contact_size": "20"} for each in CAVITIES]
        told: dict[str, Any] = {"serial": serial, "history": "new", "populated": False, "cavities": cavities}
        if rating is not None:
            told["rating"] = {"value": rating, "basis": "house"}
        return str(self.ask("POST", "/v1/connectors", told | more)["id"])

    def ledger(self, connector: str) -> list[dict[str, Any]]:
        """Every entry of a connector, in the order in which the ledger numbers them."""
        lines: list[dict[str, Any]] = []
        cursor = ""
        while True:
            page = self.ask("GET", f"/v1/connectors/{connector}/entries?limit=500{cursor}")
            lines += page["entries"]
            if page["next"] is None:
                return sorted(lines, key=lambda each: int(each["number"]))
            cursor = f"&cursor={page['next']}"

    def ids(self, connector: str) -> list[str]:
        """The ids of a connector's entries, in the order of the ledger."""
        return [each["id"] for each in self.ledger(connector)]
