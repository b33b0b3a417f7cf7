"""Labels of demo connectors as photos: something to scan where no aircraft is at hand.

Each photo is read back before it is kept; where it can't be read the damage is softened, never the promise.
"""

import io
from collections.abc import Iterator
from pathlib import Path

import msgspec
import numpy as np
import zxingcpp
from msgspec import Struct
from PIL import Image

from service.catalog import Catalog
from service.core import cycles, fold, plans
from service.core.cycles import Wear
from service.core.entries import HouseRule, Recorded
from service.demo import operator, photograph
from service.demo.fleet import Connector, Fleet
from service.demo.photograph import Sheet, Stock
from service.messages import Registration
from service.workflow import registering
from service.workflow.reference import Reference

INDEX = "index.json"
GS, RS, EOT = "\x1d", "\x1e", "\x04"
_SHORTEST_SERIAL = 6
"""Shorter ones are unique only within their part number, so that they find nothing alone."""
_WORKED = 3
"""Cycles from which a connector within its rating has a story worth showing."""
_SOFTER = (1.0, 0.75, 0.5, 0.25, 0.0)

DATA_MATRIX, QR, CODE_128 = "Data Matrix", "QR Code", "Code 128"
_FORMATS = {
    DATA_MATRIX: zxingcpp.BarcodeFormat.DataMatrix,
    QR: zxingcpp.BarcodeFormat.QRCode,
    CODE_128: zxingcpp.BarcodeFormat.Code128,
}


class Style(Struct, frozen=True):
    """A kind of label: its symbol, what it encodes, and what it is printed on."""

    symbology: str
    content: str
    stock: Stock


class Label(Struct, frozen=True):
    """One label as the index lists it. `text` is what the symbol holds, with its control characters escaped."""

    file: str
    symbology: str
    content: str
    text: str
    connector: str
    serial: str
    part_number: str | None
    wear: str
    cycles_begun: int
    rating: int | None
    place: str


class Standing(Struct, frozen=True):
    """A connector, and where its limiting cavity stands."""

    connector: Connector
    wear: Wear
    begun: int
    place: str


_PART = Style(DATA_MATRIX, "06: 17V 1P S", photograph.WHITE)
_PART_FOIL = Style(DATA_MATRIX, "06: 17V 1P S", photograph.FOIL)
_ENTERPRISE = Style(DATA_MATRIX, "06: 18S", photograph.FOIL)
_TEXT = Style(DATA_MATRIX, "12: MFR SER", photograph.WHITE)
_TEXT_PART = Style(DATA_MATRIX, "12: CAG PNO SEQ", photograph.TAG)
_QR_PART = Style(QR, "06: 17V 1P S", photograph.TAG)
_QR_OWN = Style(QR, "connector id", photograph.WHITE)
_BARS = Style(CODE_128, "serial", photograph.WHITE)
_BARS_TAG = Style(CODE_128, "serial", photograph.TAG)
_PLAIN = Style(DATA_MATRIX, "serial", photograph.TAG)

WANTED: tuple[tuple[Wear, tuple[Style, ...]], ...] = (
    (Wear.WITHIN, (_PART, _PART_FOIL, _ENTERPRISE, _BARS, _QR_PART, _TEXT, _PART)),
    (Wear.NEARING, (_PART, _ENTERPRISE, _BARS_TAG, _TEXT_PART, _PART_FOIL)),
    (Wear.SPENT, (_PART, _PART_FOIL, _BARS, _ENTERPRISE)),
    (Wear.OVER, (_PART, _QR_OWN, _TEXT, _PART_FOIL)),
    (Wear.UNKNOWN, (_PART, _ENTERPRISE, _BARS_TAG, _PLAIN)),
)
"""What the set shows of each wear; a small fleet may not have a connector for every one."""


def write(fleet: Fleet, book: Catalog, house: HouseRule, directory: Path) -> tuple[Label, ...]:
    """Write the photos and their index into a directory; the same fleet gives the same labels."""
    directory.mkdir(parents=True, exist_ok=True)
    made = []
    for number, (standing, style) in enumerate(_chosen(fleet, book, house), 1):
        text = message(standing.connector.registration, style.content)
        file = f"label-{number:02}-{standing.wear.value}.jpg"
        (directory / file).write_bytes(_photo(standing, style, text, (fleet.seed, number)))
        made.append(_listed(file, standing, style, text))
    (directory / INDEX).write_bytes(msgspec.json.format(msgspec.json.encode(made), indent=1))
    return tuple(made)


def standings(fleet: Fleet, book: Catalog, house: HouseRule) -> Iterator[Standing]:
    """Where every connector in use stands, by the same fold as everywhere."""
    reference = Reference(book)
    for each in fleet.connectors:
        asked = each.registration
        if asked.id is None:
            continue
        definition = registering.define(asked, reference, asked.id)
        history = [Recorded(entry=fact.entry, recorded_at=fact.recorded_at, recorded_by="-") for fact in each.facts]
        state = fold.fold(definition, history)
        figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
        limiting = plans.limiting(state.cavities, figures)
        if limiting is None or state.whole.retired:
            continue
        place = " ".join(each for each in (state.whole.asset, state.whole.position) if each)
        yield Standing(each, limiting.standing.wear, limiting.standing.begun, place)


