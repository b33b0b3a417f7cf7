"""Benches and the shops that they belong to."""

from msgspec import Struct

from service import fleet_messages as messages
from service.core.entries import Text
from service.store import database
from service.store.database import Connection


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of benches begins."""

    name: Text


async def put(connection: Connection, name: str, shop: str) -> None:
    """Say to which shop a bench belongs."""
    await database.run(connection, "put_bench", name, shop)


async def page(
    connection: Connection, after: Cursor | None, limit: int
) -> tuple[tuple[messages.BenchView, ...], Cursor | None]:
    """A page of the benches of which the shop is known, by name."""
    rows = await database.fetch(connection, "bench_page", after.name if after else None, limit + 1)
    found = tuple(messages.BenchView(name=row["name"], shop=row["shop"]) for row in rows[:limit])
    return found, Cursor(rows[limit - 1]["name"]) if len(rows) > limit else None


async def meant(connection: Connection, bench: str | None, shop: str | None) -> list[str] | None:
    """The benches that a filter means: one, those of a shop, or both at once; None for any."""
    if shop is None:
        return None if bench is None else [bench]
    rows = await database.fetch(connection, "benches_of", shop)
    return [row["name"] for row in rows if bench in (None, row["name"])]
