"""The bench is killed between sending and hearing: what its outbox holds is in the ledger once, in its order."""

import asyncio
import random
import signal
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import asyncpg
import httpx
import pytest

from scanner_client import outbox
from scanner_client.outbox import Kept
from tests.faults import bench_at_work
from tests.faults.conftest import Ground
from tests.faults.programs import environment, run


@pytest.mark.parametrize("seed", range(20))
def test_a_killed_bench_sends_the_rest_once(ground: Ground, tmp_path: Path, seed: int) -> None:
    """After kill -9 of the bench and one more `send`, every entry of its outbox stands in the ledger, once, in order."""
    url = f"http://127.0.0.1:{ground.service.port}"
    _register(url, ground.token, seed)
    file = tmp_path / "bench.db"
    told = _killed_at_work(file, url, ground.token, seed)
    before = _outbox(file)
    assert told <= {str(each.entry.id) for each in before}, "the bench said it had kept something that is gone"
    done = run("tinebook-bench", "--url", url, "--outbox", str(file), "send", TINEBOOK_BENCH_TOKEN=ground.token)
    assert done.returncode == 0, done.stdout + done.stderr
    kept = _outbox(file)
    assert [each.entry for each in kept] == [each.entry for each in before]
    assert {each.status for each in kept} == {"sent"}
    asyncio.run(_is_in_the_ledger(ground.owner_dsn, kept))
    if seed % 5 == 4:
        assert "everything is as it was recorded" in ground.command("verify")


def _register(url: str, token: str, seed: int) -> None:
    cavities = [{"id": each, "contact_size": "20"} for each in bench_at_work.CAVITIES]
    for serial in bench_at_work.serials(str(seed)):
        body = {"serial": serial, "history": "new", "cavities": cavities, "rating": {"value": 10, "basis": "house"}}
        headers = {"Authorization": f"Bearer {token}"}
        reply = httpx.post(f"{url}/v1/connectors", json=body, headers=headers, trust_env=False)
        assert reply.status_code == 201, reply.text


def _killed_at_work(file: Path, url: str, token: str, seed: int) -> set[str]:
    """Let a bench work for a moment, kill it, and return the ids that it said it had kept."""
    command = [sys.executable, "-m", "tests.faults.bench_at_work", str(file), url, token, str(seed)]
    with subprocess.Popen(command, env=environment(), stdout=subprocess.PIPE, text=True) as bench:
        assert bench.stdout is not None
        told = bench.stdout.readline()
        time.sleep(random.Random(seed).uniform(0, 0.3))
        bench.send_signal(signal.SIGKILL)
        told += bench.stdout.read()
    whole, _, _ = told.rpartition("\n")
    assert whole, "the bench did not get to work"
    return set(whole.split())


def _outbox(file: Path) -> list[Kept]:
    box = outbox.open_file(file, lambda: datetime.now(UTC))
    try:
        kept = (*box.of_status("unsent"), *box.of_status("sent"), *box.of_status("parked"), *box.of_status("refused"))
        return sorted(kept, key=lambda each: each.place)
    finally:
        box.close()


async def _is_in_the_ledger(owner_dsn: str, kept: Sequence[Kept]) -> None:
    connection = await asyncpg.connect(owner_dsn)
    try:
        ids = [each.entry.id for each in kept]
        rows = await connection.fetch("select id, number from tinebook.entry where id = any($1::uuid[])", ids)
    finally:
        await connection.close()
    place = {row["id"]: row["number"] for row in rows}
    assert len(rows) == len(place) == len(kept)
    by_connector: dict[str, list[int]] = defaultdict(list)
    for each in kept:
        by_connector[each.entry.connector].append(place[each.entry.id])
    for serial, numbers in by_connector.items():
        assert numbers == list(range(1, len(numbers) + 1)), f"{serial} is out of its order"
