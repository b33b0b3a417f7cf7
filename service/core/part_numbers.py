"""Part numbers of circular connectors: which family, shell, insert, contacts and position a number states.

Only the form is judged here. Whether the arrangement exists, and in which positions, is reference data: the catalogue
says so. One row of `_FORMS` per form of number; a new family is a new row.
"""

import enum
from collections.abc import Collection, Iterator, Sequence
from string import ascii_uppercase

from msgspec import Struct


class Sex(enum.StrEnum):
    """What the insert holds."""

    PIN = "pin"
    SOCKET = "socket"


class Fault(Struct, frozen=True):
    """What is wrong with a part number. `at` is the index of the first character that fits no known form."""

    code: str
    text: str
    at: int


class Part(Struct, frozen=True):
    """One field of a part number as written: its name, its code, the index at which it starts."""

    name: str
    code: str
    at: int


class Decoded(Struct, frozen=True, kw_only=True):
    """What a part number states. `status` says how sure its form is; None stands for what the number leaves open.

    `contacts_supplied` is false for an insert that comes without its contacts; `removable` is false where contacts
    have no retainer (soldered or sealed in).
    """

    text: str
    family: str
    specification: str
    status: str
    arrangement_standard: str
    arrangement: str
    shell: str
    insert: str
    sheet: str
    shell_class: str
    sex: Sex | None
    contacts_supplied: bool
    removable: bool | None
    position: str
    parts: tuple[Part, ...]

    def start(self, name: str) -> int:
        """The index at which a field starts, or would start if it were written."""
        return next((each.at for each in self.parts if each.name == name), len(self.text))


class _Field(Struct, frozen=True):
    """One field: the codes it may hold, or how many digits. Without a name it is punctuation."""

    name: str
    codes: tuple[str, ...] = ()
    digits: tuple[int, int] | None = None
    optional: bool = False


class _Form(Struct, frozen=True, kw_only=True):
    """One form of part number. `sexes` are by contact code, or by sheet where a family puts the sex there."""

    family: str
    specification: str
    standard: str
    status: str
    fields: tuple[_Field, ...]
    sexes: dict[str, Sex]
    shells: dict[str, str] = {}
    removable: bool | None = True


def decode(text: str) -> Decoded | Fault:
    """Read a part number exactly as written: capitals, no blanks."""
    reached: list[tuple[int, str]] = []
    for form in _FORMS:
        parts = _follow(form.fields, text, 0, reached)
        if parts is not None:
            return _decoded(form, text, parts)
    return _fault(text, reached)


def position_fault(decoded: Decoded, alternates: Collection[str]) -> Fault | None:
    """What is wrong with the position, given those that the arrangement allows beside the normal one, N."""
    if decoded.position == "N" or decoded.position in alternates:
        return None
    allowed = ", ".join(("normal", *alternates))
    text = f"Arrangement {decoded.arrangement} has no position {decoded.position}; it has: {allowed}."
    return Fault("position_not_allowed", text, decoded.start("position"))


def _follow(fields: Sequence[_Field], text: str, at: int, reached: list[tuple[int, str]]) -> tuple[Part, ...] | None:
    """The parts of a text that has the form of the fields. `reached` notes where fields could not go on."""
    if not fields:
        if at < len(text):
            reached.append((at, "end"))
            return None
        return ()
    field = fields[0]
    for end in _ends(field, text, at, reached):
        rest = _follow(fields[1:], text, end, reached)
        if rest is not None:
            return (Part(field.name, text[at:end], at), *rest)
    return None


def _ends(field: _Field, text: str, at: int, reached: list[tuple[int, str]]) -> Iterator[int]:
    if field.digits is not None:
        fewest, most = field.digits
        run = 0
        while run < most and text[at + run : at + run + 1] in _DIGITS:
            run += 1
        if run < fewest:
            reached.append((at + run, field.name))
        yield from range(at + run, at + fewest - 1, -1)
    for code in sorted(field.codes, key=len, reverse=True):
        common = next((n for n, char in enumerate(code) if text[at + n : at + n + 1] != char), len(code))
        if common == len(code):
            yield at + common
        else:
            reached.append((at + common, field.name))
    if field.optional:
        yield at


def _fault(text: str, reached: list[tuple[int, str]]) -> Fault:
    at = max(index for index, _ in reached)
    name = next(name for index, name in reached if index == at)
    if at == len(text):
        return Fault("incomplete", "The part number ends too early.", at)
    if name == "":
        return Fault("unknown_form", f"No known form of part number goes on with {text[at]!r} here.", at)
    if name == "end":
        return Fault("surplus", f"The part number should end before {text[at]!r}.", at)
    return Fault(f"bad_{name}", f"{text[at]!r} fits no known {name.replace('_', ' ')} here.", at)


