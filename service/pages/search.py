"""The search: anything scannable, and what else people type: an asset, a part number, a work order, an entry's id."""

from uuid import UUID

from litestar.response import Redirect
from msgspec import Struct

from service import messages
from service.api.services import Services
from service.core.drawings import signs
from service.core.entries import MarkText
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses, asking, layout, tables, wording
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet
from service.pages.sheet import code
from service.pages.tables import Column
from service.pages.timeline import entry_id
from service.store import database
from service.store.database import Connection
from service.workflow import connectors, finding, scanning

_MOST = 50
_COLUMNS = (
    Column("Serial"),
    Column("Wear"),
    Column("Part number"),
    Column("CAGE"),
    Column("Place"),
    Column("Left", number=True),
)


class Asking(Struct, frozen=True):
    """What was scanned or typed."""

    mark: MarkText = ""


async def page(request: Asked, visitor: Visitor) -> Sheet | Redirect:
    """One hit leads there; several are listed, so that a person tells them apart; none says how the mark was read."""
    del visitor
    services: Services = request.app.state.services
    if not request.query_params.get("mark", "").strip():
        return _sheet("Search", layout.nothing("Scan a mark into the field above, or type one."))
    mark = asking.read(request, Asking).mark.strip(" ")
    async with services.pool.acquire() as connection:
        asked = messages.Scan(text=mark)
        scan = await scanning.meaning(connection, services.scribe.definitions, asked, services.house)
        if len(scan.connectors) == 1:
            return _to(addresses.connector(scan.connectors[0].id))
        if scan.connectors:
            return _sheet("Several connectors", _several(scan.connectors), _read(scan))
        entry = await _entry(connection, mark)
        if entry is not None:
            return _to(entry)
        others = await _others(connection, services, mark)
    if len(others) == 1 and others[0][0] == "asset":
        return _to(addresses.asset(mark))
    return _sheet("Not found", *_nothing(mark, [link for _, link in others]), _read(scan))


def _sheet(title: str, *content: Markup) -> Sheet:
    return Sheet(title=title, content=(element("h1", text(title)), *content), path=addresses.SEARCH)


def _to(address: str) -> Redirect:
    return Redirect(address, status_code=303)


async def _entry(connection: Connection, mark: str) -> str | None:
    entry = finding.as_id(mark)
    where = None if entry is None else await database.fetch_one(connection, "where_is_entry", entry)
    if entry is None or where is None or where["connector"] is None:
        return None
    found: UUID = where["connector"]
    return addresses.connector(found, entry_id(entry))


async def _others(connection: Connection, services: Services, words: str) -> list[tuple[str, Markup]]:
    """What else the words may mean: only what is on the books is offered."""
    if len(words) > 200:  # noqa: PLR2004 - no name is longer
        return []
    wanted = {
        "asset": connectors.Wanted(asset=words),
        "part_number": connectors.Wanted(part_number=words),
        "work_order": connectors.Wanted(work_order=words),
    }
    found = []
    for name, each in wanted.items():
        heads, more = await connectors.page(connection, services.scribe.definitions, None, _MOST, each)
        if heads:
            lines = connectors.lines(heads, services.house)
            found.append((name, _other(name, words, lines, more=more is not None)))
    return found


def _other(name: str, words: str, lines: tuple[messages.ConnectorLine, ...], *, more: bool) -> Markup:
    count = f"{len(lines)}{' or more' if more else ''}"
    if name == "asset":
        return element("p", text("An asset: "), layout.link(words, addresses.asset(words)))
    if name == "part_number":
        ways = joined(
            layout.link("those not within their rating", addresses.page(addresses.FLEET, part_number=words)),
            text(", "),
            layout.link("what the number says", addresses.page("/part-numbers", number=words)),
        )
        return element("p", text(f"The part number of {count} connectors: "), ways)
    return joined(element("h2", text(f"Work order {words}")), _several(lines))


def _several(lines: tuple[messages.ConnectorLine, ...]) -> Markup:
    rows = [
        (
            layout.link(each.serial, addresses.connector(each.id)),
            signs.named(each.wear),
            text(each.part_number or "-"),
            text(each.cage or "-"),
            wording.place(each.place),
            wording.left(each.left),
        )
        for each in lines
    ]
    return tables.listed(wording.counted(len(lines), "connector"), _COLUMNS, rows)


def _nothing(mark: str, others: list[Markup]) -> tuple[Markup, ...]:
    if others:
        return tuple(others)
    return (element("p", text("Nothing on the books is called "), code(mark[:200]), text(".")),)


def _read(scan: messages.ScanView) -> Markup:
    """How the mark was read: where nothing was found, the fault is often in the mark."""
    told = [text(f"Read as {scan.meaning.replace('_', ' ')}.")]
    told += [joined(text(f"{name}: "), code(value)) for name, value in scan.fields.items()]
    told += [text(f"Deviates: {each}") for each in scan.deviations]
    told += [text(f"Fault: {each}") for each in scan.faults]
    return joined(element("h2", text("How it was read")), layout.lines(*told)) if told else EMPTY
