"""Taking a connector over: everything of the bundle is proved first, then all of it is on the books, or nothing is.

The ledger that comes keeps its id, its entries and its hashes. One that comes back joins its own: what is here must be the
beginning of what comes.
"""

import asyncio
import hashlib
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

import asyncpg
from msgspec import Struct

from service import problems
from service import transfer_messages as messages
from service.core import chain, fold, marks, noting, reported, states
from service.core.entries import HouseRule, Recorded
from service.core.transfers import bundle, contents, leaving
from service.core.transfers.bundle import Bundle, BundleError, Link
from service.core.transfers.contents import Contents
from service.store import database, fleet, ledger
from service.store.database import Connection
from service.store.ledger import Head
from service.workflow import connectors, feeding, recording, transfer_keys, transfers

_ATTEMPTS = 4


class Read(Struct, frozen=True):
    """A bundle that holds together and makes sense, with the bytes that it came in."""

    bundle: Bundle
    contents: Contents
    data: bytes

    @property
    def connector(self) -> UUID:
        """The connector that it is about."""
        return self.bundle.manifest.connector


def read(data: bytes) -> Read:
    """Prove a bundle, apart from whose it is. Raises the problem that says where it is wrong and what to do."""
    try:
        found = bundle.read(data)
        return Read(found, contents.read(found), data)
    except BundleError as error:
        text = f"{error.place}: {error.text}. {error.remedy}. Nothing was taken in"
        raise problems.raised(problems.Type.BUNDLE_REFUSED, text, ("#/bundle_base64", text)) from error


async def take_in(
    connection: Connection, scribe: recording.Scribe, house: HouseRule, data: bytes, by: str, at: datetime
) -> tuple[messages.TransferView, bool]:
    """Take a bundle in; whether that is new, or was done before.

    Raises:
        ProblemRaised: the bundle is not whole, not of a trusted sender, not for here, or contradicts what is here.
    """
    found = await asyncio.to_thread(read, data)
    for attempt in range(_ATTEMPTS):
        try:
            async with connection.transaction():
                return await _taken(connection, scribe, house, found, by, at)
        except (asyncpg.DeadlockDetectedError, asyncpg.UniqueViolationError):
            # Somebody recorded under one of the ids meanwhile: looking again says so.
            if attempt + 1 == _ATTEMPTS:
                raise
    raise AssertionError("unreachable")


async def _taken(
    connection: Connection, scribe: recording.Scribe, house: HouseRule, found: Read, by: str, at: datetime
) -> tuple[messages.TransferView, bool]:
    manifest = found.bundle.manifest
    await database.run(connection, "lock_transfers")
    party = await transfer_keys.sender(connection, manifest.sender.public_key)
    before = await _before(connection, found)
    if before is not None:
        return before, False
    await _check_addressed(connection, found, own=party is None)
    _check_clocks(found, at)
    head = await _head(connection, found.connector)
    if head is None:
        await database.run(connection, "lock_parking")
        await _check_new(connection, found)
    else:
        await _check_follows(connection, found, head)
    await _append(connection, found, head)
    now = await _restate(connection, house, found, head)
    sender = manifest.sender.installation
    await transfers.keep(connection, "in", manifest, found.data, party or "taken back", sender, by, at)
    await connectors.join_parked(connection, scribe, now, house)
    view = await transfers.shown(connection, manifest.id, "in")
    await feeding.tell(connection, transfers.RECEIVED, view, at, about=found.connector)
    return view, True


def _refused(text: str) -> problems.ProblemRaised:
    return problems.raised(problems.Type.BUNDLE_REFUSED, text, ("#/bundle_base64", text))


def _conflict(text: str) -> problems.ProblemRaised:
    return problems.raised(problems.Type.TRANSFER_CONFLICT, f"{text}. Nothing was taken in")