def _chosen(fleet: Fleet, book: Catalog, house: HouseRule) -> Iterator[tuple[Standing, Style]]:
    by_wear: dict[Wear, list[Standing]] = {wear: [] for wear in Wear}
    for each in standings(fleet, book, house):
        by_wear[each.wear].append(each)
    for wear, styles in WANTED:
        left = _mixed(by_wear[wear])
        for style in styles:
            found = next((each for each in left if _suits(each.connector.registration, style)), None)
            if found is not None:
                left.remove(found)
                yield found, style


def _mixed(standings: list[Standing]) -> list[Standing]:
    """Worked ones on aircraft first, then different part numbers, so that the set does not show one kind only."""
    seen: dict[str | None, int] = {}
    ranked: list[tuple[bool, int, int, Standing]] = []
    for order, each in enumerate(standings):
        number = each.connector.registration.part_number
        seen[number] = seen.get(number, 0) + 1
        dull = each.wear is Wear.WITHIN and (each.begun < _WORKED or not each.place.startswith("TN-"))
        ranked.append((dull, seen[number], order, each))
    return [each[-1] for each in sorted(ranked, key=lambda each: each[:-1])]


def _suits(asked: Registration, style: Style) -> bool:
    if style.content == "connector id":
        return True
    unique = len(asked.serial) >= _SHORTEST_SERIAL
    if style.content == "serial":
        return asked.cage is None and unique
    return asked.cage is not None and (unique or style.content in (_PART.content, _TEXT_PART.content))


def message(asked: Registration, content: str) -> str:
    """What a symbol holds: an ISO/IEC 15434 message with MIL-STD-130N identity, a plain serial, or the connector's own id."""
    cage, part, serial = asked.cage or "", asked.part_number or "", asked.serial
    match content:
        case "06: 17V 1P S":
            return _enveloped("06", f"17V{cage}", f"1P{part}", f"S{serial}")
        case "06: 18S":
            return _enveloped("06", f"18S{cage}{serial}")
        case "12: MFR SER":
            return _enveloped("12", f"MFR {cage}", f"SER {serial}")
        case "12: CAG PNO SEQ":
            return _enveloped("12", f"CAG {cage}", f"PNO {part}", f"SEQ {serial}")
        case "connector id":
            return str(asked.id)
        case _:
            return serial


def _enveloped(code: str, *elements: str) -> str:
    return f"[)>{RS}{code}{GS}{GS.join(elements)}{RS}{EOT}"


def _photo(standing: Standing, style: Style, text: str, seed: tuple[int, int]) -> bytes:
    label = photograph.printed(_sheet(standing, style, text))
    for damage in _SOFTER:
        taken = photograph.photograph(label, style.stock, seed, damage)
        if reads(taken, text):
            return taken
    raise RuntimeError(f"a clean label can't be read back: {text!r}")


def reads(photo: bytes, text: str) -> bool:
    """Whether a photo holds exactly this one symbol."""
    found = zxingcpp.read_barcodes(np.asarray(Image.open(io.BytesIO(photo)).convert("L")))
    return [each.bytes for each in found if each.valid] == [text.encode()]


def _sheet(standing: Standing, style: Style, text: str) -> Sheet:
    keywords = {"force_square": True} if style.symbology == DATA_MATRIX else {}
    symbol = zxingcpp.create_barcode(text, _FORMATS[style.symbology], **keywords)
    modules = np.array(symbol.to_image(scale=1, add_quiet_zones=False))
    if style.symbology == DATA_MATRIX and modules.shape[0] != modules.shape[1]:
        raise RuntimeError("the encoder made a rectangle of what must be square")
    return Sheet(
        modules=modules,
        linear=style.symbology == CODE_128,
        heading=operator.NAME.upper() if style.stock.hole or style is _QR_OWN else "CONNECTOR, CIRCULAR",
        lines=tuple((name, value) for name, value in _lines(standing, style) if value),
        foot="demonstration label, invented operator",
        stock=style.stock,
    )


def _lines(standing: Standing, style: Style) -> Iterator[tuple[str, str | None]]:
    asked = standing.connector.registration
    yield "P/N", asked.part_number
    yield "S/N", asked.serial
    if style.content not in ("connector id", "serial"):
        yield "CAGE", asked.cage
    if style.stock.hole or style is _QR_OWN:
        yield "POS", standing.place


def _listed(file: str, standing: Standing, style: Style, text: str) -> Label:
    asked = standing.connector.registration
    return Label(
        file=file,
        symbology=style.symbology,
        content=style.content,
        text=text.encode("unicode_escape").decode(),
        connector=str(asked.id),
        serial=asked.serial,
        part_number=asked.part_number,
        wear=standing.wear.value,
        cycles_begun=standing.begun,
        rating=asked.rating.value if asked.rating is not None else None,
        place=standing.place,
    )
