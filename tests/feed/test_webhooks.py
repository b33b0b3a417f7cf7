"""Webhooks against a receiver that is a program of its own and fails in every way that receivers fail."""

import asyncio
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_http_event
from standardwebhooks.webhooks import Webhook as Verifier

from service.store import database
from service.workflow import webhooks
from service.workflow.access import Scope
from service.workflow.delivering import Pace
from tests.api.test_recording import entry, post, registration
from tests.conftest import run
from tests.feed.station import QUICK, Receiver, Webhook, certificate, delivering, until

ONCE = Pace(look_s=0.02, lead_s=0.05, delays_s=(3_600.0,) * 9)
"""A failed call is not made again within a test."""


@pytest.fixture
def receiver(tmp_path: Path) -> Iterator[Receiver]:
    """A receiver that takes everything until it is told otherwise."""
    with Receiver(tmp_path / "receiver") as found:
        yield found


async def recorded(client: httpx.AsyncClient, count: int = 3) -> list[str]:
    """Entries to tell of, on the connector EX-1; their ids."""
    await client.post("/v1/connectors", json=registration())
    made = [entry("tine_entry", minute=each) for each in range(count)]
    await post(client, *made)
    return [each["id"] for each in made]


async def after(client: httpx.AsyncClient, cursor: str | None = None) -> dict[str, Any]:
    """The feed from a cursor on."""
    found: dict[str, Any] = (await client.get("/v1/feed", params={"cursor": cursor} if cursor else {})).json()
    return found


def test_everything_arrives_in_order_and_signed(dsn: str, receiver: Receiver) -> None:
    """A receiver gets each event once, in order, as a CloudEvent that the SDK reads, with a signature that the library takes."""

    async def work() -> None:
        async with delivering(dsn) as client:
            hook = await Webhook.made(client, receiver.url())
            await recorded(client)
            feed = (await after(client))["events"]
            await until(lambda: len(receiver.calls) == len(feed))
            await hook.told_all()
            log = await hook.log()
        assert receiver.events == feed
        for call, event in zip(receiver.calls, feed, strict=True):
            headers = call["headers"]
            assert (call["method"], call["path"], headers["host"]) == ("POST", "/hook", f"127.0.0.1:{receiver.port}")
            assert headers["content-type"].startswith("application/cloudevents+json")
            assert Verifier(hook.secret).verify(call["body"], headers) == event
            assert headers["webhook-id"] == event["id"]
            read = from_http_event(HTTPMessage(headers, call["body"].encode()))
            assert (read.get_id(), read.get_type(), read.get_source()) == (event["id"], event["type"], event["source"])
        assert [(each["outcome"], each["status"], each["attempt"]) for each in log] == [("delivered", 200, 1)] * len(
            feed
        )

    run(work())


@pytest.mark.parametrize("mode", ["broken", "hangs", "closes", "trickles", "babbles", "redirects"])
def test_what_fails_is_told_again_until_it_is_taken(dsn: str, receiver: Receiver, mode: str) -> None:
    """After any failure the same event comes again with its id; none is left out or overtaken; the log says what went wrong."""

    async def work() -> None:
        async with delivering(dsn, webhook_timeout_s=0.4) as client:
            receiver.mode(mode)
            hook = await Webhook.made(client, receiver.url(), types=["tinebook.entry."])
            ids = await recorded(client)
            await hook.shows(lambda view: view["attempts"] >= 2)
            failing = await hook.view()
            receiver.mode("fine")
            await hook.told_all()
            view, log = await hook.view(), await hook.log()
        assert failing["failing_since"] is not None
        # With the connector's registration, which it does not want, if that was numbered together with the entries.
        assert failing["behind"] in {3, 4}
        assert (view["state"], view["attempts"], view["failing_since"]) == ("active", 0, None)
        failed = [each for each in log if each["outcome"] == "failed"]
        assert len(failed) >= 2
        assert [each["attempt"] for each in failed] == list(range(1, len(failed) + 1))
        assert {each["event"] for each in failed} == {ids[0]}
        wanted = {"broken": (500, "answered 500"), "redirects": (302, "not followed")}
        status, text = wanted.get(mode, (None, "no answer" if mode in {"hangs", "trickles"} else "Error"))
        assert all(each["status"] == status and text in each["detail"] for each in failed)
        arrived = [each["headers"]["webhook-id"] for each in receiver.calls]
        assert arrived == [ids[0]] * len(failed) + ids
        assert {each["path"] for each in receiver.calls} == {"/hook"}, "nothing was followed"
        for call in receiver.calls:
            Verifier(hook.secret).verify(call["body"], call["headers"])

    run(work())


