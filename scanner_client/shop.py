"""The shop's tools as they were last fetched, so that a due date is known while the service is away."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from msgspec import Struct

from scanner_client.link import Link
from scanner_client.outbox import Outbox
from service.core.noting import Lists
from service.reference_messages import ShopToolView

_NAME = "tools"
FRESH = timedelta(hours=1)
"""Older than this the list is fetched anew, when the service answers."""


class Tools(Struct, frozen=True):
    """The list, and when it was fetched."""

    tools: tuple[ShopToolView, ...]
    fetched_at: datetime


def known(box: Outbox) -> Tools | None:
    """The list as it is known here."""
    return box.remembered(_NAME, Tools)


def stale(box: Outbox, now: datetime) -> bool:
    """Whether the list ought to be fetched anew."""
    kept = known(box)
    return kept is None or not timedelta(0) <= now - kept.fetched_at < FRESH


def fetch(box: Outbox, way: Link, clock: Callable[[], datetime]) -> None:
    """Fetch the list and keep it. Raises what the link raises."""
    box.remember(_NAME, Tools(way.tools(), clock()))


def lists(box: Outbox) -> Lists:
    """The list as the rule takes it."""
    kept = known(box)
    tools = kept.tools if kept else ()
    return Lists(
        tools={each.mark: each.part_number for each in tools},
        due={each.mark: each.due_on for each in tools if each.due_on is not None},
    )


def told(box: Outbox, mark: str, now: datetime) -> str:
    """A tool with what the shop's list says of it, for people."""
    kept = known(box)
    tool = next((each for each in kept.tools if each.mark == mark), None) if kept else None
    if tool is None:
        return f"Tool {mark}"
    if tool.due_on is None:
        return f"Tool {mark}: {tool.part_number}"
    late = now.astimezone(UTC).date() > tool.due_on
    return f"Tool {mark}: {tool.part_number}, {'CHECK OVERDUE, it was due' if late else 'due'} {tool.due_on}"
