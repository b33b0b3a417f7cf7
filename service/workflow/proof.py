"""Verify that nothing was changed or lost, and rebuild the state from the ledger."""

from collections.abc import AsyncIterator, Callable
from typing import Any, Literal
from uuid import UUID

import msgspec
from msgspec import Struct

from service.core import chain, fold, marks, reported, states
from service.core.entries import Definition, HouseRule, Recorded
from service.core.limits import LimitLine
from service.core.transfers import leaving
from service.store import database, fleet, ledger
from service.store.database import Connection
from service.store.fleet import OpenRow, WornRow
from service.workflow import finding, reckoning, signing

_PAGE = 200
_NOWHERE = UUID(int=0)


class Break(Struct, frozen=True):
    """Where something is not as it was recorded: the connector, the place in its ledger, and what is wrong."""

    connector: UUID | None
    place: str
    text: str

    def __str__(self) -> str:
        where = f"connector {self.connector}, {self.place}" if self.connector else self.place
        return f"{where}: {self.text}"


_Identity = tuple[str, str | None, str | None, str | None]
"""Serial, CAGE code, part number, family."""
_Place = tuple[str | None, str | None, str | None]
"""Asset, zone, position."""


class Proof(Struct, frozen=True):
    """What one connector's records give when they are read from the first definition on."""

    definition: Definition
    definition_number: int
    entries: int
    hash: bytes
    handed_over: bool
    state: bytes
    place: _Place
    bench: str | None
    line: LimitLine | None
    worn: list[WornRow]
    open: list[OpenRow]


class Waiting(Struct, frozen=True):
    """A parked entry: whether it is still what was accepted, the keys that it has to wait under, and those it does."""

    id: UUID
    intact: bool
    keys: frozenset[str]
    kept: frozenset[str]


class Page(Struct, frozen=True):
    """The records of some connectors, as read in one snapshot."""

    connectors: list[Any]
    definitions: dict[UUID, list[Any]]
    entries: dict[UUID, list[Any]]
    lines: dict[UUID, LimitLine]
    worn: dict[UUID, list[WornRow]]
    open: dict[UUID, list[OpenRow]]
    identities: dict[UUID, _Identity]
    keys: dict[UUID, set[str]]
    away: set[UUID]


Progress = Callable[[int, int], None]
"""Told how many connectors of how many are done."""


async def verify(
    connection: Connection, house: HouseRule, only: UUID | None, progress: Progress
) -> AsyncIterator[Break]:
    """Every place where chain, fold or state does not hold, over the whole database or one connector."""
    sound = True
    async for each in _of_connectors(connection, house, only, progress):
        sound = False
        yield each
    if only is not None:
        return
    for each in await _gone(connection):
        yield each
    async for waiting in _waiting(connection):
        if not waiting.intact or waiting.keys != waiting.kept:
            yield _misplaced(waiting)
    async for signature, wrong in signing.altered(connection):
        yield Break(None, f"signature {signature}", wrong)
    # Sums can be told right from wrong only where what they are sums of is right.
    for what in reckoning.told(await reckoning.missing(connection, house)) if sound else ():
        yield Break(None, what, "is not the sum of what the states give")


async def _of_connectors(
    connection: Connection, house: HouseRule, only: UUID | None, progress: Progress
) -> AsyncIterator[Break]:
    async for page in _pages(connection, only, progress, read_only=True):
        for row in page.connectors:
            proof, breaks = prove(row["connector"], page, house)
            for each in breaks:
                yield each
            if proof is not None:
                for each in _against(row, proof, page):
                    yield each