@pytest.mark.parametrize("mode", ["taken", "endless"])
def test_any_2xx_is_enough(dsn: str, receiver: Receiver, mode: str) -> None:
    """202 is a success, and so is a 200 whose body never ends: the body is not waited for."""

    async def work() -> None:
        async with delivering(dsn, ONCE) as client:
            receiver.mode(mode)
            hook = await Webhook.made(client, receiver.url(), types=["tinebook.entry."])
            ids = await recorded(client)
            await hook.told_all()
            assert [each["outcome"] for each in await hook.log()] == ["delivered"] * 3
        assert [each["id"] for each in receiver.events] == ids

    run(work())


def test_a_dead_receiver_holds_up_nothing(dsn: str, receiver: Receiver, tmp_path: Path) -> None:
    """While one receiver hangs, all is recorded, read and told to another; the first gets it all once it lives again."""

    async def work() -> None:
        with Receiver(tmp_path / "dead") as dead:
            dead.mode("hangs")
            async with delivering(dsn, webhook_timeout_s=600) as client:
                hanging = await Webhook.made(client, dead.url())
                living = await Webhook.made(client, receiver.url())
                first = await recorded(client)
                await until(lambda: len(dead.calls) == 1)
                more = [entry("tine_entry", minute=60 + each) for each in range(30)]
                await post(client, *more)
                await living.told_all()
                assert (await hanging.view())["behind"] == (await after(client))["events"].__len__()
            dead.mode("fine")
            async with delivering(dsn):
                await until(lambda: len(dead.calls) == 1 + len(receiver.calls))
        ids = [each["id"] for each in receiver.events if each["type"] == "tinebook.entry.tine_entry"]
        assert ids == [*first, *(each["id"] for each in more)]
        assert dead.events[1:] == receiver.events
        assert dead.events[0] == dead.events[1], "the call that was under way when the service stopped is made again"

    run(work())


def test_410_disables_and_tells(dsn: str, receiver: Receiver, tmp_path: Path) -> None:
    """A receiver that answers 410 is not called again; everybody else is told so; it can be let go on where it stood."""

    async def work() -> None:
        with Receiver(tmp_path / "other") as other:
            async with delivering(dsn) as client:
                receiver.mode("gone")
                hook = await Webhook.made(client, receiver.url(), types=["tinebook.entry."])
                watching = await Webhook.made(client, other.url(), types=["tinebook.webhook.disabled"])
                ids = await recorded(client)
                view = await hook.shows(lambda found: found["state"] == "disabled")
                assert "410" in view["reason"]
                await until(lambda: len(other.calls) == 1)
                await watching.told_all()
                (told,) = other.events
                assert told["data"]["recorded"]["webhook"] == hook.id
                assert told in (await after(client))["events"]
                await post(client, entry("tine_entry", minute=90))
                await watching.told_all()
                assert len(receiver.calls) == 1
                receiver.mode("fine")
                assert (await client.put(hook.path, json={"state": "active"})).json()["state"] == "active"
                await until(lambda: len(receiver.calls) == 5)
        assert [each["id"] for each in receiver.events][:4] == [ids[0], *ids]

    run(work())


