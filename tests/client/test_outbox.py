"""The outbox: on disk before anything is sent, in order, and never overwritten."""

import sqlite3
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from uuid import UUID

import pytest
from msgspec import structs

from scanner_client import dialogue, outbox
from scanner_client.outbox import ClashError, Outbox, Settled, UnusableError
from service.core.entries import Entry, Kind
from service.messages import Problem
from tests.client import fake
from tests.client.fake import Clock, Service


def entry(number: int, cavity: str = "14", kind: Kind = Kind.INSERTION, connector: UUID = fake.CONNECTOR) -> Entry:
    """An entry that a test can tell apart."""
    return Entry(
        id=UUID(int=number),
        connector=str(connector),
        kind=kind,
        performed_at=fake.START + timedelta(seconds=number),
        performed_by="B-7",
        cavity=cavity,
    )


def numbers(box: Outbox, status: outbox.Status = "unsent") -> list[int]:
    """The entries that stand so, by their number."""
    return [each.entry.id.int for each in box.of_status(status)]


def test_entries_come_out_as_they_went_in(box: Outbox) -> None:
    """Order is that of keeping, and content is exact."""
    box.keep([entry(3), entry(1)])
    box.keep([entry(2, "c")])
    assert numbers(box) == [3, 1, 2]
    assert box.of_status("unsent", 2)[1].entry == entry(1)
    assert box.last_act() == (entry(2, "c"),)


def test_the_same_entry_twice_is_one_and_another_content_is_an_error(box: Outbox) -> None:
    """An id stands for one content; a clash leaves the whole act out."""
    box.keep([entry(1)])
    box.keep([entry(1), entry(2)])
    assert numbers(box) == [1, 2]
    with pytest.raises(ClashError):
        box.keep([entry(3), entry(2, "c")])
    assert numbers(box) == [1, 2]


def test_what_was_settled_stays_settled(box: Outbox) -> None:
    """Outcomes are written down once; refused ones keep the problem, and can be put back by a person."""
    box.keep([entry(each) for each in (1, 2, 3, 4)])
    problem = Problem(type="t", title="T", status=422, detail="no such cavity")
    box.settle([Settled(UUID(int=1), "sent", ("over_rating",)), Settled(UUID(int=2), "parked")])
    box.settle([Settled(UUID(int=3), "refused", (), problem), Settled(UUID(int=1), "refused", (), problem)])
    assert [numbers(box, each) for each in ("unsent", "sent", "parked", "refused")] == [[4], [1], [2], [3]]
    assert box.of_status("refused")[0].problem == problem
    assert box.of_status("sent")[0].discrepancies == ("over_rating",)
    assert box.again(UUID(int=3))
    assert not box.again(UUID(int=1))
    assert numbers(box) == [3, 4]


def test_the_oldest_unsent_entry_has_an_age(box: Outbox, clock: Clock) -> None:
    """How long something has waited is known to the second."""
    assert box.counts() == outbox.Counts()
    box.keep([entry(1)])
    first = clock.now
    clock.go(3600)
    box.keep([entry(2)])
    assert box.counts().oldest_unsent_at == first
    box.settle([Settled(UUID(int=1), "sent")])
    assert box.counts() == outbox.Counts(unsent=1, sent=1, oldest_unsent_at=clock.now)


def test_everything_survives_closing(outbox_path: Path, clock: Clock, service: Service) -> None:
    """Entries, snapshots, marks and the shift are there after a restart."""
    box = outbox.open_file(outbox_path, clock)
    box.keep([entry(1)])
    box.save_snapshot(service.snapshot(fake.CONNECTOR), 0)
    box.save_mark("|SN-1042", service.matching(b"SN-1042"))
    box.remember("shift", dialogue.Shift(badge="B-7"))
    box.close()
    again = outbox.open_file(outbox_path, clock)
    assert numbers(again) == [1]
    cached = again.snapshot(fake.CONNECTOR)
    assert cached is not None
    assert cached.snapshot == service.snapshot(fake.CONNECTOR)
    assert [each.id for each in again.lines_of_mark("|SN-1042")] == [fake.CONNECTOR]
    assert again.marks_of(fake.CONNECTOR) == ("|SN-1042",)
    assert again.remembered("shift", dialogue.Shift) == dialogue.Shift(badge="B-7")
    again.close()


