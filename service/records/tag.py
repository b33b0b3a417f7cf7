"""A tag for a connector that was taken off: what it is, where its life stands, and the way back to its ledger.

One drawing, a list of texts and a symbol at their places, is written as PDF/A or as SVG. Text that does not fit is made
smaller or broken, never cut.
"""

from collections.abc import Iterator
from datetime import datetime

from msgspec import Struct

from service.core.entries import Rating
from service.core.markup import Markup, element, joined, text
from service.core.transfers.card import Card
from service.messages import DECIDES
from service.records import lettering, qr
from service.records.archival import Archival, leading_mm

WIDTH_MM, HEIGHT_MM = 105.0, 74.0
"""A7 across (ISO 216)."""
_MARGIN_MM, _SYMBOL_MM = 4.0, 27.0
_WEARS = {
    "within": "WITHIN ITS RATING",
    "nearing": "NEARING ITS RATING",
    "spent": "SPENT: no contact goes in before the retainer is renewed",
    "over": "OVER ITS RATING",
    "unknown": "WEAR NOT KNOWN",
}


class Line(Struct, frozen=True):
    """A line of text on its base line."""

    x_mm: float
    base_mm: float
    text: str
    points: float
    style: str = ""


class Tag(Struct, frozen=True):
    """A tag laid out: its lines, the symbol, and the moment of the newest fact in it."""

    title: str
    dated: datetime
    lines: tuple[Line, ...]
    symbol: tuple[tuple[bool, ...], ...]


def tag(card: Card, link: str, record: str | None = None) -> Tag:
    """Lay a tag out. `link` is what the symbol holds; `record` the number of the record that goes with the removal.

    Raises `SymbolError` for a link that no symbol of ours can carry.
    """
    foot = [*_stacked([(DECIDES, 5.5, "")], 0.0, WIDTH_MM - 2 * _MARGIN_MM)]
    raised_mm = HEIGHT_MM - 2.5 - foot[-1].base_mm
    room_mm = raised_mm - 1
    tries = (_lines(card, record, scale) for scale in (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4))
    lines = next((each for each in tries if each[-1].base_mm <= room_mm), None)
    if lines is None:
        raise qr.SymbolError("what this connector is called does not fit on a tag: print its log card instead")
    lines += [Line(each.x_mm, each.base_mm + raised_mm, each.text, each.points) for each in foot]
    return Tag(f"Tag of S/N {card.serial}", card.as_of, tuple(lines), qr.rows(link))


def _lines(card: Card, record: str | None, scale: float) -> list[Line]:
    """What stands beside the symbol, and below it what goes over the whole width."""
    beside_mm = WIDTH_MM - 2 * _MARGIN_MM - _SYMBOL_MM - 2
    found = [*_stacked(_head(card, record), _MARGIN_MM, beside_mm, scale)]
    below_mm = max(found[-1].base_mm + 1.5, _MARGIN_MM + _SYMBOL_MM + 1)
    return [*found, *_stacked(_status(card), below_mm, WIDTH_MM - 2 * _MARGIN_MM, scale)]


_Text = tuple[str, float, str]
"""Words, size in points, style."""


def _stacked(texts: list[_Text], top_mm: float, room_mm: float, scale: float = 1.0) -> Iterator[Line]:
    for words, size, style in texts:
        points = size * scale
        for line in lettering.lines(words, room_mm, points, style):
            yield Line(_MARGIN_MM, top_mm + leading_mm(points) * 0.8, line, points, style)
            top_mm += leading_mm(points) * 0.92


def _head(card: Card, record: str | None) -> list[_Text]:
    long = len(card.serial) > 24  # noqa: PLR2004 - characters that fit beside the symbol in the larger letters
    place = ", ".join(each for each in (card.asset, card.zone, card.position) if each)
    found: list[_Text] = [("Connector, taken off", 6.5, ""), (f"S/N {card.serial}", 9.5 if long else 13, "B")]
    if card.part_number:
        found.append((f"P/N {card.part_number}", 9.5, "B"))
    if card.cage:
        found.append((f"CAGE {card.cage}", 7.5, ""))
    if card.places:
        last = card.places[-1]
        found.append((f"Last placed: {place or 'nowhere stated'}, {last.performed_at:%Y-%m-%d}", 7, ""))
    if record:
        found.append((f"Record {record}", 7.5, "B"))
    return found


