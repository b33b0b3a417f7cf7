"""The log card of a connector, and the tag that is made from it."""

from uuid import UUID

import msgspec
from msgspec import Struct

from service import problems
from service.core import chain
from service.core.entries import HouseRule
from service.core.transfers import card as cards
from service.core.transfers.bundle import Link
from service.core.transfers.card import Card
from service.records import hypertext, log_card
from service.records.qr import SymbolError
from service.store import database
from service.store.database import Connection
from service.workflow import connectors, pseudonyms


class Chains(Struct, frozen=True):
    """A connector's definitions and entries as they were hashed; `elsewhere`: numbers of entries that other owners recorded."""

    definitions: tuple[Link, ...]
    entries: tuple[Link, ...]
    elsewhere: frozenset[int]


async def chains(connection: Connection, connector: UUID) -> Chains:
    """Both chains of a connector. Raises the problem where it is not on the books."""
    definitions = await database.fetch(connection, "definition_chain", connector)
    if not definitions:
        raise connectors.unknown(str(connector))
    entries = await database.fetch(connection, "entry_chain", connector)
    return Chains(
        tuple(Link(row["body"], row["hash"]) for row in definitions),
        tuple(Link(row["body"], row["hash"]) for row in entries),
        frozenset(row["number"] for row in entries if row["elsewhere"]),
    )


def card(held: Chains, house: HouseRule) -> Card:
    """The card that chains give."""
    source = cards.Source(
        definitions=[chain.decode_definition(each.body) for each in held.definitions],
        history=[chain.decode_body(each.body).recorded for each in held.entries],
        hashes=[each.hash.hex() for each in held.entries],
        definition_hash=held.definitions[-1].hash.hex(),
    )
    return cards.card(source, house)


async def shown(connection: Connection, connector: UUID, house: HouseRule) -> Card:
    """The card as it is to be shown: who left goes by the pseudonym."""
    async with database.report(connection):
        held = await chains(connection, connector)
        through = await pseudonyms.veiling(connection)
    found = card(held, house)
    return msgspec.json.decode(through.document(msgspec.json.encode(found)), type=Card) if through else found


MEDIA_TYPES = {"pdf": "application/pdf", "html": "text/html; charset=utf-8", "json": "application/json"}
TAG_MEDIA_TYPES = {"pdf": "application/pdf", "svg": "image/svg+xml"}


def document(shown_card: Card, form: str) -> bytes:
    """The card in one of its forms."""
    match form:
        case "json":
            return chain.canonical(shown_card)
        case "html":
            return hypertext.page(log_card.paper(shown_card))
        case _:
            from service.records import archival  # noqa: PLC0415 - takes long to load, and most never ask for it

            return archival.pdf(log_card.paper(shown_card))


def link(connector: UUID, address: str | None) -> str:
    """What a tag's symbol holds: the address of the connector's page where the service has one, else its id, which scans find."""
    return str(connector) if address is None else f"{address.rstrip('/')}/connectors/{connector}"


def drawn_tag(shown_card: Card, form: str, address: str | None, record: str | None) -> bytes:
    """The tag in one of its forms. Raises the problem where it would not be read."""
    from service.records import tag  # noqa: PLC0415 - the same

    try:
        made = tag.tag(shown_card, link(shown_card.connector, address), record)
    except SymbolError as error:
        raise problems.raised(problems.Type.LABEL_NOT_READABLE, str(error)) from error
    return tag.svg(made) if form == "svg" else tag.pdf(made)
