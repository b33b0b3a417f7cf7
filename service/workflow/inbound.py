"""What another system keeps in step here: rows of assets, positions and tools. What stands so already is left alone.

A row says all of what it is about. Statements of assets and of positions are all kept, and the newest holds.
"""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Generic, TypeVar

import msgspec
from msgspec import Struct

from service import inbound_messages as messages
from service.core.entries import Text, TextOrNothing
from service.inbound_messages import AssetRow, Outcome, PositionRow, ToolRow
from service.messages import Problem
from service.store import database
from service.store.database import Connection
from service.workflow import row_reading
from service.workflow.access import Bearer
from service.workflow.sheets import Form

R = TypeVar("R")

EARLIEST, LATEST = date(1950, 1, 1), date(2100, 1, 1)
_SPAN = f"must lie between {EARLIEST.year} and {LATEST.year}"

Recording = Callable[[Connection, Sequence[R], Bearer, datetime], Awaitable[Sequence[Outcome | Problem]]]


class Upsert(Struct, Generic[R], frozen=True):
    """A kind of row that can be sent again and again: how it is read, which columns say what it is about, how it is kept.

    `record` says of each row what became of it; it is one transaction, or part of the caller's.
    """

    form: Form[R]
    about: tuple[str, ...]
    record: Recording[R]

    def key(self, row: R) -> tuple[str, ...]:
        """What a row is about; what it leaves out is empty."""
        return tuple(getattr(row, name) or "" for name in self.about)


async def upsert(
    connection: Connection, raw: Sequence[msgspec.Raw], kind: Upsert[R], bearer: Bearer, at: datetime
) -> messages.UpsertReply:
    """Keep the rows that can be read, and say what became of every one. Raises the problem where none can be read."""
    read = row_reading.read(raw, kind.form)
    good = [each for each in read if not isinstance(each, Problem)]
    if not good:
        raise row_reading.none_read([each for each in read if isinstance(each, Problem)])
    outcomes = iter(await kind.record(connection, good, bearer, at))
    return messages.UpsertReply(
        results=tuple(
            _result(place, _claimed(raw[place], kind.about), each)
            if isinstance(each, Problem)
            else _result(place, named(kind.key(each)), next(outcomes))
            for place, each in enumerate(read)
        )
    )


def _result(place: int, key: str | None, became: Outcome | Problem) -> messages.UpsertResult:
    if isinstance(became, Problem):
        return messages.UpsertResult(row=place, key=key, outcome="refused", problem=_moved(became, place))
    return messages.UpsertResult(row=place, key=key, outcome=became, problem=None)


def _moved(problem: Problem, place: int) -> Problem:
    """A problem whose pointers begin at the request, not at the row."""
    start = f"#/rows/{place}"
    errors = tuple(
        each
        if each.pointer.startswith(start)
        else msgspec.structs.replace(each, pointer=f"{start}{each.pointer.removeprefix('#')}")
        for each in problem.errors
    )
    return msgspec.structs.replace(problem, errors=errors)


def named(key: Sequence[str]) -> str:
    """What a row is about, in one text."""
    return " / ".join(each for each in key if each)


def _claimed(raw: msgspec.Raw, about: Sequence[str]) -> str | None:
    return named(row_reading.claimed(raw, about)) or None


def outcomes(
    rows: Sequence[R],
    key: Callable[[R], tuple[str, ...]],
    says: Callable[[R], Any],
    before: Mapping[int, Any],
) -> list[Outcome]:
    """What becomes of rows, by what holds for them before (by their place); those before them in the request included."""
    holds: dict[tuple[str, ...], Any] = {}
    found: list[Outcome] = []
    for place, row in enumerate(rows):
        about, said = key(row), says(row)
        held = holds.get(about, before.get(place, _NOTHING))
        found.append("created" if held is _NOTHING else "unchanged" if held == said else "changed")
        holds[about] = said
    return found


_NOTHING = object()


def _faults(row: AssetRow | ToolRow) -> list[tuple[str, str]]:
    name = "withdrawn_on" if isinstance(row, AssetRow) else "due_on"
    day: date | None = getattr(row, name)
    return [] if day is None or EARLIEST <= day < LATEST else [(name, _SPAN)]


def _news(rows: Sequence[R], became: Sequence[Outcome]) -> list[R]:
    return [row for row, each in zip(rows, became, strict=True) if each != "unchanged"]


def _asset_says(row: AssetRow) -> tuple[Any, ...]:
    return row.type, row.serial, row.withdrawn_on


async def record_assets(
    connection: Connection, rows: Sequence[AssetRow], bearer: Bearer, at: datetime
) -> list[Outcome]:
    """Keep what is said of assets."""
    async with connection.transaction():
        held = await database.fetch(connection, "assets_that_hold", [each.asset for each in rows])
        before = {row["place"] - 1: (row["type"], row["serial"], row["withdrawn_on"]) for row in held}
        became = outcomes(rows, ASSETS.key, _asset_says, before)
        news = _news(rows, became)
        columns = ([getattr(each, name) for each in news] for name in ASSETS.form.columns)
        await database.run(connection, "record_assets", *columns, bearer.name, at)
    return became