def test_since_gives_what_a_snapshot_may_not_hold(box: Outbox) -> None:
    """Unsent and refused entries, and those acknowledged after the snapshot was fetched; none of another connector."""
    box.keep([entry(1), entry(2), entry(3), entry(4, connector=fake.OTHER)])
    box.settle([Settled(UUID(int=1), "sent")])
    before = box.acknowledged()
    box.settle([Settled(UUID(int=2), "sent"), Settled(UUID(int=3), "refused")])
    assert [each.entry.id.int for each in box.since([str(fake.CONNECTOR)], before)] == [2, 3]
    assert box.referred(before) == (str(fake.CONNECTOR), str(fake.OTHER))


def test_a_parked_entry_joins_a_connector_once(box: Outbox) -> None:
    """It is then sent, about that connector alone by whatever name, and newer than any state fetched before; only parked ones."""
    box.keep([structs.replace(entry(1), connector="SN-1042"), structs.replace(entry(2), connector="SN-1042")])
    box.settle([Settled(UUID(int=1), "parked")])
    before = box.acknowledged()
    box.join([(UUID(int=1), fake.CONNECTOR), (UUID(int=2), fake.CONNECTOR)])
    box.join([(UUID(int=1), fake.OTHER)])
    assert (numbers(box, "sent"), numbers(box, "parked"), numbers(box)) == ([1], [], [2])
    assert [each.entry.id.int for each in box.since([str(fake.CONNECTOR)], before)] == [1]
    assert [each.entry.id.int for each in box.since(["SN-1042", str(fake.OTHER)], before)] == [2]
    assert box.since([str(fake.CONNECTOR)], box.acknowledged()) == ()
    assert box.of_status("sent")[0].entry.connector == "SN-1042"


def test_one_sender_at_a_time(outbox_path: Path, clock: Clock) -> None:
    """While one process sends, another one is told so; afterwards it may."""
    one, two = outbox.open_file(outbox_path, clock), outbox.open_file(outbox_path, clock)
    with one.sending(), pytest.raises(outbox.OccupiedError), two.sending():
        pass
    with two.sending():
        two.keep([entry(1)])
    assert numbers(one) == [1]
    one.close()
    two.close()