def _status(card: Card) -> list[_Text]:
    wear = "RETIRED: not to be used" if card.retired else _WEARS[card.wear]
    found: list[_Text] = [(wear, 9, "B")]
    if card.limiting_cavity is not None:
        of = f" of {card.rating.value}" if card.rating else ", no rating is recorded"
        left = "" if card.left is None else f"; insertions left: {card.left}"
        found.append((f"Limiting cavity {card.limiting_cavity}; cycles begun: {card.begun}{of}{left}", 8, ""))
    if card.rating is not None:
        found.append((_provenance(card.rating), 7, "" if card.rating.verified else "B"))
    mated = max(card.matings, card.unmatings)
    allowed = "no rating" if card.mating_rating is None else f"rated {card.mating_rating.value}"
    found.append((f"Mating cycles {mated} ({allowed})", 7, ""))
    opened = sum(each.outcome == "open" for each in card.discrepancies)
    if opened:
        found.append((f"{opened} OPEN {'DISCREPANCY' if opened == 1 else 'DISCREPANCIES'}", 7.5, "B"))
    number = f"{len(card.entries)} entries until {card.as_of:%Y-%m-%d %H:%M} UTC, chain {card.hash[:16]}"
    found.append((number, 6.5, ""))
    return found


def _provenance(rating: Rating) -> str:
    parts = (
        rating.document,
        rating.revision and f"rev. {rating.revision}",
        rating.paragraph and f"para. {rating.paragraph}",
    )
    source = " ".join(each for each in parts if each) or "no document stated"
    checked = f"verified by {rating.verified_by}, {rating.verified_on}" if rating.verified else "NOT VERIFIED"
    return f"Limit {rating.value} ({rating.basis}): {source}; {checked}"


def _corner_mm(drawn: Tag) -> tuple[float, float, float]:
    """Where the first module begins, and the size of a module; the quiet zone is within the symbol's room."""
    module_mm = _SYMBOL_MM / (len(drawn.symbol) + 2 * qr.QUIET_MODULES)
    quiet_mm = qr.QUIET_MODULES * module_mm
    return WIDTH_MM - _MARGIN_MM - _SYMBOL_MM + quiet_mm + 1, _MARGIN_MM - 1 + quiet_mm, module_mm


def pdf(drawn: Tag) -> bytes:
    """The tag on a page of its own size. The same tag gives the same bytes."""
    page = Archival(drawn.title, drawn.dated, WIDTH_MM, HEIGHT_MM)
    page.add_page()
    page.set_draw_color(120)
    page.rect(1, 1, WIDTH_MM - 2, HEIGHT_MM - 2)
    page.modules(*_corner_mm(drawn), drawn.symbol)
    for each in drawn.lines:
        page.put(each.x_mm, each.base_mm, each.text, each.points, each.style)
    return bytes(page.output())


def svg(drawn: Tag) -> bytes:
    """The tag as a drawing in its true size; a unit of it is a millimetre."""
    x_mm, y_mm, module_mm = _corner_mm(drawn)
    dark = "".join(f"M{x} {y}h1v1h-1z" for y, row in enumerate(drawn.symbol) for x, module in enumerate(row) if module)
    placed = f"translate({x_mm:.4f} {y_mm:.4f}) scale({module_mm:.5f})"
    made = element(
        "svg",
        element("title", text(drawn.title)),
        element("rect", width=WIDTH_MM, height=HEIGHT_MM, fill="#fff"),
        element(
            "rect", x=1, y=1, width=WIDTH_MM - 2, height=HEIGHT_MM - 2, fill="none", stroke="#777", stroke_width=0.15
        ),
        element("path", d=dark, transform=placed, fill="#000", shape_rendering="crispEdges"),
        joined(*(_text(each) for each in drawn.lines)),
        xmlns="http://www.w3.org/2000/svg",
        width=f"{WIDTH_MM:g}mm",
        height=f"{HEIGHT_MM:g}mm",
        viewBox=f"0 0 {WIDTH_MM:g} {HEIGHT_MM:g}",
        role="img",
        font_family="DejaVu Sans Condensed, Arial Narrow, sans-serif",
        fill="#141414",
    )
    return (made + "\n").encode()


def _text(each: Line) -> Markup:
    # Every viewer draws the line as wide as it was measured, whatever font it has.
    size_mm, wide_mm = each.points * 25.4 / 72, lettering.width_mm(each.text, each.points, each.style)
    return element(
        "text",
        text(each.text),
        x=each.x_mm,
        y=each.base_mm,
        font_size=size_mm,
        font_weight="bold" if each.style == "B" else None,
        textLength=wide_mm,
        lengthAdjust="spacingAndGlyphs",
    )
