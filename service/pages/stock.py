"""What to have on the shelf, per part number, and what the coming months are expected to need."""

from collections.abc import Sequence
from itertools import groupby
from typing import Annotated

from msgspec import Meta

from service import outlook_messages as messages
from service.api import queries, reading
from service.api.services import Services
from service.core.drawings import bars
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses, asking, files, forecast, layout, plotting, tables, wording
from service.pages.asking import KIND, Field
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.tables import Column
from service.plots.plot import Plot
from service.workflow import outlook
from service.workflow.outlook import Filters

_LEVELS = ("0.8", "0.9", "0.95", "0.99")
_FIELDS = (
    Field("service_level", "Suffices with", tuple((each, f"{100 * float(each):g} %") for each in _LEVELS)),
    Field("horizon_days", "For", tuple((str(each), wording.days(each)) for each in (30, 90, 180, 365, 730))),
    *KIND,
)
_MONTHS = 6
_DRAWN = 4
"""Part numbers in the plot: more can't be told apart."""
_STOCK = (
    Column("Part number"),
    Column("Pieces to have", number=True),
    Column("Due today", number=True),
    Column("Expected need, 90 % interval"),
    Column("Suffices with", number=True),
    Column("Pieces with those not known", number=True),
)


class Asking(queries.Kind, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is wanted."""

    service_level: Annotated[float, Meta(gt=0, lt=1)] = 0.95
    horizon_days: Annotated[int, Meta(ge=1, le=3650)] = 90
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=500)] = 50

    def address(self, **changes: addresses.Value) -> str:
        """The page with something else."""
        told: dict[str, addresses.Value] = {
            "service_level": f"{self.service_level:g}",
            "horizon_days": self.horizon_days,
            "family": self.family,
            "part_number": self.part_number,
        }
        return addresses.page(addresses.STOCK, **(told | changes))


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """Shelf stock, and demand by month."""
    del visitor
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    filters = Filters(family=asked.family, part_number=asked.part_number)
    async with services.pool.acquire() as connection:
        after = reading.cursor(asked.cursor, outlook.PartCursor)
        stock, following = await outlook.stock(
            connection, filters, asked.service_level, asked.horizon_days, after, asked.limit
        )
        demand = None if asked.cursor else (await outlook.demand(connection, filters, _MONTHS, None, asked.limit))[0]
    cursor = reading.encode_cursor(following)
    values = {"family": asked.family, "part_number": asked.part_number, "service_level": f"{asked.service_level:g}"}
    values["horizon_days"] = str(asked.horizon_days)
    content = (
        layout.heading(
            "Stock",
            layout.note(
                text(f"To suffice with {100 * asked.service_level:g} % for {wording.days(asked.horizon_days)}")
            ),
        ),
        forecast.rests_on(stock.rests_on),
        asking.form(addresses.STOCK, _FIELDS, values),
        EMPTY if stock.rests_on is None else _stock(stock),
        asking.pager(asked.address() if asked.cursor else None, asked.address(cursor=cursor) if cursor else None),
        files.links("stock", asked.address()) if stock.lines else EMPTY,
        EMPTY if demand is None or not demand.lines else await _demand(demand, asked),
        forecast.assumptions(stock.rests_on),
    )
    return Sheet(title="Stock", content=content, path=addresses.STOCK)


def _stock(report: messages.StockReport) -> Markup:
    if not report.lines:
        return layout.nothing("No part number is expected to need anything.")
    most = max((float(each.high) for each in report.lines), default=0.0)
    rows = [
        (
            _number(each.part_number),
            element("b", text(each.pieces)),
            text(each.due or "-"),
            joined(
                text(f"{each.expected:.1f} ({each.low} to {each.high})"),
                bars.between(each.expected, each.low, each.high, most),
            ),
            text(forecast.percent(each.met)),
            joined(
                text(each.pieces_at_most),
                element("span", text(f" ({each.unknown} not known)"), class_="dim") if each.unknown else EMPTY,
            ),
        )
        for each in report.lines
    ]
    return tables.listed("The largest first; those due today are in the pieces", _STOCK, rows)


async def _demand(report: messages.DemandReport, asked: Asking) -> Markup:
    """A row a part number, a column a month: expected, and the 90 % interval."""
    groups = [(number, list(found)) for number, found in groupby(report.lines, key=lambda each: each.part_number)]
    columns = (Column("Part number"), *(Column(f"{each.begins_on:%b %Y}") for each in groups[0][1]))
    most = max(float(each.high) for each in report.lines)
    rows = [(_number(number), *_months(found, most)) for number, found in groups if len(found) == len(columns) - 1]
    caption = "Connectors of known history expected to run out in each month, with the 90 % interval"
    return joined(
        element("h2", text("By month")),
        await plotting.figure(lambda: _months_drawn(groups[:_DRAWN]), "The part numbers that need most"),
        tables.boxed("Demand by month", tables.listed(caption, columns, rows)),
        files.links(
            "demand",
            addresses.page(addresses.STOCK, months=_MONTHS, family=asked.family, part_number=asked.part_number),
            "All of it as a file",
        ),
    )


def _months_drawn(groups: Sequence[tuple[str | None, Sequence[messages.DemandLine]]]) -> Plot:
    from service.plots import ahead  # noqa: PLC0415 - takes long to load, and most pages draw none

    return ahead.needed(
        [
            (name or "not known", [ahead.Need(each.begins_on, each.expected, each.low, each.high) for each in found])
            for name, found in groups
        ]
    )


def _months(found: Sequence[messages.DemandLine], most: float) -> tuple[Markup, ...]:
    return tuple(
        joined(
            text(f"{each.expected:.1f} ({each.low} to {each.high})"),
            bars.between(each.expected, each.low, each.high, most),
        )
        for each in found
    )


def _number(number: str | None) -> Markup:
    return text("not known") if number is None else link(number, addresses.page(addresses.OUTLOOK, part_number=number))
