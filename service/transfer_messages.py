"""The wire contract of connectors that go to another owner, of those that come, and of the keys that this takes."""

from datetime import datetime
from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta

from service.core.entries import Note, Text
from service.core.transfers.bundle import PublicKey
from service.messages import DECIDES, Reply, Request

Reason = Annotated[Note, Meta(min_length=1)]


class HandOver(Request, frozen=True, kw_only=True):
    """Who takes a connector over and why. With `to_installation` no other installation than that one takes the bundle in.

    `id` is the transfer's: the same again gets the same answer.
    """

    to: Text
    reason: Reason
    to_installation: UUID | None = None
    id: UUID | None = None


class Incoming(Request, frozen=True, kw_only=True):
    """A bundle, as the sender gave it."""

    bundle_base64: Annotated[str, Meta(min_length=1)]


class TransferView(Reply, frozen=True, kw_only=True):
    """A connector that went `out` or came `in`, with the party on the other side. `sha256` is that of the bundle."""

    number: int
    id: UUID
    direction: Literal["out", "in"]
    connector: UUID
    serial: str
    definitions: int
    entries: int
    hash: str
    party: str
    installation: UUID | None
    public_key: str
    fingerprint: str
    reason: str
    recorded_by: str
    recorded_at: datetime
    sha256: str
    bundle_bytes: int
    notice: str = DECIDES


class TransferList(Reply, frozen=True, kw_only=True):
    """A page of transfers, the newest first."""

    transfers: tuple[TransferView, ...]
    next: str | None


class SenderStatement(Request, frozen=True, kw_only=True):
    """Whether the bundles that a key signed are taken in from now on, whose it is, and how that is known."""

    public_key: PublicKey
    name: Text
    trusted: bool
    reason: Reason


class SenderView(Reply, frozen=True, kw_only=True):
    """What was last said about a key."""

    public_key: str
    fingerprint: str
    name: str
    trusted: bool
    reason: str
    recorded_by: str
    recorded_at: datetime


class KeyRing(Reply, frozen=True, kw_only=True):
    """What others need of this installation to take in what it hands over, and whose bundles are taken in here."""

    installation: UUID
    public_key: str
    fingerprint: str
    senders: tuple[SenderView, ...]
