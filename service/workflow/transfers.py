"""Handing a connector over: its whole ledger in a signed bundle, after which nothing of it is anybody's work here."""

import asyncio
import hashlib
from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

import msgspec
from msgspec import Meta, Struct

from service import problems
from service import transfer_messages as messages
from service.core import chain, marks, reported
from service.core.entries import HouseRule
from service.core.transfers import bundle, contents, leaving
from service.core.transfers.bundle import BundleError, Manifest
from service.messages import DECIDES
from service.store import database, fleet, ledger
from service.store.database import Connection
from service.store.ledger import Head
from service.workflow import connectors, feeding, log_cards, planning, signing, transfer_keys
from service.workflow.log_cards import Chains

HANDED_OVER, RECEIVED = "connector.handed_over", "connector.received"
"""Topics of the feed."""


class Order(Struct, frozen=True):
    """Which connector goes to whom, by whose doing, when; `id` is the transfer's."""

    connector: UUID
    asked: messages.HandOver
    by: str
    at: datetime
    id: UUID


async def hand_over(connection: Connection, house: HouseRule, order: Order) -> tuple[messages.TransferView, bool]:
    """Make the bundle and let the connector leave, in one; whether that is new, or was done under this id before.

    Raises:
        ProblemRaised: it is not on the books, has left already, its ledger is not as it was recorded, or entries wait that may be
            about it.
    """
    async with connection.transaction():
        key = await transfer_keys.own(connection, order.by, order.at)
        before = await _before(connection, order)
        if before is not None:
            return before, False
        heads = await ledger.heads(connection, ledger.Definitions(), [order.connector], lock=True)
        if order.connector not in heads:
            raise connectors.unknown(str(order.connector))
        head = heads[order.connector]
        if head.handed_over:
            raise connectors.handed_over(head)
        await _check_waiting(connection, head)
        held = await log_cards.chains(connection, order.connector)
        files = await _files(connection, held, house, order)
        manifest = await _manifest(connection, order, head, held, bundle.key_text(key.public_key), files)
        data = await asyncio.to_thread(_packed, manifest, files, key.private_key)
        sender = manifest.recipient
        await keep(connection, "out", manifest, data, sender.name, sender.installation, order.by, order.at)
        await database.run(connection, "set_handed_over", head.connector, True)
        after = reported.judge(head.definition, leaving.closed(head.state), head.bench, house)
        change = reported.change(reported.judge(head.definition, head.state, head.bench, house), after)
        await fleet.put(connection, [change], [])
        view = await shown(connection, order.id, "out")
        await feeding.tell(connection, HANDED_OVER, view, order.at, about=order.connector)
        return view, True


async def _check_waiting(connection: Connection, head: Head) -> None:
    """What waits here and may be about the connector stays behind, so the count there would be too low and nobody told."""
    cavities = planning.awaited(head.definition, await planning.waiting_for(connection, head.connector))
    if cavities:
        text = (
            f"entries wait here that may be about connector {head.definition.serial!r} (cavity {', '.join(sorted(cavities)[:5])}), "
            "and would stay behind: GET /v1/parked lists them, POST /v1/parked/{entry} says where each belongs"
        )
        raise problems.raised(problems.Type.TRANSFER_CONFLICT, text)


async def _before(connection: Connection, order: Order) -> messages.TransferView | None:
    """What was done under this id before. Raises the problem where that was something else."""
    for row in await database.fetch(connection, "transfer_lines", order.id):
        asked = order.asked
        same = (row["direction"], row["connector"], row["party"], row["installation"], row["reason"])
        if same == ("out", order.connector, asked.to, asked.to_installation, asked.reason):
            return _view(row)
        text = f"the id {order.id} is another transfer's: give this one an id of its own"
        raise problems.raised(problems.Type.ID_REUSED, text, ("#/id", text))
    return None


async def _files(connection: Connection, held: Chains, house: HouseRule, order: Order) -> dict[str, bytes]:
    card = log_cards.card(held, house)
    ours = [each.entry for each in card.entries if each.number not in held.elsewhere]
    orders = sorted({each.work_order for each in ours if each.work_order})
    records, signatures = await _records(connection, orders)
    earlier = await database.fetch_one(connection, "last_received", order.connector)
    read_me = bundle.read_me(order.at, f"{card.serial} {card.part_number or ''}".strip(), order.asked.to)
    files = {
        bundle.READ_ME: read_me.encode(),
        bundle.DEFINITIONS: bundle.lines(held.definitions),
        bundle.ENTRIES: bundle.lines(held.entries),
        bundle.LOG_CARD_DATA: log_cards.document(card, "json"),
        bundle.LOG_CARD: await asyncio.to_thread(log_cards.document, card, "pdf"),
    }
    if records:
        files[bundle.RECORDS] = chain.canonical({"records": records})
    if signatures:
        files[bundle.SIGNATURES] = chain.canonical({"signatures": signatures})
    if earlier is not None:
        # With its own records and signatures: what came with a connector goes on with it.
        files[bundle.EARLIER] = earlier["bundle"]
    return files


