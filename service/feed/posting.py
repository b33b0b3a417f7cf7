"""One signed call of a receiver: to an address that was looked at first, within a time, following nothing."""

import asyncio
import socket
import time
from collections.abc import Mapping
from datetime import datetime
from http import HTTPStatus
from pathlib import Path
from typing import Literal

import httpx
from msgspec import Struct

from service.feed import addresses, events, schedule
from service.feed.addresses import Network, Target

Outcome = Literal["delivered", "failed", "refused", "gone"]
"""`refused`: the address may not be called, so nothing was sent. `gone`: the receiver wants no more calls."""


class Attempt(Struct, frozen=True, kw_only=True):
    """What came of a call: the receiver's status if it gave one, a sentence, and the seconds it asks to be left alone."""

    outcome: Outcome
    took_ms: int
    detail: str
    status: int | None = None
    asked_s: float | None = None


class _RefusedError(Exception):
    """The address may not be called."""


class Caller:
    """Calls receivers. Holds what TLS trusts, which private networks may be called, and how long a call may take."""

    def __init__(self, networks: tuple[Network, ...], authority: Path | None, timeout_s: float) -> None:
        self._networks = networks
        self._timeout_s = timeout_s
        self._trusted = httpx.create_ssl_context()
        if authority is not None:
            self._trusted.load_verify_locations(authority)

    async def post(self, url: str, headers: Mapping[str, str], body: bytes, now: datetime) -> Attempt:
        """Send a body and say what came of it. Never raises: whatever goes wrong is the attempt's outcome."""
        begun = time.monotonic()
        try:
            async with asyncio.timeout(self._timeout_s):
                status, retry_after = await self._sent(url, headers, body)
        except TimeoutError:
            return _failed(begun, f"no answer within {self._timeout_s:g} s")
        except _RefusedError as error:
            return Attempt(outcome="refused", took_ms=_since_ms(begun), detail=str(error))
        except (httpx.HTTPError, httpx.InvalidURL, OSError, ValueError) as error:
            return _failed(begun, f"{type(error).__name__}: {error}"[:200])
        return _judged(begun, status, schedule.asked_s(retry_after, now))

    async def _sent(self, url: str, headers: Mapping[str, str], body: bytes) -> tuple[int, str | None]:
        found = addresses.target(url)
        if isinstance(found, str):
            raise _RefusedError(found)
        *others, last = await self._addresses(found)
        # No connection is kept: one that was proven to be a host's could otherwise serve another host at the same address.
        limits = httpx.Limits(max_keepalive_connections=0)
        transport = httpx.AsyncHTTPTransport(verify=self._trusted, trust_env=False, limits=limits)
        async with httpx.AsyncClient(transport=transport, trust_env=False, timeout=self._timeout_s) as client:
            for each in others:
                try:
                    return await _asked(client, url, found, each, headers, body)
                except httpx.ConnectError:
                    continue
            return await _asked(client, url, found, last, headers, body)

    async def _addresses(self, found: Target) -> list[str]:
        """The addresses of a host. Where one of them may not be called, none is."""
        loop = asyncio.get_running_loop()
        known = await loop.getaddrinfo(found.host, found.port, type=socket.SOCK_STREAM)
        every = list(dict.fromkeys(str(each[4][0]) for each in known))
        for each in every:
            refusal = addresses.refusal(found, each, self._networks)
            if refusal is not None:
                raise _RefusedError(refusal)
        return every


async def _asked(
    client: httpx.AsyncClient, url: str, found: Target, address: str, headers: Mapping[str, str], body: bytes
) -> tuple[int, str | None]:
    """Status and wish of the receiver at the very address that was looked at; a name could lead elsewhere the next time.

    Its body is not read: it says nothing that matters, and could be without end.
    """
    sent = {
        **headers,
        "Host": found.authority,
        "Content-Type": f"{events.MEDIA_TYPE}; charset=utf-8",
        "User-Agent": "Tinebook",
    }
    at_address = httpx.URL(url).copy_with(host=address)
    told = {"sni_hostname": found.host}
    async with client.stream("POST", at_address, headers=sent, content=body, extensions=told) as response:
        return response.status_code, response.headers.get("retry-after")


def _judged(begun: float, status: int, asked_s: float | None) -> Attempt:
    """Only 2xx is a success; a redirect is none and is not followed; 410 means never again (Standard Webhooks)."""
    took_ms = _since_ms(begun)
    if HTTPStatus.OK <= status < HTTPStatus.MULTIPLE_CHOICES:
        return Attempt(outcome="delivered", took_ms=took_ms, status=status, detail="taken")
    if status == HTTPStatus.GONE:
        return Attempt(outcome="gone", took_ms=took_ms, status=status, detail="the receiver wants no more calls")
    if HTTPStatus.MULTIPLE_CHOICES <= status < HTTPStatus.BAD_REQUEST:
        return Attempt(
            outcome="failed",
            took_ms=took_ms,
            status=status,
            detail="a redirect, which is not followed",
            asked_s=asked_s,
        )
    return Attempt(outcome="failed", took_ms=took_ms, status=status, detail=f"answered {status}", asked_s=asked_s)


def _failed(begun: float, detail: str) -> Attempt:
    return Attempt(outcome="failed", took_ms=_since_ms(begun), detail=detail)


def _since_ms(begun: float) -> int:
    return int((time.monotonic() - begun) * 1_000)
