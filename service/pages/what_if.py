"""What a planned modification would change: which cavities it does not fit, and who runs out sooner. Nothing is recorded."""

from collections.abc import Sequence
from typing import Annotated

import msgspec
from msgspec import Meta, Struct

from service import outlook_messages as messages
from service import problems
from service.api import reading
from service.api.services import Services
from service.core.entries import Text
from service.core.markup import EMPTY, Markup, element, joined, text
from service.outlook_messages import WhatIf, WhatIfStep
from service.pages import addresses, asking, forecast, layout, tables, wording
from service.pages.asking import KIND, Field
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.sheet import code
from service.pages.tables import Column
from service.workflow import foresight

_PLACES = Field("positions", "Positions, one a line; cavities behind a colon, else all", kind="lines")
_FIELDS = (
    Field("asset", "Asset"),
    Field("zone", "Zone"),
    *KIND,
    _PLACES,
    Field("reworks", "Reworks of each cavity", tuple((str(each), str(each)) for each in (1, 2, 3, 5))),
    Field("horizon_days", "And then within", tuple((str(each), wording.days(each)) for each in (90, 180, 365, 730))),
)
_COLUMNS = (
    Column("Serial"),
    Column("Does it fit"),
    Column("Runs out before: as it is"),
    Column("With the modification"),
    Column("Place"),
    Column("Part number"),
)
_SHOWN = 8
"""Cavities that are named in a row of the table; the connector's page has all."""


class Asking(Struct, frozen=True, forbid_unknown_fields=True):
    """A modification that is thought about. `positions`: one a line, `P 214` or `P 214: 1, 2, C`."""

    asset: Text | None = None
    zone: Text | None = None
    family: Text | None = None
    part_number: Text | None = None
    positions: Annotated[str, Meta(max_length=20_000)] = ""
    reworks: Annotated[int, Meta(ge=1, le=1000)] = 1
    horizon_days: Annotated[int, Meta(ge=1, le=3650)] = 365

    @property
    def lines(self) -> tuple[str, ...]:
        """The positions' lines, without the empty ones."""
        return tuple(each.strip() for each in self.positions.splitlines() if each.strip())

    @property
    def says_which(self) -> bool:
        """Whether any connector is meant."""
        return bool(self.lines or self.asset or self.zone or self.family or self.part_number)


def steps(asked: Asking) -> tuple[WhatIfStep, ...]:
    """The modification's steps: one for each line, or one where the rest says which connectors. Raises what the API would."""
    shared = {name: getattr(asked, name) for name in ("asset", "zone", "family", "part_number", "reworks")}
    if not asked.lines:
        return (WhatIfStep(**shared),)
    told = [{**shared, "position": place, "cavities": cavities} for place, cavities in map(_line, asked.lines)]
    try:
        return msgspec.convert(told, tuple[WhatIfStep, ...])
    except msgspec.ValidationError as error:
        detail = f"in the positions: {reading.explain(str(error))[0]}"
        raise problems.raised(problems.Type.INVALID_REQUEST, detail) from error


def _line(line: str) -> tuple[str, tuple[str, ...]]:
    """A position and its cavities, parted by the last colon; a position with a colon of its own ends with one more."""
    place, colon, cavities = line.rpartition(":")
    return (place.strip(), tuple(cavities.replace(",", " ").split())) if colon else (line, ())


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The question, and its answer where one is asked."""
    del visitor
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    found = None
    if asked.says_which:
        async with services.pool.acquire() as connection:
            question = WhatIf(steps=steps(asked), horizon_days=asked.horizon_days)
            found = await foresight.what_if(connection, question, services.clock())
    values = {each.name: str(value) if (value := getattr(asked, each.name)) else None for each in _FIELDS}
    words = "A planned modification reworks these connectors: what does that use up? Nothing is recorded by asking."
    content = (
        layout.heading("What if", layout.note(text(words))),
        asking.form(addresses.WHAT_IF, _FIELDS, values),
        layout.nothing("Say which connectors: an asset, a zone, a family, a part number or positions.")
        if found is None
        else _answer(found, asked),
    )
    return Sheet(title="What if", content=content, path=addresses.WHAT_IF)


def _answer(found: messages.WhatIfView, asked: Asking) -> Markup:
    return joined(
        _sum(found) if found.reworked else EMPTY,
        *(_without(asked, place) for place in found.steps_without),
        tables.listed("Those that it does not fit first", _COLUMNS, [_row(each) for each in found.connectors])
        if found.connectors
        else EMPTY,
        forecast.rests_on(found.rests_on),
        forecast.assumptions(found.rests_on),
    )


def _sum(found: messages.WhatIfView) -> Markup:
    expected = f"{found.expected_before:.1f} as it is, {found.expected_after:.1f} with the modification"
    fits = (
        f"{found.not_possible:,} of {wording.counted(found.reworked, 'connector')} can't be reworked so: "
        "renew what is named before, or in it."
        if found.not_possible
        else f"{wording.counted(found.reworked, 'connector')} reworked; nothing stands against it as far as is known."
    )
    within = f"Expected to run out within {wording.days(found.horizon_days)}: {expected}."
    return joined(element("p", element("strong", text(fits))), element("p", text(within)))


def _without(asked: Asking, place: int) -> Markup:
    which = f"“{asked.lines[place]}”" if asked.lines else "What is asked for"
    return element("p", text(f"{which} meets no connector in use, or no cavity of it."), class_="doubt", role="status")


def _row(each: messages.WhatIfLine) -> tuple[Markup, ...]:
    return (
        link(each.serial, addresses.connector(each.connector)),
        _fits(each),
        forecast.probability(each.probability_before, each.band),
        forecast.probability(each.probability_after, each.band),
        wording.place(each.place),
        text(each.part_number or "-"),
    )


def _fits(each: messages.WhatIfLine) -> Markup:
    told = (
        _named("No. Renew first", each.impossible),
        _named("Takes the last of", each.used_up),
        _named("Nobody knows of", each.not_known),
    )
    return layout.lines(*told) if any(told) else text("as far as is known")


def _named(words: str, cavities: Sequence[str]) -> Markup:
    if not cavities:
        return EMPTY
    names = [joined(text(", ") if at else EMPTY, code(each)) for at, each in enumerate(cavities[:_SHOWN])]
    more = text(f" and {len(cavities) - _SHOWN} more") if len(cavities) > _SHOWN else EMPTY
    return joined(element("b", text(words)), text(" "), *names, more)
