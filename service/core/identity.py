"""Unique item identity: the UII that the elements of a mark make up (MIL-STD-130N w/Change 1, Table A-II and TEIs)."""

import enum
import re
from collections.abc import Iterator, Sequence

from msgspec import Struct

from service.core import digital_link
from service.core.envelope import Element, Envelope, Fault

LONGEST_UII = 50
"""Characters, agency code included (public pages quoting MIL-STD-130N; 130M allowed 78)."""

_LEGAL = re.compile("[A-Z0-9/-]+")
_CAGE = re.compile("[0-9A-HJ-NP-Z]{5}")


class Construct(enum.StrEnum):
    """How an identity is made: unique in the enterprise (1), in a part or lot (2), given whole, or as an equivalent.

    The last is no UII: a GS1 key with its serial, whose identity is its canonical Digital Link URI.
    """

    ONE = "construct_1"
    TWO = "construct_2"
    COMPLETE = "complete"
    EQUIVALENT = "equivalent"
    GS1_KEY = "gs1_key"


class Identity(Struct, frozen=True, kw_only=True):
    """A UII with the elements that it is made of. The UII is a key: it can't be split again into its elements.

    For a GS1 key `uii` is the URI instead.
    """

    uii: str
    construct: Construct
    used: tuple[str, ...]
    cage: str | None = None
    part_number: str | None = None
    lot: str | None = None
    serial: str | None = None


class Reading(Struct, frozen=True):
    """The identity that a message gives, or the faults that forbid one."""

    identity: Identity | None
    deviations: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()


class _Enterprise(Struct, frozen=True):
    """A kind of enterprise identifier: the agency code that its UII begins with, its form, its name in a sentence."""

    agency: str
    form: re.Pattern[str]
    name: str


class _Dialect(Struct, frozen=True):
    """Which qualifiers of a format play which part in a UII."""

    whole: dict[str, Construct]
    cage_serials: tuple[str, ...] = ()
    enterprises: dict[str, _Enterprise] = {}
    enterprise_serials: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    lots: tuple[str, ...] = ()
    part_serials: tuple[str, ...] = ()
    keys: tuple[tuple[str, str], ...] = ()

    @property
    def serials(self) -> tuple[str, ...]:
        return (*self.cage_serials, *self.enterprise_serials, *self.part_serials)

    @property
    def qualifiers(self) -> frozenset[str]:
        keys = (each for pair in self.keys for each in pair)
        return frozenset((*self.whole, *self.enterprises, *self.parts, *self.lots, *self.serials, *keys))


_BY_CAGE = _Enterprise("D", _CAGE, "CAGE code")
_BY_DUNS = _Enterprise("UN", re.compile("[0-9]{9,13}"), "DUNS number")
_BY_GS1 = _Enterprise("", re.compile("[0-9]{4,12}"), "GS1 company prefix")
_BY_DODAAC = _Enterprise("LD", re.compile("[0-9A-HJ-NP-Z]{6}"), "DoDAAC")
_BY_AGENCY = _Enterprise("", re.compile("D[0-9A-HJ-NP-Z]{5}|(?!D)[A-Z0-9]{2,}"), "agency code with enterprise")

# MIL-STD-130N Table A-II; 37S from the list of ANSI MH10.8.2: agency code, enterprise and part number, `+`, serial.
_DATA = _Dialect(
    whole={
        "25S": Construct.COMPLETE,
        "37S": Construct.TWO,
        "I": Construct.EQUIVALENT,
        "22S": Construct.EQUIVALENT,
    },
    cage_serials=("18S",),
    enterprises={"17V": _BY_CAGE, "12V": _BY_DUNS, "3V": _BY_GS1, "7L": _BY_DODAAC, "18V": _BY_AGENCY},
    parts=("1P",),
    lots=("1T",),
    part_serials=("S",),
)
# A table on a trade page that quotes MIL-STD-130N; USN, UST and BII from memory.
_TEXT = _Dialect(
    whole={"UID": Construct.COMPLETE},
    cage_serials=("USN", "UST"),
    enterprises={"CAG": _BY_CAGE, "MFR": _BY_CAGE, "SPL": _BY_CAGE, "DUN": _BY_DUNS, "EUC": _BY_GS1},
    enterprise_serials=("SER", "UCN"),
    parts=("PNO",),
    lots=("LOT", "BII"),
    part_serials=("SEQ",),
)
# MIL-STD-130N: the value of a GIAI, a GRAI with a serial, or a cellular id is the UII. A GTIN or component number with
# its serial (GS1 syntax dictionary: 21 beside 01, 8011 beside 8010) names one item too, but is no UII.
_GS1 = _Dialect(
    whole=dict.fromkeys(("8004", "8003", "8002"), Construct.EQUIVALENT), keys=(("01", "21"), ("8010", "8011"))
)

