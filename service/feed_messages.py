"""The wire contract of the feed and of webhooks."""

from datetime import datetime
from typing import Annotated, Literal
from uuid import UUID

from msgspec import Meta

from service.core.entries import Text
from service.feed.events import Event
from service.messages import Reply, Request

EventType = Annotated[str, Meta(min_length=1, max_length=100, pattern="^tinebook[.][a-z0-9_.]*$(?!\\n)")]
"""A type as events have it, or the beginning of one up to a dot, for all that begin so."""
Url = Annotated[str, Meta(min_length=1, max_length=2000)]
Start = Literal["beginning", "end"]
State = Literal["active", "paused", "disabled", "ended"]


class FeedPage(Reply, frozen=True, kw_only=True):
    """A page of the feed, oldest first. `next` is always there: what comes later begins with it. `more`: it need not wait."""

    events: tuple[Event, ...]
    next: str
    more: bool


class WebhookRequest(Request, frozen=True, kw_only=True):
    """Who is to be called: every event, or those of some types or of one connector. `cursor` is one of the feed's."""

    url: Url
    types: Annotated[tuple[EventType, ...], Meta(max_length=50)] = ()
    connector: UUID | None = None
    start: Start = "end"
    cursor: Text | None = None


class WebhookChange(Request, frozen=True, kw_only=True):
    """What is to hold of a webhook from now on. `ended` is for good. What is left out stays as it is."""

    state: Literal["active", "paused", "ended"] = "active"
    url: Url | None = None
    types: Annotated[tuple[EventType, ...], Meta(max_length=50)] | None = None


class Rotation(Request, frozen=True, kw_only=True):
    """How long the secrets before the new one go on signing beside it."""

    overlap_hours: Annotated[int, Meta(ge=0, le=720)] = 24


class Replay(Request, frozen=True, kw_only=True):
    """From where a webhook is to be told everything again: a cursor of the feed, or its beginning or end."""

    cursor: Text | None = None
    start: Start = "beginning"


class WebhookView(Reply, frozen=True, kw_only=True):
    """A webhook and how it fares. `secrets` is how many sign now; none is ever shown again. `behind`: positions to go."""

    id: UUID
    url: str
    types: tuple[str, ...]
    connector: UUID | None
    state: State
    reason: str | None
    cursor: str
    behind: int
    attempts: int
    failing_since: datetime | None
    due_at: datetime
    secrets: int
    created_at: datetime
    created_by: str


class WebhookMade(Reply, frozen=True, kw_only=True):
    """A webhook with its new secret, which is shown this once."""

    webhook: WebhookView
    secret: str


class WebhookList(Reply, frozen=True, kw_only=True):
    """All webhooks, newest first."""

    webhooks: tuple[WebhookView, ...]


class DeliveryLine(Reply, frozen=True, kw_only=True):
    """A call and what came of it. `attempt` counts from 1 for each event; a test has no position."""

    number: int
    event: UUID
    type: str
    position: int | None
    attempt: int
    at: datetime
    took_ms: int
    outcome: Literal["delivered", "failed", "refused", "gone"]
    status: int | None
    detail: str


class DeliveryLog(Reply, frozen=True, kw_only=True):
    """A page of a webhook's log, newest first."""

    deliveries: tuple[DeliveryLine, ...]
    next: str | None
