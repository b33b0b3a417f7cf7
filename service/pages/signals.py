"""Signals: what wears retainers faster than it should, how sure that is, and whether the data show anything at all."""

from typing import Annotated, get_args

from msgspec import Meta

from service import problems
from service import signal_messages as messages
from service.api import queries, reading
from service.api.services import Services
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses, asking, files, layout, plotting, tables
from service.pages.asking import KIND, PLACE, Field
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.tables import Column
from service.plots.plot import Plot
from service.workflow import signals
from service.workflow.access import Scope
from service.workflow.signals import Filters

_ABOUT: dict[messages.About, str] = {
    "tool": "tools",
    "bench": "benches",
    "batch": "contact batches",
    "chronic": "chronic positions",
    "retention": "retention readings",
    "connector": "connectors",
    "position": "positions",
    "family": "families",
    "part_number": "part numbers",
    "person": "people",
}
_VERDICTS = {"shown": "stands out", "not_shown": "not shown", "too_little": "too little data"}
_VERDICT = Field("verdict", "Verdict", (("", "All"), *_VERDICTS.items()))
_FIELDS = (_VERDICT, *PLACE, *KIND)
_DRAWN = 12
_EFFECTS: dict[messages.Effect, str] = {
    "rate_ratio": "times the others' rate",
    "share_ratio": "times the others' share",
    "odds_ratio": "times the others' odds",
    "newtons_per_cycle": "newtons a cycle",
}


class Asking(queries.Place, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is asked."""

    about: messages.About = "tool"
    verdict: messages.Verdict | None = None
    cursor: str | None = None
    limit: Annotated[int, Meta(ge=1, le=500)] = 50

    def address(self, **changes: addresses.Value) -> str:
        """The page with something else."""
        told: dict[str, addresses.Value] = {each.name: getattr(self, each.name) for each in _FIELDS}
        told["about"] = None if self.about == "tool" else self.about
        return addresses.page(addresses.SIGNALS, **(told | changes))


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The answer to one question; who asks about people has to be allowed to."""
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    everything = visitor.session.bearer.allowed((Scope.ADMIN,))
    if asked.about == "person" and not everything:
        raise problems.raised(problems.Type.FORBIDDEN, "signals about people need the scope admin")
    filters = Filters(**{each.name: getattr(asked, each.name) for each in _FIELDS})
    async with services.pool.acquire() as connection:
        after = reading.cursor(asked.cursor, signals.Cursor)
        report, following = await signals.report(connection, asked.about, filters, services.clock(), after, asked.limit)
    cursor = reading.encode_cursor(following)
    values = {each.name: getattr(asked, each.name) for each in _FIELDS}
    content = (
        layout.heading("Signals", layout.note(text(f"{report.since:%Y-%m-%d} to {report.until:%Y-%m-%d}"))),
        _questions(asked, everything=everything),
        asking.form(addresses.SIGNALS, _FIELDS, values, about=asked.about if asked.about != "tool" else ""),
        element("p", element("strong", text(report.says))),
        layout.lines(*(text(each.says) for each in report.signals if each.verdict == "shown")),
        _counted(report),
        await _drawn(report),
        _table(report) if report.signals else layout.nothing("No unit fits."),
        asking.pager(asked.address() if asked.cursor else None, asked.address(cursor=cursor) if cursor else None),
        files.links("signals", asked.address(about=asked.about)),
        _told("What this can't show", report.cannot_show),
        _told("What was left out", report.left_out),
    )
    return Sheet(title="Signals", content=content, path=addresses.SIGNALS)


def _questions(asked: Asking, *, everything: bool) -> Markup:
    ways = (
        link(
            _ABOUT[each],
            asked.address(about=None if each == "tool" else each),
            aria_current="true" if each == asked.about else None,
        )
        for each in sorted(get_args(messages.About), key=list(_ABOUT).index)
        if each != "person" or everything
    )
    return element("nav", *ways, class_="switch", aria_label="Signals about")


def _counted(report: messages.SignalReport) -> Markup:
    least = (
        ""
        if report.detectable is None
        else f" Half of them would have shown {report.detectable:.1f} {_EFFECTS[report.effect]}."
    )
    words = (
        f"{report.units:,} compared, {report.shown:,} stand out; {report.observed:,} of {report.of:,.0f} {report.unit} in all. "
        f"At most {100 * report.false_rate:.0f} % of what stands out is chance, on average.{least}"
    )
    return layout.note(text(words))


def _table(report: messages.SignalReport) -> Markup:
    columns = (
        Column("Which"),
        Column("Verdict"),
        Column("Observed", number=True),
        Column("Expected", number=True),
        Column(f"Effect, {_EFFECTS[report.effect]} (90 %)", number=True),
        Column("q", number=True),
    )
    return tables.listed("The clearest first", columns, [_row(each, report) for each in report.signals])


async def _drawn(report: messages.SignalReport) -> Markup:
    """The clearest units with their intervals, one below the other."""
    told = [each for each in report.signals if each.effect_low is not None or each.effect_high is not None][:_DRAWN]
    if not told:
        return EMPTY

    def draw() -> Plot:
        from service.plots import behind  # noqa: PLC0415 - takes long to load, and most pages draw none

        effects = [
            behind.Effect(_unit(each), each.effect, each.effect_low, each.effect_high, each.verdict == "shown")
            for each in told
        ]
        return behind.standing_out(effects, _EFFECTS[report.effect], ratio=report.effect != "newtons_per_cycle")

    return await plotting.figure(draw, "The clearest, with their 90 % intervals; diamonds stand out")


def _unit(each: messages.SignalLine) -> str:
    return f"{each.name}, {each.role}" if each.role else each.name


def _row(each: messages.SignalLine, report: messages.SignalReport) -> tuple[Markup, ...]:
    name = text(each.name) if each.connector is None else link(each.name, addresses.connector(each.connector))
    role = f", {each.role}" if each.role else ""
    group = element("span", text(f" of {each.group}"), class_="dim") if each.group else EMPTY
    verdict = element("b" if each.verdict == "shown" else "span", text(_VERDICTS[each.verdict]))
    return (
        joined(name, text(role), group),
        verdict,
        text(f"{each.observed:,} of {each.of:,.0f}"),
        text("-" if each.expected is None else f"{each.expected:,.1f}"),
        text(_effect(each, report.effect)),
        text("-" if each.q_value is None else f"{each.q_value:.3f}" if each.q_value >= 0.001 else "under 0.001"),  # noqa: PLR2004 - three places
    )


def _effect(each: messages.SignalLine, effect: messages.Effect) -> str:
    if each.effect is None and each.effect_low is None:
        return "-"
    places = 2 if effect == "newtons_per_cycle" else 1
    middle, low, high = (
        "∞" if value is None else f"{value:.{places}f}" for value in (each.effect, each.effect_low, each.effect_high)
    )
    return f"{middle} ({low} to {high})"


def _told(title: str, sentences: tuple[str, ...]) -> Markup:
    if not sentences:
        return EMPTY
    return element("details", element("summary", text(title)), layout.lines(*map(text, sentences)))
