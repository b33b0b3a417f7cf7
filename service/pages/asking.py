"""What stands behind the question mark of a page, read; and the form that asks for it."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, TypeVar
from urllib.parse import parse_qsl

import msgspec
from msgspec import Struct

from service import problems
from service.api import reading
from service.core.cycles import Wear
from service.core.drawings import signs
from service.core.markup import EMPTY, Markup, element, joined, text
from service.pages import addresses
from service.pages.door import Asked

T = TypeVar("T", bound=Struct)


class Field(Struct, frozen=True):
    """A field of a form: its name in the address and in words, and what may be chosen where it is not free.

    `kind` is that of the input; "lines" is one of several lines.
    """

    name: str
    label: str
    choices: tuple[tuple[str, str], ...] = ()
    kind: str = "text"


PLACE = (Field("asset", "Asset"), Field("zone", "Zone"), Field("position", "Position"))
KIND = (Field("family", "Family"), Field("part_number", "Part number"))
SHOP = (Field("bench", "Last bench"), Field("shop", "Shop"))
AS_OF = Field("as_of", "As of (UTC)", kind="datetime-local")


def tidied(request: Asked) -> str | None:
    """The address without the fields that a form left empty; None where there are none such."""
    told = _told(request)
    if all(value != "" for _, value in told):
        return None
    query: dict[str, list[str]] = {}
    for name, value in told:
        query.setdefault(name, []).append(value)
    return addresses.page(request.url.path, **query)


def read(request: Asked, wanted: type[T], *, many: Sequence[str] = ()) -> T:
    """The query as a message; `many` are the fields that may stand more than once. Raises the problem where it can't be one."""
    told: dict[str, Any] = {}
    for name, value in _told(request):
        if name in many:
            told.setdefault(name, []).append(value)
        else:
            told[name] = _instant(value) if name == AS_OF.name else value
    return reading.query(told, wanted)


def filled(told: Mapping[str, Any], wanted: type[T]) -> T:
    """A form as a message. Raises the problem that says which field is wrong."""
    try:
        return msgspec.convert(told, wanted, strict=False)
    except msgspec.ValidationError as error:
        words, pointer = reading.explain(str(error))
        where = pointer.removeprefix("#/").replace("/", ", ").replace("_", " ")
        raise problems.raised(problems.Type.INVALID_REQUEST, f"in the form: {where}: {words}") from error


def _told(request: Asked) -> list[tuple[str, str]]:
    """Names and values as they stand in the address, in its order."""
    return parse_qsl(request.url.query or "", keep_blank_values=True)


def _instant(value: str) -> str:
    """What a browser's field gives has no zone: it is UTC, as its label says."""
    try:
        found = datetime.fromisoformat(value)
    except ValueError:
        return value
    return (found if found.tzinfo else found.replace(tzinfo=UTC)).isoformat()


def shown_instant(value: datetime | None) -> str | None:
    """A moment as a browser's field wants it."""
    return None if value is None else value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M")


def form(
    path: str, fields: Sequence[Field], values: Mapping[str, Any], *, wears: Sequence[Wear] | None = None, **kept: str
) -> Markup:
    """The form of the filters; open where something is chosen, or always has a value. `kept` are fields that it leaves alone."""
    settings = [each for each in fields if each.choices and each.choices[0][0]]
    used = sum(bool(values.get(each.name)) for each in fields if each not in settings) + bool(wears)
    hidden = (element("input", type="hidden", name=name, value=value) for name, value in kept.items() if value)
    return element(
        "details",
        element("summary", text(f"Filters ({used} set)" if used else "Filters")),
        element(
            "form",
            *(_field(each, values.get(each.name)) for each in fields),
            EMPTY if wears is None else _wears(wears),
            *hidden,
            element("button", text("Show"), type="submit", class_="main"),
            element("a", text("Without filters"), href=path, class_="button") if used else EMPTY,
            action=path,
            method="get",
        ),
        class_="filters",
        open=bool(used or settings),
    )


def _field(field: Field, value: Any) -> Markup:
    if field.choices:
        options = (
            element("option", text(words), value=each or None, selected=(value or "") == each)
            if each
            else element("option", text(words), value="", selected=not value)
            for each, words in field.choices
        )
        return element("label", text(field.label), element("select", *options, name=field.name))
    if field.kind == "lines":
        lines = element("textarea", text(value or ""), name=field.name, rows=4, maxlength=20_000, spellcheck="false")
        return element("label", text(field.label), lines, class_="lines")
    shown = shown_instant(value) if isinstance(value, datetime) else value
    typed = element("input", name=field.name, type=field.kind, value=shown, maxlength=200, autocomplete="off")
    return element("label", text(field.label), typed)


def _wears(chosen: Sequence[Wear]) -> Markup:
    boxes = (
        element(
            "label",
            element("input", type="checkbox", name="wear", value=each.value, checked=each in chosen),
            signs.named(each),
        )
        for each in signs.WORST_FIRST
        if each is not Wear.WITHIN
    )
    return element("fieldset", element("legend", text("Wear")), *boxes)


def pager(first: str | None, following: str | None) -> Markup:
    """The ways to the first and to the next page of a list."""
    ways = joined(
        element("a", text("First page"), href=first) if first else EMPTY,
        element("a", text("Next page"), href=following, rel="next") if following else EMPTY,
    )
    return element("nav", ways, class_="pager", aria_label="Pages of the list") if ways else EMPTY