def _position_says(row: PositionRow) -> tuple[Any, ...]:
    return row.part_number, row.present


async def record_positions(
    connection: Connection, rows: Sequence[PositionRow], bearer: Bearer, at: datetime
) -> list[Outcome]:
    """Keep what is said of what belongs where."""
    async with connection.transaction():
        held = await database.fetch(
            connection, "places_that_hold", *_columns([POSITIONS.key(each) for each in rows], 3)
        )
        before = {row["place"] - 1: (row["part_number"], row["present"]) for row in held}
        became = outcomes(rows, POSITIONS.key, _position_says, before)
        told = [(*POSITIONS.key(each), *_position_says(each)) for each in _news(rows, became)]
        await database.run(connection, "record_places", *_columns(told, 5), bearer.name, at)
    return became


def _columns(rows: Sequence[tuple[Any, ...]], width: int) -> list[list[Any]]:
    return [[row[place] for row in rows] for place in range(width)]


def _tool_says(row: ToolRow) -> tuple[Any, ...]:
    return row.part_number, row.due_on


async def record_tools(connection: Connection, rows: Sequence[ToolRow], bearer: Bearer, at: datetime) -> list[Outcome]:
    """Let tools stand on the shop's list as they are said to be now, and tell the feed of those that changed."""
    async with connection.transaction():
        held = await database.fetch(connection, "tools_that_hold", [each.mark for each in rows])
        before = {row["place"] - 1: (row["part_number"], row["due_on"]) for row in held}
        became = outcomes(rows, TOOLS.key, _tool_says, before)
        news = list({each.mark: each for each in _news(rows, became)}.values())
        columns = ([getattr(each, name) for each in news] for name in TOOLS.form.columns)
        await database.run(connection, "put_tools", *columns)
        told = [msgspec.json.encode({**msgspec.structs.asdict(each), "recorded_by": bearer.name}) for each in news]
        await database.run(connection, "tell_several", "shop.tool", at, told)
    return became


ASSETS = Upsert(
    Form(
        name="asset",
        made=AssetRow,
        columns=("asset", "type", "serial", "withdrawn_on"),
        needed=("asset",),
        faults=_faults,
    ),
    ("asset",),
    record_assets,
)
POSITIONS = Upsert(
    Form(
        name="position",
        made=PositionRow,
        columns=("asset", "zone", "position", "part_number", "present"),
        needed=("asset", "position"),
    ),
    ("asset", "zone", "position"),
    record_positions,
)
TOOLS = Upsert(
    Form(
        name="tool",
        made=ToolRow,
        columns=("mark", "part_number", "due_on"),
        needed=("mark", "part_number"),
        faults=_faults,
    ),
    ("mark",),
    record_tools,
)


class AssetCursor(Struct, frozen=True, array_like=True):
    """Where the next page of assets begins."""

    asset: Text


class PositionCursor(Struct, frozen=True, array_like=True):
    """Where the next page of positions begins; an empty zone is none."""

    asset: Text
    zone: TextOrNothing
    position: Text


async def assets(
    connection: Connection, kind: str | None, after: AssetCursor | None, limit: int
) -> tuple[tuple[messages.AssetView, ...], AssetCursor | None]:
    """A page of what is stated of assets, all or those of a type, and where the next begins."""
    rows = await database.fetch(connection, "asset_page", after.asset if after else None, kind, limit + 1)
    following = AssetCursor(rows[limit - 1]["asset"]) if len(rows) > limit else None
    return tuple(messages.AssetView(**row) for row in rows[:limit]), following


async def positions(
    connection: Connection, asset: str | None, zone: str | None, after: PositionCursor | None, limit: int
) -> tuple[tuple[messages.PositionView, ...], PositionCursor | None]:
    """A page of positions with the connectors that are there, and where the next begins."""
    start = (after.asset, after.zone, after.position) if after else (None, None, None)
    rows = await database.fetch(connection, "place_page", *start, asset, zone, limit + 1)
    last = rows[limit - 1] if len(rows) > limit else None
    following = PositionCursor(last["asset"], last["zone"], last["position"]) if last else None
    return tuple(_position(row) for row in rows[:limit]), following


def _position(row: Any) -> messages.PositionView:
    wanted = row["part_number"]
    there = zip(row["connectors"], row["serials"], row["part_numbers"], strict=True)
    return messages.PositionView(
        asset=row["asset"],
        zone=row["zone"] or None,
        position=row["position"],
        part_number=wanted,
        connectors=tuple(
            messages.Standing(
                connector=connector,
                serial=serial,
                part_number=number,
                expected=None if wanted is None or number is None else number == wanted,
            )
            for connector, serial, number in there
        ),
        recorded_by=row["recorded_by"],
        recorded_at=row["recorded_at"],
    )