_DIALECTS = {"05": _GS1, "06": _DATA, "12": _TEXT, "DD": _TEXT}
_SELF_DELIMITING = "37S"
_SELF_DELIMITED = re.compile("(?:D[0-9A-HJ-NP-Z]{5}[A-Z0-9/-]+|(?!D)[A-Z0-9/-]{3,})[+][A-Z0-9/-]+")
_FROM_MEMORY = frozenset({"USN", "UST", "BII"})
_GRAI_WITHOUT_SERIAL = 14


_Understood = Sequence[tuple[_Dialect, tuple[Element, ...]]]


def is_cage(text: str) -> bool:
    """Whether a text has the form of a CAGE or NCAGE code: five capitals or digits, never I or O (GS1 TDT files)."""
    return _CAGE.fullmatch(text) is not None


def is_uii(text: str) -> bool:
    """Whether a text keeps to the alphabet and the length of a UII. That says nothing about who issued it."""
    return len(text) <= LONGEST_UII and _LEGAL.fullmatch(text) is not None


def construct_1(cage: str, serial: str) -> str | None:
    """The UII of a serial that is unique in its enterprise, or None where the elements are not legal ones."""
    return _joined(cage, serial)


def construct_2(cage: str, part_number: str, serial: str) -> str | None:
    """The UII of a serial that is unique in its original part number, or None where the elements are not legal ones."""
    return _joined(cage, part_number, serial)


def _joined(cage: str, *parts: str) -> str | None:
    uii = f"D{cage}{''.join(parts)}"
    return uii if is_cage(cage) and all(parts) and is_uii(uii) else None


def read(envelopes: Sequence[Envelope]) -> Reading:
    """The identity of a mark. Elements of several envelopes are never mixed, and nothing ambiguous gives an identity.

    One element that is a whole UII is always the UII, whatever else is in the symbol (MIL-STD-130N Change 1). A GS1 key
    with its serial counts only where there is nothing of a UII.
    """
    understood = [(_DIALECTS[each.format], each.elements) for each in envelopes if each.format in _DIALECTS]
    duplicates = tuple(fault for dialect, elements in understood for fault in _duplicates(dialect, elements))
    if duplicates:
        return Reading(None, faults=duplicates)
    whole = [found for dialect, elements in understood for found in _whole(dialect, elements)]
    made = [found for dialect, elements in understood for found in _made(dialect, elements)]
    keyed = [found for dialect, elements in understood for found in _keyed(dialect, elements)]
    found = whole or made or ([] if _begun(understood) else keyed)
    candidates = {(each.uii, each.cage, each.part_number, each.lot, each.serial): each for each in found}
    if len(candidates) > 1:
        text = "The mark gives more than one identity: find out which of them is the connector's."
        return Reading(None, faults=(Fault("ambiguous_identity", text),))
    for identity in candidates.values():
        faults = tuple(_faults(identity, understood))
        return Reading(None if faults else identity, _deviations(identity, understood), faults)
    return Reading(None, faults=(_missing(understood),))


def _values(elements: Sequence[Element]) -> dict[str, str]:
    return {each.qualifier: each.value for each in elements}


def _duplicates(dialect: _Dialect, elements: Sequence[Element]) -> Iterator[Fault]:
    qualifiers = [each.qualifier for each in elements]
    for qualifier in dict.fromkeys(qualifiers):
        if qualifier in dialect.qualifiers and qualifiers.count(qualifier) > 1:
            yield Fault("duplicate_qualifier", f"The element {qualifier} stands in the mark more than once.")


def _whole(dialect: _Dialect, elements: Sequence[Element]) -> Iterator[Identity]:
    for each in elements:
        if each.qualifier not in dialect.whole:
            continue
        if each.qualifier == "8003" and len(each.value) <= _GRAI_WITHOUT_SERIAL:
            continue  # It names a kind of asset, not one asset.
        if each.qualifier == _SELF_DELIMITING:
            yield _self_delimiting(each.value)
        else:
            yield Identity(uii=each.value, construct=dialect.whole[each.qualifier], used=(each.qualifier,))


def _self_delimiting(value: str) -> Identity:
    """The UII of construct 2, with the serial apart; the part number too where the enterprise has a CAGE code."""
    start, _, serial = value.partition("+")
    by_cage = start.startswith("D")
    return Identity(
        uii=start + serial,
        construct=Construct.TWO,
        used=(_SELF_DELIMITING,),
        cage=start[1:6] if by_cage else None,
        part_number=start[6:] if by_cage else None,
        serial=serial,
    )


def self_delimiting(cage: str, part_number: str, serial: str) -> str | None:
    """The value of a 37S for a construct 2 identity, or None where the elements are not legal ones."""
    return f"D{cage}{part_number}+{serial}" if construct_2(cage, part_number, serial) else None


