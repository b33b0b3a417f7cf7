"""Part numbers of contacts, AS39029, and the three colour bands that repeat their last three digits."""

from msgspec import Struct

from service.core.part_numbers import codes, grammar
from service.core.part_numbers.grammar import Field, Form
from service.core.part_numbers.values import Contact, Part, Sex

COLOURS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
"""The colour of each digit: every one confirmed by a triple of a public dataset; one band a digit (AC 21-99 2-10-27)."""

READING_ORDER = "from the wire barrel towards the mating end"
"""As a tool maker's page says, second-hand."""


class Band(Struct, frozen=True):
    """One band of a contact, with the digit that it stands for."""

    digit: str
    colour: str


def bands(number: str) -> tuple[Band, ...]:
    """The bands of a BIN in reading order. A BIN below 100 keeps its zero and a black first band (from memory)."""
    return tuple(Band(digit, COLOURS[int(digit)]) for digit in number)


_CATALOGUE = "makers' catalogues in a public dataset"
_MEMORY = "from memory"
_WEAK = "public code table without a source"

# Of each sheet: what it holds, for which connectors.
_PINS = (
    *codes.table("second-hand", _CATALOGUE, {"58": "pins for MIL-DTL-38999 I to IV"}),
    *codes.table("second-hand", _CATALOGUE, {"64": "pins for MIL-DTL-24308", "83": "pins for MIL-DTL-28840"}),
    *codes.table(
        "read",
        "title of the detail sheet",
        {
            "48": "pins for MIL-DTL-22992 class L",
            "87": "thermocouple pins for MIL-DTL-38999, 24308 and 83733",
            "124": "pins for AS50151 (AS340X1) and AS95234",
        },
    ),
    *codes.table(
        "memory",
        _MEMORY,
        {
            "4": "pins for MIL-DTL-26482 series 2 and MIL-DTL-83723 III",
            "29": "pins for AS50151 and MIL-DTL-83723 II",
            "31": "pins for MIL-DTL-26482 series 1 and MIL-DTL-26500",
            "107": "pins for MIL-DTL-38999, extended duty",
        },
    ),
    *codes.table(
        "second-hand", _WEAK, {"60": "shielded pins for MIL-DTL-38999", "122": "pins for MIL-DTL-38999, size 23"}
    ),
)
_SOCKETS = (
    *codes.table(
        "second-hand",
        _CATALOGUE,
        {
            "56": "sockets for MIL-DTL-38999 I, III and IV",
            "57": "sockets for MIL-DTL-38999 II",
            "63": "sockets for MIL-DTL-24308",
            "84": "sockets for MIL-DTL-28840",
            "106": "sockets for MIL-DTL-38999, extended duty",
        },
    ),
    *codes.table(
        "read",
        "title of the detail sheet",
        {
            "30": "sockets for AS50151 and MIL-DTL-83723 II",
            "89": "thermocouple sockets for MIL-DTL-38999 II, 24308 and 83733",
            "94": "sockets for MIL-DTL-83527",
            "123": "sockets for AS50151 (AS340X1) and AS95234",
        },
    ),
    *codes.table(
        "memory",
        _MEMORY,
        {
            "5": "sockets for MIL-DTL-26482 series 2 and MIL-DTL-83723 III",
            "32": "sockets for MIL-DTL-26482 series 1 and MIL-DTL-26500",
        },
    ),
    *codes.table(
        "second-hand", _WEAK, {"59": "shielded sockets for MIL-DTL-38999", "121": "sockets for MIL-DTL-38999, size 23"}
    ),
)

FORM = Form(
    family="AS39029",
    specification="AS39029",
    status="second-hand",
    source="public transcriptions of AS39029; titles of some detail sheets were read",
    fields=(
        # The second is the older marking.
        grammar.punctuation("AS39029/", "M39029/"),
        Field("sheet", digits=(1, 3), known=(*_PINS, *_SOCKETS)),
        grammar.punctuation("-"),
        Field("bin", digits=(3, 3)),
    ),
    sexes={**{each.code: Sex.PIN for each in _PINS}, **{each.code: Sex.SOCKET for each in _SOCKETS}},
)


def decoded(form: Form, text: str, parts: tuple[Part, ...]) -> Contact:
    """What the number of a contact states, from its fields as they were read."""
    stated = grammar.codes(form, parts)
    return Contact(
        text=text,
        specification=form.specification,
        status=form.status,
        source=form.source,
        sheet=stated["sheet"],
        bin=stated["bin"],
        sex=form.sexes.get(stated["sheet"]),
        parts=tuple(_in_words(each) for each in grammar.explained(form, parts)),
        codes=stated,
    )


def _in_words(part: Part) -> Part:
    if part.name != "bin":
        return part
    meaning = "bands " + ", ".join(each.colour for each in bands(part.code))
    return Part(
        part.name, part.code, part.at, meaning, "derived", "table of colours; every digit confirmed by a known contact"
    )
