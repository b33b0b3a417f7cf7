"""ISO/IEC 15434 messages: what stands between `[)>` and EOT, as elements. What they identify is read elsewhere."""

import re
from collections.abc import Callable, Iterable, Iterator

from msgspec import Struct

from service.core import application_identifiers
from service.core.application_identifiers import Field

HEADER = "[)>"
APPLICATION_DATA = "05"
"""The format of GS1 application identifiers."""
GS, RS, EOT = "\x1d", "\x1e", "\x04"


class Fault(Struct, frozen=True):
    """Why a mark can't be used: a stable code, and a sentence to read aloud."""

    code: str
    text: str


class Element(Struct, frozen=True):
    """One element: the code of its envelope's format, its qualifier, its value as printed.

    The qualifier is empty where none could be told apart; the value then holds everything.
    """

    format: str
    qualifier: str
    value: str


class Envelope(Struct, frozen=True):
    """The elements of one format, in the order of the message."""

    format: str
    elements: tuple[Element, ...]


class Message(Struct, frozen=True):
    """A message that could be taken apart. `faults` are elements that nobody may guess at; they forbid an identity."""

    envelopes: tuple[Envelope, ...]
    deviations: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()


SEPARATORS_LOST = Fault("separators_lost", "The separators of this mark were lost: check the scanner set-up.")
"""Without GS a part number that holds an S can't be told from a serial, so nothing is guessed."""

_NO_HEADER = Fault("no_header", "The mark begins like an ISO/IEC 15434 message but the separator after [)> is missing.")
_AFTER_END = Fault("data_after_end", "Something follows the end of the message: scan the mark again, on its own.")
_CONTROLS = Fault("control_characters", "The message holds control characters that have no place in it.")

_FOREIGN = re.compile("[\x00-\x03\x05-\x1b\x7f]")
_NOT_READ = frozenset({"01", "02", "03", "04", "07", "08"})


def read(text: str) -> Message | Fault:
    """Take a message apart: strict on its header, lenient on a final RS and EOT that scanners drop (ISO/IEC 15434).

    A fault instead of a message means that its structure can't be trusted at all.
    """
    if GS not in text:
        return SEPARATORS_LOST
    if not text.startswith(HEADER + RS):
        return _NO_HEADER
    body, deviations = _without_end(text[len(HEADER + RS) :])
    if EOT in body:
        return _AFTER_END
    if _FOREIGN.search(body):
        return _CONTROLS
    envelopes = []
    for chunk in body.split(RS):
        envelope = _envelope(chunk)
        if isinstance(envelope, Fault):
            return envelope
        envelopes.append(envelope)
    return _judged(tuple(envelopes), deviations)


def _without_end(body: str) -> tuple[str, list[str]]:
    deviations = []
    if body.endswith(EOT):
        body = body[:-1]
    else:
        deviations.append("missing_eot")
    if body.endswith(RS):
        body = body[:-1]
    else:
        deviations.append("missing_rs")
    return body, deviations


def _envelope(chunk: str) -> Envelope | Fault:
    code, rest = chunk[:2], chunk[2:]
    if code in _NOT_READ:
        return Envelope(code, (Element(code, "", rest),))
    lexer = _LEXERS.get(code)
    if lexer is None:
        return Fault("unknown_format", "The message has an envelope of a format that is not used for identity marks.")
    if not rest.startswith(GS):
        return Fault("no_separator", f"The separator after the format code {code} is missing.")
    if rest == GS:
        return Fault("no_element", f"The envelope of format {code} is empty.")
    return Envelope(code, tuple(element for piece in rest[1:].split(GS) for element in lexer(code, piece)))


def application_data(text: str) -> Message:
    """What a GS1 symbol holds, read like the one envelope of format 05 (GS1 element strings, FNC1 transmitted as GS).

    A separator more than needed, before, between or after the elements, is a deviation.
    """
    pieces = text.split(GS)
    deviations = ["extra_separator"] if "" in pieces else []
    elements = tuple(each for piece in pieces if piece for each in _application_identifiers(APPLICATION_DATA, piece))
    return _judged((Envelope(APPLICATION_DATA, elements),), deviations)


def application_fields(fields: Iterable[Field]) -> Message:
    """GS1 elements that were told apart already, like the one envelope of format 05."""
    elements = tuple(Element(APPLICATION_DATA, each.identifier, each.value) for each in fields)
    return _judged((Envelope(APPLICATION_DATA, elements),), [])


