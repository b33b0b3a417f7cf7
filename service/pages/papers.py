"""What of a connector is printed: its log card and its tag, for who has signed in. And where it went, if it has left."""

import asyncio
from typing import Any
from uuid import UUID

from litestar import Response

from service.api import reading
from service.api import transfer_queries as queries
from service.api.services import Services
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses
from service.pages.door import Asked, Visitor
from service.pages.layout import link
from service.records import hypertext
from service.store.database import Connection
from service.store.ledger import Head
from service.transfer_messages import TransferView
from service.workflow import connectors, log_cards, transfers

LOG_CARD, TAG = "log-card", "tag"
_QUIET = {"cache-control": "no-store", "x-content-type-options": "nosniff"}
_MOST = 20


async def log_card(request: Asked, visitor: Visitor) -> Response[Any]:
    """The log card: HTML to read, or the file that is asked for."""
    del visitor
    services: Services = request.app.state.services
    told = {"format": "html"} | dict(request.query_params)
    asked = reading.query(told, queries.LogCard)
    async with services.pool.acquire() as connection:
        card = await log_cards.shown(connection, _id(request), services.house)
    data = await asyncio.to_thread(log_cards.document, card, asked.format)
    headers = hypertext.headers() if asked.format == "html" else _QUIET
    return Response(data, media_type=log_cards.MEDIA_TYPES[asked.format], headers=headers)


async def tag(request: Asked, visitor: Visitor) -> Response[Any]:
    """The tag, as the file that is asked for."""
    del visitor
    services: Services = request.app.state.services
    asked = reading.query(request.query_params, queries.Tag)
    async with services.pool.acquire() as connection:
        card = await log_cards.shown(connection, _id(request), services.house)
    data = await asyncio.to_thread(log_cards.drawn_tag, card, asked.format, services.address, asked.record)
    return Response(data, media_type=log_cards.TAG_MEDIA_TYPES[asked.format], headers=_QUIET)


def _id(request: Asked) -> UUID:
    written = request.path_params["connector"]
    try:
        return UUID(written)
    except ValueError as error:
        raise connectors.unknown(written) from error


def links(connector: UUID) -> Markup:
    """The ways to what can be printed of a connector."""
    home = f"{addresses.CONNECTORS}/{connector}"
    ways = (
        link("log card", f"{home}/{LOG_CARD}"),
        link("log card as PDF", f"{home}/{LOG_CARD}?format=pdf"),
        link("tag as PDF", f"{home}/{TAG}"),
        link("tag as SVG", f"{home}/{TAG}?format=svg"),
    )
    return element("p", text("To print:"), *(joined(text(" "), each) for each in ways), class_="files noprint")


async def whereabouts(connection: Connection, head: Head) -> Markup:
    """Where a connector went and whence it came; that it has left, said so that nobody misses it."""
    lines, _ = await transfers.page(connection, None, _MOST, head.connector)
    if not lines:
        return EMPTY
    told = element("ul", *(element("li", text(_line(each))) for each in lines))
    if not head.handed_over:
        return element("section", element("h2", text("Owners")), told)
    last = lines[0]
    return joined(
        element(
            "p",
            element("b", text(f"Handed over to {last.party} on {last.recorded_at:%Y-%m-%d}. ")),
            text("Its ledger goes on there. Nothing may be done here on these counts; facts are still kept, and wait."),
            role="note",
        ),
        element("section", element("h2", text("Owners")), told),
    )


def _line(each: TransferView) -> str:
    way = "to" if each.direction == "out" else "from"
    return f"{each.recorded_at:%Y-%m-%d %H:%M} UTC {way} {each.party}: {each.entries:,} entries. {each.reason} (transfer {each.id})"