def _decoded(form: _Form, text: str, parts: tuple[Part, ...]) -> Decoded:
    named = {each.name: each.code for each in parts}
    shell = form.shells.get(named["shell"], named["shell"])
    insert = named["insert"].lstrip("0")
    contact = named.get("contact", "")
    return Decoded(
        text=text,
        family=form.family,
        specification=form.specification,
        status=form.status,
        arrangement_standard=form.standard,
        arrangement=f"{shell}-{insert}",
        shell=shell,
        insert=insert,
        sheet=named["sheet"],
        shell_class=named["class"],
        sex=form.sexes.get(contact or named["sheet"]),
        contacts_supplied=contact not in _WITHOUT_CONTACTS,
        removable=form.removable,
        position=named.get("position") or "N",
        parts=tuple(each for each in parts if each.name and each.code),
    )


_DIGITS = tuple("0123456789")
_LETTERS = tuple(ascii_uppercase)
_WITHOUT_CONTACTS = ("A", "B")

_MIL_1560, _MIL_1554, _MIL_1669, _MIL_1651 = ("MIL-STD-1560", "MIL-STD-1554", "MIL-STD-1669", "MIL-STD-1651")

_PIN_SOCKET = {"P": Sex.PIN, "S": Sex.SOCKET}
# MIL-DTL-38999M 1.4.2, second-hand: pins and sockets of either durability, inserts without contacts, rhodium and heavy
# gold. The hermetic codes X, Z, C, D are known as codes only, so they give no sex.
_38999_SEXES = {**dict.fromkeys("PHARG", Sex.PIN), **dict.fromkeys("SJBMU", Sex.SOCKET)}
_38999_CONTACTS = tuple("PSHJABRMGUXZCD")
# MIL-DTL-38999M Table II and 3.3.6.2, second-hand; AA and AB are newer.
_38999_CLASSES = ("AA", "AB", *"WFGTZRCVJMKSLHNY")
_38999_SHELLS = dict(zip("ABCDEFGHJ", ("9", "11", "13", "15", "17", "19", "21", "23", "25"), strict=True))

_EVEN = tuple(str(size) for size in range(8, 26, 2))
_ODD = tuple(str(size) for size in range(9, 27, 2))


def _text(*codes: str) -> _Field:
    return _Field("", codes)


def _38999_slash(family: str, sheets: str, shells: str, positions: str, *, removable: bool) -> _Form:
    """`D38999/` sheet, class, shell letter, insert, contact, position (MIL-DTL-38999, second-hand)."""
    return _Form(
        family=family,
        specification="MIL-DTL-38999",
        standard=_MIL_1560,
        status="second-hand",
        fields=(
            _text("D38999/"),
            _Field("sheet", tuple(sheets.split(" "))),
            _Field("class", _38999_CLASSES),
            _Field("shell", tuple(shells)),
            _Field("insert", digits=(1, 3)),
            _Field("contact", _38999_CONTACTS),
            _Field("position", tuple(positions)),
        ),
        sexes=_38999_SEXES,
        shells=_38999_SHELLS,
        removable=removable,
    )


def _38999_ms(family: str, sheets: str, shells: tuple[str, ...]) -> _Form:
    """`MS` sheet, class, shell, finish, insert, contact, position (sheets second-hand, form from memory)."""
    return _Form(
        family=family,
        specification="MIL-DTL-38999",
        standard=_MIL_1560,
        status="memory",
        fields=(
            _text("MS"),
            _Field("sheet", tuple(sheets.split(" "))),
            _Field("class", _LETTERS),
            _Field("shell", shells),
            _Field("finish", _LETTERS),
            _Field("insert", digits=(1, 3)),
            _Field("contact", _38999_CONTACTS),
            _Field("position", tuple("NABCDE"), optional=True),
        ),
        sexes=_38999_SEXES,
        removable=None,
    )


def _83723(shells: tuple[str, ...], positions: str, classes: str, *, removable: bool | None) -> _Form:
    """`M83723/` sheet, class, shell, two digits of insert, position (MIL-DTL-83723G 3.7.1, second-hand).

    The sex of the contacts is in the sheet: bayonet 71-78, threaded 82-96.
    """
    sockets = ("71", "73", "75", "77", "82", "84", "86", "91", "95")
    pins = ("72", "74", "76", "78", "83", "85", "87", "92", "96")
    return _Form(
        family="83723-III",
        specification="MIL-DTL-83723",
        standard=_MIL_1554,
        status="second-hand",
        fields=(
            _text("M83723/"),
            _Field("sheet", (*sockets, *pins)),
            _Field("class", tuple(classes)),
            _Field("shell", shells),
            _Field("insert", digits=(2, 2)),
            _Field("position", tuple(positions)),
        ),
        sexes={**dict.fromkeys(sockets, Sex.SOCKET), **dict.fromkeys(pins, Sex.PIN)},
        removable=removable,
    )


