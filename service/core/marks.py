"""Marks: what a scan means, and the keys under which it finds a registered connector."""

import enum
import re
from uuid import UUID

from msgspec import Struct

from service.core import digital_link, envelope, identity, own_marks
from service.core.application_identifiers import Field
from service.core.envelope import Element, Fault, Message
from service.core.identity import Construct

LONGEST_BYTES = 2000
LONGEST_SERIAL = 200


class Meaning(enum.StrEnum):
    """What a scan can be. The first three always give an identity, a GS1 mark may.

    Badge, tool, work order, cavity and bench are marks of ours: they name something else than a connector.
    """

    IUID = "iuid"
    PLAIN_SERIAL = "plain_serial"
    CONNECTOR_ID = "connector_id"
    GS1 = "gs1"
    BADGE = "badge"
    TOOL = "tool"
    WORK_ORDER = "work_order"
    CAVITY = "cavity"
    BENCH = "bench"
    NO_IDENTITY = "no_identity"
    SEPARATORS_LOST = "separators_lost"
    MALFORMED = "malformed"
    UNREADABLE = "unreadable"


class Mark(Struct, frozen=True, kw_only=True):
    """A scan that was read.

    `identity` is the UII, the URI of a GS1 key with its serial, the plain serial or the connector's own id; None if there
    is none. `named` is the badge, tool, work order, cavity or bench that a mark of ours names. `part_number` is the one
    that the serial belongs to, `current_part_number` the one that the item now goes by; only the first can be part of an
    identity. `deviations` are codes of what the mark does against its standard and what could be forgiven; `faults` say
    why it can't be used.
    """

    meaning: Meaning
    identity: str | None = None
    named: str | None = None
    construct: Construct | None = None
    elements: tuple[Element, ...] = ()
    cage: str | None = None
    part_number: str | None = None
    current_part_number: str | None = None
    lot: str | None = None
    serial: str | None = None
    symbology: str | None = None
    deviations: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()

    @property
    def fields(self) -> dict[str, str]:
        """Every element by its qualifier, in the order of the mark; a repeated one is numbered: `S`, `S (2)`."""
        found: dict[str, str] = {}
        for each in self.elements:
            name, count = each.qualifier, 1
            while name in found:
                count += 1
                name = f"{each.qualifier} ({count})"
            found[name] = each.value
        return found


_AIM = re.compile("\\][A-Za-z][0-9A-Za-z]")
# ISO/IEC 15424, from scanner makers' tables: the symbology identifiers that say that FNC1 stood first.
_GS1_SYMBOLS = frozenset({"]d2", "]d5", "]d8", "]dB", "]Q3", "]Q4", "]C1", "]e0"})
# Those that hold a bare GTIN, with how many digits they may have; ]E3 has two or five more (GS1 syntax engine: ]E0 13, ]E4
# 8; ]E3 from memory). The first figure is the GTIN's.
_RETAIL_SYMBOLS = {"]E0": (13,), "]E3": (13, 15, 18), "]E4": (8,)}
# A connector's id, plain, as a URN, or as the address of its page, which stands on tags.
_UUID = re.compile(
    '(?:[Uu][Rr][Nn]:[Uu][Uu][Ii][Dd]:|https?://[!-"$->@-~]+/connectors/)?[0-9A-Fa-f]{8}-(?:[0-9A-Fa-f]{4}-){3}[0-9A-Fa-f]{12}'
)
_CONTROLS = (
    "The mark holds control characters but no message header. If it is a GS1 symbol, let the scanner send the symbology "
    "identifier in front of it."
)
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\ufffe\uffff]")
# Pictures of control characters, and the private-use characters that some keyboards send for them: a separator was
# replaced on the way, and what else was replaced nobody knows.
_SUBSTITUTE = re.compile("[\u2400-\u2426\ue000-\uf8ff]")


