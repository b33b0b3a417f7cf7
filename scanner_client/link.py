"""The HTTP calls to the service, typed with its own messages; patience, and what each failure means."""

import random
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from email.utils import parsedate_to_datetime
from typing import TypeVar
from uuid import UUID

import httpx
import msgspec
from msgspec import Struct

from scanner_client.readings import Reading
from service import messages
from service.core.entries import Entry
from service.messages import (
    ConnectorLine,
    ConnectorList,
    ConnectorView,
    EntriesReply,
    EntryPlace,
    PlanView,
    Problem,
    ScanView,
    Snapshot,
)
from service.reference_messages import ShopToolList, ShopToolView

T = TypeVar("T")

MOST_AT_ONCE = 100
"""Entries in one request: small enough that a slow line gets it through within the time allowed."""
MOST_ANSWER_BYTES = 16_000_000
MOST_LISTED = 5_000
_A_PAGE = "500"

_BUSY = frozenset({429, 500, 502, 503, 504})
_DENIED = frozenset({401, 403})


class AwayError(Exception):
    """The service can't be reached or is too busy. Everything that waits, waits on."""


class DeniedError(Exception):
    """The service does not accept this bench's token. Everything that waits, waits on."""


class RejectedError(Exception):
    """The service understood the request and says no; `problem` says why."""

    def __init__(self, problem: Problem) -> None:
        """Keep the problem; its detail is the text."""
        super().__init__(problem.detail or problem.title)
        self.problem = problem


class GarbledError(Exception):
    """The answer is not one of this API: a wrong address, a proxy's page, or another version."""


class Patience(Struct, frozen=True):
    """How often and how long to try. Times in seconds."""

    attempts: int = 2
    first_wait_s: float = 0.3
    longest_wait_s: float = 2.0
    first_rest_s: float = 2.0
    longest_rest_s: float = 60.0
    connect_s: float = 2.0
    answer_s: float = 10.0


class Means(Struct, frozen=True):
    """What the link takes from the world; tests give their own."""

    monotonic: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
    chance: Callable[[], float] = random.random
    now: Callable[[], datetime] = lambda: datetime.now().astimezone()


PATIENCE = Patience()
WORLD = Means()


def client(
    url: str, token: str | None, patience: Patience = PATIENCE, transport: httpx.BaseTransport | None = None
) -> httpx.Client:
    """An HTTP client for the service. It follows no redirect: a token must not go where the settings don't say."""
    return httpx.Client(
        base_url=url,
        headers={"Authorization": f"Bearer {token}"} if token else {},
        timeout=httpx.Timeout(patience.answer_s, connect=patience.connect_s),
        follow_redirects=False,
        trust_env=False,
        transport=transport,
    )


