"""A line to the page's server that is cut in every way a line can be: by whoever holds the shears, request by request."""

import asyncio
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import msgspec

SLOW_S = 0.4
"""Longer than the page of a test waits for an answer."""

FATES = (
    "refuse",  # the line is dead before anything goes over it
    "swallow",  # the request goes out and nobody hears it
    "lose",  # it is committed, and the answer is lost
    "late",  # it is committed, and the answer comes after the page has given up
    "truncate",  # it is committed, and the line breaks in the middle of the answer
    "shorten",  # it is committed, and the answer lists one entry too few
    "busy",  # 503
    "busy_for_now",  # 503, to be asked again at once
    "broken",  # 500 after it was committed
    "portal",  # the sign-on page of a network, with status 200
    "redirect",  # the same as a redirect
    "not_json",  # an answer that begins as JSON and is none
    "denied",  # the token is not accepted just now
    "too_large",  # a request of several entries is refused as a whole
)
_PORTAL = b"<!doctype html><title>Sign on to this network</title>"
Shears = Callable[[bytes, bytes], str]


class Line:
    """The line. `shears` says what happens to a request, by its path and body: "answer", or one of the fates."""

    def __init__(self, upstream: Callable[[], int], port: int) -> None:
        self._upstream = upstream
        self.port = port
        self.shears: Shears = lambda _path, _body: "answer"
        self.dealt: Counter[str] = Counter()
        self.told: Callable[[bytes], bytes] = lambda _: b"{}"
        # A loop holds its tasks but weakly, and a connection that is closed no longer holds its own.
        self._taking: set[asyncio.Task[None] | None] = set()

    @property
    def address(self) -> str:
        """Where the page is behind this line."""
        return f"http://127.0.0.1:{self.port}"

    async def take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Take one connection, which has one request."""
        task = asyncio.current_task()
        self._taking.add(task)
        try:
            head = await reader.readuntil(b"\r\n\r\n")
            path = head.split(b" ", 2)[1]
            body = await reader.readexactly(_length(head))
            if path == b"/told":
                writer.write(_response(b"200 OK", self.told(body)))
            else:
                fate = self.shears(path, body)
                if fate != "answer":
                    self.dealt[fate] += 1
                await self._deal(fate, head, body, writer)
            await writer.drain()
        except (asyncio.IncompleteReadError, asyncio.CancelledError, ConnectionError):
            # Whoever asked has gone, the server behind is down, or the test is over: the line is dead.
            pass
        finally:
            self._taking.discard(task)
            writer.close()

    async def _deal(self, fate: str, head: bytes, body: bytes, writer: asyncio.StreamWriter) -> None:
        match fate:
            case "refuse":
                return
            case "swallow":
                await asyncio.sleep(SLOW_S)
            case "busy":
                writer.write(_problem(b"503 Service Unavailable", 503))
            case "busy_for_now":
                writer.write(_problem(b"503 Service Unavailable", 503, b"Retry-After: 0\r\n"))
            case "portal":
                writer.write(_response(b"200 OK", _PORTAL, b"text/html"))
            case "redirect":
                writer.write(_response(b"302 Found", _PORTAL, b"text/html", b"Location: /sign-on\r\n"))
            case "not_json":
                writer.write(_response(b"200 OK", b'{"results": [}'))
            case "denied":
                writer.write(_problem(b"401 Unauthorized", 401))
            case "too_large":
                writer.write(_problem(b"413 Content Too Large", 413))
            case _:
                await self._deal_late(fate, await self._passed_on(head, body), writer)

    async def _deal_late(self, fate: str, answer: bytes, writer: asyncio.StreamWriter) -> None:
        """What can happen once the service has it."""
        match fate:
            case "lose":
                return
            case "late":
                await asyncio.sleep(SLOW_S)
                writer.write(answer)
            case "truncate":
                writer.write(answer[: (answer.find(b"\r\n\r\n") + 4 + len(answer)) // 2])
            case "shorten":
                writer.write(_shortened(answer))
            case "broken":
                writer.write(_problem(b"500 Internal Server Error", 500))
            case _:
                writer.write(answer)

    async def _passed_on(self, head: bytes, body: bytes) -> bytes:
        """The whole answer of the server behind; nothing if that is down."""
        reader, writer = await asyncio.open_connection("127.0.0.1", self._upstream())
        try:
            lines = [each for each in head[:-4].split(b"\r\n") if not each.lower().startswith(b"connection:")]
            writer.write(b"\r\n".join([*lines, b"Connection: close", b"", b""]) + body)
            await writer.drain()
            return await reader.read(-1)
        finally:
            writer.close()


@contextmanager
def line(upstream: Callable[[], int], port: int) -> Iterator[Line]:
    """An open line, in a thread of its own."""
    made = Line(upstream, port)
    loop = asyncio.new_event_loop()
    # In a thread: another event loop may run in this one.
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    server = asyncio.run_coroutine_threadsafe(asyncio.start_server(made.take, "127.0.0.1", port), loop).result(10)
    try:
        yield made
    finally:
        asyncio.run_coroutine_threadsafe(_ended(server), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(10)
        loop.close()


async def _ended(server: asyncio.Server) -> None:
    server.close()
    others = asyncio.all_tasks() - {asyncio.current_task()}
    for each in others:
        each.cancel()
    await asyncio.gather(*others, return_exceptions=True)


def _length(head: bytes) -> int:
    for each in head.split(b"\r\n"):
        name, _, value = each.partition(b":")
        if name.lower() == b"content-length":
            return int(value)
    return 0


def _response(status: bytes, body: bytes, kind: bytes = b"application/json", more: bytes = b"") -> bytes:
    length = str(len(body)).encode()
    return (
        b"HTTP/1.1 " + status + b"\r\nContent-Type: " + kind + b"\r\nContent-Length: " + length
        + b"\r\nConnection: close\r\n" + more + b"\r\n" + body
    )  # fmt: skip


def _problem(status: bytes, number: int, more: bytes = b"") -> bytes:
    body = msgspec.json.encode({"type": "about:blank", "title": "No", "status": number, "detail": "of the test"})
    return _response(status, body, b"application/problem+json", more)


def _shortened(answer: bytes) -> bytes:
    if not answer:
        return answer  # the server behind is down
    reply = msgspec.json.decode(answer.partition(b"\r\n\r\n")[2])
    return _response(b"200 OK", msgspec.json.encode({"results": reply.get("results", [])[:-1]}))
