"""What the outlook says: of one connector and one asset on their own pages, and what it rests on wherever it stands."""

from datetime import date
from uuid import UUID

from service import outlook_messages as messages
from service import problems
from service.api.services import Services
from service.core.drawings import bars
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses, layout, plotting, tables, wording
from service.pages.layout import link
from service.pages.tables import Column
from service.plots.plot import Plot
from service.store.database import Connection
from service.workflow import foresight, outlook

RISK = 0.05
"""A connector that runs out before the visit after the next with more than this probability is advised to be renewed."""
_PLANNED, _NEAR_DAYS = (30, 91, 182, 365, 730), 5
_HORIZONS = (Column("Within"), Column("Probability to run out"), Column("Reworks expected"))
_RENEW = (
    Column("Serial"),
    Column("Part number"),
    Column("Place"),
    Column("Runs out before the visit after"),
    Column("Before the next"),
)


def percent(value: float) -> str:
    """A probability as people say it; one that is neither never nor always does not look like it."""
    shown = f"{100 * value:.0f} %"
    if value <= 0 or value >= 1:
        return shown
    return {"0 %": "under 1 %", "100 %": "over 99 %"}.get(shown, shown)


def probability(value: float | None, band: messages.Band) -> Markup:
    """A probability with its bar; a lower bound says that it is one."""
    if value is None:
        return text("not known")
    if band == "at_least" and percent(value).startswith("under"):
        return joined(text("not known"), bars.at_least(value))
    if band == "at_least":
        return joined(text(f"at least {percent(value)}"), bars.at_least(value))
    return joined(text(percent(value)), bars.share(value))


def rests_on(found: messages.Rested | None) -> Markup:
    """What an outlook rests on: from when it is, how much data there was, and how far to trust it."""
    if found is None:
        words = "No outlook was computed yet. The command tinebook outlook computes one."
        return element("p", text(words), class_="doubt")
    counted = f"{found.known:,} connectors with a known history, {found.not_known:,} without; {found.events:,} reworks"
    used = (
        f"usage from {found.usage_from} to {found.usage_to}"
        if found.usage_from is not None
        else "no usage stated, so days are counted instead of flight hours"
    )
    return joined(
        layout.note(text("From the ledger as of "), wording.moment(found.as_of), text(f" UTC: {counted}; {used}.")),
        _doubt(found.thin) if found.thin else EMPTY,
    )


def assumptions(found: messages.Rested | None) -> Markup:
    """What is taken for granted, for whoever wants to know."""
    if found is None or not found.assumptions:
        return EMPTY
    told = layout.lines(*(text(wording.sentence(each)) for each in found.assumptions))
    return element("details", element("summary", text("What this takes for granted")), told)


async def of_connector(connection: Connection, services: Services, connector: UUID) -> Markup:
    """One connector's forecast, as far as there is one."""
    try:
        found = await foresight.connector(connection, services.house, connector, services.clock())
    except problems.ProblemRaised as none:
        return element(
            "section",
            element("h2", text("Forecast")),
            layout.nothing(wording.sentence(none.problem.detail)),
        )
    rows = [
        (
            text(wording.days(each.days)),
            probability(each.probability, found.line.band),
            text(f"{each.events_expected:.1f} ({each.events_low} to {each.events_high})"),
        )
        for each in _few(found.horizons)
    ]
    return element(
        "section",
        element("h2", text("Forecast")),
        element("p", text(wording.sentence(found.says))),
        await _curve(found),
        EMPTY if found.line.due else tables.listed("Reworks with their 90 % interval", _HORIZONS, rows),
        element(
            "details",
            element("summary", text("What it rests on")),
            rests_on(found.rests_on),
            layout.note(text(found.group.prior)),
        ),
    )


async def _curve(found: messages.ConnectorOutlook) -> Markup:
    """When it runs out, drawn; nothing where there is nothing to draw."""
    told = [each for each in found.horizons if each.probability is not None]
    if found.line.due or found.line.band == "not_known" or not told:
        return EMPTY

    def draw() -> Plot:
        from service.plots import ahead  # noqa: PLC0415 - takes long to load, and most pages draw none

        chances = [ahead.Chance(each.days, each.probability or 0.0, each.probability_if_used_alike) for each in told]
        return ahead.running_out(chances, at_least=found.line.band == "at_least")

    return await plotting.figure(draw, "Probability of running out in the coming months")


def _few(horizons: tuple[messages.HorizonView, ...]) -> list[messages.HorizonView]:
    """Of all horizons that are kept, those that people plan with."""
    return [each for each in horizons if any(abs(each.days - about) <= _NEAR_DAYS for about in _PLANNED)]


async def of_asset(connection: Connection, services: Services, asset: str) -> Markup:
    """What an asset's next visit asks for, as far as anything is known of it."""
    filters, today = outlook.Filters(asset=asset), services.clock().date()
    report, _ = await outlook.visits(connection, filters, RISK, today, None, 1)
    if report.rests_on is None or not report.assets:
        return EMPTY
    return joined(element("h2", text("Next visit")), *(visit(each, today, 3) for each in report.assets))


def visit(found: messages.AssetVisits, today: date, level: int = 2) -> Markup:
    """One asset's next visit: what to renew in it."""
    ahead = (found.next_on - today).days
    after = f"; the one after, {found.after_name}, on {found.after_on}" if found.after_on else ""
    when = f"{found.next_name} on {found.next_on}, in {wording.days(ahead)}{after}."
    rows = [_renew(each) for each in found.renew]
    advice = f"renew {wording.counted(len(rows), 'connector')}" if found.problem is None else "no advice"
    others = f"Of the others {found.keep:,} last; {found.not_known:,} need looking up or at: nobody knows."
    return element(
        "section",
        element(f"h{level}", link(found.asset, addresses.asset(found.asset)), text(f": {advice}")),
        element("p", text(when)),
        layout.note(text(others)) if found.problem is None else _doubt(found.problem),
        tables.listed("Would not last until the visit after", _RENEW, rows) if rows else EMPTY,
    )


def _doubt(words: str) -> Markup:
    return element("p", text(wording.sentence(words)), class_="doubt")


def _renew(each: messages.VisitLine) -> tuple[Markup, ...]:
    before = text("has run out already") if each.due else text(percent(each.before_next))
    return (
        link(each.serial, addresses.connector(each.connector)),
        text(each.part_number or "-"),
        text(" ".join(part for part in (each.place.zone, each.place.position) if part) or "-"),
        text("has run out already") if each.due else probability(each.before_after, each.band),
        before,
    )
