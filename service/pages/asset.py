"""One asset: what on it is not within its rating, what is open, and what its next visit asks for."""

from service import fleet_messages, problems
from service.api import reading
from service.api.services import Services
from service.core.markup import EMPTY, Markup, element, text
from service.pages import addresses, asking, discrepancies, fleet, forecast, layout
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.store.database import Connection
from service.workflow import connectors
from service.workflow import discrepancies as found
from service.workflow import fleet as reports

_MOST = 100
_OPEN = 10


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The page of one asset. An asset is on the books while some connector is placed on it."""
    del visitor
    services: Services = request.app.state.services
    name = str(request.path_params["asset"]).lstrip("/")
    asked = fleet.Asking(asset=name, by="zone", limit=_MOST)
    async with services.pool.acquire() as connection:
        await _known(connection, services, name)
        lines, following = await reports.connectors(connection, asked.filters, None, asked.limit)
        wear, _ = await reports.wear(connection, "zone", asked.filters, None, _MOST)
        open_, _ = await found.open_ones(connection, found.Filters(asset=name), None, _OPEN, services.clock())
        visit = await forecast.of_asset(connection, services, name)
    content = (
        layout.heading(name, layout.note(text("What the ledger holds now"))),
        visit,
        element("h2", text("Not within their rating")),
        fleet.connectors(lines) if lines else layout.nothing("Every connector on it is within its rating."),
        asking.pager(None, asked.address(cursor=reading.encode_cursor(following)) if following else None),
        _wear(wear, asked),
        _open(open_, name),
        element("p", link("All connectors on it by wear", asked.address(by=None))),
    )
    return Sheet(title=name, content=content, path=addresses.ASSETS)


async def _known(connection: Connection, services: Services, name: str) -> None:
    heads, _ = await connectors.page(connection, services.scribe.definitions, None, 1, connectors.Wanted(asset=name))
    if not heads:
        raise problems.raised(problems.Type.NOT_FOUND, f"no connector is placed on an asset called {name!r}")


def _wear(wear: fleet_messages.WearReport, asked: fleet.Asking) -> Markup:
    if not wear.groups:
        return EMPTY
    return element("section", element("h2", text("By zone")), fleet.wear_table(wear.groups, asked))


def _open(report: fleet_messages.DiscrepancyReport, name: str) -> Markup:
    if not report.discrepancies:
        return element("section", element("h2", text("Open discrepancies")), layout.nothing("Nothing is open here."))
    where = addresses.page(addresses.DISCREPANCIES, asset=name)
    return element(
        "section",
        element("h2", text("Open discrepancies")),
        discrepancies.summary(report.discrepancies),
        element("p", link("See and resolve them", where)),
    )