async def rebuild(
    connection: Connection, house: HouseRule, only: UUID | None, progress: Progress
) -> AsyncIterator[UUID | Break]:
    """Write the state anew from the ledger; yields the connectors whose state was another, and breaks that prevent it.

    Where entries are gone the state stays, since it is a witness of them; and so do the sums where anything is broken.
    """
    gone = await _gone(connection) if only is None else []
    for each in gone:
        yield each
    sound = not gone
    async for outcome in _again(connection, house, only, progress, {each.connector for each in gone}):
        sound = sound and not isinstance(outcome, Break)
        yield outcome
    if only is not None:
        return
    async for outcome in _waiting_again(connection):
        yield outcome
    if sound:
        await fleet.add(connection, await reckoning.missing(connection, house))


async def _again(
    connection: Connection, house: HouseRule, only: UUID | None, progress: Progress, witnesses: set[UUID | None]
) -> AsyncIterator[UUID | Break]:
    async for page in _pages(connection, only, progress, read_only=False):
        for row in page.connectors:
            proof, breaks = prove(row["connector"], page, house)
            if proof is not None and _is_cut_off(row, proof):
                breaks.append(_cut_off(row, proof))
            for each in breaks:
                yield each
            if proof is None or breaks or row["connector"] in witnesses:
                continue
            if _against(row, proof, page):
                await _replace(connection, row["connector"], proof)
                yield row["connector"]


async def _waiting_again(connection: Connection) -> AsyncIterator[UUID | Break]:
    async for each in _waiting(connection):
        if not each.intact:
            yield _misplaced(each)
        elif each.keys != each.kept:
            async with connection.transaction():
                await database.run(connection, "drop_waiting_marks", each.id)
                await database.run(connection, "park_marks", list(each.keys), [each.id] * len(each.keys))
            yield each.id


async def _replace(connection: Connection, connector: UUID, proof: Proof) -> None:
    head = (connector, proof.entries, proof.hash, proof.definition_number, proof.state)
    await database.run(connection, "replace_head", *head, *proof.place, proof.bench, proof.handed_over)
    await fleet.replace(connection, connector, proof.line, proof.worn, proof.open)
    await database.run(connection, "replace_identity", connector, *_identity(proof.definition))
    await database.run(connection, "drop_marks", connector)
    await database.run(connection, "register_marks", _keys(proof.definition), connector)


async def _gone(connection: Connection) -> list[Break]:
    strays = await database.fetch(connection, "proof_strays")
    lost = await database.fetch(connection, "proof_lost")
    return [
        *(Break(row["connector"], f"entry {row['number']}", "its connector is not on the books") for row in strays),
        *(Break(row["connector"], f"id {row['id']}", "was accepted, and its entry is gone") for row in lost),
    ]


async def _pages(
    connection: Connection, only: UUID | None, progress: Progress, *, read_only: bool
) -> AsyncIterator[Page]:
    total = 1 if only else (await database.fetch(connection, "connector_count"))[0]["connectors"]
    done, after = 0, _NOWHERE
    while True:
        # To prove, one snapshot. To rebuild, what is there once no writer can move these heads any more.
        isolation: Literal["repeatable_read", "read_committed"] = "repeatable_read" if read_only else "read_committed"
        async with connection.transaction(isolation=isolation, readonly=read_only):
            rows = await database.fetch(connection, "proof_page", after, _PAGE, only)
            if not rows:
                return
            identities = {
                row["connector"]: (row["serial"], row["cage"], row["part_number"], row["family"]) for row in rows
            }
            ids = list(identities)
            if not read_only:
                locked = {row["connector"]: row for row in await database.fetch(connection, "proof_heads", ids)}
                rows = [locked.get(row["connector"], row) for row in rows]
            yield await _page(connection, rows, identities)
        done, after = done + len(rows), ids[-1]
        progress(done, max(total, done))