def test_long_failure_disables_and_tells(dsn: str, receiver: Receiver) -> None:
    """When the schedule is at its end the webhook is disabled, with the reason, and the feed says so; nothing is lost."""
    pace = Pace(look_s=0.02, lead_s=0.05, delays_s=(0.02, 0.02))

    async def work() -> None:
        async with delivering(dsn, pace) as client:
            receiver.mode("broken")
            hook = await Webhook.made(client, receiver.url(), types=["tinebook.entry."])
            ids = await recorded(client)
            view = await hook.shows(lambda found: found["state"] == "disabled")
            assert "3 attempts at one event: answered 500" in view["reason"]
            types = [each["type"] for each in (await after(client))["events"]]
            assert types.count("tinebook.webhook.disabled") == 1
            assert len(receiver.calls) == 3
            receiver.mode("fine")
            await client.put(hook.path, json={"state": "active"})
            await until(lambda: len(receiver.calls) == 6)
        assert [each["id"] for each in receiver.events] == [ids[0]] * 3 + ids

    run(work())


@pytest.mark.parametrize("mode", ["wait_seconds", "wait_date"])
def test_a_receiver_is_left_alone_as_long_as_it_asks(dsn: str, receiver: Receiver, mode: str) -> None:
    """`Retry-After`, in seconds or as a date, puts the next call off, however soon the schedule would have it."""

    async def work() -> None:
        async with delivering(dsn) as client:
            receiver.mode(mode)
            hook = await Webhook.made(client, receiver.url())
            begun = datetime.now(UTC)
            await recorded(client)
            view = await hook.shows(lambda found: found["attempts"] == 1)
            assert datetime.fromisoformat(view["due_at"]) >= begun + timedelta(minutes=59, seconds=58)
            await asyncio.sleep(0.3)
            assert len(receiver.calls) == 1

    run(work())


def test_private_addresses_are_not_called(dsn: str, receiver: Receiver) -> None:
    """Without the owner's leave no receiver on this machine is called, by number or by name; the log says why."""

    async def work() -> None:
        async with delivering(dsn, ONCE, webhook_networks="") as client:
            for host in ("127.0.0.1", "localhost"):
                hook = await Webhook.made(client, receiver.url(host))
                tried = (await client.post(f"{hook.path}/test")).json()
                assert (tried["outcome"], tried["status"]) == ("refused", None)
                assert "TINEBOOK_WEBHOOK_NETWORKS" in tried["detail"]
            await recorded(client)
            await hook.shows(lambda view: view["attempts"] == 1)
        assert receiver.calls == []

    run(work())


def test_only_proven_receivers_are_called(dsn: str, tmp_path: Path) -> None:
    """Over TLS a receiver is called only if an authority that is trusted vouches for the very name in the URL."""
    pem, root = certificate(tmp_path / "right", "localhost")
    other_pem, _ = certificate(tmp_path / "other", "localhost")
    wrong_pem, wrong_root = certificate(tmp_path / "wrong", "records.example")

    async def tried(pem: Path, trusted: Path | None) -> dict[str, Any]:
        with Receiver(tmp_path / f"receiver {pem.parent.name} {trusted is None}", pem) as receiver:
            async with delivering(dsn, ONCE, webhook_authority=trusted) as client:
                hook = await Webhook.made(client, receiver.url("localhost"))
                found: dict[str, Any] = (await client.post(f"{hook.path}/test")).json()
                await client.put(hook.path, json={"state": "ended"})
            assert len(receiver.calls) == (found["outcome"] == "delivered")
            return found

    async def work() -> None:
        assert (await tried(pem, root))["outcome"] == "delivered"
        for files in ((pem, None), (other_pem, root), (wrong_pem, wrong_root)):
            found = await tried(*files)
            assert found["outcome"] == "failed"
            assert "certificate" in found["detail"].lower()

    run(work())


