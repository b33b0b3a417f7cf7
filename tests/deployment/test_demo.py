"""The demo as a visitor starts it: it comes up, does the main job, stops whole, and keeps what was recorded."""

import json
import os
import signal
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest


@contextmanager
def demo(data: Path, port: int) -> Iterator[dict[str, Any]]:
    """The running demo, by what its demo.json says; stopped with TERM, which it must obey with status 0."""
    written = data / "demo.json"
    started = time.time()
    command = [sys.executable, "-m", "service.cli", "demo", "--data", str(data), "--port", str(port)]
    kept = {key: value for key, value in os.environ.items() if not key.startswith("TINEBOOK_")}
    running = subprocess.Popen(command, env=kept, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    try:
        until = time.monotonic() + 180
        while not written.exists() or written.stat().st_mtime < started:
            assert running.poll() is None, running.communicate()[0].decode()
            assert time.monotonic() < until
            time.sleep(0.1)
        yield json.loads(written.read_text())
    finally:
        running.send_signal(signal.SIGTERM)
        said = running.communicate(timeout=60)[0].decode()
    assert running.returncode == 0, said
    assert not processes_on(data), said
    # The database goes last: had it gone before the service, it would have cut the service's connections.
    assert "terminating connection" not in (data / "postgres" / "server.log").read_text()


def processes_on(data: Path) -> list[str]:
    """Programs whose command line names the data directory."""
    found = []
    for each in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            command = each.read_bytes().replace(b"\0", b" ").decode(errors="replace")
        except OSError:
            continue
        if str(data) in command and each.parent.name != str(os.getpid()):
            found.append(command)
    return found


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Where the demo keeps its data, in a path with a space."""
    return tmp_path / "demo data"


def test_the_demo_does_the_main_job_and_keeps_what_was_recorded(data: Path, free_ports: tuple[int, int]) -> None:
    """A label's text finds its connector, a plan is answered, an entry is counted, and all of it is there after a restart."""
    fact = str(uuid.uuid4())
    with demo(data, free_ports[0]) as ready:
        labels = json.loads((data / "labels" / "index.json").read_text())
        assert {each["wear"] for each in labels} == {"within", "nearing", "spent", "over", "unknown"}
        assert all((data / "labels" / each["file"]).stat().st_size > 10_000 for each in labels)
        assert httpx.get(f"{ready['bench']}/").status_code == 200
        with client(ready, "planner") as planner:
            worst = planner.get("/v1/reports/cycle-limits", params={"limit": 500}).json()["connectors"]
            assert {each["wear"] for each in worst} == {"over", "spent", "nearing", "unknown"}
        with client(ready, "bench") as bench:
            assert bench.get("/v1/reports/cycle-limits").status_code == 403
            spent = next(each for each in worst if each["wear"] == "spent")
            shown = bench.get(f"/v1/connectors/{spent['connector']}").json()
            cavity = next(each for each in shown["cavities"] if each["id"] == spent["limiting_cavity"])
            step = {"action": "replace" if cavity["occupied"] else "insert", "cavity": cavity["id"]}
            answer = bench.post(f"/v1/connectors/{spent['connector']}/plan", json={"steps": [step]}).json()
            assert answer["answer"] == "no_go"
            assert answer["rating"]["verified"] is False or answer["rating"]["document"]
            entry = {
                "id": fact,
                "connector": spent["connector"],
                "kind": "tine_entry",
                "cavity": cavity["id"],
                "performed_at": "2026-11-25T10:00:00Z",
                "performed_by": "visitor",
            }
            (result,) = bench.post("/v1/entries", json={"entries": [entry]}).json()["results"]
            assert result["outcome"] == "recorded"
            assert "unknown_person" not in result["discrepancies"]
    started = time.monotonic()
    with demo(data, free_ports[0]) as again:
        assert again["tokens"] == ready["tokens"]
        assert time.monotonic() - started < 60, "a second start must not load the fleet again"
        with client(again, "admin") as admin:
            assert admin.get(f"/v1/entries/{fact}").json()["connector"] == spent["connector"]


def client(ready: dict[str, Any], who: str) -> httpx.Client:
    """A client with one of the demo's tokens."""
    headers = {"Authorization": f"Bearer {ready['tokens'][who]}"}
    return httpx.Client(base_url=ready["service"], headers=headers, timeout=30)


def test_a_port_in_use_is_said(data: Path, free_ports: tuple[int, int]) -> None:
    """Where something listens already the demo says so and starts nothing."""
    import socket  # noqa: PLC0415 - only here

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", free_ports[1]))
        taken.listen()
        command = [sys.executable, "-m", "service.cli", "demo", "--data", str(data), "--port", str(free_ports[0])]
        run = subprocess.run(command, check=False, capture_output=True, text=True, timeout=60)
    assert run.returncode == 2
    assert f"port {free_ports[1]} can't be used" in run.stderr
    assert not data.exists()