def _made(dialect: _Dialect, elements: Sequence[Element]) -> Iterator[Identity]:
    values = _values(elements)
    for qualifier in dialect.cage_serials:
        if qualifier in values:
            cage, serial = values[qualifier][:5], values[qualifier][5:]
            yield Identity(uii=f"D{cage}{serial}", construct=Construct.ONE, used=(qualifier,), cage=cage, serial=serial)
    for qualifier, kind in dialect.enterprises.items():
        if qualifier in values:
            yield from _of_enterprise(dialect, values, qualifier, kind)


def _keyed(dialect: _Dialect, elements: Sequence[Element]) -> Iterator[Identity]:
    values = _values(elements)
    for key, serial in dialect.keys:
        if key in values and serial in values:
            uri = digital_link.canonical((key, values[key]), (serial, values[serial]))
            yield Identity(uii=uri, construct=Construct.GS1_KEY, used=(key, serial), serial=values[serial])


def _begun(understood: _Understood) -> bool:
    """Whether a mark has an element of a UII, even if it makes none."""
    return any(each.qualifier in dialect.serials for dialect, elements in understood for each in elements)


def _of_enterprise(dialect: _Dialect, values: dict[str, str], qualifier: str, kind: _Enterprise) -> Iterator[Identity]:
    start = kind.agency + values[qualifier]
    cage = start[1:] if kind.agency == "D" or (kind is _BY_AGENCY and start.startswith("D")) else None
    for number in dialect.enterprise_serials:
        if number in values:
            serial = values[number]
            yield Identity(
                uii=start + serial, construct=Construct.ONE, used=(qualifier, number), cage=cage, serial=serial
            )
    for within in (*dialect.parts, *dialect.lots):
        for number in dialect.part_serials:
            if within in values and number in values:
                yield Identity(
                    uii=start + values[within] + values[number],
                    construct=Construct.TWO,
                    used=(qualifier, within, number),
                    cage=cage,
                    part_number=values[within] if within in dialect.parts else None,
                    lot=values[within] if within in dialect.lots else None,
                    serial=values[number],
                )


def _faults(identity: Identity, understood: _Understood) -> Iterator[Fault]:
    if identity.construct is Construct.GS1_KEY:
        return  # Its form was judged with its elements; a UII's alphabet and length do not bind it.
    for dialect, elements in understood:
        for qualifier, value in _values(elements).items():
            if qualifier in identity.used:
                yield from _element_faults(dialect, qualifier, value)
    if len(identity.uii) > LONGEST_UII:
        yield Fault("too_long", f"The identity has {len(identity.uii)} characters; {LONGEST_UII} are allowed.")


def _element_faults(dialect: _Dialect, qualifier: str, value: str) -> Iterator[Fault]:
    if qualifier == _SELF_DELIMITING:
        if _SELF_DELIMITED.fullmatch(value) is None:
            text = "The element 37S is not an agency code with enterprise, a part number, one plus sign and a serial."
            yield Fault("bad_enterprise", text)
    elif _LEGAL.fullmatch(value) is None:
        text = f"The element {qualifier} holds something other than capitals, digits, hyphen and slash."
        yield Fault("illegal_character", text)
    elif qualifier in dialect.enterprises:
        kind = dialect.enterprises[qualifier]
        if kind.form.fullmatch(value) is None:
            yield Fault("bad_enterprise", f"{value} in the element {qualifier} is not a {kind.name}.")
    elif qualifier in dialect.cage_serials or (dialect.whole.get(qualifier) is Construct.COMPLETE and value[0] == "D"):
        # D is the agency code of CAGE codes alone, so five legal characters and a serial have to follow it.
        rest = value if qualifier in dialect.cage_serials else value[1:]
        if not is_cage(rest[:5]) or rest[5:] == "":
            yield Fault("bad_enterprise", f"The element {qualifier} does not hold a CAGE code and a serial.")


def _deviations(identity: Identity, understood: _Understood) -> tuple[str, ...]:
    found = []
    serials = {each for dialect, elements in understood for each in _values(elements) if each in dialect.serials}
    if serials.difference(identity.used):
        found.append("second_serial")
    if _FROM_MEMORY.intersection(identity.used):
        found.append("qualifier_from_memory")
    return tuple(found)


def _missing(understood: _Understood) -> Fault:
    present = [(dialect, qualifier) for dialect, elements in understood for qualifier in _values(elements)]
    serial = any(qualifier in dialect.serials for dialect, qualifier in present)
    if serial and not any(qualifier in dialect.enterprises for dialect, qualifier in present):
        return Fault("no_enterprise", "The mark has a serial but does not say whose it is.")
    if any(qualifier in dialect.part_serials for dialect, qualifier in present):
        text = "The serial of this mark is unique only together with a part or lot number, and the mark has neither."
        return Fault("serial_without_part", text)
    return Fault("no_identity", "The mark has no elements that identify one item.")
