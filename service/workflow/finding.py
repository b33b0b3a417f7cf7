"""Which connectors a mark means. The one way in which marks find connectors, for looking up and for recording alike."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from service.core import marks
from service.core.marks import Mark
from service.store import database
from service.store.database import Connection


def as_id(text: str) -> UUID | None:
    """A connector's id, if the text is one as we write it. Other forms of a UUID could as well be somebody's serial."""
    try:
        found = UUID(text)
    except ValueError:
        return None
    return found if str(found) == text.lower() else None


def read(text: str) -> Mark:
    """A mark that arrived as text."""
    return marks.read(text.encode())


async def meant(connection: Connection, asked: Mapping[str, Mark]) -> dict[str, list[UUID]]:
    """The connectors that each mark means: none, one, or several that have to be told apart.

    Two items can have the same UII text, so a connector found by its key must not contradict the mark's own elements.
    """
    keys = {name: marks.look_up_keys(mark) for name, mark in asked.items()}
    wanted = sorted({key for each in keys.values() for key in each})
    if not wanted:
        return {name: [] for name in asked}
    by_key: dict[str, list[Any]] = {}
    for row in await database.fetch(connection, "connectors_by_keys", wanted):
        by_key.setdefault(row["key"], []).append(row)
    return {
        name: sorted(
            row["connector"]
            for key in keys[name]
            for row in by_key.get(key, ())
            if not marks.contradicts(mark, row["serial"], row["cage"], row["part_number"])
        )
        for name, mark in asked.items()
    }
