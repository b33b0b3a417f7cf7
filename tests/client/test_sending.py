"""Sending: in order, each fact once, nothing lost, whatever happens to the line."""

import random
import tempfile
from collections import Counter
from pathlib import Path
from uuid import UUID

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner_client import link, outbox, sending
from scanner_client.link import Link
from scanner_client.outbox import Outbox
from service.core.entries import Entry
from service.messages import EntriesRequest
from tests.client import fake
from tests.client.conftest import Waits, make_link
from tests.client.fake import Clock, Service
from tests.client.test_outbox import entry, numbers

CUTS = ("answer", "lose", "away", "busy", "denied", "reopen")


def sent(service: Service) -> list[int]:
    """The facts that the service has, in the order in which they came."""
    return [each.entry.id.int for each in service.ledger]


@given(
    count=st.integers(1, 30),
    most=st.integers(1, 12),
    refused=st.sets(st.integers(1, 30)),
    poisoned=st.sets(st.integers(1, 30), max_size=4),
    cuts=st.lists(st.sampled_from(CUTS), max_size=60),
    seed=st.integers(0, 1000),
)
def test_every_fact_arrives_once_and_in_order(
    count: int, most: int, refused: set[int], poisoned: set[int], cuts: list[str], seed: int
) -> None:
    """Answers lost, refusals, a busy or denying service, a process that starts again: in the end each fact is there once.

    What the service refuses, alone or by refusing its whole request, is set aside here and the rest goes on.
    """
    clock, waits = Clock(), Waits()
    service = Service(clock)
    left = list(cuts)
    service.refuse = lambda each: "malformed" if each.id.int in refused else None
    service.poison = lambda each: each.id.int in poisoned
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as directory:
        path = Path(directory) / "bench.db"
        box, way = outbox.open_file(path, clock), make_link(service, waits)
        service.cut = lambda _: left.pop() if left and left[-1] != "reopen" else "answer"
        kept = 0
        while kept < count or (left and numbers(box)):
            more = min(chance.randint(0, 5), count - kept)
            box.keep([entry(kept + each) for each in range(1, more + 1)])
            kept += more
            if left and left[-1] == "reopen":
                left.pop()
                box.close()
                box = outbox.open_file(path, clock)
            way.wake()
            sending.send(box, way, clock, most)
            assert sent(service) == sorted(sent(service))
        left.clear()
        way.wake()
        done = sending.send(box, way, clock, most)
        assert done.stopped is None
        set_aside = sorted((refused | poisoned) & set(range(1, count + 1)))
        assert numbers(box) == []
        assert numbers(box, "refused") == set_aside
        assert sent(service) == [each for each in range(1, count + 1) if each not in set_aside]
        assert max(Counter(sent(service)).values(), default=1) == 1
        box.close()
        way.close()


def test_batches_are_of_a_hundred_and_carry_the_clock(box: Outbox, way: Link, service: Service, clock: Clock) -> None:
    """Requests hold up to 100 entries, with the bench's own time, so that a clock that is off shows."""
    box.keep([entry(each) for each in range(1, 251)])
    clock.go(60)
    done = sending.send(box, way, clock)
    assert done.recorded == 250
    assert [len(each.content) > 0 for each in service.requests] == [True] * 3
    assert service.sent_at == [clock.now] * 3
    assert sent(service) == list(range(1, 251))


def test_a_lost_answer_is_sent_again_with_the_same_ids(box: Outbox, way: Link, service: Service, clock: Clock) -> None:
    """The service had it and the answer was lost: the second sending finds it recorded already."""
    box.keep([entry(1)])
    service.cut = lambda _: "lose"
    done = sending.send(box, way, clock)
    assert done.stopped is not None
    assert numbers(box) == [1]
    service.cut = lambda _: "answer"
    way.wake()
    assert sending.send(box, way, clock).already_recorded == 1
    assert sent(service) == [1]


def test_an_expired_token_keeps_everything_and_is_said(box: Outbox, way: Link, service: Service, clock: Clock) -> None:
    """401 is not a lost connection: it is named, and nothing is dropped."""
    box.keep([entry(1)])
    service.cut = lambda _: "denied"
    done = sending.send(box, way, clock)
    assert done.denied
    assert "expired or was withdrawn" in str(done.stopped)
    assert numbers(box) == [1]


def test_a_wrong_address_keeps_everything(box: Outbox, clock: Clock, waits: Waits) -> None:
    """A 404 or a page of something else says that the address is wrong, not that the facts are."""
    box.keep([entry(1)])
    for answer in (
        httpx.Response(404, text="nope"),
        httpx.Response(200, text="<html>log in</html>"),
        httpx.Response(302),
    ):
        http = link.client("http://service.test", None, transport=httpx.MockTransport(lambda _, each=answer: each))
        done = sending.send(box, Link(http, means=link.Means(monotonic=waits.monotonic, sleep=waits.sleep)), clock)
        assert "TINEBOOK_BENCH_URL" in str(done.stopped)
        assert numbers(box) == [1]


def test_an_answer_about_other_entries_settles_nothing(box: Outbox, clock: Clock, waits: Waits) -> None:
    """Results are believed only where they list what was sent, in order."""
    box.keep([entry(1), entry(2)])
    other = Service(clock)
    reply = other.entries(EntriesRequest(entries=(entry(2), entry(1))))
    http = link.client("http://service.test", None, transport=httpx.MockTransport(lambda _: reply))
    done = sending.send(box, Link(http, means=link.Means(monotonic=waits.monotonic, sleep=waits.sleep)), clock)
    assert "does not list the entries" in str(done.stopped)
    assert numbers(box) == [1, 2]


def test_an_unknown_connector_is_parked(box: Outbox, way: Link, service: Service, clock: Clock) -> None:
    """What the service keeps aside is done for the bench, and is shown as kept aside."""
    unknown = Entry(**{**{f: getattr(entry(1), f) for f in entry(1).__struct_fields__}, "connector": "SN-9"})
    box.keep([unknown, entry(2)])
    done = sending.send(box, way, clock)
    assert (done.parked, done.recorded) == (1, 1)
    assert numbers(box, "parked") == [1]
    assert [each.id.int for each in service.parked] == [1]


def test_another_sender_is_waited_for(outbox_path: Path, box: Outbox, way: Link, clock: Clock) -> None:
    """A second program on the same outbox sends nothing twice: it leaves the sending to the first."""
    box.keep([entry(1)])
    other = outbox.open_file(outbox_path, clock)
    with other.sending():
        done = sending.send(box, way, clock)
    assert "Another window" in str(done.stopped)
    other.close()
    assert sending.send(box, way, clock).recorded == 1


@pytest.mark.parametrize("outcome", ["recorded", "parked"])
def test_settled_ids_are_the_ones_sent(box: Outbox, way: Link, clock: Clock, outcome: str) -> None:
    """The outcome of each entry is written to that entry."""
    connector = fake.CONNECTOR if outcome == "recorded" else UUID(int=99)
    box.keep([entry(1, connector=connector)])
    done = sending.send(box, way, clock)
    assert [(each.id, each.outcome) for each in done.results] == [(UUID(int=1), outcome)]
