"""Insert arrangements with their cavities, and where those are once somebody has brought true coordinates."""

import math
from collections.abc import Sequence
from datetime import datetime

import msgspec
from msgspec import Struct

from service import catalog, problems
from service import reference_messages as messages
from service.catalog import Catalog
from service.core import sights
from service.core.sights import Point, Sight
from service.store import database
from service.store.database import Connection

FARTHEST_MM = 100.0
"""No circular connector of the catalogue is half as wide: a figure beyond it is in another unit."""


class Placed(Struct, frozen=True):
    """A cavity and where it is on the mating face of the pin insert."""

    cavity: str
    x_mm: float
    y_mm: float


class Drawing(Struct, frozen=True):
    """True coordinates of an arrangement, all of them, with where they come from."""

    standard: str
    arrangement: str
    points: tuple[Placed, ...]
    source: str


def faults(book: Catalog, drawing: Drawing) -> list[str]:
    """What keeps coordinates from being those of an arrangement: other ids, another number, two in one place."""
    key = (drawing.standard, drawing.arrangement)
    known = book.arrangement(key)
    if known is None:
        return [f"the catalogue has no arrangement {drawing.arrangement} of {drawing.standard}"]
    names = [each.cavity for each in drawing.points]
    found = [f"cavity {each!r} stands twice" for each in dict.fromkeys(names) if names.count(each) > 1]
    if len(names) != known.total:
        found.append(f"arrangement {drawing.arrangement} has {known.total} cavities, here are {len(names)}")
    listed = book.cavities(key)
    if listed is not None:
        ids = {each.id for each in listed}
        found += [f"arrangement {drawing.arrangement} has no cavity {each!r}" for each in names if each not in ids]
        found += [f"cavity {each!r} is missing" for each in ids if each not in names]
    places: dict[tuple[float, float], str] = {}
    for each in drawing.points:
        if not (math.hypot(each.x_mm, each.y_mm) <= FARTHEST_MM):
            found.append(
                f"cavity {each.cavity!r} lies farther than {FARTHEST_MM:g} mm from the centre: give millimetres"
            )
        other = places.setdefault((each.x_mm, each.y_mm), each.cavity)
        if other != each.cavity:
            found.append(f"cavities {other!r} and {each.cavity!r} are in one place")
    return found


async def record(connection: Connection, drawings: Sequence[Drawing], by: str, at: datetime) -> int:
    """Keep coordinates, except those that stand so already; returns how many were new or changed."""
    news = []
    for each in drawings:
        before = await newest(connection, each.standard, each.arrangement)
        if before is None or (before.points, before.source) != (each.points, each.source):
            news.append(each)
    if news:
        await database.run(
            connection,
            "record_coordinates",
            [each.standard for each in news],
            [each.arrangement for each in news],
            [msgspec.json.encode(each.points).decode() for each in news],
            [each.source for each in news],
            by,
            at,
        )
    return len(news)


async def show(connection: Connection, book: Catalog, standard: str, name: str, view: Sight) -> messages.InsertView:
    """An arrangement as it is seen from one side. Raises the problem where the catalogue does not have it."""
    known = book.arrangement((standard, name))
    if known is None:
        text = f"the catalogue has no arrangement {name!r} of {standard!r}; its standards are {_standards(book)}"
        raise problems.raised(problems.Type.NOT_FOUND, text)
    drawing = await newest(connection, standard, name)
    return messages.InsertView(
        standard=known.standard,
        revision=known.revision,
        name=known.name,
        families=known.families,
        contacts=tuple(messages.ContactsView(contact_size=each.size, count=each.count) for each in known.contacts),
        total=known.total,
        active=known.active,
        doubt=known.doubt,
        status=known.status,
        source=known.source,
        cavities=_cavities(book, known, drawing, view),
        view=view,
        schematic=drawing is None,
        coordinates_source=drawing.source if drawing is not None else None,
    )


def _standards(book: Catalog) -> str:
    return ", ".join(sorted({standard for standard, _ in book.arrangements}))


async def newest(connection: Connection, standard: str, arrangement: str) -> Drawing | None:
    """The coordinates of an arrangement that hold, None where nobody imported any."""
    row = await database.fetch_one(connection, "coordinates", standard, arrangement)
    if row is None:
        return None
    points = msgspec.json.decode(row["points"], type=tuple[Placed, ...])
    return Drawing(standard, arrangement, points, row["source"])


def _cavities(
    book: Catalog, known: catalog.Arrangement, drawing: Drawing | None, view: Sight
) -> tuple[messages.PlacedCavityView, ...] | None:
    """The cavities that the catalogue lists; else those that the coordinates name; else nobody knows any."""
    key = (known.standard, known.name)
    points = {each.cavity: each for each in drawing.points} if drawing is not None else {}
    listed = book.listed(key)
    if listed:
        return tuple(
            _placed(each.cavity, each.contact_size, points.get(each.cavity), view, each.status, each.source)
            for each in listed
        )
    if drawing is None:
        return None
    # Which cavity takes which size is known only where all take the same.
    size = known.contacts[0].size if len(known.contacts) == 1 else None
    return tuple(_placed(each.cavity, size, each, view, "imported", drawing.source) for each in drawing.points)


def _placed(
    name: str, size: str | None, place: Placed | None, view: Sight, status: str, source: str
) -> messages.PlacedCavityView:
    seen = sights.seen(Point(place.x_mm, place.y_mm), view) if place is not None else None
    return messages.PlacedCavityView(
        id=name,
        contact_size=size,
        x_mm=seen.x_mm if seen is not None else None,
        y_mm=seen.y_mm if seen is not None else None,
        status=status,
        source=source,
    )
