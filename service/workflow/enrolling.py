"""Connectors in bulk from a table: checked whole before anything is written, then registered thousands at a time."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Annotated, Literal, TypeVar
from uuid import UUID

from msgspec import Meta, Struct

from service import messages, problems
from service.core.entries import Cage, Day, Definition, HouseRule, MarkText, Rating, Text, TextOrNothing
from service.store import database
from service.store.database import Connection
from service.workflow import registering, sheets, shop
from service.workflow.recording import Scribe
from service.workflow.reference import Reference
from service.workflow.registering import Beginning, Request
from service.workflow.shares import Share
from service.workflow.sheets import Checked, Flaw, Form, Repeats, Row
from service.workflow.shop import Shop

T = TypeVar("T")

CHUNK = 2_000
"""Connectors in one transaction: bounds how long entries of unknown connectors wait to be parked."""
MOST_FLAWS = 1_000
"""After so many flaws the check ends: they have one cause."""

_Figure = Annotated[int, Meta(ge=1, le=100_000)] | None
_Basis = Literal["mandatory", "recommended", "house"] | None


class ConnectorRow(Struct, frozen=True, kw_only=True):
    """A row of the table of connectors, which has these columns."""

    history: Literal["new", "unknown"]
    serial: TextOrNothing = ""
    mark: MarkText | None = None
    cage: Cage | None = None
    part_number: Text | None = None
    family: Text | None = None
    cavity_set: Text | None = None
    populated: bool | None = None
    rating: _Figure = None
    rating_basis: _Basis = None
    rating_document: Text | None = None
    rating_revision: Text | None = None
    rating_paragraph: Text | None = None
    rating_verified_by: Text | None = None
    rating_verified_on: Day | None = None
    first_insertion_counts: bool | None = None
    mating_rating: _Figure = None
    mating_rating_basis: _Basis = None
    mating_rating_document: Text | None = None
    mating_rating_revision: Text | None = None
    mating_rating_paragraph: Text | None = None
    mating_rating_verified_by: Text | None = None
    mating_rating_verified_on: Day | None = None
    nearing_fraction: Annotated[float, Meta(gt=0, le=1)] | None = None


def _faults(row: ConnectorRow) -> Iterator[tuple[str, str]]:
    if bool(row.serial) == (row.mark is not None):
        yield "serial", "each row has either a serial or a mark"
    for name in ("rating", "mating_rating"):
        parts = [f"{name}_{part}" for part in ("basis", *_PROOF)]
        if getattr(row, name) is None:
            yield from ((each, f"stands without a {name}") for each in parts if getattr(row, each) is not None)
        elif getattr(row, f"{name}_basis") is None:
            yield f"{name}_basis", f"a {name} says its basis: mandatory, recommended or house"


_PROOF = ("document", "revision", "paragraph", "verified_by", "verified_on")
CONNECTORS = Form(
    name="connector",
    made=ConnectorRow,
    columns=ConnectorRow.__struct_fields__,
    needed=("history",),
    faults=_faults,
)


class Enrolled(Struct):
    """What became of the rows so far."""

    registered: int = 0
    already_registered: int = 0

    @property
    def done(self) -> int:
        """All rows dealt with."""
        return self.registered + self.already_registered


class _Judged(Struct, frozen=True):
    """A row; what it asks and the definition that it makes where it is new; which connector it means; or what is wrong."""

    row: int
    request: Request | None = None
    definition: Definition | None = None
    identity: tuple[str, str | None, str | None] | None = None
    flaw: Flaw | None = None


class Enroller:
    """Reads a table of connectors against the books as they are."""

    def __init__(self, connection: Connection, scribe: Scribe, reference: Reference) -> None:
        self._connection = connection
        self._scribe = scribe
        self._reference = reference

    async def check(self, path: Path, share: Share, progress: Callable[[int], None]) -> Checked:
        """How many rows a share of the table has, and every flaw in it: cells, what the books say otherwise."""
        flaws: list[Flaw] = []
        repeats, done = Repeats(), 0
        held = Shop(await shop.book(self._connection))
        for chunk in chunks(sheets.read(path, CONNECTORS, share), CHUNK):
            rows = [each for each in chunk if isinstance(each, Row)]
            flaws += [each for each in chunk if isinstance(each, Flaw)]
            for each in await self._judged(rows, held):
                if each.flaw is not None:
                    flaws.append(each.flaw)
                if each.identity is not None:
                    repeats.add(sheets.content_id("identity", _named(each.identity)), each.row)
            done += len(rows)
            progress(done)
            if len(flaws) >= MOST_FLAWS:
                break
        return Checked(done, flaws, repeats)

    async def run(
        self,
        path: Path,
        share: Share,
        house: HouseRule,
        by: str,
        clock: Callable[[], datetime],
        progress: Callable[[int], None],
    ) -> tuple[Enrolled, list[Flaw]]:
        """Register what `check` found in order. Each transaction is whole: cut off and run again, it goes on where it was."""
        tally, flaws = Enrolled(), []
        held = Shop(await shop.book(self._connection))
        for chunk in chunks((each for each in sheets.read(path, CONNECTORS, share) if isinstance(each, Row)), CHUNK):
            judged = await self._judged(chunk, held)
            news = _begun(judged, house, by, clock())
            # All of that before the lock: of several processes only one at a time has it.
            async with self._connection.transaction():
                await database.run(self._connection, "lock_parking")
                if await self._overtaken(judged):
                    judged = await self._judged(chunk, held)
                    news = _begun(judged, house, by, clock())
                await registering.write(self._connection, self._scribe, house, news)
            # What somebody else registered since the check.
            flaws += [each.flaw for each in judged if each.flaw is not None]
            tally.registered += len(news)
            tally.already_registered += sum(each.definition is None and each.flaw is None for each in judged)
            progress(tally.done)
        return tally, flaws

    async def _overtaken(self, judged: list[_Judged]) -> bool:
        """Whether somebody registered meanwhile what was new when it was judged."""
        requests = [each.request for each in judged if each.request is not None]
        return any(await registering.known(self._connection, self._scribe, requests))

    async def _judged(self, rows: list[Row[ConnectorRow]], held: Shop) -> list[_Judged]:
        read = [_request(each) for each in rows]
        requests = [each for each in read if isinstance(each, Request)]
        known = iter(await registering.known(self._connection, self._scribe, requests))
        sets = await shop.cavity_sets(self._connection, registering.sets_of(requests))
        here = Shop(held.book, sets)
        return [
            self._one(row, each, next(known), here) if isinstance(each, Request) else _Judged(row.number, flaw=each)
            for row, each in zip(rows, read, strict=True)
        ]

    def _one(
        self, row: Row[ConnectorRow], request: Request, before: Definition | messages.Problem | None, held: Shop
    ) -> _Judged:
        if isinstance(before, messages.Problem):
            return _Judged(row.number, flaw=_flaw(row, before))
        identity = request.identity
        if before is not None:
            conflict = registering.contradiction(before, request, held)
            return _Judged(row.number, identity=identity, flaw=None if conflict is None else _flaw(row, conflict))
        try:
            definition = registering.define(request.asked, self._reference, UUID(row.id), held)
        except problems.ProblemRaised as raised:
            return _Judged(row.number, identity=identity, flaw=_flaw(row, raised.problem))
        return _Judged(row.number, request, definition, identity)


def _begun(judged: list[_Judged], house: HouseRule, by: str, at: datetime) -> list[Beginning]:
    return list(registering.begin((each.definition for each in judged if each.definition is not None), house, by, at))


def verdict(shares: Sequence[Checked]) -> tuple[int, list[Flaw]]:
    """How many rows the table has, and every flaw in it, one connector twice included."""
    return sheets.verdict(shares, "serial", "is the same connector as")


def _named(identity: tuple[str, str | None, str | None]) -> dict[str, str]:
    return {
        name: each for name, each in zip(("serial", "cage", "part_number"), identity, strict=True) if each is not None
    }


def chunks(items: Iterable[T], size: int) -> Iterator[list[T]]:
    """The items, so many at a time."""
    iterator = iter(items)
    while chunk := list(islice(iterator, size)):
        yield chunk


def _request(row: Row[ConnectorRow]) -> Request | Flaw:
    value = row.value
    try:
        return registering.read(
            messages.Registration(
                history=value.history,
                serial=value.serial,
                mark=value.mark,
                cage=value.cage,
                part_number=value.part_number,
                family=value.family,
                cavity_set=value.cavity_set,
                populated=value.populated,
                rating=_rating(value, "rating", first=value.first_insertion_counts is not False),
                mating_rating=_rating(value, "mating_rating", first=True),
                nearing_fraction=value.nearing_fraction,
            )
        )
    except problems.ProblemRaised as raised:
        return _flaw(row, raised.problem)


def _rating(row: ConnectorRow, name: str, *, first: bool) -> Rating | None:
    value, basis = getattr(row, name), getattr(row, f"{name}_basis")
    if value is None or basis is None:
        return None
    proof = {part: getattr(row, f"{name}_{part}") for part in _PROOF}
    return Rating(value=value, basis=basis, first_insertion_counts=first, **proof)


def _flaw(row: Row[ConnectorRow], problem: messages.Problem) -> Flaw:
    """A problem of the API's, in the column that it is about."""
    named = problem.errors[0].pointer.removeprefix("#/").split("/")[0] if problem.errors else ""
    if named == "cavities":
        named = "cavity_set" if row.value.cavity_set else "part_number"
    return Flaw(row.number, named if named in ConnectorRow.__struct_fields__ else None, problem.detail)