def test_the_test_button(dsn: str, receiver: Receiver) -> None:
    """A test call goes out at once, signed, in whatever state the webhook is; it stands in the log and in no feed."""

    async def work() -> None:
        async with delivering(dsn) as client:
            hook = await Webhook.made(client, receiver.url())
            await client.put(hook.path, json={"state": "paused"})
            reply = await client.post(f"{hook.path}/test")
            receiver.mode("broken")
            failed = (await client.post(f"{hook.path}/test")).json()
            log = await hook.log()
            feed = await after(client)
        line = reply.json()
        assert (reply.status_code, line["outcome"], line["status"], line["position"]) == (200, "delivered", 200, None)
        assert (failed["outcome"], failed["status"]) == ("failed", 500)
        assert [line, failed] == log
        call = receiver.calls[0]
        event = Verifier(hook.secret).verify(call["body"], call["headers"])
        assert (event["type"], event["id"]) == ("tinebook.webhook.test", line["event"])
        assert feed["events"] == []

    run(work())


def test_secrets_overlap(dsn: str, receiver: Receiver) -> None:
    """During the overlap calls are signed with both secrets, afterwards with the new one alone; no secret is shown twice."""

    async def work() -> None:
        async with delivering(dsn) as client:
            hook = await Webhook.made(client, receiver.url())
            both = (await client.post(f"{hook.path}/secret", json={"overlap_hours": 24})).json()
            await client.post(f"{hook.path}/test")
            last = (await client.post(f"{hook.path}/secret", json={"overlap_hours": 0})).json()
            await client.post(f"{hook.path}/test")
            shown = (await client.get("/v1/webhooks")).text
        assert (both["webhook"]["secrets"], last["webhook"]["secrets"]) == (2, 1)
        assert len({hook.secret, both["secret"], last["secret"]}) == 3
        assert "whsec_" not in shown
        overlapping, alone = receiver.calls
        for secret in (hook.secret, both["secret"]):
            Verifier(secret).verify(overlapping["body"], overlapping["headers"])
        Verifier(last["secret"]).verify(alone["body"], alone["headers"])
        counts = [each["headers"]["webhook-signature"].count("v1,") for each in receiver.calls]
        assert counts == [2, 1]

    run(work())


def test_replay(dsn: str, receiver: Receiver) -> None:
    """From any cursor a receiver is told everything again, with the ids that it knows."""

    async def work() -> None:
        async with delivering(dsn) as client:
            await client.post("/v1/connectors", json=registration())
            cursor = (await after(client))["next"]
            ids = await recorded(client)
            hook = await Webhook.made(client, receiver.url(), cursor=cursor)
            await until(lambda: len(receiver.calls) == 3)
            assert (await client.post(f"{hook.path}/replay", json={"cursor": cursor})).status_code == 200
            await until(lambda: len(receiver.calls) == 6)
            await client.post(f"{hook.path}/replay", json={"start": "beginning"})
            await until(lambda: len(receiver.calls) == 10)
            await hook.told_all()
            bad = await client.post(f"{hook.path}/replay", json={"cursor": "x"})
            assert (bad.status_code, bad.json()["errors"][0]["pointer"]) == (422, "#/cursor")
        assert [each["id"] for each in receiver.events][:6] == ids + ids

    run(work())


def test_one_process_of_several_delivers(dsn: str, receiver: Receiver) -> None:
    """Of two services one delivers, so nothing comes twice; when it stops, the other takes over."""

    async def work() -> None:
        async with delivering(dsn) as client:
            async with delivering(dsn) as first:
                hook = await Webhook.made(first, receiver.url())
                await recorded(first)
                await hook.told_all()
                await asyncio.sleep(0.3)
                assert len(receiver.calls) == len((await after(first))["events"])
            await post(client, entry("tine_entry", minute=99))
            await until(lambda: receiver.events[-1]["data"]["recorded"]["number"] == 4)
            assert receiver.events == (await after(client))["events"]

    run(work())


