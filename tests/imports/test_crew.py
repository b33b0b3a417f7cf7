"""Large files are shared out among processes: the outcome is the same as one alone would have."""

import asyncio
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from service import crew
from service.crew import CrewError, Tell
from service.workflow import sheets
from service.workflow.entry_tables import PLACEMENTS
from service.workflow.shares import WHOLE, Share
from service.workflow.sheets import Row
from tests.imports.test_tables import CONNECTORS, WHEN, counted, table
from tests.test_cli import Owner

HEADER = "connector,performed_at,performed_by,asset,note"


@pytest.fixture
def owner(dsn: str, tmp_path: Path) -> Owner:
    """Somebody at a shell, with a database of his own."""
    return Owner(dsn, tmp_path)


async def counting(order: int, share: Share, tell: Tell) -> str:
    """A job that says which share it was."""
    tell(order)
    return f"{share.number} of {share.of}"


async def failing(_order: int, share: Share, _tell: Tell) -> None:
    """A job of which one share fails."""
    if share.number == 1:
        raise ValueError("no such thing")
    await asyncio.sleep(60)


async def dying(_order: int, share: Share, _tell: Tell) -> None:
    """A job of which one share is killed."""
    if share.number == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    await asyncio.sleep(60)


def test_every_share_is_done_once() -> None:
    """Results come in the order of the shares, and how much is done is told as the sum of all."""
    told: list[int] = []
    assert crew.divided(counting, 5, 3, told.append) == ["0 of 3", "1 of 3", "2 of 3"]
    assert told == [5, 10, 15]


@pytest.mark.parametrize(("job", "said"), [(failing, "no such thing"), (dying, "run it again")])
def test_one_that_fails_ends_all(job: crew.Job[int, None], said: str) -> None:
    """Where a process fails or dies the others are ended and it is said; nobody waits for them."""
    began = time.monotonic()
    with pytest.raises(CrewError, match=said):
        crew.divided(job, 0, 2, lambda _: None)
    assert time.monotonic() - began < 30


def test_shares_make_up_the_whole(tmp_path: Path) -> None:
    """Each row of a table is in one share, all of a connector in the same, and quoted line breaks do not move them."""
    file = tmp_path / "table.csv"
    rows = [f'EX-{n % 40},{WHEN},badge 1,TN-01,"row\n{n}"\n' for n in range(400)]
    file.write_text(f"{HEADER}\n" + "".join(rows))
    whole = list(sheets.read(file, PLACEMENTS, WHOLE))
    shares = [[each for each in sheets.read(file, PLACEMENTS, Share(n, 3)) if isinstance(each, Row)] for n in range(3)]
    assert sorted((each for share in shares for each in share), key=lambda row: row.number) == whole
    whose = [{each.value.connector for each in share} for share in shares]
    assert all(whose)
    assert sum(len(each) for each in whose) == 40


def test_what_is_wrong_is_said_once_whoever_found_it(owner: Owner) -> None:
    """Rows that are flawed for every process, and an id that stands in two shares, are named once each and keep all out."""
    one, other = next(
        (f"EX-{n}", f"EX-{m}")
        for n in range(9)
        for m in range(9)
        if Share(0, 2).has(f"EX-{n}") > Share(0, 2).has(f"EX-{m}")
    )
    own = "7d3f0d5e-2c55-4a0b-9d5e-0e6c5f0a1b2c"
    path = table(
        owner,
        "id,connector,kind,performed_at,performed_by",
        f"{own},{one},mating,{WHEN},badge 117",
        f",{one},mating,{WHEN}",
        f"{own},{other},mating,{WHEN},badge 117",
        f",{other},fitting,{WHEN},badge 117",
    )
    failed = owner.run("import", "entries", path, "--processes", "2")
    assert failed.exit_code == 1
    assert [each.removeprefix(f"{path}: ")[:30] for each in failed.stderr.splitlines()] == [
        "row 3: has 4 cells, the header",
        "row 4: says the same as, or ha",
        "row 5, column kind: 'fitting':",
        "Error: 3 flaws; nothing was im",
    ]
    assert counted(owner, "receipt") == 0


def test_tables_are_imported_by_several_as_by_one(owner: Owner) -> None:
    """Several processes register and record each row once, again change nothing, and leave what can be proved."""
    rows = [f"EX-{n},D38999/26WD19SN,new" for n in range(2_500)]
    connectors = table(owner, "serial,part_number,history", *rows, name="connectors.csv")
    counts = table(
        owner,
        "connector,cavity,performed_at,performed_by,insertions,source",
        *(f"EX-{n % 500},{'ABCD'[n % 4]},{WHEN},badge 117,4,card {n}" for n in range(2_000)),
    )
    several = ("--processes", "3")
    for said in ("2500 registered, 0 already", "0 registered, 2500 already"):
        assert owner.run("import", "connectors", connectors, *several).stdout == f"{said} registered, 0 refused\n"
    for said in ("2000 recorded, 0 already", "0 recorded, 2000 already"):
        done = owner.run("import", "carry-ins", counts, *several)
        assert done.stdout == f"{said} recorded, 0 parked, 0 refused\n"
    assert owner.run("verify").stdout == "everything is as it was recorded\n"


def test_lines_are_imported_by_several_as_by_one(owner: Owner) -> None:
    """Several processes record each line of NDJSON once; one that can't be read is named once and keeps all out."""
    assert owner.run("import", "connectors", table(owner, *CONNECTORS)).exit_code == 0
    lines = [
        {
            "id": f"7d3f0d5e-2c55-4a0b-9d5e-{n:012}",
            "connector": f"EX-{1 + n % 2}",
            "kind": "mating",
            "performed_at": WHEN,
            "performed_by": "badge 117",
        }
        for n in range(50)
    ]
    failed = owner.run(
        "import", "entries", owner.file(*lines, "{", {**lines[0], "kind": "fitting"}), "--processes", "2"
    )
    assert failed.exit_code == 1
    assert [each.split(": ")[0].rsplit(":", 1)[1] for each in failed.stderr.splitlines()[:-1]] == ["51", "52"]
    assert counted(owner, "entry") == 0
    done = owner.run("import", "entries", owner.file(*lines), "--processes", "2")
    assert done.stdout == "50 recorded, 0 already recorded, 0 parked, 0 refused\n"
    assert owner.run("verify").stdout == "everything is as it was recorded\n"


def test_a_database_that_is_away_is_said_by_all_together(owner: Owner) -> None:
    """Without a database nothing can be done, whoever asks for it: a sentence and the status that says so."""
    path = table(owner, HEADER, f"EX-1,{WHEN},badge 1,TN-01,")
    done = owner.run(
        "import", "placements", path, "--processes", "2", TINEBOOK_DSN="postgresql://nobody@127.0.0.1:1/none"
    )
    assert done.exit_code == 2
    assert "Traceback" not in done.stderr


ORPHANS = """
import asyncio, os
from service import crew
async def waiting(order, share, tell):
    os.write(1, b"here\\n")
    await asyncio.sleep(60)
crew.divided(waiting, 0, 2, print)
"""


def test_nobody_goes_on_after_the_first_is_killed() -> None:
    """Where the process that began an import is killed, those that it started end by themselves."""
    with subprocess.Popen([sys.executable, "-c", ORPHANS], stdout=subprocess.PIPE) as first:
        assert first.stdout is not None
        assert [first.stdout.readline() for _ in range(2)] == [b"here\n", b"here\n"]
        first.kill()
        began = time.monotonic()
        # Ends once nobody is left who could write to it.
        assert first.stdout.read() == b""
        assert time.monotonic() - began < 30