async def _before(connection: Connection, found: Read) -> messages.TransferView | None:
    rows = await database.fetch(connection, "transfer_lines", found.bundle.manifest.id)
    taken = [row for row in rows if row["direction"] == "in"]
    if taken and taken[0]["sha256"] != hashlib.sha256(found.data).digest():
        text = f"the transfer {found.bundle.manifest.id} was taken in before, from another bundle: compare the two with the sender"
        raise problems.raised(problems.Type.ID_REUSED, text)
    return await transfers.shown(connection, found.bundle.manifest.id, "in") if taken else None


async def _check_addressed(connection: Connection, found: Read, *, own: bool) -> None:
    """A bundle is for whom it says; our own may be taken back while the connector has been nowhere else since."""
    manifest = found.bundle.manifest
    last = await database.fetch_one(connection, "last_transfer", found.connector)
    if own:
        if last is None or last["id"] != manifest.id:
            raise _conflict(
                "this is a bundle of ours, and not the one that the connector last left with: it can't be taken back by it. "
                "Take in the bundle that it came back with"
            )
        return
    here = await transfer_keys.installation(connection)
    if manifest.recipient.installation not in (None, here):
        raise _refused(
            f"the bundle is for {manifest.recipient.name}, installation {manifest.recipient.installation}, and this is {here}: "
            "take it in there, or ask the sender for one that is for this installation"
        )


def _check_clocks(found: Read, at: datetime) -> None:
    """What is recorded here from now on must come after what comes: before a renewal, say, it would count for the old retainer."""
    told = found.contents
    newest = max([*(each.recorded_at for each in told.definitions), *(each.recorded_at for each in told.history)])
    if newest > at + noting.AHEAD:
        raise _refused(
            f"its newest record is of {newest:%Y-%m-%d %H:%M} UTC, and here it is {at:%Y-%m-%d %H:%M}: one of the two clocks "
            "is wrong, and what is recorded here next would count as work from before. Compare the clocks with the sender; "
            "once it is later than that here, send the same again. Nothing was taken in"
        )


async def _head(connection: Connection, connector: UUID) -> Head | None:
    return (await ledger.heads(connection, ledger.Definitions(), [connector], lock=True)).get(connector)


async def _check_new(connection: Connection, found: Read) -> None:
    if await _head(connection, found.connector) is not None:
        raise _conflict("the connector was registered here just now: send the bundle again")
    manifest = found.bundle.manifest
    same = await database.fetch_one(connection, "identity_taken", manifest.serial, manifest.cage, manifest.part_number)
    if same is not None:
        raise _conflict(
            f"serial {manifest.serial!r} with this CAGE code and part number is on the books as connector {same['connector']}, and "
            "two can't be one: go on with that one, and record as carry_in what the log card in the bundle counts, with the card "
            "as its source; or ask the sender which of the two the item is"
        )
    await _check_ids(connection, found, 0)


async def _check_follows(connection: Connection, found: Read, head: Head) -> None:
    """What is here must be the beginning of what comes: nobody's entries may be lost, on neither side."""
    manifest = found.bundle.manifest
    if not head.handed_over:
        raise _conflict(
            f"connector {manifest.serial!r} is on the books here and never left: two ledgers would go on under one id. Find out "
            "with the sender which of them goes on; if it is theirs, hand the connector over here first, then take the bundle in"
        )
    for what, here, there in (
        ("definitions", await database.fetch(connection, "definition_chain", head.connector), found.bundle.definitions),
        ("entries", await database.fetch(connection, "entry_chain", head.connector), found.bundle.entries),
    ):
        for number, row in enumerate(here, 1):
            if number > len(there):
                raise _conflict(
                    f"the bundle is older than what is here: it ends at {number - 1} {what}, here are {len(here)}. "
                    "Ask the sender for the newest bundle"
                )
            if row["hash"] != there[number - 1].hash:
                raise _conflict(
                    f"the ledgers parted at {what} {number}: what is here and what comes both go on from {number - 1}. Neither is "
                    "written over. Keep the bundle; find out with the sender which entries are missing there, and have them "
                    "record those, with the ids that they have here, in the ledger that goes on"
                )
    await _check_ids(connection, found, head.entries)


