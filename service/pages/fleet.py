"""The fleet: who is not within the rating, worst first, and where the wear is."""

from collections import Counter
from datetime import datetime
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from service import fleet_messages as messages
from service import problems
from service.api import queries, reading
from service.api.services import Services
from service.core import reported
from service.core.cycles import Wear
from service.core.drawings import bars, signs
from service.core.entries import CavityId
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses, asking, files, layout, plotting, tables, wording
from service.pages.asking import AS_OF, KIND, PLACE, SHOP
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.sheet import code
from service.pages.tables import Column
from service.plots.plot import Plot
from service.store.database import Connection
from service.workflow import fleet
from service.workflow.fleet import Filters

_GROUPS = 12
BY: dict[messages.By, str] = {
    "asset": "asset",
    "asset_type": "type of asset",
    "zone": "zone",
    "position": "position",
    "family": "family",
    "part_number": "part number",
    "bench": "last bench",
    "shop": "shop",
}
_CONNECTORS = (
    Column("Serial"),
    Column("Wear"),
    Column("Limiting cavity"),
    Column("Cycles begun", number=True),
    Column("Left", number=True),
    Column("Worn cavities", number=True),
    Column("Place"),
    Column("Part number"),
    Column("Last bench"),
)
_CAVITIES = (
    Column("Cavity"),
    Column("Wear"),
    Column("Cycles begun", number=True),
    Column("Left", number=True),
    Column("Contact"),
    Column("Serial"),
    Column("Place"),
    Column("Part number"),
    Column("Last bench"),
)


