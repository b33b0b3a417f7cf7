"""Events as CloudEvents 1.0 (spec v1.0.2) has them, in its JSON form."""

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import msgspec
from msgspec import Struct

from service.core.entries import Kind

PREFIX = "tinebook."
"""What every type begins with."""
MEDIA_TYPE = "application/cloudevents+json"
BATCH_MEDIA_TYPE = "application/cloudevents-batch+json"
TEST_TOPIC = "webhook.test"
"""Of a call that somebody asked for, to see whether it arrives. It never stands in the feed."""
DISABLED_TOPIC = "webhook.disabled"
TOPICS = (
    *(f"entry.{each}" for each in Kind),
    "entry.parked",
    "connector.registered",
    "connector.revised",
    "connector.handed_over",
    "connector.received",
    "shop.house_value",
    "shop.cavity_set",
    "shop.coordinates",
    "shop.tool",
    "asset.described",
    "asset.position",
    "asset.usage",
    "asset.visit",
    "work_order.stated",
    "record.made",
    "person.certificate",
    "person.authority",
    "person.authority_withdrawn",
    "person.pseudonymised",
    "signing.rule",
    "signature.made",
    "checkpoint.made",
    DISABLED_TOPIC,
)
"""The types of the feed, without their prefix. Others may come."""

_SEQUENCE_DIGITS = 20


class Item(Struct, frozen=True, kw_only=True):
    """One thing in the feed, as it is kept: its position, what it is about, and its body in JSON."""

    position: int
    id: UUID
    topic: str
    recorded_at: datetime
    body: bytes
    connector: UUID | None = None
    performed_at: datetime | None = None
    hash: bytes | None = None
    serial: str | None = None
    cage: str | None = None
    part_number: str | None = None


class Event(Struct, frozen=True, omit_defaults=True, kw_only=True):
    """An event. `time` is when it happened, `recordedtime` when that was recorded, `sequence` its position in the feed.

    `id` never changes: whoever gets an event twice knows it by `source` and `id`. `data` is an object: the connector that it
    is about with the identity on its plate, and `recorded`: what stands in its chain, as it was hashed, with its `hash`.
    What is not about a connector is `recorded` alone.
    """

    specversion: str
    id: UUID
    source: str
    type: str
    time: datetime
    recordedtime: datetime
    datacontenttype: str
    data: Any
    sequence: str | None = None
    subject: str | None = None


class Data(Struct, frozen=True, omit_defaults=True, kw_only=True):
    """What an event says: the shape of `data`."""

    recorded: msgspec.Raw
    connector: UUID | None = None
    serial: str | None = None
    cage: str | None = None
    part_number: str | None = None
    hash: str | None = None


def source(installation: UUID) -> str:
    """The source of an installation's events: an absolute URI, as the specification advises."""
    return f"urn:uuid:{installation}"


def event(item: Item, origin: str) -> Event:
    """What an item of the feed looks like to others."""
    return Event(
        specversion="1.0",
        id=item.id,
        source=origin,
        type=f"{PREFIX}{item.topic}",
        subject=None if item.connector is None else str(item.connector),
        time=(item.performed_at or item.recorded_at).astimezone(UTC),
        recordedtime=item.recorded_at.astimezone(UTC),
        sequence=f"{item.position:0{_SEQUENCE_DIGITS}}" if item.position else None,
        datacontenttype="application/json",
        data=Data(
            recorded=msgspec.Raw(item.body),
            connector=item.connector,
            serial=item.serial,
            cage=item.cage,
            part_number=item.part_number,
            hash=None if item.hash is None else item.hash.hex(),
        ),
    )


def patterns(types: Iterable[str]) -> list[str] | None:
    """Types as patterns for LIKE on topics; none where every type is wanted. A type that ends in `.` means all that begin so."""
    found = []
    for each in types:
        topic = each.removeprefix(PREFIX)
        for special in ("\\", "_", "%"):
            topic = topic.replace(special, f"\\{special}")
        found.append(f"{topic}%" if topic.endswith(".") or not topic else topic)
    return found or None