def test_a_killed_sender_gives_the_right_back(outbox_path: Path, clock: Clock) -> None:
    """A process that dies while sending holds up nobody."""
    box = outbox.open_file(outbox_path, clock)
    program = (
        "import os, sys; from pathlib import Path; from datetime import datetime; from scanner_client import outbox\n"
        "with outbox.open_file(Path(sys.argv[1]), datetime.now).sending():\n"
        "    print('holding', flush=True); sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program, str(outbox_path)], stdout=subprocess.PIPE, stdin=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"holding\n"
        with pytest.raises(outbox.OccupiedError), box.sending():
            pass
        holder.kill()
        holder.wait()
    with box.sending():
        pass
    box.close()


def test_what_keep_returned_from_survives_a_kill(outbox_path: Path, clock: Clock) -> None:
    """A process that is killed right after keeping an entry has kept it."""
    program = (
        "import os, sys; from pathlib import Path; from datetime import datetime; from scanner_client import outbox\n"
        "from tests.client.test_outbox import entry\n"
        "outbox.open_file(Path(sys.argv[1]), datetime.now).keep([entry(1)]); os.kill(os.getpid(), 9)\n"
    )
    killed = subprocess.run([sys.executable, "-c", program, str(outbox_path)], check=False, capture_output=True)
    assert killed.returncode == -9
    box = outbox.open_file(outbox_path, clock)
    assert numbers(box) == [1]
    box.close()


def test_a_damaged_file_is_left_as_it_is(outbox_path: Path, clock: Clock) -> None:
    """A file that is not readable as an outbox is an error with what to do; not one byte of it changes."""
    for content in (b"not a database at all" * 50, b"SQLite format 3\x00" + b"\xff" * 5000):
        outbox_path.write_bytes(content)
        with pytest.raises(UnusableError, match="damaged"):
            outbox.open_file(outbox_path, clock)
        assert outbox_path.read_bytes() == content


def test_a_file_cut_in_the_middle_is_noticed(outbox_path: Path, clock: Clock) -> None:
    """A truncated outbox does not pass for a shorter one."""
    box = outbox.open_file(outbox_path, clock)
    box.keep([entry(each) for each in range(1, 300)])
    box.close()
    whole = outbox_path.read_bytes()
    outbox_path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(UnusableError, match="damaged"):
        outbox.open_file(outbox_path, clock)


def test_another_programs_file_is_left_alone(outbox_path: Path, clock: Clock) -> None:
    """A database of something else is not turned into an outbox, nor is one of a newer version."""
    other = sqlite3.connect(outbox_path)
    other.execute("CREATE TABLE precious (x)")
    other.close()
    with pytest.raises(UnusableError, match="another program"):
        outbox.open_file(outbox_path, clock)
    newer = outbox_path.with_name("newer.db")
    outbox.open_file(newer, clock).close()
    other = sqlite3.connect(newer)
    other.execute("PRAGMA user_version = 99")
    other.close()
    with pytest.raises(UnusableError, match="newer"):
        outbox.open_file(newer, clock)


def test_a_place_that_cant_be_written_is_named(tmp_path: Path, clock: Clock) -> None:
    """Where nothing can be kept, the bench does not start as if it could."""
    (tmp_path / "file").write_text("x")
    with pytest.raises(UnusableError, match="can't be written"):
        outbox.open_file(tmp_path / "file" / "bench.db", clock)
    with pytest.raises(UnusableError, match="can't be written"):
        outbox.open_file(tmp_path, clock)


def test_nobody_else_reads_it(outbox_path: Path, box: Outbox) -> None:
    """Badge numbers are in it, so the file is its user's alone."""
    box.keep([entry(1)])
    assert outbox_path.stat().st_mode & 0o077 == 0


def test_it_is_durable(outbox_path: Path, box: Outbox) -> None:
    """Written ahead and flushed to disk at every commit."""
    box.keep([entry(1)])
    assert box._connection.execute("PRAGMA synchronous").fetchone() == (2,)  # noqa: SLF001
    assert box._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)  # noqa: SLF001
    assert outbox_path.exists()


def test_a_snapshot_of_another_version_counts_as_not_known(outbox_path: Path, box: Outbox, service: Service) -> None:
    """A cached state that can't be read any more is not a reason to stop, nor to answer."""
    box.save_snapshot(service.snapshot(fake.CONNECTOR), 0)
    other = sqlite3.connect(outbox_path)
    other.execute("UPDATE snapshots SET body = x'7b7d'")
    other.commit()
    other.close()
    assert box.snapshot(fake.CONNECTOR) is None
    assert box.snapshots() == ()


def test_what_is_remembered_with_an_act_is_kept_with_it_or_not_at_all(box: Outbox) -> None:
    """One transaction: no crash leaves the entries without what follows from them, and a clash leaves both out."""
    box.keep([entry(1)], ("talk", dialogue.Memory(shift=dialogue.Shift(badge="B-7"))))
    with pytest.raises(ClashError):
        box.keep([entry(1, "c")], ("talk", dialogue.Memory()))
    assert box.remembered("talk", dialogue.Memory) == dialogue.Memory(shift=dialogue.Shift(badge="B-7"))


def test_the_number_of_acknowledged_entries_never_falls(box: Outbox) -> None:
    """An entry that is sent again after a refusal takes no number back: a snapshot fetched before would hide a later entry."""
    box.keep([entry(1)])
    box.settle([Settled(UUID(int=1), "refused")])
    before = box.acknowledged()
    box.again(UUID(int=1))
    assert box.acknowledged() == before
    box.keep([entry(2)])
    box.settle([Settled(UUID(int=2), "sent")])
    assert [each.entry.id.int for each in box.since([str(fake.CONNECTOR)], before)] == [1, 2]