def read(data: bytes, symbology: str | None = None) -> Mark:
    """Read a scan. Never raises: what can't be read is a mark that says so.

    `symbology` is the AIM identifier if the reader gives it beside the data; one in front of the data is taken off.
    """
    if len(data) > LONGEST_BYTES:
        return _unreadable("too_long", f"The mark has {len(data)} bytes; more than {LONGEST_BYTES} are never read.")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return _unreadable("not_utf8", "The mark holds bytes that are not text (UTF-8): check the scanner set-up.")
    found = _AIM.match(text)
    if found:
        text, symbology = text[found.end() :], found[0]
    text = _without_suffix(text)
    if text.startswith(envelope.HEADER):
        return _message(text, symbology)
    if symbology in _GS1_SYMBOLS and text:
        return _identified(envelope.application_data(text), symbology, Meaning.GS1)
    if symbology in _RETAIL_SYMBOLS:
        return _retail(text, symbology)
    return _plain(text, symbology)


def _without_suffix(text: str) -> str:
    """Take off the one CR, LF, CR LF or TAB that a keyboard wedge sends after the data; a second one is data."""
    for suffix in ("\r\n", "\r", "\n", "\t"):
        if text.endswith(suffix):
            return text[: -len(suffix)]
    return text


def _unreadable(code: str, sentence: str, symbology: str | None = None) -> Mark:
    return Mark(meaning=Meaning.UNREADABLE, symbology=symbology, faults=(Fault(code, sentence),))


def _retail(text: str, symbology: str) -> Mark:
    """A number that names a kind of item: never an identity, and never a serial either."""
    if len(text) not in _RETAIL_SYMBOLS[symbology] or not (text.isascii() and text.isdigit()):
        sentence = f"A symbol of this kind has {_RETAIL_SYMBOLS[symbology][0]} digits: scan the mark again."
        return Mark(meaning=Meaning.GS1, symbology=symbology, faults=(Fault("wrong_length", sentence),))
    number = text[: _RETAIL_SYMBOLS[symbology][0]].zfill(digital_link.GTIN_DIGITS)
    return _identified(envelope.application_fields((Field("01", number),)), symbology, Meaning.GS1)


def _link(text: str, symbology: str | None) -> Mark:
    try:
        message = envelope.application_fields(digital_link.read(text))
    except digital_link.LinkError as error:
        fault = Fault("bad_link", f"This GS1 web address can't be used: {error}.")
        return Mark(meaning=Meaning.GS1, symbology=symbology, faults=(fault,))
    return _identified(message, symbology, Meaning.GS1)


def _own(text: str, symbology: str | None) -> Mark:
    try:
        own = own_marks.read(text)
    except own_marks.OwnMarkError as error:
        fault = Fault("bad_own_mark", f"This mark of ours can't be used: {error}.")
        return Mark(meaning=Meaning.MALFORMED, symbology=symbology, faults=(fault,))
    return Mark(
        meaning=Meaning(own.kind.value),
        named=own.name,
        elements=(Element("urn", own.kind.value, own.name),),
        symbology=symbology,
        deviations=() if own.escaped else ("not_escaped",),
    )


def _plain(text: str, symbology: str | None) -> Mark:
    if text.replace(" ", "") == "":
        return _unreadable("empty", "There is nothing in this mark.", symbology)
    if _CONTROL.search(text):
        return _unreadable("control_characters", _CONTROLS, symbology)
    if _SUBSTITUTE.search(text):
        return Mark(meaning=Meaning.SEPARATORS_LOST, symbology=symbology, faults=(envelope.SEPARATORS_LOST,))
    if _UUID.fullmatch(text):
        return Mark(meaning=Meaning.CONNECTOR_ID, identity=str(UUID(text[-36:])), symbology=symbology)
    if own_marks.is_meant(text):
        return _own(text, symbology)
    if digital_link.is_meant(text):
        return _link(text, symbology)
    if len(text) > LONGEST_SERIAL:
        sentence = f"A serial has at most {LONGEST_SERIAL} characters; this text has {len(text)}."
        return _unreadable("too_long", sentence, symbology)
    spaced = ("outer_spaces",) if text[0] == " " or text[-1] == " " else ()
    return Mark(meaning=Meaning.PLAIN_SERIAL, identity=text, serial=text, symbology=symbology, deviations=spaced)