def _26482(series: str, sheets: str, classes: str, *, removable: bool) -> _Form:
    """`MS` sheet, class, shell-insert, contact, position, finish (MIL-DTL-26482H 1.2.6, second-hand).

    The normal position is not written, and only series 1 has a finish.
    """
    finish = (_Field("finish", ("D", "T", "K"), optional=True),) if series == "1" else ()
    return _Form(
        family=f"26482-{series}",
        specification="MIL-DTL-26482",
        standard=_MIL_1669,
        status="second-hand",
        fields=(
            _text("MS"),
            _Field("sheet", tuple(sheets.split(" "))),
            _Field("class", tuple(classes)),
            _Field("shell", _EVEN),
            _text("-"),
            _Field("insert", digits=(1, 3)),
            _Field("contact", ("P", "S", "A", "B")),
            _Field("position", tuple("WXYZ"), optional=True),
            *finish,
        ),
        # A and B, inserts without contacts, as in MIL-DTL-38999: from memory.
        sexes={**_PIN_SOCKET, "A": Sex.PIN, "B": Sex.SOCKET},
        removable=removable,
    )


def _50151(sheets: str, classes: str, *, removable: bool) -> _Form:
    """`MS` sheet, class, shell with S or SL, insert, contact, position (MIL-DTL-5015H 6.6, second-hand)."""
    shells = tuple(f"{size}{letters}" for size in range(8, 50, 2) for letters in ("", "S", "SL"))
    return _Form(
        family="50151",
        specification="AS50151",
        standard=_MIL_1651,
        status="second-hand",
        fields=(
            _text("MS"),
            _Field("sheet", tuple(sheets.split(" "))),
            _Field("class", tuple(classes.split(" "))),
            _Field("shell", shells),
            _text("-"),
            _Field("insert", digits=(1, 3)),
            _Field("contact", ("P", "S")),
            _Field("position", tuple("WXYZ"), optional=True),
        ),
        sexes=_PIN_SOCKET,
        removable=removable,
    )


# MIL-DTL-26500: the whole form is from memory.
_26500 = _Form(
    family="26500",
    specification="MIL-DTL-26500",
    standard=_MIL_1554,
    status="memory",
    fields=(
        _text("MS"),
        _Field("sheet", ("24264", "24265", "24266")),
        _Field("class", _LETTERS),
        _Field("shell", _EVEN),
        _Field("coupling", ("B", "T")),
        _Field("insert", digits=(1, 2)),
        _Field("contact", ("P", "S")),
        _Field("position", tuple("N123456789Y")),
    ),
    sexes=_PIN_SOCKET,
)

# Which 83723 classes are sealed is not known class by class, so those beyond the plain ones leave `removable` open.
_83723_PLAIN, _83723_OTHER = "AGKMRTWZ", "HJLNPSY"

_FORMS = (
    _38999_slash("38999-III", "20 24 26", "ABCDEFGHJ", "NABCDE", removable=True),
    _38999_slash("38999-III", "21 23 25 27", "ABCDEFGHJ", "NABCDE", removable=False),
    _38999_slash("38999-IV", "40 42 44 46 47", "BCDEFGHJ", "NABCDKLMR", removable=True),
    _38999_slash("38999-IV", "41 43 45 48", "BCDEFGHJ", "NABCDKLMR", removable=False),
    _38999_ms("38999-I", "27466 27467 27468 27656", _ODD),
    _38999_ms("38999-II", "27472 27473 27474 27484 27497 27508", _EVEN),
    # MIL-STD-1554A figure 1, second-hand: shell 8 has the positions N and 6 to 9 only.
    _83723(("8",), "N6789", _83723_PLAIN, removable=True),
    _83723(_EVEN[1:], "N123456789Y", _83723_PLAIN, removable=True),
    _83723(("8",), "N6789", _83723_OTHER, removable=None),
    _83723(_EVEN[1:], "N123456789Y", _83723_OTHER, removable=None),
    _26482("1", "3120 3121 3122 3124 3126 3127 3128", "EFPJH", removable=True),
    _26482("1", "3110 3111 3112 3113 3114 3116 3119", "EFPJH", removable=False),
    _26482("2", "3470 3471 3472 3474 3475 3476", "ALWKTD", removable=True),
    _26482("2", "3470 3471 3472 3474 3475 3476", "HN", removable=False),
    _50151("3450 3451 3452 3454 3456 3459", "L LS W WS K KT KS U US", removable=True),
    _50151("3100 3101 3102 3106 3108", "A E F R", removable=False),
    _26500,
)
