"""The calls to the service: patience, resting, and what each failure means."""

from datetime import timedelta
from email.utils import format_datetime

import httpx
import pytest

from scanner_client import link
from scanner_client.link import AwayError, DeniedError, GarbledError, Link, RejectedError
from scanner_client.readings import Channel, Reading, typed
from service.core.answers import Action, Answer
from service.messages import PlannedStep
from tests.client import fake
from tests.client.conftest import Waits
from tests.client.fake import Service
from tests.client.symbols import MESSAGE

STEPS = (PlannedStep(action=Action.INSERT, cavity="14"),)


def test_typed_marks_and_scans_find_their_connector(way: Link, service: Service) -> None:
    """A typed mark is looked up as text; a scan goes with its bytes and its symbology."""
    assert [each.id for each in way.find(typed("SN-1042"))] == [fake.CONNECTOR]
    assert [each.id for each in way.find(Reading(b"SN-1042", "]C0", Channel.SERIAL))] == [fake.CONNECTOR]
    assert way.find(typed("nothing like it")) == ()
    way.find(Reading(MESSAGE, "]d1", Channel.SERIAL))
    assert b'"symbology":"]d1"' in service.requests[-1].content


def test_a_mark_with_controls_survives_the_address_line(way: Link, service: Service) -> None:
    """A whole message typed or pasted as text reaches the service with its separators."""
    way.find(typed(MESSAGE.decode()))
    assert service.requests[-1].url.params["mark"] == MESSAGE.decode()


def test_state_and_plan_are_read(way: Link) -> None:
    """What the service says comes back as its own messages."""
    assert way.ready()
    assert way.snapshot(fake.CONNECTOR).definition == fake.definition()
    assert way.connector(fake.CONNECTOR).serial == "SN-1042"
    assert way.plan(fake.CONNECTOR, STEPS).answer is Answer.GO


def test_every_request_carries_the_token(way: Link, service: Service) -> None:
    """The token goes as a bearer token, to the service alone."""
    way.ready()
    assert service.requests[-1].headers["Authorization"] == f"Bearer {fake.TOKEN}"


def test_a_busy_moment_is_waited_out(way: Link, service: Service, waits: Waits) -> None:
    """One 503 is tried again after a short wait."""
    answers = ["busy"]
    service.cut = lambda _: answers.pop() if answers else "answer"
    assert way.plan(fake.CONNECTOR, STEPS).answer is Answer.GO
    assert waits.waited == [link.PATIENCE.first_wait_s]


def test_retry_after_is_obeyed(way: Link, service: Service, waits: Waits) -> None:
    """A short wait that the service asks for is kept; a long one is not sat through, but nothing is asked before."""
    answers = ["busy"]
    service.cut = lambda _: answers.pop() if answers else "answer"
    service.retry_after = "1"
    way.ready()
    assert waits.waited == [1.0]
    answers.append("busy")
    service.retry_after = "30"
    with pytest.raises(AwayError):
        way.ready()
    asked = len(service.requests)
    waits.now += 29
    with pytest.raises(AwayError):
        way.ready()
    assert len(service.requests) == asked
    waits.now += 2
    assert way.ready()


def test_retry_after_may_be_a_date(way: Link, service: Service, waits: Waits) -> None:
    """RFC 9110, 10.2.3: Retry-After is seconds or a date."""
    answers = ["busy"]
    service.cut = lambda _: answers.pop() if answers else "answer"
    service.retry_after = format_datetime(service.clock() + timedelta(seconds=2), usegmt=True)
    way.ready()
    assert waits.waited == [2.0]


def test_after_a_failure_it_rests_ever_longer(way: Link, service: Service, waits: Waits) -> None:
    """A bench without network answers at once: the service is asked again only after a rest that doubles up to a minute."""
    service.cut = lambda _: "away"
    rests: list[float] = []
    for _ in range(8):
        with pytest.raises(AwayError):
            way.ready()
        assert way.resting
        began = waits.now
        while way.resting:
            waits.now += 0.5
        rests.append(waits.now - began)
    assert rests == pytest.approx([2, 4, 8, 16, 32, 60, 60, 60])
    service.cut = lambda _: "answer"
    assert way.ready()
    service.cut = lambda _: "away"
    with pytest.raises(AwayError):
        way.ready()
    way.wake()
    assert not way.resting


@pytest.mark.parametrize("status", [401, 403])
def test_a_denied_token_says_so(status: int) -> None:
    """Expired or withdrawn: named as such, with where a new one goes."""
    http = link.client("http://s.test", "old", transport=httpx.MockTransport(lambda _: httpx.Response(status)))
    with pytest.raises(DeniedError, match="TINEBOOK_BENCH_TOKEN"):
        Link(http).ready()


def test_a_problem_is_passed_on(way: Link) -> None:
    """What the service objects to comes with its own words."""
    with pytest.raises(RejectedError, match="no cavity 99") as caught:
        way.plan(fake.CONNECTOR, (PlannedStep(action=Action.INSERT, cavity="99"),))
    assert caught.value.problem.status == 422


GARBLED = [
    httpx.Response(200, text="<html>"),
    httpx.Response(200, json={"status": "fine"}),
    httpx.Response(404, text="no"),
    httpx.Response(301, headers={"Location": "http://elsewhere.test/"}),
    httpx.Response(422, content=b"{", headers={"Content-Type": "application/problem+json"}),
]


@pytest.mark.parametrize(
    "answer", GARBLED, ids=["a page", "another shape", "not found", "a redirect", "a broken problem"]
)
def test_what_is_not_this_api_is_named_as_that(answer: httpx.Response) -> None:
    """A wrong address or another version is an error that says what to look at; a redirect is never followed."""
    asked: list[httpx.Request] = []

    def answering(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return answer

    http = link.client("http://s.test", "t", transport=httpx.MockTransport(answering))
    with pytest.raises(GarbledError, match="TINEBOOK_BENCH_URL"):
        Link(http).ready()
    assert [each.url.host for each in asked] == ["s.test"]


def test_slowness_is_told_from_absence(service: Service, waits: Waits) -> None:
    """A time-out and a refused connection read differently."""

    def slow(request: httpx.Request) -> httpx.Response:
        raise httpx.ReadTimeout("slow", request=request)

    means = link.Means(monotonic=waits.monotonic, sleep=waits.sleep)
    way = Link(link.client("http://s.test", None, transport=httpx.MockTransport(slow)), means=means)
    with pytest.raises(AwayError, match="in time"):
        way.ready()
    service.cut = lambda _: "away"
    other = Link(link.client("http://s.test", None, transport=service.transport()), means=means)
    with pytest.raises(AwayError, match="can't be reached"):
        other.ready()
