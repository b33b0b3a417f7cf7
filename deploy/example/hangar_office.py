"""A worked example of both directions: a small maintenance system that keeps Tinebook in step and files what comes back.

python deploy/example/hangar_office.py --books office.db begin | push | pull | subscribe URL | listen | show

Standard library and httpx. Tokens come from the environment: TINEBOOK_TOKEN. See README.md beside this file.
"""

import argparse
import base64
import hashlib
import hmac
import json
import os
import sqlite3
import sys
import time
import uuid
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import httpx
import office_books

_ROWS = 500
"""Rows in one request: at most 1 000 are taken."""
_PATIENCE_S = (0.5, 1.0, 3.0)
"""Pauses before a request is sent again. After the last the night is given up: the next one goes on with the same requests."""
_TOLERANCE_S = 300
"""How far a call's time may be from ours, as the Standard Webhooks libraries have it."""
_BUSY = (429, 502, 503, 504)
_OK = range(200, 300)
_PAGE = 200


class _GivenUpError(Exception):
    """Tinebook can't be reached, or does not take what it is sent."""


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


# --- out: everything, every night, each request under a key that is on disk before it is sent


def push(books: sqlite3.Connection, client: httpx.Client) -> None:
    """Send what an earlier night left, then everything that is kept in step."""
    _send(books, client)
    with books:
        books.execute("delete from refusal")
        for path, rows in office_books.lists(books):
            for start in range(0, len(rows), _ROWS):
                body = json.dumps({"rows": rows[start : start + _ROWS]})
                books.execute(
                    "insert into outgoing (path, key, body) values (?, ?, ?)", (path, str(uuid.uuid4()), body)
                )
    _send(books, client)
    for row in books.execute("select * from refusal"):
        _say(f"refused: {row['path']} {row['about']}: {row['detail']}")


def _send(books: sqlite3.Connection, client: httpx.Client) -> None:
    for row in books.execute("select * from outgoing order by number").fetchall():
        headers = {"Idempotency-Key": f'"{row["key"]}"'}
        reply = _asked(client.build_request("PUT", row["path"], content=row["body"], headers=headers), client)
        with books:
            _note(books, row["path"], reply)
            books.execute("delete from outgoing where number = ?", (row["number"],))


def _asked(request: httpx.Request, client: httpx.Client) -> httpx.Response:
    """Send, and send the same again while Tinebook is away or still at work on it: under its key it is done once."""
    said = ""
    for pause_s in (*_PATIENCE_S, None):
        asked_s = 0.0
        try:
            reply = client.send(request)
            if reply.status_code not in _BUSY and "request-under-way" not in reply.text:
                return reply
            said, asked_s = reply.text, float(reply.headers.get("retry-after", "0"))
        except httpx.TransportError as error:
            said = str(error)
        if pause_s is not None:
            time.sleep(max(pause_s, asked_s))
    raise _GivenUpError(f"Tinebook does not answer; what was not sent is sent next time: {said}")


def _note(books: sqlite3.Connection, path: str, reply: httpx.Response) -> None:
    """Say what became of the rows of a request, and keep those that were refused for somebody to look at."""
    if reply.status_code not in _OK:
        books.execute("insert into refusal values (?, null, ?)", (path, reply.json()["detail"]))
        return
    outcomes: dict[str, int] = {}
    for each in reply.json()["results"]:
        outcomes[each["outcome"]] = outcomes.get(each["outcome"], 0) + 1
        if each["problem"] is not None:
            about = each.get("key") or f"row {each['row']}"
            books.execute("insert into refusal values (?, ?, ?)", (path, about, each["problem"]["detail"]))
    _say(f"{path}: {', '.join(f'{number} {outcome}' for outcome, number in outcomes.items())}")


# --- in, by asking: the feed from a kept cursor, and the records that it told of


def pull(books: sqlite3.Connection, client: httpx.Client) -> None:
    """File all events since the last time, page by page with the cursor in one transaction; then fetch the records."""
    new, more = 0, True
    while more:
        cursor = office_books.kept(books, "cursor")
        asked = {"limit": str(_PAGE)} | ({} if cursor is None else {"cursor": cursor})
        page = _read(client, "/v1/feed", asked).json()
        with books:
            new += sum(office_books.file_event(books, each) for each in page["events"])
            office_books.keep(books, "cursor", page["next"])
        more = page["more"]
    _say(f"{new} new events")
    for number, sha256 in office_books.wanted(books):
        document = _read(client, f"/v1/records/{number}/document", {"format": "json"}).content
        if hashlib.sha256(document).hexdigest() != sha256:
            _say(f"record {number} is not what it was made as: not filed")
            continue
        office_books.file_record(books, number, document)
        _say(f"record {number} filed")