class Link:
    """The way to the service. After a failure it rests, so that a bench without network answers at once."""

    def __init__(self, http: httpx.Client, patience: Patience = PATIENCE, means: Means = WORLD) -> None:
        """Take a client from `client`."""
        self._http, self._patience, self._means = http, patience, means
        self._rest_s, self._resting_until = patience.first_rest_s, 0.0

    def close(self) -> None:
        """Close the connections."""
        self._http.close()

    @property
    def resting(self) -> bool:
        """Whether the service was away just now, so that it is not asked again yet."""
        return self._means.monotonic() < self._resting_until

    def wake(self) -> None:
        """Ask the service at the next call, rest or not: somebody said so."""
        self._resting_until = 0.0

    def ready(self) -> bool:
        """Whether the service says that it is ready."""
        return self._call("GET", "/health/ready", messages.Health).status in ("ready", "up")

    def find(self, reading: Reading) -> tuple[ConnectorLine, ...]:
        """The connectors that a mark means. A scan goes with its symbology, which decides how it is read."""
        if reading.symbology is not None:
            return self.scan(reading).connectors
        return self._call("GET", "/v1/connectors", ConnectorList, params={"mark": reading.text}).connectors

    def listed(self, where: Mapping[str, str]) -> tuple[ConnectorLine, ...]:
        """The connectors of an asset (`{"asset": ...}`), or those of a work order; at most as many as an aircraft has."""
        found: list[ConnectorLine] = []
        following: dict[str, str] = {}
        while len(found) < MOST_LISTED:
            page = self._call("GET", "/v1/connectors", ConnectorList, params={**where, "limit": _A_PAGE, **following})
            found.extend(page.connectors)
            if page.next is None:
                break
            following = {"cursor": page.next}
        return tuple(found)

    def tools(self) -> tuple[ShopToolView, ...]:
        """The tools on the shop's list."""
        found: list[ShopToolView] = []
        following: dict[str, str] = {}
        while True:
            page = self._call("GET", "/v1/tools", ShopToolList, params={"limit": _A_PAGE, **following})
            found.extend(page.tools)
            if page.next is None:
                return tuple(found)
            following = {"cursor": page.next}

    def scan(self, reading: Reading) -> ScanView:
        """What a scan means and what it matches."""
        request = messages.Scan(bytes_base64=_base64(reading.data), symbology=reading.symbology)
        return self._call("POST", "/v1/scans", ScanView, body=request)

    def connector(self, connector: UUID) -> ConnectorView:
        """One connector with every cavity."""
        return self._call("GET", f"/v1/connectors/{connector}", ConnectorView)

    def snapshot(self, connector: UUID) -> Snapshot:
        """The inputs of the rule for one connector."""
        return self._call("GET", f"/v1/connectors/{connector}/state", Snapshot)

    def plan(self, connector: UUID, steps: tuple[messages.PlannedStep, ...]) -> PlanView:
        """The answer to steps."""
        return self._call("POST", f"/v1/connectors/{connector}/plan", PlanView, body=messages.PlanRequest(steps=steps))

    def entries(self, entries: Sequence[Entry], sent_at: datetime) -> EntriesReply:
        """Send facts; a result for each, in order. Sending the same again is safe, since each has its own id."""
        request = messages.EntriesRequest(entries=tuple(entries), sent_at=sent_at)
        try:
            reply = self._call("POST", "/v1/entries", EntriesReply, body=request)
        except RejectedError as error:
            if not error.problem.results:
                raise
            reply = EntriesReply(results=error.problem.results)
        if [each.id for each in reply.results] != [each.id for each in entries]:
            raise GarbledError(
                "The service's answer does not list the entries that were sent. They stay here and are sent again."
            )
        return reply

    def entry(self, entry: UUID) -> EntryPlace:
        """Where an entry is that the service has accepted; RejectedError if it knows none of this id."""
        place = self._call("GET", f"/v1/entries/{entry}", EntryPlace)
        if place.id != entry:
            raise GarbledError("The service's answer is about another entry than the one that was asked for.")
        return place

    def _call(
        self, method: str, path: str, kind: type[T], *, params: dict[str, str] | None = None, body: Struct | None = None
    ) -> T:
        if self.resting:
            raise AwayError("The service was away a moment ago; it is tried again shortly.")
        request = self._http.build_request(
            method,
            path,
            params=params,
            content=messages.to_json(body) if body is not None else None,
            headers={"Content-Type": "application/json"} if body is not None else None,
        )
        return _read(self._answer(request), kind)

    def _answer(self, request: httpx.Request) -> httpx.Response:
        wait = self._patience.first_wait_s
        for attempt in range(1, self._patience.attempts + 1):
            failure, asked_s = self._attempt(request)
            if isinstance(failure, httpx.Response):
                self._rest_s, self._resting_until = self._patience.first_rest_s, 0.0
                return failure
            pause = asked_s if asked_s is not None else wait * (0.5 + self._means.chance())
            if attempt == self._patience.attempts or pause > self._patience.longest_wait_s:
                self._rest(asked_s)
                raise AwayError(failure)
            self._means.sleep(pause)
            wait *= 2
        raise AssertionError("a link makes at least one attempt")

    def _attempt(self, request: httpx.Request) -> tuple[httpx.Response | str, float | None]:
        """An answer; or why there is none, and how long the service asked to be left alone."""
        try:
            response = self._http.send(request)
        except httpx.TimeoutException:
            return f"The service at {request.url.host} does not answer in time.", None
        except httpx.TransportError as error:
            return f"The service at {request.url.host} can't be reached ({error}).", None
        if response.status_code in _BUSY:
            asked_s = self._retry_after(response)
            return f"The service is busy or in trouble (status {response.status_code}).", asked_s
        return response, None

    def _rest(self, asked_s: float | None) -> None:
        # Without jitter a whole hangar of benches would come back in the same second.
        rest = self._rest_s * (0.5 + self._means.chance())
        self._resting_until = self._means.monotonic() + max(rest, asked_s or 0.0)
        self._rest_s = min(self._rest_s * 2, self._patience.longest_rest_s)

    def _retry_after(self, response: httpx.Response) -> float | None:
        """Seconds to wait by Retry-After, which holds seconds or a date (RFC 9110, 10.2.3)."""
        told = response.headers.get("Retry-After", "")
        if told.isascii() and told.isdigit():
            return float(told)
        try:
            return max(0.0, (parsedate_to_datetime(told) - self._means.now()).total_seconds())
        except (ValueError, TypeError):
            return None


def _read(response: httpx.Response, kind: type[T]) -> T:
    if response.status_code in _DENIED:
        raise DeniedError(
            "The service does not accept this bench's token: it is missing, has expired or was withdrawn. Nothing is "
            "lost: what waits here is sent once a valid token is set (TINEBOOK_BENCH_TOKEN or _TOKEN_FILE)."
        )
    if response.is_success:
        return _decoded(response, kind)
    if response.headers.get("Content-Type", "").startswith("application/problem+json"):
        raise RejectedError(_decoded(response, Problem))
    raise GarbledError(
        f"{response.request.url} answered {response.status_code}, and not as the service does. "
        "Check the address in TINEBOOK_BENCH_URL."
    )


def _decoded(response: httpx.Response, kind: type[T]) -> T:
    if len(response.content) > MOST_ANSWER_BYTES:
        raise GarbledError(
            f"{response.request.url} answered with {len(response.content)} bytes: more than this API gives."
        )
    try:
        return msgspec.json.decode(response.content, type=kind)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise GarbledError(
            f"{response.request.url} answered something that this version can't read ({error}). "
            "Check the address in TINEBOOK_BENCH_URL, and that bench and service are of the same version."
        ) from None


def _base64(data: bytes) -> str:
    return str(msgspec.to_builtins(data))
