"""Where the cavities of an insert stand in a drawing: true places where somebody imported them, else a scheme.

A bench asks for a drawing with every connector it opens, so what was read is kept for a moment.
"""

import asyncio
import time
from collections.abc import Callable, Sequence
from functools import lru_cache

import asyncpg
from msgspec import Struct

from service.core.drawings import places
from service.core.drawings.places import Layout, Place
from service.store import database
from service.workflow import arrangements
from service.workflow.arrangements import Drawing

_FRESH_S = 10.0
_PATIENCE_S = 1.0
_KEPT = 10_000

Key = tuple[str, str]
"""An arrangement: its standard without revision, its name."""


class Drawn(Struct, frozen=True):
    """Places on the mating face of the pin insert, one for each cavity in its order. Without a source they are a scheme."""

    layout: Layout
    source: str | None


class Layouts:
    """The imported coordinates as they were at most ten seconds ago."""

    def __init__(self, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._kept: dict[Key, tuple[float, Drawing | None]] = {}
        self._clock_s = clock_s

    async def drawn(self, pool: asyncpg.Pool, key: Key | None, ids: Sequence[str]) -> Drawn:
        """Where these cavities stand. Coordinates of other cavities than these are none for them."""
        drawing = None if key is None else await self.imported(pool, key)
        points = {} if drawing is None else {each.cavity: (each.x_mm, each.y_mm) for each in drawing.points}
        if drawing is None or points.keys() != set(ids):
            return Drawn(_scheme(len(ids)), None)
        return Drawn(_true(tuple(points[each] for each in ids)), drawing.source)

    async def if_reachable(self, pool: asyncpg.Pool, key: Key) -> Drawing | None:
        """The same for a page that has to show something while the database is away: then there are none, for a moment."""
        try:
            async with asyncio.timeout(_PATIENCE_S):
                return await self.imported(pool, key)
        except Exception as error:
            if not database.is_away(error):
                raise
            self._kept[key] = (self._clock_s(), None)
            return None

    async def imported(self, pool: asyncpg.Pool, key: Key) -> Drawing | None:
        """The newest coordinates of an arrangement, None where nobody imported any."""
        kept = self._kept.get(key)
        if kept is not None and self._clock_s() - kept[0] < _FRESH_S:
            return kept[1]
        if len(self._kept) >= _KEPT:
            self._kept.clear()
        async with pool.acquire() as connection:
            found = await arrangements.newest(connection, *key)
        self._kept[key] = (self._clock_s(), found)
        return found


@lru_cache(maxsize=256)
def _scheme(count: int) -> Layout:
    return places.rings(count)


@lru_cache(maxsize=256)
def _true(points: tuple[Place, ...]) -> Layout:
    return places.scaled(points)
