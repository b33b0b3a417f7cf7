"""The worked example of deploy/example as its README runs it: its programs as processes, against a served Tinebook."""

import base64
import hashlib
import hmac
import json
import sqlite3
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest

from service.workflow.access import Scope
from tests.conftest import make_token, run
from tests.faults.programs import Service, environment, free_port

PROGRAM = Path(__file__).resolve().parents[2] / "deploy" / "example" / "hangar_office.py"
ORDER = "KW-2026-001"
FIRST = [
    "/v1/assets: 3 created",
    "/v1/positions: 9 created",
    "/v1/usage: 6 recorded",
    "/v1/tools: 2 created",
    "/v1/people: 3 created",
    "/v1/work-orders: 2 created",
]
AGAIN = [
    "/v1/assets: 3 unchanged",
    "/v1/positions: 9 unchanged",
    "/v1/usage: 6 already_recorded",
    "/v1/tools: 2 unchanged",
    "/v1/people: 3 unchanged",
    "/v1/work-orders: 2 unchanged",
]
PATIENCE_S = 60.0


class Office:
    """The hangar office, a Tinebook that it talks to, and somebody at a bench of that."""

    def __init__(self, dsn: str, folder: Path) -> None:
        self.books, self._dsn, self._folder = folder / "office.db", dsn, folder
        self._token = run(make_token(dsn, Scope.ADMIN))
        self.service = self.started()
        self._listener: subprocess.Popen[str] | None = None

    def started(self) -> Service:
        """A service on this test's database that may call this machine."""
        settings = {"TINEBOOK_DSN": self._dsn, "TINEBOOK_WEBHOOK_NETWORKS": "127.0.0.0/8"}
        return Service(self._folder / "service.log", **settings).ready()

    def command(self, *words: str) -> list[str]:
        """The program's command line."""
        service = f"http://127.0.0.1:{self.service.port}"
        return [sys.executable, str(PROGRAM), "--books", str(self.books), "--service", service, *words]

    def run(self, *words: str, status: int = 0) -> list[str]:
        """Run a command to its end; what it said."""
        done = subprocess.run(
            self.command(*words),
            env=environment(TINEBOOK_TOKEN=self._token, NO_PROXY="*"),
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
        assert done.returncode == status, done.stdout + done.stderr
        return done.stdout.splitlines()

    def listen(self, port: int) -> None:
        """Let it take calls."""
        self._listener = subprocess.Popen(
            self.command("listen", "--port", str(port)), env=environment(), stdout=subprocess.PIPE, text=True
        )
        assert self._listener.stdout is not None
        assert self._listener.stdout.readline() == f"listening on http://127.0.0.1:{port}/tinebook\n"

    def deaf(self) -> None:
        """No more calls are taken."""
        if self._listener is not None:
            self._listener.kill()
            self._listener.communicate()
            self._listener = None

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """What its books hold."""
        with closing(sqlite3.connect(self.books)) as books:
            return books.execute(query).fetchall()

    def bench(self, method: str, path: str, body: Any = None, status: int = 200) -> Any:
        """Somebody at a bench of Tinebook's, or at a screen."""
        url, headers = f"http://127.0.0.1:{self.service.port}{path}", {"Authorization": f"Bearer {self._token}"}
        reply = httpx.request(method, url, json=body, headers=headers, trust_env=False, timeout=30)
        assert reply.status_code == status, reply.text
        return reply.json()

    def close(self) -> None:
        """End what still runs."""
        self.deaf()
        self.service.close()


@pytest.fixture
def office(dsn: str, tmp_path: Path) -> Iterator[Office]:
    """The hangar office on its first day."""
    found = Office(dsn, tmp_path)
    try:
        found.run("begin")
        yield found
    finally:
        found.close()


def until(true: Callable[[], bool]) -> None:
    """Wait for what another program brings about."""
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


def fact(kind: str, **more: Any) -> dict[str, Any]:
    """An entry of the first work order."""
    told = {"id": str(uuid.uuid4()), "connector": "KX-1", "kind": kind, "work_order": ORDER, "performed_by": "K-11"}
    return told | {"performed_at": datetime.now(UTC).isoformat()} | more


def sign(office: Office, badge: str, meaning: str) -> None:
    """Sign the first work order as it is now."""
    statement = office.bench("GET", f"/v1/work-orders/{ORDER}/statement")
    told = {
        "subject": "work_order",
        "reference": ORDER,
        "meaning": meaning,
        "badge": badge,
        "secret": f"own of {badge}",
    }
    office.bench("POST", "/v1/signatures", told | {"statement": statement}, 201)


def worked(office: Office) -> None:
    """A connector, and the work of the first order on it, up to its record."""
    cavities = [{"id": "1", "contact_size": "20"}]
    rating = {"value": 10, "basis": "house", "document": "Kettlewick practice 4"}
    office.bench(
        "POST", "/v1/connectors", {"serial": "KX-1", "history": "new", "cavities": cavities, "rating": rating}, 201
    )
    placed = fact("placement", asset="KF-101", zone="410", position="P1021")
    done = [placed, fact("insertion", cavity="1", tool="KT-20-01"), fact("seating_test", cavity="1", held=True)]
    assert {each["outcome"] for each in office.bench("POST", "/v1/entries", {"entries": done})["results"]} == {
        "recorded"
    }
    for badge, meaning in (("K-11", "performed"), ("K-12", "inspected"), ("K-13", "approved")):
        office.bench("POST", f"/v1/people/{badge}/secret", {"secret": "the initial one"}, 201)
        office.bench("PUT", f"/v1/people/{badge}/secret", {"old": "the initial one", "new": f"own of {badge}"})
        sign(office, badge, meaning)
    office.bench("POST", "/v1/records", {"work_order": ORDER}, 201)


def test_every_night_everything(office: Office) -> None:
    """The first night makes it all, the second finds all unchanged, a change is a change, and a refused row sinks no other."""
    assert office.run("push") == FIRST
    assert office.run("push") == AGAIN
    with closing(sqlite3.connect(office.books)) as books, books:
        books.execute("update asset set type = 'Regional 70 mod 3' where asset = 'KF-102'")
        books.execute("update place set part_number = '' where asset = 'KF-201' and position = 'P1021'")
    said = office.run("push")
    assert said[:2] == ["/v1/assets: 2 unchanged, 1 changed", "/v1/positions: 8 unchanged, 1 refused"]
    assert said[-1].startswith("refused: /v1/positions KF-201 / 410 / P1021:")
    shown = {each["asset"]: each["type"] for each in office.bench("GET", "/v1/assets")["assets"]}
    assert shown["KF-102"] == "Regional 70 mod 3"


def test_a_night_without_tinebook_is_made_up_for(office: Office) -> None:
    """What could not be sent keeps its key, and goes out first when Tinebook is back; nothing is done twice."""
    office.service.stop()
    office.run("push", status=1)
    waiting = office.rows("select path, key from outgoing order by number")
    assert len(waiting) == len(FIRST)
    office.service = office.started()
    # One of them had arrived, and only its answer was lost.
    ((path, key, body),) = office.rows("select path, key, body from outgoing order by number limit 1")
    url = f"http://127.0.0.1:{office.service.port}{path}"
    headers = {"Authorization": f"Bearer {office._token}", "Idempotency-Key": f'"{key}"'}  # noqa: SLF001 - as the program
    assert httpx.put(url, content=body, headers=headers, trust_env=False).status_code == 200
    assert office.run("push") == [*FIRST, *AGAIN]
    assert office.rows("select * from outgoing") == []


def test_what_was_done_comes_back_as_a_record(office: Office) -> None:
    """Called or asking, each event is filed once; the record is filed with the hash that was told, and closes its order."""
    office.run("push")
    port = free_port()
    office.listen(port)
    office.run("subscribe", f"http://127.0.0.1:{port}/tinebook")
    worked(office)
    until(lambda: bool(office.rows("select 1 from record")))
    assert office.rows("select number, work_order, document from record") == [(1, None, None)]
    office.deaf()
    said = office.run("pull")
    assert said[-1] == "record 1 filed"
    ((sha256, order, document),) = office.rows("select sha256, work_order, document from record")
    assert (hashlib.sha256(document).hexdigest(), order) == (sha256, ORDER)
    assert json.loads(document)["performed_by"][0]["name"] == "Ada Sample"
    kinds = dict(office.rows("select type, count(*) from event where type like 'tinebook.entry.%' group by type"))
    assert kinds == {"tinebook.entry.placement": 1, "tinebook.entry.insertion": 1, "tinebook.entry.seating_test": 1}
    assert office.run("show")[0] == f"{ORDER}: Replace the contact in cavity 1 of P1021: record 1, 3 entries"
    # While nobody listened something more was done; asking brings it.
    later = fact("mating", work_order="KW-2026-002")
    office.bench("POST", "/v1/entries", {"entries": [later]})
    assert office.run("pull") == ["1 new events"]
    assert office.run("pull") == ["0 new events"]


FORGED: list[tuple[str, Callable[[dict[str, str]], dict[str, str]]]] = [
    # Standard Webhooks, its specification: what a receiver has to refuse
    ("no signature", lambda told: {k: v for k, v in told.items() if k != "webhook-signature"}),
    ("no id", lambda told: {k: v for k, v in told.items() if k != "webhook-id"}),
    ("another id", lambda told: told | {"webhook-id": "another"}),
    ("another time", lambda told: told | {"webhook-timestamp": str(int(told["webhook-timestamp"]) - 1)}),
    ("no time", lambda told: told | {"webhook-timestamp": "hello"}),
    ("another scheme", lambda told: told | {"webhook-signature": told["webhook-signature"].replace("v1,", "v2,")}),
    ("another secret", lambda told: told | {"webhook-signature": "v1," + base64.b64encode(b"x" * 32).decode()}),
]


def test_a_forged_call_is_not_filed(office: Office) -> None:
    """Only what is signed with the secret, and of now, is filed; the same call again counts once."""
    port = free_port()
    secret = base64.b64encode(b"a secret of twenty-four b").decode()
    with closing(sqlite3.connect(office.books)) as books, books:
        books.execute("insert into kept values ('secret', ?)", (f"whsec_{secret}",))
    office.listen(port)
    event = {
        "source": "urn:uuid:1",
        "id": "e1",
        "type": "tinebook.entry.mating",
        "time": "2026-11-02T09:30:00Z",
        "data": {},
    }
    body = json.dumps(event).encode()

    def signed(now_s: int) -> dict[str, str]:
        digest = hmac.digest(base64.b64decode(secret), f"e1.{now_s}.".encode() + body, "sha256")
        signature = f"v1,AAAA v1,{base64.b64encode(digest).decode()}"
        return {"webhook-id": "e1", "webhook-timestamp": str(now_s), "webhook-signature": signature}

    def call(headers: dict[str, str]) -> int:
        url = f"http://127.0.0.1:{port}/tinebook"
        return httpx.post(url, content=body, headers=headers, trust_env=False).status_code

    now_s = int(time.time())
    for name, forged in FORGED:
        assert call(forged(signed(now_s))) == 401, name
    assert call(signed(now_s - 301)) == 401
    assert call(signed(now_s + 400)) == 401
    assert office.rows("select count(*) from event") == [(0,)]
    assert (call(signed(now_s)), call(signed(now_s))) == (204, 204)
    assert office.rows("select id from event") == [("e1",)]
