"""The outlook: which connectors run out within a horizon, the most probable first."""

from typing import Annotated

from msgspec import Meta

from service import outlook_messages as messages
from service.api import queries, reading
from service.api.services import Services
from service.core.markup import EMPTY, Markup, element, text
from service.pages import addresses, asking, files, forecast, layout, tables, wording
from service.pages.asking import KIND, PLACE, Field
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.sheet import code
from service.pages.tables import Column
from service.workflow import outlook
from service.workflow.outlook import Filters

_HORIZONS = (30, 90, 180, 365, 730)
_HORIZON = Field("horizon_days", "Within", tuple((str(each), wording.days(each)) for each in _HORIZONS))
_LEAST = Field(
    "at_least",
    "Probability of at least",
    (("", "any"), ("0.05", "5 %"), ("0.2", "20 %"), ("0.5", "50 %"), ("0.9", "90 %")),
)
_FIELDS = (_HORIZON, _LEAST, *PLACE, *KIND)
_BANDS: dict[messages.Band, str] = {
    "known": "History known",
    "at_least": "History not known, lower bound",
    "not_known": "Not known",
}
_COLUMNS = (
    Column("Serial"),
    Column("Probability to run out"),
    Column("Runs out in"),
    Column("Limiting cavity"),
    Column("Left", number=True),
    Column("Rating", number=True),
    Column("Place"),
    Column("Part number"),
    Column("Reworks so far", number=True),
)


class Asking(queries.Place, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is wanted."""

    horizon_days: Annotated[int, Meta(ge=1, le=3650)] = 90
    band: messages.Band = "known"
    at_least: Annotated[float, Meta(ge=0, le=1)] = 0.0
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=500)] = 50

    @property
    def filters(self) -> Filters:
        """The filters as the report takes them."""
        return Filters(**{name: getattr(self, name) for name in Filters.__struct_fields__})

    def address(self, **changes: addresses.Value) -> str:
        """The page with something else."""
        told: dict[str, addresses.Value] = {name: getattr(self, name) for name in Filters.__struct_fields__}
        told |= {
            "horizon_days": None if self.horizon_days == 90 else self.horizon_days,  # noqa: PLR2004 - the default
            "band": None if self.band == "known" else self.band,
            "at_least": self.at_least or None,
        }
        return addresses.page(addresses.OUTLOOK, **(told | changes))


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The outlook's list."""
    del visitor
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    async with services.pool.acquire() as connection:
        report, following = await outlook.connectors(
            connection,
            asked.filters,
            asked.horizon_days,
            asked.band,
            asked.at_least,
            reading.cursor(asked.cursor, outlook.Cursor),
            asked.limit,
        )
    cursor = reading.encode_cursor(following)
    content = (
        layout.heading(
            "Outlook",
            layout.note(text(f"Who runs out within {wording.days(report.horizon_days or asked.horizon_days)}")),
        ),
        forecast.rests_on(report.rests_on),
        *(() if report.rests_on is None else _list(report, asked)),
        asking.pager(asked.address() if asked.cursor else None, asked.address(cursor=cursor) if cursor else None),
        EMPTY if report.rests_on is None else files.links("outlook", asked.address(horizon_days=asked.horizon_days)),
        forecast.assumptions(report.rests_on),
    )
    return Sheet(title="Outlook", content=content, path=addresses.OUTLOOK)


def _list(report: messages.OutlookReport, asked: Asking) -> tuple[Markup, ...]:
    values = {each.name: getattr(asked, each.name) for each in (*PLACE, *KIND)}
    values |= {"horizon_days": str(asked.horizon_days), "at_least": f"{asked.at_least:g}" if asked.at_least else ""}
    bands = (
        link(
            words,
            asked.address(band=None if each == "known" else each),
            aria_current="true" if each == asked.band else None,
        )
        for each, words in _BANDS.items()
    )
    rows = [_row(each) for each in report.connectors]
    return (
        asking.form(addresses.OUTLOOK, _FIELDS, values, band=asked.band if asked.band != "known" else ""),
        element("nav", *bands, class_="switch", aria_label="How much is known"),
        tables.listed("The most probable first", _COLUMNS, rows) if rows else layout.nothing("No connector fits."),
    )


def _row(each: messages.OutlookLine) -> tuple[Markup, ...]:
    return (
        link(each.serial, addresses.connector(each.connector)),
        text("has run out already") if each.due else forecast.probability(each.probability, each.band),
        _when(each),
        EMPTY if each.limiting_cavity is None else code(each.limiting_cavity),
        wording.left(each.left),
        wording.rating(each.rating, verified=each.rating_verified),
        wording.place(each.place),
        text("-")
        if each.part_number is None
        else link(each.part_number, addresses.page(addresses.OUTLOOK, part_number=each.part_number)),
        text(each.events),
    )


def _when(each: messages.OutlookLine) -> Markup:
    """When, in the middle, and between when and when with 90 %."""
    if each.due:
        return text("-")
    if each.runs_out_in_days is None and each.runs_out_in_days_low is None:
        return text("beyond all horizons")
    middle = "later" if each.runs_out_in_days is None else wording.days(each.runs_out_in_days)
    low = "today" if not each.runs_out_in_days_low else wording.days(each.runs_out_in_days_low)
    high = "beyond all horizons" if each.runs_out_in_days_high is None else wording.days(each.runs_out_in_days_high)
    return element("span", text(middle), element("span", text(f" ({low} to {high})"), class_="dim"))
