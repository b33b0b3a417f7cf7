"""Signatures of calls by Standard Webhooks: HMAC-SHA256 over id, time of the attempt and body, one for each secret in force."""

import base64
from collections.abc import Iterable
from datetime import UTC, datetime

from standardwebhooks.webhooks import Webhook

SECRET_BYTES = 32
"""The specification asks for 24 to 64 random ones."""


def secret(random: bytes) -> str:
    """Random bytes as a secret is shown."""
    return f"whsec_{base64.b64encode(random).decode()}"


def headers(identity: str, at: datetime, body: bytes, secrets: Iterable[str]) -> dict[str, str]:
    """The headers that prove who called. While secrets overlap there is a signature for each, the newest first.

    The id is the event's own and stays the same over attempts; the time is that of this attempt.
    """
    # The library takes the clock face of the time for UTC, whatever its zone.
    at = at.astimezone(UTC)
    text = body.decode()
    return {
        "webhook-id": identity,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(Webhook(each).sign(identity, at, text) for each in secrets),
    }