async def _page(connection: Connection, rows: list[Any], identities: dict[UUID, _Identity]) -> Page:
    ids = list(identities)
    page = Page(
        connectors=rows,
        definitions={each: [] for each in ids},
        entries={each: [] for each in ids},
        lines={},
        worn={each: [] for each in ids},
        open={each: [] for each in ids},
        identities=identities,
        keys={each: set() for each in ids},
        away={row["connector"] for row in await database.fetch(connection, "connectors_away", ids, None)},
    )
    for row in await database.fetch(connection, "proof_definitions", ids):
        page.definitions[row["connector"]].append(row)
    for row in await database.fetch(connection, "proof_entries", ids):
        page.entries[row["connector"]].append(row)
    for row in await database.fetch(connection, "proof_limit_lines", ids):
        page.lines[row["connector"]] = LimitLine(*(row[name] for name in LimitLine.__struct_fields__))
    for row in await database.fetch(connection, "proof_worn", ids):
        page.worn[row["connector"]].append(WornRow(*row))
    for row in await database.fetch(connection, "proof_open", ids):
        page.open[row["connector"]].append(OpenRow(*row))
    for row in await database.fetch(connection, "proof_marks", ids):
        page.keys[row["connector"]].add(row["key"])
    return page


def prove(connector: UUID, page: Page, house: HouseRule) -> tuple[Proof | None, list[Break]]:
    """Read one connector's records from the start; stops folding where the chain breaks."""
    breaks: list[Break] = []
    definitions, head = _chained(connector, page.definitions[connector], "definition", b"", breaks)
    if not definitions or breaks:
        breaks = breaks or [Break(connector, "definition 1", "is missing")]
        return None, breaks
    for row, data in zip(page.definitions[connector], definitions, strict=True):
        body = chain.decode_definition(data)
        if (body.definition.connector, body.recorded_at) != (connector, row["recorded_at"]):
            breaks.append(Break(connector, f"definition {row['number']}", "its columns differ from what was hashed"))
    definition = chain.decode_definition(definitions[-1]).definition
    bodies, head = _chained(connector, page.entries[connector], "entry", page.definitions[connector][0]["hash"], breaks)
    history = [
        _recorded(connector, row, body, breaks) for row, body in zip(page.entries[connector], bodies, strict=False)
    ]
    if breaks:
        return None, breaks
    away = connector in page.away
    return _proved(definition, len(definitions), history, head, house, away=away), breaks


def _proved(
    definition: Definition, number: int, history: list[Recorded], head: bytes, house: HouseRule, *, away: bool
) -> Proof:
    state = fold.fold(definition, history)
    bench = ledger.last_bench(None, history)
    subject = reported.judge(definition, leaving.closed(state) if away else state, bench, house)
    worn, opened, _ = reported.whole(subject)
    known = {each.entry.id: (place, each) for place, each in enumerate(history, 1)}
    return Proof(
        definition=definition,
        definition_number=number,
        entries=len(history),
        hash=head,
        handed_over=away,
        state=states.encode(state),
        place=(state.whole.asset, state.whole.zone, state.whole.position),
        bench=bench,
        line=subject.line,
        worn=fleet.worn_rows(definition.connector, worn.values(), subject.where),
        open=fleet.open_rows(definition.connector, opened, known, subject.where),
    )


def _chained(
    connector: UUID, rows: list[Any], what: str, start: bytes, breaks: list[Break]
) -> tuple[list[bytes], bytes]:
    bodies, previous = [], start
    for number, row in enumerate(rows, 1):
        if row["number"] != number:
            breaks.append(Break(connector, f"{what} {number}", f"is missing; the next one there is {row['number']}"))
            break
        previous = chain.link(previous, row["body"])
        if previous != row["hash"]:
            breaks.append(Break(connector, f"{what} {number}", "its hash does not cover it and what came before it"))
            break
        bodies.append(row["body"])
    return bodies, previous


def _recorded(connector: UUID, row: Any, data: bytes, breaks: list[Break]) -> Recorded:
    body = chain.decode_body(data)
    recorded, entry = body.recorded, body.recorded.entry
    shown = (body.connector, body.number, entry.id, entry.kind, entry.cavity, entry.performed_at, recorded.recorded_at)
    columns = ("connector", "number", "id", "kind", "cavity", "performed_at", "recorded_at")
    for name, value in zip(columns, shown, strict=True):
        if row[name] != value:
            breaks.append(Break(connector, f"entry {row['number']}", f"its column {name} differs from what was hashed"))
    if row["digest"] != chain.digest(chain.canonical_entry(entry)) or row["kept_in"] != connector:
        breaks.append(Break(connector, f"entry {row['number']}", "its receipt is missing or is for something else"))
    return recorded


