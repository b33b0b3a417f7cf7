"""A receiver of webhooks as a program of its own, which fails in whatever way it is told: python -m tests.feed.receiver.

How it answers stands in the file `mode`, and is read for each call. Every call is kept in `calls.ndjson` before it is answered.
"""

import argparse
import asyncio
import email.utils
import json
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

_PLAIN = {
    "fine": "200 OK",
    "taken": "202 Accepted",
    "broken": "500 Internal Server Error",
    "gone": "410 Gone",
    "throttled": "429 Too Many Requests",
}
_HOUR = "3600"


class Receiver:
    """Answers calls by the mode of the moment."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    async def answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection, one call."""
        head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
        start, *lines = head.split("\r\n")
        headers = {name.lower(): value.strip() for name, _, value in (each.partition(":") for each in lines if each)}
        body = await reader.readexactly(int(headers.get("content-length", "0")))
        method, path, _ = start.split(" ")
        call = {"method": method, "path": path, "headers": headers, "body": body.decode()}
        with (self._folder / "calls.ndjson").open("a") as kept:
            kept.write(json.dumps(call) + "\n")
        await self._reply((self._folder / "mode").read_text().strip(), writer)
        writer.close()

    async def _reply(self, mode: str, writer: asyncio.StreamWriter) -> None:
        match mode:
            case "hangs":
                await asyncio.sleep(600)
            case "closes":
                return
            case "trickles":
                for _ in range(600):
                    writer.write(b"HTTP/1.1 200 OK\r\n"[:1])
                    await asyncio.sleep(1)
            case "babbles":
                writer.write(b"this is no HTTP\r\n\r\n")
            case "endless":
                writer.write(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n")
                for _ in range(600):
                    writer.write(b"1\r\nx\r\n")
                    await asyncio.sleep(1)
            case "redirects":
                _send(writer, "302 Found", {"Location": "/elsewhere"})
            case "wait_seconds":
                _send(writer, _PLAIN["throttled"], {"Retry-After": _HOUR})
            case "wait_date":
                until = datetime.now(UTC) + timedelta(hours=1)
                _send(writer, _PLAIN["throttled"], {"Retry-After": email.utils.format_datetime(until, usegmt=True)})
            case _:
                _send(writer, _PLAIN[mode], {})
        await writer.drain()


def _send(writer: asyncio.StreamWriter, status: str, headers: dict[str, str]) -> None:
    lines = [f"HTTP/1.1 {status}", "Content-Length: 0", "Connection: close", *(f"{k}: {v}" for k, v in headers.items())]
    writer.write("\r\n".join([*lines, "", ""]).encode())


async def _serve(folder: Path, certificate: Path | None) -> None:
    tls = None
    if certificate is not None:
        tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        tls.load_cert_chain(certificate)
    server = await asyncio.start_server(Receiver(folder).answer, "127.0.0.1", 0, ssl=tls)
    port = server.sockets[0].getsockname()[1]
    (folder / "port.new").write_text(str(port))
    (folder / "port.new").rename(folder / "port")
    await server.serve_forever()


def main() -> None:
    """Serve until killed."""
    told = argparse.ArgumentParser()
    told.add_argument("folder", type=Path)
    told.add_argument("--certificate", type=Path)
    asked = told.parse_args()
    asyncio.run(_serve(asked.folder, asked.certificate))


if __name__ == "__main__":
    main()