def _read(client: httpx.Client, path: str, query: dict[str, str]) -> httpx.Response:
    reply = _asked(client.build_request("GET", path, params=query), client)
    if reply.status_code not in _OK:
        raise _GivenUpError(f"{path}: {reply.json()['detail']}")
    return reply


# --- in, by being called: Standard Webhooks


def subscribe(books: sqlite3.Connection, client: httpx.Client, url: str) -> None:
    """Have Tinebook call an address about everything from now on, and keep the secret, which is shown this once."""
    made = _asked(client.build_request("POST", "/v1/webhooks", json={"url": url}), client)
    if made.status_code not in _OK:
        raise _GivenUpError(made.json()["detail"])
    with books:
        office_books.keep(books, "secret", made.json()["secret"])
    _say(f"{url} is called from now on")


def verified(secret: str, headers: dict[str, str], body: bytes, now_s: float) -> bool:
    """Whether a call is from whoever has the secret, and of now (Standard Webhooks: `v1` is HMAC-SHA256 over id.time.body)."""
    identity, sent_at = headers.get("webhook-id", ""), headers.get("webhook-timestamp", "")
    if not identity or not sent_at.isdecimal() or abs(now_s - int(sent_at)) > _TOLERANCE_S:
        return False
    key = base64.b64decode(secret.removeprefix("whsec_"))
    wanted = base64.b64encode(hmac.digest(key, f"{identity}.{sent_at}.".encode() + body, "sha256")).decode()
    given = headers.get("webhook-signature", "").split(" ")
    return any(hmac.compare_digest(each, f"v1,{wanted}") for each in given)


class _Called(BaseHTTPRequestHandler):
    """Answers a call once what it says is on disk."""

    path_to_books: Path

    def do_POST(self) -> None:
        """File one event."""
        body = self.rfile.read(int(self.headers.get("content-length", "0")))
        headers = {name.lower(): value for name, value in self.headers.items()}
        with closing(office_books.opened(self.path_to_books)) as books:
            secret = office_books.kept(books, "secret")
            if secret is None or not verified(secret, headers, body, time.time()):
                self._answer(401)
                return
            event: dict[str, Any] = json.loads(body)
            with books:
                new = office_books.file_event(books, event)
        _say(f"{'called' if new else 'called again'}: {event['type']} {event['id']}")
        self._answer(204)

    def _answer(self, status: int) -> None:
        self.send_response(status)
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Nothing beyond what is said above."""


def listen(path: Path, port: int) -> None:
    """Take calls until stopped."""
    _Called.path_to_books = path
    with ThreadingHTTPServer(("127.0.0.1", port), _Called) as server:
        _say(f"listening on http://127.0.0.1:{server.server_port}/tinebook")
        server.serve_forever()


def show(books: sqlite3.Connection) -> None:
    """The work orders, each with the record that it is done by, and what was told of it."""
    for row in books.execute("select * from work_order order by number"):
        of_it = f"%{json.dumps(row['number'])}%"
        entries = books.execute(
            "select count(*) from event where type like 'tinebook.entry.%' and body like ?", (of_it,)
        )
        done = "open" if row["record"] is None else f"record {row['record']}"
        _say(f"{row['number']}: {json.loads(row['stated'])['title']}: {done}, {entries.fetchone()[0]} entries")


def main() -> int:
    """Do what the command line says."""
    told = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    told.add_argument("--books", type=Path, default=Path("office.db"))
    told.add_argument("--service", default="http://127.0.0.1:8600")
    commands = told.add_subparsers(dest="command", required=True)
    for each in ("begin", "push", "pull", "show"):
        commands.add_parser(each)
    commands.add_parser("subscribe").add_argument("url")
    commands.add_parser("listen").add_argument("--port", type=int, default=8700)
    asked = told.parse_args()
    token = os.environ.get("TINEBOOK_TOKEN", "")
    with (
        closing(office_books.opened(asked.books)) as books,
        httpx.Client(base_url=asked.service, headers={"Authorization": f"Bearer {token}"}, timeout=60) as client,
    ):
        try:
            _do(asked, books, client)
        except _GivenUpError as error:
            sys.stderr.write(f"{error}\n")
            return 1
        except KeyboardInterrupt:
            return 130
    return 0


def _do(asked: argparse.Namespace, books: sqlite3.Connection, client: httpx.Client) -> None:
    match asked.command:
        case "begin":
            office_books.begin(books)
        case "push":
            push(books, client)
        case "pull":
            pull(books, client)
        case "subscribe":
            subscribe(books, client, asked.url)
        case "listen":
            listen(asked.books, asked.port)
        case _:
            show(books)


if __name__ == "__main__":
    sys.exit(main())
