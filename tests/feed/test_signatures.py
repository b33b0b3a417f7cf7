"""Signatures, the schedule of attempts, and the addresses that may be called: as values."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from standardwebhooks.webhooks import EmptyWebhookSecretError, Webhook, WebhookVerificationError

from service.feed import addresses, schedule, signatures
from service.feed.addresses import Target

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"  # noqa: S105 - published with the vectors
OTHER = "whsec_" + "QUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUFBQUE="
NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)

VECTORS = [
    # The test vector of the Go, JavaScript, C# and Java libraries of Standard Webhooks.
    (
        "msg_p5jXN8AQM9LWM0D4loKWxJek",
        1614265330,
        '{"test": 2432232314}',
        "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    ),
    # The example text of the Standard Webhooks specification, signed by a computation of this project's own.
    (
        "msg_2KWPBgLlAfxdpx2AI54pPJ85f4W",
        1674087231,
        '{"type":"contact.created","timestamp":"2022-11-03T20:26:10.344522Z","data":{"id":"1f81eb52-5198-4599-803e-771906343485"}}',
        "v1,ARw42xaAApl/nxRo+iPGYwSaMQaOwMo2eyH5JBRA+bQ=",
    ),
]


@pytest.mark.parametrize(("identity", "second", "body", "wanted"), VECTORS)
@pytest.mark.parametrize("zone", [UTC, timezone(timedelta(hours=2))])
def test_published_vector(identity: str, second: int, body: str, wanted: str, zone: timezone) -> None:
    """The signature of the published vectors, whatever zone the clock is in."""
    found = signatures.headers(identity, datetime.fromtimestamp(second, zone), body.encode(), [SECRET])
    assert found == {"webhook-id": identity, "webhook-timestamp": str(second), "webhook-signature": wanted}


def test_while_secrets_overlap_either_verifies() -> None:
    """The library verifies a call with the new secret and with the old one, and with no other."""
    body = '{"é": 1}'.encode()
    found = signatures.headers("e1", datetime.now(UTC), body, [SECRET, OTHER])
    assert found["webhook-signature"].count("v1,") == 2
    for each in (SECRET, OTHER):
        assert Webhook(each).verify(body, found) == {"é": 1}
    with pytest.raises(WebhookVerificationError):
        Webhook(signatures.secret(bytes(32))).verify(body, found)
    with pytest.raises(WebhookVerificationError):
        Webhook(SECRET).verify(body + b" ", found)
    with pytest.raises(EmptyWebhookSecretError):
        signatures.headers("e1", datetime.now(UTC), body, ["whsec_"])


def test_the_schedule_is_the_specifications_example() -> None:
    """Ten attempts within 75 h 35 min (the example schedule of Standard Webhooks), give or take the jitter; then none."""
    middle = [schedule.delay_s(failures, None, 0.5) for failures in range(1, 10)]
    assert middle == [5, 300, 1800, 7200, 18000, 36000, 50400, 72000, 86400]
    assert timedelta(seconds=sum(each or 0 for each in middle)) == timedelta(hours=75, minutes=35, seconds=5)
    assert schedule.delay_s(10, None, 0.5) is None
    assert (schedule.delay_s(2, None, 0.0), schedule.delay_s(2, None, 1.0)) == pytest.approx((270, 330))
    assert schedule.delay_s(1, 3600, 0.5) == 3600, "never before the receiver wants it"
    assert schedule.delay_s(4, 1, 0.5) == 7200, "nor for its wish alone before the schedule"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        # RFC 9110, 10.2.3 and 5.6.7: seconds, or a date in any of its three forms.
        ("120", 120),
        ("0", 0),
        ("Wed, 25 Nov 2026 12:01:00 GMT", 60),
        ("Wednesday, 25-Nov-26 12:01:00 GMT", 60),
        ("Wed Nov 25 12:01:00 2026", 60),
        ("Wed, 25 Nov 2026 11:00:00 GMT", 0),
        ("99999999999", 30 * 86400),
        (None, None),
        ("", None),
        ("-1", None),
        ("1.5", None),
        ("soon", None),
        ("١٢", None),
    ],
)
def test_what_a_receiver_asks_for(text: str | None, wanted: float | None) -> None:
    """`Retry-After` in seconds or as a date is understood; anything else is no wish."""
    assert schedule.asked_s(text, NOW) == wanted


@pytest.mark.parametrize(
    ("url", "wanted"),
    [
        ("https://records.example/hook?x=1", Target("https", "records.example", 443)),
        ("http://192.0.2.7:8080/", Target("http", "192.0.2.7", 8080)),
        ("https://[2001:db8::1]:8443/hook", Target("https", "2001:db8::1", 8443)),
        ("ftp://records.example/", "neither https"),
        ("file:///etc/passwd", "neither https"),
        ("records.example/hook", "neither https"),
        ("https:///hook", "names no host"),
        ("https://user@records.example/", "user or a password"),
        ("https://:secret@records.example/", "user or a password"),
        ("https://records.example/#part", "fragment"),
        ("https://records.example:99999/", "not a URL"),
        ("https://records.example:0/", "port 0"),
        ("https://[::1/", "not a URL"),
        ("https://records.example/a b", "printable ASCII"),
        ("https://records.exämple/", "printable ASCII"),
        ("https://records.example/\r\nX: y", "printable ASCII"),
    ],
)
def test_where_a_url_leads(url: str, wanted: Target | str) -> None:
    """A URL leads to one scheme, host and port, or can't be called, and says why."""
    found = addresses.target(url)
    assert found == wanted if isinstance(wanted, Target) else wanted in str(found)


@pytest.mark.parametrize(
    ("address", "may"),
    [
        # The registries of special-purpose addresses (RFC 6890), by way of Python's `ipaddress`.
        ("93.184.215.14", True),
        ("2606:2800:21f:cb07:6820:80da:af6b:8b2c", True),
        ("127.0.0.1", False),
        ("10.1.2.3", False),
        ("172.16.0.1", False),
        ("192.168.1.1", False),
        ("169.254.169.254", False),
        ("100.64.0.1", False),
        ("0.0.0.0", False),  # noqa: S104 - not to be listened on
        ("224.0.0.1", False),
        ("255.255.255.255", False),
        ("::1", False),
        ("::", False),
        ("fe80::1%eth0", False),
        ("fd00::1", False),
        ("ff02::1", False),
        ("::ffff:10.1.2.3", False),
        ("64:ff9b::a01:203", False),
        ("64:ff9b::5db8:d70e", True),
        ("2002:a01:203::1", False),
    ],
)
def test_private_addresses_are_refused(address: str, *, may: bool) -> None:
    """Only public addresses may be called, also where an IPv6 address carries an IPv4 one."""
    assert (addresses.refusal(Target("https", "records.example", 443), address, ()) is None) == may


def test_what_the_owner_allows() -> None:
    """In an allowed network a private address may be called, and without TLS; elsewhere neither."""
    allowed = addresses.networks("10.1.0.0/16, fd00:1::/32")
    plain, safe = Target("http", "x", 80), Target("https", "x", 443)
    for address in ("10.1.2.3", "fd00:1::9"):
        assert addresses.refusal(plain, address, allowed) is None
    assert "not a public address" in str(addresses.refusal(safe, "10.2.0.1", allowed))
    assert "only https" in str(addresses.refusal(plain, "93.184.215.14", allowed))
    with pytest.raises(ValueError, match=r"10\.1\.2\.3/16"):
        addresses.networks("10.1.2.3/16")