def test_delivering_outlives_its_connection(dsn: str, receiver: Receiver) -> None:
    """When the database throws the deliverer out, it comes back, leads again and leaves nothing out."""

    async def work() -> None:
        async with delivering(dsn) as client:
            hook = await Webhook.made(client, receiver.url())
            await recorded(client)
            await hook.told_all()
            async with database.owner(dsn) as owner:
                await owner.execute(
                    "select pg_terminate_backend(l.pid) from pg_locks as l join pg_database as d on d.oid = l.database "
                    "where l.locktype = 'advisory' and l.objid = 7460012 and d.datname = current_database()"
                )
            late = entry("tine_entry", minute=99)
            await post(client, late)
            await until(lambda: receiver.events[-1]["id"] == late["id"])
            feed = [each["id"] for each in (await after(client))["events"]]
        assert list(dict.fromkeys(each["id"] for each in receiver.events)) == feed

    run(work())


def test_filters(dsn: str, receiver: Receiver) -> None:
    """A webhook for some types of one connector gets those alone; one that is paused or has ended gets nothing."""

    async def work() -> None:
        async with delivering(dsn) as client:
            one = (await client.post("/v1/connectors", json=registration("EX-1"))).json()["id"]
            await client.post("/v1/connectors", json=registration("EX-2"))
            hook = await Webhook.made(client, receiver.url(), connector=one, types=["tinebook.entry.insertion"])
            wanted = entry("insertion")
            await post(client, entry("tine_entry"), wanted, entry("insertion", serial="EX-2"))
            await hook.told_all()
            assert [each["id"] for each in receiver.events] == [wanted["id"]]
            for state in ("paused", "ended"):
                await client.put(hook.path, json={"state": state})
                await post(client, entry("insertion", minute=5))
                await asyncio.sleep(0.2)
            assert len(receiver.calls) == 1
            again = await client.put(hook.path, json={"state": "active"})
            assert again.status_code == 404, "ended is for good"

    run(work())


def test_what_can_be_no_webhook(dsn: str) -> None:
    """An address that can't be called or that is called already, an unknown type, one too many: refused with the place."""

    async def work() -> None:
        async with delivering(dsn) as client:
            first = await Webhook.made(client, "https://records.example/0")
            for body, pointer in (
                ({"url": "ftp://records.example/"}, "#/url"),
                ({"url": "https://u:p@records.example/"}, "#/url"),
                ({"url": "https://records.example/0"}, "#/url"),
                ({"url": "https://records.example/1", "types": ["entry.insertion"]}, "#/types/0"),
                ({"url": "https://records.example/1", "cursor": "WzksIngiXQ"}, "#/cursor"),
            ):
                reply = await client.post("/v1/webhooks", json=body)
                assert (reply.status_code, reply.json()["errors"][0]["pointer"]) == (422, pointer), reply.text
            for number in range(1, webhooks.MOST):
                await Webhook.made(client, f"https://records.example/{number}")
            full = await client.post("/v1/webhooks", json={"url": "https://records.example/last"})
            assert full.status_code == 422
            await client.put(first.path, json={"state": "ended"})
            await Webhook.made(client, "https://records.example/0")
            assert (await client.get("/v1/webhooks/x")).status_code == 404

    run(work())


def test_only_the_system_owner_manages_webhooks(dsn: str) -> None:
    """What leaves the house is for the system owner to say: other tokens may read the feed at most."""

    async def work() -> None:
        async with delivering(dsn, QUICK, (Scope.RECORDS,)) as client:
            assert (await client.get("/v1/feed")).status_code == 200
            for method, path in (("GET", ""), ("POST", ""), ("GET", "/x/deliveries"), ("POST", "/x/test")):
                assert (await client.request(method, f"/v1/webhooks{path}", json={})).status_code == 403

    run(work())