async def _records(connection: Connection, orders: Sequence[str]) -> tuple[list[Any], list[Any]]:
    """The records of these work orders as they were hashed, and every signature on the orders and on the records."""
    records, subjects = [], [("work_order", each) for each in orders]
    for line in await database.fetch(connection, "records_of", list(orders)):
        row = await database.fetch_one(connection, "record", line["number"])
        if row is None:
            continue
        told = {"number": row["number"], "sha256": row["sha256"].hex(), "canonical": row["canonical"].decode()}
        records.append({**told, "corrects": row["corrects"], "corrected_by": row["corrected_by"]})
        subjects.append(("record", str(row["number"])))
    found = [each for subject in subjects for each in await signing.of(connection, *subject)]
    return records, [msgspec.to_builtins(each) for each in found]


async def _manifest(
    connection: Connection, order: Order, head: Head, held: Chains, public_key: str, files: dict[str, bytes]
) -> Manifest:
    known = head.definition
    recipient = bundle.Recipient(name=order.asked.to, installation=order.asked.to_installation)
    return Manifest(
        form=bundle.FORM,
        id=order.id,
        connector=head.connector,
        serial=known.serial,
        cage=known.cage,
        part_number=known.part_number,
        marks=marks.keys(known.serial, known.cage, known.part_number, known.connector),
        sender=bundle.Sender(installation=await transfer_keys.installation(connection), public_key=public_key),
        recipient=recipient,
        reason=order.asked.reason,
        made_by=order.by,
        made_at=order.at,
        definitions=len(held.definitions),
        entries=len(held.entries),
        hash=head.hash.hex(),
        files=tuple(bundle.file_line(name, data) for name, data in files.items()),
        notice=DECIDES,
    )


def _packed(manifest: Manifest, files: dict[str, bytes], private_key: bytes) -> bytes:
    """The bundle, read as whoever gets it will read it: a ledger that was altered doesn't leave as if it were whole."""
    data = bundle.pack(manifest, files, private_key)
    try:
        contents.read(bundle.read(data))
    except BundleError as error:
        where = f"{error.place}: {error.text}"
        text = f"this ledger can't be handed over, for it is not as it was recorded ({where}): see `tinebook verify`"
        raise problems.raised(problems.Type.TRANSFER_CONFLICT, text) from error
    return data


async def keep(
    connection: Connection,
    direction: str,
    manifest: Manifest,
    data: bytes,
    party: str,
    installation: UUID | None,
    by: str,
    at: datetime,
) -> None:
    """Keep what went out or came in, with the bundle as it was."""
    await database.run(
        connection,
        "keep_transfer",
        manifest.id,
        direction,
        manifest.connector,
        manifest.definitions,
        manifest.entries,
        bytes.fromhex(manifest.hash),
        party,
        installation,
        bundle.key_bytes(manifest.sender.public_key),
        manifest.reason,
        by,
        at,
        hashlib.sha256(data).digest(),
        data,
    )


async def shown(connection: Connection, transfer: UUID, direction: str | None = None) -> messages.TransferView:
    """A transfer: its newest line, or the one in a direction. Raises the problem where there is none."""
    rows = await database.fetch(connection, "transfer_lines", transfer)
    found = [row for row in rows if direction in (None, row["direction"])]
    if not found:
        raise unknown(str(transfer))
    return _view(found[-1])


def unknown(transfer: str) -> problems.ProblemRaised:
    """The refusal for a transfer that there is not."""
    text = f"no transfer {transfer} was made or taken in here; GET /v1/transfers lists them"
    return problems.raised(problems.Type.UNKNOWN_TRANSFER, text)


async def bundle_of(connection: Connection, transfer: UUID) -> bytes:
    """The bundle of a transfer, as it went or came. Raises the problem where there is none."""
    row = await database.fetch_one(connection, "transfer_bundle", transfer)
    if row is None:
        raise unknown(str(transfer))
    data: bytes = row["bundle"]
    return data


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page of transfers begins."""

    number: Annotated[int, Meta(ge=0, le=2**63 - 1)]


async def page(
    connection: Connection, after: Cursor | None, limit: int, connector: UUID | None
) -> tuple[tuple[messages.TransferView, ...], Cursor | None]:
    """A page of the transfers, the newest first, of all connectors or of one."""
    start = after.number if after else None
    rows = await database.fetch(connection, "transfers", start, limit + 1, connector)
    following = Cursor(rows[limit - 1]["number"]) if len(rows) > limit else None
    return tuple(_view(row) for row in rows[:limit]), following


def _view(row: Any) -> messages.TransferView:
    return messages.TransferView(
        number=row["number"],
        id=row["id"],
        direction=row["direction"],
        connector=row["connector"],
        serial=row["serial"],
        definitions=row["definitions"],
        entries=row["entries"],
        hash=row["hash"].hex(),
        party=row["party"],
        installation=row["installation"],
        public_key=bundle.key_text(row["public_key"]),
        fingerprint=bundle.fingerprint(row["public_key"]),
        reason=row["reason"],
        recorded_by=row["recorded_by"],
        recorded_at=row["recorded_at"],
        sha256=row["sha256"].hex(),
        bundle_bytes=row["bundle_bytes"],
    )