class Asking(queries.Shop, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is wanted. All of it stands in the address."""

    wear: tuple[Wear, ...] = ()
    of: Literal["connectors", "cavities"] = "connectors"
    by: messages.By = "asset"
    as_of: Annotated[datetime, Meta(tz=True)] | None = None
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=500)] = 50

    @property
    def filters(self) -> Filters:
        """The filters as the report takes them."""
        return Filters(**{name: getattr(self, name) for name in Filters.__struct_fields__})

    @property
    def narrowed(self) -> bool:
        """Whether only a part of the fleet is wanted, whatever its wear."""
        return any(getattr(self, name) for name in Filters.__struct_fields__ if name != "wear")

    @property
    def whole_families(self) -> bool:
        """Whether nothing but a family is chosen: only by family it is kept how cycles are spread."""
        return not any(getattr(self, name) for name in Filters.__struct_fields__ if name not in ("wear", "family"))

    def address(self, **changes: addresses.Value) -> str:
        """The page with something else."""
        told: dict[str, addresses.Value] = {name: getattr(self, name) for name in Filters.__struct_fields__}
        told["wear"] = [each.value for each in self.wear]
        told |= {
            "of": None if self.of == "connectors" else self.of,
            "by": None if self.by == "asset" else self.by,
            "as_of": self.as_of.isoformat() if self.as_of else None,
        }
        return addresses.page(addresses.FLEET, **(told | changes))


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The fleet's list with its filters, and the wear counted together."""
    del visitor
    services: Services = request.app.state.services
    asked = asking.read(request, Asking, many=("wear",))
    async with services.pool.acquire() as connection:
        table, following = await listed(connection, services, asked)
        fleet_wear, spread = None, None
        if asked.as_of is None and asked.cursor is None:
            fleet_wear = await _counted(connection, asked)
            spread = await fleet.cycles(connection, asked.family) if asked.whole_families else None
    first = asked.address() if asked.cursor else None
    content = (
        layout.heading("Cycle limits", _stand(asked, services.clock())),
        tallies(fleet_wear.total, asked)
        if isinstance(fleet_wear, messages.WearReport) and not asked.narrowed
        else EMPTY,
        _form(asked),
        _switch(asked),
        table,
        asking.pager(first, asked.address(cursor=following) if following else None),
        files.links("cycle-limits", asked.address(by=None)),
        EMPTY if fleet_wear is None else groups(fleet_wear, asked),
        EMPTY if spread is None else await _spread(spread),
    )
    return Sheet(title="Fleet", content=content, path=addresses.FLEET)


async def _counted(connection: Connection, asked: Asking) -> messages.WearReport | str:
    """Wear counted together, or why it can't be for these filters."""
    try:
        filters = msgspec.structs.replace(asked.filters, wear=())
        return (await fleet.wear(connection, asked.by, filters, None, _GROUPS))[0]
    except problems.ProblemRaised as refused:
        return refused.problem.detail


def _stand(asked: Asking, now: datetime) -> Markup:
    if asked.as_of is None:
        return layout.note(text("What the ledger holds at "), wording.moment(now), text(" UTC"))
    return layout.note(
        text("As the ledger stood at "),
        wording.moment(asked.as_of),
        text(" UTC, in the order of the connectors' ids. "),
        link("As it stands now", asked.address(as_of=None)),
    )


def tallies(total: messages.WearGroup, asked: Asking) -> Markup:
    """How many cavities stand where; each leads to those."""
    items = (
        element(
            "a",
            element("b", text(f"{getattr(total, wear.value):,}")),
            signs.named(wear),
            href=asked.address(wear=[wear.value], of="cavities"),
            aria_current="true" if asked.wear == (wear,) and asked.of == "cavities" else None,
        )
        for wear in signs.WORST_FIRST
        if wear is not Wear.WITHIN
    )
    rest = element(
        "span",
        element("b", text(f"{total.cavities:,}")),
        text(f"cavities of {wording.counted(total.connectors, 'connector')}"),
        class_="tally",
    )
    return element(
        "ul", *(element("li", each) for each in (*items, rest)), class_="tallies", aria_label="Cavities by wear"
    )


def _form(asked: Asking) -> Markup:
    values = {each.name: getattr(asked, each.name) for each in (*PLACE, *KIND, *SHOP, AS_OF)}
    kept = {"of": asked.of if asked.of != "connectors" else "", "by": asked.by if asked.by != "asset" else ""}
    return asking.form(addresses.FLEET, (*PLACE, *KIND, *SHOP, AS_OF), values, wears=asked.wear, **kept)


def _switch(asked: Asking) -> Markup:
    ways = (
        link(name.capitalize(), asked.address(of=value), aria_current="true" if asked.of == name else None)
        for name, value in (("connectors", None), ("cavities", "cavities"))
    )
    return element("nav", *ways, class_="switch", aria_label="List of")


async def listed(connection: Connection, services: Services, asked: Asking) -> tuple[Markup, str | None]:
    """A page of the list, and the cursor of the next one."""
    if asked.of == "cavities":
        return await _cavities(connection, services, asked)
    limit, filters = asked.limit, asked.filters
    cursor: Struct | None
    if asked.as_of is None:
        lines, cursor = await fleet.connectors(connection, filters, reading.cursor(asked.cursor, fleet.Cursor), limit)
    else:
        after = reading.cursor(asked.cursor, fleet.PastCursor)
        lines, cursor = await fleet.past_connectors(connection, services.house, filters, asked.as_of, after, limit)
    if not lines and cursor is None:
        return layout.nothing(_none(asked)), None
    return connectors(lines), reading.encode_cursor(cursor)


def _none(asked: Asking) -> str:
    what = "cavity" if asked.of == "cavities" else "connector"
    fitting = " that fits these filters" if asked.narrowed or asked.wear else ""
    return f"No {what}{fitting} is over, spent, nearing or unknown."


def connectors(lines: tuple[messages.CycleLimitLine, ...], caption: str = "Worst first") -> Markup:
    """Connectors that are not within their rating."""
    rows = [
        (
            link(each.serial, addresses.connector(each.connector)),
            signs.named(each.wear),
            text("-") if each.limiting_cavity is None else code(each.limiting_cavity),
            wording.of_rating(each.cycles_begun, each.rating, verified=each.rating_verified),
            wording.left(each.left),
            text(each.worn_cavities or "-"),
            wording.place(each.place),
            _number(each.part_number),
            text(each.bench or "-"),
        )
        for each in lines
    ]
    return tables.listed(caption, _CONNECTORS, rows)


async def _cavities(connection: Connection, services: Services, asked: Asking) -> tuple[Markup, str | None]:
    limit, filters = asked.limit, asked.filters
    cursor: Struct | None
    if asked.as_of is None:
        known, after = services.scribe.definitions, reading.cursor(asked.cursor, fleet.CavityCursor)
        lines, cursor = await fleet.cavities(connection, known, services.house, filters, after, limit)
    else:
        past = reading.cursor(asked.cursor, fleet.PastCursor)
        lines, cursor = await fleet.past_cavities(connection, services.house, filters, asked.as_of, past, limit)
    if not lines and cursor is None:
        return layout.nothing(_none(asked)), None
    return tables.listed("Worst first", _CAVITIES, [_cavity(each) for each in lines]), reading.encode_cursor(cursor)


def _cavity(each: messages.CavityLimitLine) -> tuple[Markup, ...]:
    held = {True: "in", False: "empty", None: "not known"}[each.occupied]
    cavity: CavityId = each.cavity
    return (
        element("a", code(cavity), href=addresses.connector(each.connector, "history", cavity=cavity)),
        signs.named(each.wear),
        wording.of_rating(each.cycles_begun, each.rating, verified=each.rating_verified),
        wording.left(each.left),
        text(held),
        link(each.serial, addresses.connector(each.connector)),
        wording.place(each.place),
        _number(each.part_number),
        text(each.bench or "-"),
    )


def _number(number: str | None) -> Markup:
    return text("-") if number is None else link(number, addresses.page(addresses.FLEET, part_number=number))


def groups(report: messages.WearReport | str, asked: Asking) -> Markup:
    """Wear counted together, as bars with their figures; each name narrows the list to it."""
    ways = (
        link(
            words,
            asked.address(by=None if each == "asset" else each) + "#by",
            aria_current="true" if each == asked.by else None,
        )
        for each, words in BY.items()
    )
    head = joined(
        element("h2", text(f"Where the wear is: by {BY[asked.by]}"), id="by"),
        element("nav", *ways, class_="switch", aria_label="Counted by"),
    )
    if isinstance(report, str):
        return element("section", head, layout.nothing(wording.sentence(report)))
    return element("section", head, wear_table(report.groups, asked))


async def _spread(report: messages.CyclesReport) -> Markup:
    """How cycles are spread over the retainers, drawn and in figures."""
    cavities: Counter[int] = Counter()
    for each in report.groups:
        cavities[each.cycles_begun] += each.cavities
    if not cavities:
        return EMPTY

    def draw() -> Plot:
        from service.plots import behind  # noqa: PLC0415 - takes long to load, and most pages draw none

        return behind.spread(cavities, reported.LAST_STEP)

    columns = (Column("Cycles begun", number=True), Column("Cavities", number=True))
    rows = [(text(str(step)), text(f"{cavities[step]:,}")) for step in sorted(cavities)]
    return element(
        "section",
        element("h2", text("How many cycles retainers have had")),
        await plotting.figure(draw, "Cavities by cycles begun; each line of the grid is ten times the one below"),
        element(
            "details", element("summary", text("The figures")), tables.listed("Cavities by cycles begun", columns, rows)
        ),
    )


def wear_table(found: tuple[messages.WearGroup, ...], asked: Asking) -> Markup:
    """The groups as rows, each with its bar."""
    if not found:
        return layout.nothing("Nothing is counted here yet.")
    most = max(_counts(each, within=False) for each in found)
    worn = [wear for wear in signs.WORST_FIRST if wear is not Wear.WITHIN]
    columns = (
        Column(BY[asked.by].capitalize()),
        Column("Cavities not within"),
        *(Column(each.value.capitalize(), number=True) for each in worn),
        Column("Cavities in all", number=True),
    )
    rows = [
        (
            _group(each, asked),
            bars.stacked({wear: getattr(each, wear.value) for wear in worn}, most),
            *(text(f"{getattr(each, wear.value):,}") for wear in worn),
            text(f"{each.cavities:,}"),
        )
        for each in found
    ]
    return joined(signs.patterns(), tables.listed("The worst groups first", columns, rows))


def _counts(group: messages.WearGroup, *, within: bool) -> int:
    return group.cavities if within else group.cavities - group.within


def _group(group: messages.WearGroup, asked: Asking) -> Markup:
    if group.name is None:
        return text("not known")
    if asked.by == "asset_type":
        return text(group.name)
    if asked.by == "asset":
        return link(group.name, addresses.asset(group.name))
    return link(group.name, asked.address(**{asked.by: group.name}))