def _message(text: str, symbology: str | None) -> Mark:
    message = envelope.read(text)
    if isinstance(message, Fault):
        lost = message is envelope.SEPARATORS_LOST
        meaning = Meaning.SEPARATORS_LOST if lost else Meaning.MALFORMED
        return Mark(meaning=meaning, symbology=symbology, faults=(message,))
    return _identified(message, symbology, Meaning.NO_IDENTITY)


def _identified(message: Message, symbology: str | None, without: Meaning) -> Mark:
    """A message with what it identifies. `without` is what the mark is where it gives no identity."""
    elements = tuple(element for each in message.envelopes for element in each.elements)
    reading = identity.read(message.envelopes)
    faults = (*message.faults, *reading.faults)
    deviations = (*message.deviations, *reading.deviations)
    current = _first(elements, "30P", "PNR")
    made = reading.identity
    if made is None or faults:
        return Mark(
            meaning=without,
            elements=elements,
            current_part_number=current,
            symbology=symbology,
            deviations=deviations,
            faults=faults,
        )
    gs1 = without is Meaning.GS1 or made.construct is Construct.GS1_KEY
    # Beside a serial that is unique in its enterprise a part number is information; beside a whole UII it says nothing.
    beside = _first(elements, "1P", "PNO") if made.construct is Construct.ONE else None
    return Mark(
        meaning=Meaning.GS1 if gs1 else Meaning.IUID,
        identity=made.uii,
        construct=made.construct,
        elements=elements,
        cage=made.cage,
        part_number=made.part_number or beside,
        current_part_number=current,
        lot=made.lot,
        serial=made.serial,
        symbology=symbology,
        deviations=deviations,
    )


def _first(elements: tuple[Element, ...], *qualifiers: str) -> str | None:
    return next((each.value for each in elements if each.qualifier in qualifiers), None)


def keys(
    serial: str, cage: str | None = None, part_number: str | None = None, connector_id: UUID | None = None
) -> tuple[str, ...]:
    """The keys under which a registered connector is found: its id, its serial as it stands, and the UIIs it can bear.

    Which construct its maker uses is not known, so both are keys (MIL-STD-130N); only legal elements make one. A GS1 mark
    finds the connector whose serial is its Digital Link, on whatever domain, or the UII that it gives.
    """
    found = [str(connector_id) if connector_id else None, serial]
    if cage:
        found.append(identity.construct_1(cage, serial))
    if cage and part_number:
        found.append(identity.construct_2(cage, part_number, serial))
    if digital_link.is_meant(serial):
        found.append(read(serial.encode()).identity)
    return tuple(dict.fromkeys(key for key in found if key))


def look_up_keys(mark: Mark) -> tuple[str, ...]:
    """The keys to try for a scanned mark, best first; none where it gives no identity.

    There is deliberately no weaker key behind a UII: a serial that is unique only in its part number, tried on its own,
    could find another connector. A connector that a key finds still has to pass `contradicts`.
    """
    return (mark.identity,) if mark.identity is not None else ()


def contradicts(mark: Mark, serial: str, cage: str | None = None, part_number: str | None = None) -> bool:
    """Whether a mark says that it is not this connector, although a key of it is the same text.

    `D` + 0CVA5 + 1234 + 786950 and `D` + 0CVA5 + 123 + 4786950 are one text: where the mark names its elements, those
    decide. A connector registered with the whole UII as its serial is taken at its word.
    """
    if mark.construct not in (Construct.ONE, Construct.TWO) or serial == mark.identity:
        return False
    if serial != mark.serial or (cage is not None and mark.cage is not None and cage != mark.cage):
        return True
    # Here the rest of the key is a lot in the mark, but a part number in the register.
    return mark.lot is not None and part_number is not None
