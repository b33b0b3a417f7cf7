"""What the tests of webhooks share: a receiver that runs beside them, and a service that delivers quickly."""

import asyncio
import ipaddress
import json
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self, cast

import httpx
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from scanner_client import authority
from service import app, settings
from service.workflow.access import Scope
from service.workflow.delivering import Pace
from tests.conftest import make_token

ROOT = Path(__file__).resolve().parents[2]
QUICK = Pace(look_s=0.02, lead_s=0.05, delays_s=(0.05,) * 40)
PATIENCE_S = 60.0
LOOPBACK = "127.0.0.0/8"


class Receiver:
    """The program that receives, as the tests see it."""

    def __init__(self, folder: Path, certificate: Path | None = None) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder
        self.mode("fine")
        command = [sys.executable, "-m", "tests.feed.receiver", str(folder)]
        command += ["--certificate", str(certificate)] if certificate is not None else []
        self.process = subprocess.Popen(command, cwd=ROOT)
        self.scheme = "http" if certificate is None else "https"

    def __enter__(self) -> Self:
        until = time.monotonic() + PATIENCE_S
        while not (self._folder / "port").exists():
            assert self.process.poll() is None, "the receiver ended"
            assert time.monotonic() < until, "the receiver does not start"
            time.sleep(0.02)
        self.port = int((self._folder / "port").read_text())
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()

    def mode(self, mode: str) -> None:
        """How it is to answer from now on."""
        (self._folder / "mode.new").write_text(mode)
        (self._folder / "mode.new").rename(self._folder / "mode")

    def url(self, host: str = "127.0.0.1") -> str:
        """Where it is to be called."""
        return f"{self.scheme}://{host}:{self.port}/hook"

    @property
    def calls(self) -> list[dict[str, Any]]:
        """Every call that arrived so far."""
        kept = self._folder / "calls.ndjson"
        lines = kept.read_text().split("\n") if kept.exists() else []
        return [json.loads(each) for each in lines[:-1]]

    @property
    def events(self) -> list[dict[str, Any]]:
        """The events of those calls."""
        return [json.loads(each["body"]) for each in self.calls]


@asynccontextmanager
async def delivering(
    dsn: str, pace: Pace = QUICK, scopes: tuple[Scope, ...] = (Scope.ADMIN,), **changes: Any
) -> AsyncIterator[httpx.AsyncClient]:
    """A client of a running service that may call receivers on this machine, and looks for news all the time."""
    told: dict[str, Any] = {"webhook_networks": LOOPBACK, "webhook_timeout_s": 1.0} | changes
    config = settings.Settings(dsn=dsn, **told)
    token = await make_token(dsn, *scopes)
    built = app.build_app(config, pace)
    async with built.lifespan():
        transport = httpx.ASGITransport(app=cast("Any", built), raise_app_exceptions=False)
        headers = {"Authorization": f"Bearer {token}"}
        async with httpx.AsyncClient(transport=transport, base_url="http://tinebook", headers=headers) as client:
            yield client


async def until(true: Callable[[], bool]) -> None:
    """Wait for something that another program or the background brings about."""
    async with asyncio.timeout(PATIENCE_S):
        while not true():  # noqa: ASYNC110 - another program's doing
            await asyncio.sleep(0.02)


class Webhook:
    """A webhook through the API."""

    def __init__(self, client: httpx.AsyncClient, made: dict[str, Any]) -> None:
        self._client = client
        self.id, self.secret = made["webhook"]["id"], made["secret"]
        self.path = f"/v1/webhooks/{self.id}"

    @classmethod
    async def made(cls, client: httpx.AsyncClient, url: str, **more: Any) -> Self:
        """A new one."""
        reply = await client.post("/v1/webhooks", json={"url": url} | more)
        assert reply.status_code == 201, reply.text
        return cls(client, reply.json())

    async def view(self) -> dict[str, Any]:
        """How it fares."""
        found: dict[str, Any] = (await self._client.get(self.path)).json()
        return found

    async def log(self) -> list[dict[str, Any]]:
        """Its log, oldest first."""
        found: list[dict[str, Any]] = (await self._client.get(f"{self.path}/deliveries?limit=500")).json()["deliveries"]
        return found[::-1]

    async def shows(self, true: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """Wait until its view says something."""
        async with asyncio.timeout(PATIENCE_S):
            while not true(found := await self.view()):  # noqa: ASYNC110 - the background's doing
                await asyncio.sleep(0.02)
        return found

    async def told_all(self) -> None:
        """Wait until nothing is left to tell."""
        await self.shows(lambda view: view["behind"] == 0)


def certificate(folder: Path, host: str) -> tuple[Path, Path]:
    """A certificate with its key for a host, and the authority that it is from, in PEM files."""
    names = authority.Names((host,), (ipaddress.ip_address("127.0.0.1"),))
    times = authority.days_from(datetime.now(UTC), 2)
    root_key, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    root = authority.root(names, root_key, x509.random_serial_number(), times)
    signer = authority.Authority(root, root_key)
    leaf = authority.leaf(names, key.public_key(), signer, x509.random_serial_number(), times)
    pem = serialization.Encoding.PEM
    private = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "receiver.pem").write_bytes(leaf.public_bytes(pem) + private)
    (folder / "authority.pem").write_bytes(root.public_bytes(pem))
    return folder / "receiver.pem", folder / "authority.pem"