def _is_cut_off(row: Any, proof: Proof) -> bool:
    """Whether the head knows of entries after the last one that is there. It is then a witness, not to be written over."""
    return row["hash"] is not None and row["entries"] > proof.entries


def _cut_off(row: Any, proof: Proof) -> Break:
    return Break(
        row["connector"], f"entry {proof.entries + 1}", f"is missing; the head stands at entry {row['entries']}"
    )


async def _waiting(connection: Connection) -> AsyncIterator[Waiting]:
    after = _NOWHERE
    while rows := await database.fetch(connection, "proof_parked", after, _PAGE):
        for row in rows:
            entry = msgspec.json.decode(row["body"], type=Recorded).entry
            shown = (row["id"], row["mark"], row["digest"])
            yield Waiting(
                id=row["id"],
                intact=shown == (entry.id, entry.connector, chain.digest(chain.canonical_entry(entry))),
                keys=frozenset(marks.look_up_keys(finding.read(entry.connector))),
                kept=frozenset(row["keys"]),
            )
        after = rows[-1]["id"]


def _misplaced(waiting: Waiting) -> Break:
    text = "does not wait under its own mark" if waiting.intact else "is not what was accepted under its id"
    return Break(None, f"parked entry {waiting.id}", text)


def _identity(definition: Definition) -> _Identity:
    return definition.serial, definition.cage, definition.part_number, definition.family


def _keys(definition: Definition) -> list[str]:
    return list(marks.keys(definition.serial, definition.cage, definition.part_number, definition.connector))


def _against(row: Any, proof: Proof, page: Page) -> list[Break]:
    """Where what a connector is found by, or its state, differs from what its records give."""
    connector = row["connector"]
    found = _against_state(row, proof)
    found += _against_reports(connector, proof, page)
    if page.identities[connector] != _identity(proof.definition):
        found.append(Break(connector, "identity", "is not what its definition says"))
    if page.keys[connector] != set(_keys(proof.definition)):
        found.append(Break(connector, "marks", "are not the ones that it has to be found by"))
    return found


def _against_reports(connector: UUID, proof: Proof, page: Page) -> list[Break]:
    kept = (
        ("limit line", page.lines.get(connector), proof.line),
        ("worn cavities", page.worn[connector], sorted(proof.worn, key=lambda each: each.cavity)),
        ("open discrepancies", page.open[connector], proof.open),
    )
    return [Break(connector, what, "is not what the state gives") for what, held, given in kept if held != given]


def _against_state(row: Any, proof: Proof) -> list[Break]:
    connector = row["connector"]
    if row["hash"] is None:
        return [Break(connector, "head", "is missing")]
    found = []
    if _is_cut_off(row, proof):
        found.append(_cut_off(row, proof))
    elif row["entries"] != proof.entries or row["hash"] != proof.hash:
        found.append(Break(connector, "head", f"stands at entry {row['entries']}, the ledger ends at {proof.entries}"))
    if row["definition"] != proof.definition_number:
        found.append(
            Break(connector, "head", f"goes by definition {row['definition']}, the last is {proof.definition_number}")
        )
    if row["handed_over"] != proof.handed_over:
        found.append(Break(connector, "head", "does not say what the last transfer says of where the connector is"))
    if row["state"] != proof.state:
        found.append(Break(connector, "state", "is not what the ledger gives"))
    if tuple(row[name] for name in ledger.PLACE) != proof.place:
        found.append(Break(connector, "place", "is not what the state gives"))
    if row["bench"] != proof.bench:
        found.append(Break(connector, "bench", "is not the one that recorded last"))
    return found