def _judged(envelopes: tuple[Envelope, ...], deviations: list[str]) -> Message:
    faults: list[Fault] = []
    for envelope in envelopes:
        if envelope.format in _NOT_READ:
            deviations.append("format_not_read")
            continue
        for element in envelope.elements:
            if element.value == "":
                named = f"The element {element.qualifier}" if element.qualifier else "An element"
                faults.append(Fault("empty_value", f"{named} has no value."))
            elif not _listed(element):
                faults.append(_not_listed(element))
            elif element.format in _TEXT_FORMATS and element.qualifier not in TEXT_IDENTIFIERS:
                deviations.append("unlisted_qualifier")
        if envelope.format == APPLICATION_DATA:
            fields = tuple(Field(each.qualifier, each.value) for each in envelope.elements)
            faults += [_wrong_check_digit(each) for each in fields if not application_identifiers.has_check_digit(each)]
            deviations += [] if application_identifiers.associated(fields) else ["gs1_association"]
    return Message(envelopes, tuple(dict.fromkeys(deviations)), tuple(faults))


def _not_listed(element: Element) -> Fault:
    named = element.qualifier or "".join(each for each in element.value[:8] if each.isprintable())
    if element.format == APPLICATION_DATA:
        text = f"The GS1 data that begin {named} are of no known kind, of the wrong form, or lack a separator."
    else:
        text = f"The element that begins {named} is of no known kind."
    return Fault("unknown_qualifier", text)


def _wrong_check_digit(field: Field) -> Fault:
    return Fault(
        "check_digit", f"The check digit of the element {field.identifier} is wrong: scan again, or the label is."
    )


# --- format 06: data identifiers, ANSI MH10.8.2

_DATA_IDENTIFIER = re.compile("([0-9]{0,3})([A-Z])(.*)", re.DOTALL)


def _data_identifier(code: str, piece: str) -> Iterator[Element]:
    found = _DATA_IDENTIFIER.fullmatch(piece)
    yield (Element(code, found[1] + found[2], found[3]) if found else Element(code, "", piece))


def _numbers(spans: str) -> frozenset[str]:
    """`0-2 5` becomes the prefixes of a category: the empty one for 0, then 1, 2, 5."""
    ends = [[int(end) for end in span.split("-")] for span in spans.split(" ")]
    return frozenset(str(n) if n else "" for span in ends for n in range(span[0], span[-1] + 1))


# The categories of ANSI MH10.8.2 with the numbers that its list (2025-09-09, second-hand) assigns in each. An
# identifier that is not on it may be a newer kind of identity that would override the others, so it forbids one.
_CATEGORIES = {
    letter: _numbers(spans)
    for letter, spans in {
        "B": "0-5 7-31 55",
        "C": "0-5",
        "D": "0-28",
        "E": "0-6 10-13",
        "F": "0-1 3-5",
        "H": "0-12 15 25-26",
        "I": "0 2 4-5",
        "J": "0-8",
        "K": "0-22 25-27",
        "L": "0-9 11-13 15-18 20-36 51-52 54-55",
        "M": "10-14",
        "N": "0-1 3-12 15",
        "P": "0-34 40 49-55",
        "Q": "0-9 11-32",
        "R": "1-2 4-9",
        "S": "0-28 30-37 42-43 50-54 96-97",
        "T": "0-1 3 20-27 30-34",
        "U": "5-6 15-19 55",
        "V": "0-25",
        "W": "0-6 10-12",
        "Z": "0-4 10-99",
    }.items()
}


# --- formats 12 and DD: text element identifiers, the aviation data dictionary

_TEXT_FORMATS = ("12", "DD")
_TEXT_IDENTIFIER = re.compile("([A-Z][A-Z0-9]{2}) (.*)", re.DOTALL)

TEXT_IDENTIFIERS = frozenset(
    ("MFR", "SER", "CAG", "SPL", "UCN", "DUN", "EUC", "PNO", "SEQ", "LOT", "BII", "UID", "USN", "UST", "PNR")
)
"""Those that say something about identity. The dictionary itself could not be read, so another one of the right form is
noted as a deviation rather than refused: almost every label carries a date or a description beside its identity."""


def _text_identifier(code: str, piece: str) -> Iterator[Element]:
    found = _TEXT_IDENTIFIER.fullmatch(piece)
    yield Element(code, found[1], found[2]) if found else Element(code, "", piece)


# --- format 05: GS1 application identifiers


def _application_identifiers(code: str, piece: str) -> Iterator[Element]:
    if piece == "":
        yield Element(code, "", "")
    for field in application_identifiers.read(piece):
        yield Element(code, field.identifier, field.value)


_LEXERS: dict[str, Callable[[str, str], Iterator[Element]]] = {
    APPLICATION_DATA: _application_identifiers,
    "06": _data_identifier,
    "12": _text_identifier,
    "DD": _text_identifier,
}


def _listed(element: Element) -> bool:
    qualifier = element.qualifier
    if element.format == "06" and qualifier:
        return qualifier[:-1] in _CATEGORIES.get(qualifier[-1], frozenset())
    return qualifier != ""