async def _check_ids(connection: Connection, found: Read, known: int) -> None:
    """No id may mean two things. What waits here and was recorded there, too, has come home."""
    news = found.contents.history[known:]
    digests = {each.entry.id: chain.digest(chain.canonical_entry(each.entry)) for each in news}
    for row in await database.fetch(connection, "ids_in_use", list(digests)):
        if not row["parked"] or row["digest"] != digests[row["id"]]:
            where = "waits here" if row["parked"] else f"is in the ledger of connector {row['connector']}"
            alike = "the same" if row["digest"] == digests[row["id"]] else "another"
            raise _conflict(
                f"the entry {row['id']} of the bundle {where} with {alike} content: compare the two with the sender; an id is "
                "given once"
            )


async def _append(connection: Connection, found: Read, head: Head | None) -> None:
    """What is not here yet of both chains, each link as it came."""
    known = found.contents.definition
    first = found.contents.definitions[0]
    if head is None:
        identity = (known.connector, known.serial, known.cage, known.part_number, known.family, first.recorded_at)
        await database.run(connection, "register_connectors", *([each] for each in identity))
        keys = marks.keys(known.serial, known.cage, known.part_number, known.connector)
        await database.run(connection, "register_keys", list(keys), [known.connector] * len(keys))
    start = head.definition_number if head else 0
    rows = [
        (known.connector, number, body.recorded_at, link.body, link.hash)
        for number, (body, link) in enumerate(zip(found.contents.definitions, found.bundle.definitions, strict=True), 1)
        if number > start
    ]
    if rows:
        await database.run(connection, "append_definitions", *(list(each) for each in zip(*rows, strict=True)))
    await _append_entries(connection, found, head.entries if head else 0)


async def _append_entries(connection: Connection, found: Read, start: int) -> None:
    links: Sequence[Link] = found.bundle.entries
    rows = [
        ledger.LedgerRow(found.connector, number, recorded, links[number - 1].body, links[number - 1].hash)
        for number, recorded in enumerate(found.contents.history, 1)
        if number > start
    ]
    waiting = [row["id"] for row in await database.fetch(connection, "ids_in_use", [r.recorded.entry.id for r in rows])]
    await database.run(connection, "join_parked", waiting, found.connector)
    here = frozenset(waiting)
    receipts: list[tuple[UUID, UUID | None, bytes]] = [
        (each.recorded.entry.id, found.connector, chain.digest(chain.canonical_entry(each.recorded.entry)))
        for each in rows
        if each.recorded.entry.id not in here
    ]
    await ledger.append_receipts(connection, receipts)
    await ledger.append(connection, rows)


async def _restate(connection: Connection, house: HouseRule, found: Read, head: Head | None) -> Head:
    """The head as the whole chain gives it, and what the fleet's reports hold of it."""
    definition, history = found.contents.definition, list(found.contents.history)
    state, bench = fold.fold(definition, history), ledger.last_bench(None, history)
    entries, last = len(history), bytes.fromhex(found.bundle.manifest.hash)
    number = len(found.contents.definitions)
    now = Head(found.connector, entries, last, definition, number, state, bench)
    encoded = states.encode(state)
    if head is None:
        begun = (found.connector, entries, last, number, encoded)
        await database.run(connection, "start_heads", *([each] for each in begun))
    place = (state.whole.asset, state.whole.zone, state.whole.position)
    await database.run(connection, "restate_head", found.connector, entries, last, number, encoded, *place, bench)
    before = None if head is None else reported.judge(head.definition, leaving.closed(head.state), head.bench, house)
    change = reported.change(before, reported.judge(definition, state, bench, house))
    known: dict[UUID, tuple[int, Recorded]] = {each.entry.id: (place_, each) for place_, each in enumerate(history, 1)}
    await fleet.put(connection, [change], fleet.open_rows(found.connector, change.opened, known, change.where))
    return now
