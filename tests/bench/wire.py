"""A cheap HTTP/1.1 client: a keep-alive connection on a raw socket, so that the load costs less than what it loads."""

import asyncio
from typing import Self, cast

import msgspec
from msgspec import Struct

_HEAD_END = b"\r\n\r\n"
_LENGTH = b"content-length:"


class GoneError(Exception):
    """The connection ended before the answer was whole: nobody knows what became of the request."""


class Answer(Struct, frozen=True):
    """What came back."""

    status: int
    head: bytes
    body: bytes

    def header(self, name: str) -> str | None:
        """A header's value."""
        for line in self.head.split(b"\r\n")[1:]:
            key, _, value = line.partition(b":")
            if key.lower() == name.lower().encode():
                return value.strip().decode()
        return None


def request(method: str, path: str, token: str | None = None, body: object = None) -> bytes:
    """The bytes of a request; a body is sent as JSON."""
    head = f"{method} {path} HTTP/1.1\r\nHost: tinebook\r\n"
    if token is not None:
        head += f"Authorization: Bearer {token}\r\n"
    if body is None:
        return f"{head}\r\n".encode()
    content = msgspec.json.encode(body)
    return f"{head}Content-Type: application/json\r\nContent-Length: {len(content)}\r\n\r\n".encode() + content


class Wire(asyncio.Protocol):
    """One connection, one request at a time."""

    def __init__(self) -> None:
        self._received = bytearray()
        self._body_at = 0
        self._whole = 0
        self._waiting: asyncio.Future[Answer] | None = None
        self._transport: asyncio.Transport | None = None

    @classmethod
    async def connect(cls, port: int) -> Self:
        """A connection to a service on this machine. GoneError if nobody listens."""
        try:
            _, wire = await asyncio.get_running_loop().create_connection(cls, "127.0.0.1", port)
        except OSError as error:
            raise GoneError(str(error)) from error
        return wire

    async def ask(self, sent: bytes) -> Answer:
        """Send a request and wait for its answer. GoneError if the connection ends first."""
        if self._transport is None or self._transport.is_closing():
            raise GoneError("the connection was closed")
        self._waiting = asyncio.get_running_loop().create_future()
        self._transport.write(sent)
        return await self._waiting

    def close(self) -> None:
        """End the connection."""
        if self._transport is not None:
            self._transport.abort()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep the transport."""
        # uvloop's transports are asyncio's in all but descent.
        self._transport = cast("asyncio.Transport", transport)

    def data_received(self, data: bytes) -> None:
        """Collect until head and body are whole."""
        self._received += data
        if self._body_at == 0:
            end = self._received.find(_HEAD_END)
            if end < 0:
                return
            head = bytes(self._received[: end + 2]).lower()
            length = head.partition(_LENGTH)[2].partition(b"\r\n")[0]
            self._body_at = end + len(_HEAD_END)
            self._whole = self._body_at + int(length or 0)
        if len(self._received) >= self._whole and self._waiting is not None:
            head = bytes(self._received[: self._body_at])
            answer = Answer(int(head[9:12]), head, bytes(self._received[self._body_at : self._whole]))
            self._received.clear()
            self._body_at = 0
            if not self._waiting.done():
                self._waiting.set_result(answer)

    def connection_lost(self, exc: Exception | None) -> None:
        """Whoever waits will get no answer any more."""
        if self._waiting is not None and not self._waiting.done():
            self._waiting.set_exception(GoneError(str(exc or "the connection was closed")))
