"""Part numbers of circular connectors, read and written. One row of `FORMS` for each form of number."""

from collections.abc import Iterable
from string import ascii_uppercase

import msgspec

from service.core.part_numbers import codes, grammar
from service.core.part_numbers.grammar import Field, Form
from service.core.part_numbers.values import Code, Decoded, Expected, Fault, Part, Sex

_MIL_1560, _MIL_1554, _MIL_1669, _MIL_1651 = ("MIL-STD-1560", "MIL-STD-1554", "MIL-STD-1669", "MIL-STD-1651")
_WITHOUT_CONTACTS = ("A", "B")
_SECOND_HAND, _MEMORY = "second-hand", "memory"

_PIN_SOCKET = {"P": Sex.PIN, "S": Sex.SOCKET}
# The hermetic codes X, Z, C, D are known as codes only, so they give no sex.
_38999_SEXES = {**dict.fromkeys("PHARG", Sex.PIN), **dict.fromkeys("SJBMU", Sex.SOCKET)}
_38999_SHELLS = {letter: str(size) for letter, size in zip("ABCDEFGHJ", range(9, 27, 2), strict=True)}

_EVEN = tuple(str(size) for size in range(8, 26, 2))
_ODD = tuple(str(size) for size in range(9, 27, 2))
_INSERT = Field("insert", digits=(1, 3))


def decoded(form: Form, text: str, parts: tuple[Part, ...]) -> Decoded:
    """What a number of this form states, from its fields as they were read."""
    named = {each.name: each.code for each in parts}
    shell = form.shells.get(named["shell"], named["shell"])
    insert = named["insert"].lstrip("0") or "0"
    contact = named.get("contact", "")
    positions = form.field("position")
    found = Decoded(
        text=text,
        family=form.family,
        specification=form.specification,
        status=form.status,
        source=form.source,
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
        positions=tuple(dict.fromkeys(("N", *(each.code for each in positions.codes)))),
        parts=grammar.explained(form, parts),
        codes=grammar.codes(form, parts),
    )
    return msgspec.structs.replace(found, parts=tuple(_in_words(found, each) for each in found.parts))


def _in_words(found: Decoded, part: Part) -> Part:
    if part.name != "insert":
        return part
    meaning = f"arrangement {found.arrangement} of {found.arrangement_standard}"
    return msgspec.structs.replace(part, meaning=meaning, status=found.status, source=found.source)


def position_fault(found: Decoded, alternates: Iterable[str]) -> Fault | None:
    """What is wrong with the position, given those that the arrangement allows beside the normal one, N."""
    alternates = tuple(alternates)
    if found.position == "N" or found.position in alternates:
        return None
    listed = ", ".join(("normal", *alternates))
    text = f"Arrangement {found.arrangement} has no position {found.position}; it has: {listed}."
    # The normal position is the one that is not written.
    expected = (*((Expected("position", alternates),) if alternates else ()), Expected("end"))
    return Fault("position_not_allowed", text, found.start("position"), expected)


def _shells(sizes: Iterable[str], source: str, status: str = _SECOND_HAND) -> tuple[Code, ...]:
    return codes.table(status, source, {size: f"shell size {size}" for size in sizes})


def _38999_slash(
    family: str, sheets: tuple[Code, ...], shells: str, positions: tuple[Code, ...], *, removable: bool
) -> Form:
    """`D38999/` sheet, class, shell letter, insert, contact, position."""
    return Form(
        family=family,
        specification="MIL-DTL-38999",
        standard=_MIL_1560,
        status=_SECOND_HAND,
        source="public transcription of MIL-DTL-38999M 1.4.2",
        fields=(
            grammar.punctuation("D38999/"),
            Field("sheet", sheets),
            Field("class", codes.CLASSES_38999),
            Field("shell", tuple(each for each in codes.SHELLS_38999 if each.code in shells)),
            _INSERT,
            Field("contact", codes.CONTACTS_38999),
            Field("position", positions),
        ),
        sexes=_38999_SEXES,
        shells=_38999_SHELLS,
        removable=removable,
    )


def _38999_ms(family: str, sheets: tuple[Code, ...], shells: tuple[str, ...]) -> Form:
    """`MS` sheet, class, shell, finish, insert, contact, position. The normal position need not be written."""
    return Form(
        family=family,
        specification="MIL-DTL-38999",
        standard=_MIL_1560,
        status=_MEMORY,
        source="sheets from a public parts-selection list; form from memory",
        fields=(
            grammar.punctuation("MS"),
            Field("sheet", sheets),
            Field("class", codes.unexplained(ascii_uppercase, codes.CLASSES_38999_MS)),
            Field("shell", _shells(shells, "from memory", _MEMORY)),
            Field("finish", codes.unexplained(ascii_uppercase, codes.FINISHES_38999_MS)),
            _INSERT,
            Field("contact", codes.CONTACTS_38999_MS),
            Field("position", codes.KEYS_38999_MS, omitted="N"),
        ),
        sexes=_38999_SEXES,
        removable=None,
    )


def _83723(shells: tuple[str, ...], positions: tuple[Code, ...], classes: tuple[Code, ...], sheets: str) -> Form:
    """`M83723/` sheet, class, shell, two digits of insert, position. The sex of the contacts is in the sheet."""
    return Form(
        family="83723-III",
        specification="MIL-DTL-83723",
        standard=_MIL_1554,
        status=_SECOND_HAND,
        source="public transcription of MIL-DTL-83723G 3.7.1",
        fields=(
            grammar.punctuation("M83723/"),
            Field("sheet", codes.picked((*codes.SHEETS_83723_SOCKETS, *codes.SHEETS_83723_PINS), sheets)),
            Field("class", classes),
            Field("shell", _shells(shells, "public transcription of MIL-DTL-83723G 3.7.1")),
            Field("insert", digits=(2, 2)),
            Field("position", positions),
        ),
        sexes={
            **{each.code: Sex.SOCKET for each in codes.SHEETS_83723_SOCKETS},
            **{each.code: Sex.PIN for each in codes.SHEETS_83723_PINS},
        },
        # Which of the classes beyond the plain ones are sealed is not known, so they leave it open.
        removable=None if classes == codes.CLASSES_83723_OTHER else True,
    )


def _83723_forms() -> tuple[Form, ...]:
    """Shell 8 has fewer positions (MIL-STD-1554A figure 1); firewall steel is for threaded shells (83723G 3.7.1)."""
    bayonet, threaded = ("71 72 73 74 75 76 77 78", "82 83 84 85 86 87 91 92 95 96")
    no_firewall = tuple(each for each in codes.CLASSES_83723 if each.code != "K")
    kinds = (
        (no_firewall, bayonet),
        (codes.CLASSES_83723, threaded),
        (codes.CLASSES_83723_OTHER, f"{bayonet} {threaded}"),
    )
    sizes = ((("8",), codes.POSITIONS_1554_SMALL), (_EVEN[1:], codes.POSITIONS_1554))
    return tuple(_83723(shells, positions, *kind) for shells, positions in sizes for kind in kinds)


def _26482(series: str, sheets: tuple[Code, ...], classes: tuple[Code, ...], *, removable: bool) -> Form:
    """`MS` sheet, class, shell-insert, contact, position, finish. The normal position is never written.

    Only series 1 has a finish, and cadmium is said by writing none.
    """
    finishes = tuple(each for each in codes.FINISHES_26482_1 if each.code != "W")
    return Form(
        family=f"26482-{series}",
        specification="MIL-DTL-26482",
        standard=_MIL_1669,
        status=_SECOND_HAND,
        source="public transcription of MIL-DTL-26482H 1.2.6",
        fields=(
            grammar.punctuation("MS"),
            Field("sheet", sheets),
            Field("class", classes),
            Field("shell", _shells(_EVEN, "public transcription of MIL-STD-1669A")),
            grammar.punctuation("-"),
            _INSERT,
            Field("contact", codes.CONTACTS_26482),
            Field("position", codes.POSITIONS_1669, omitted="N"),
            *((Field("finish", finishes, omitted="W"),) if series == "1" else ()),
        ),
        sexes={**_PIN_SOCKET, "A": Sex.PIN, "B": Sex.SOCKET},
        removable=removable,
    )


def _50151(sheets: tuple[Code, ...], classes: tuple[Code, ...], *, removable: bool) -> Form:
    """`MS` sheet, class, shell with S or SL, insert, contact, position."""
    shells = tuple(f"{size}{letters}" for size in range(8, 50, 2) for letters in ("", "S", "SL"))
    return Form(
        family="50151",
        specification="AS50151",
        standard=_MIL_1651,
        status=_SECOND_HAND,
        source="public transcription of MIL-DTL-5015H 6.6 and Table XIX",
        fields=(
            grammar.punctuation("MS"),
            Field("sheet", sheets),
            Field("class", classes),
            Field("shell", _shells(shells, "public transcription of MIL-STD-1651B")),
            grammar.punctuation("-"),
            _INSERT,
            Field("contact", codes.CONTACTS_50151),
            Field("position", codes.POSITIONS_1651, omitted="N"),
        ),
        sexes=_PIN_SOCKET,
        removable=removable,
    )


def _26500(shells: tuple[str, ...], positions: tuple[Code, ...]) -> Form:
    """`MS` sheet, class, shell, coupling, insert, contact, position: all from memory."""
    return Form(
        family="26500",
        specification="MIL-DTL-26500",
        standard=_MIL_1554,
        status=_MEMORY,
        source="the whole form is from memory",
        fields=(
            grammar.punctuation("MS"),
            Field("sheet", codes.SHEETS_26500),
            Field("class", codes.unexplained(ascii_uppercase, codes.CLASSES_26500)),
            Field("shell", _shells(shells, "the whole form is from memory", _MEMORY)),
            Field("coupling", codes.COUPLINGS_26500),
            Field("insert", digits=(1, 2)),
            Field("contact", codes.CONTACTS_26500),
            Field("position", positions),
        ),
        sexes=_PIN_SOCKET,
    )


def _26482_forms() -> tuple[Form, ...]:
    sealed = tuple(each for each in codes.CLASSES_26482_2 if each.meaning == "hermetic")
    plain = tuple(each for each in codes.CLASSES_26482_2 if each not in sealed)
    return (
        _26482("1", codes.SHEETS_26482_CRIMP, codes.CLASSES_26482_1, removable=True),
        _26482("1", codes.SHEETS_26482_SOLDER, codes.CLASSES_26482_1, removable=False),
        _26482("2", codes.SHEETS_26482_2, plain, removable=True),
        _26482("2", codes.SHEETS_26482_2, sealed, removable=False),
    )


def _38999_forms() -> tuple[Form, ...]:
    three, four = codes.SHEETS_38999_III, codes.SHEETS_38999_IV
    return (
        *(
            _38999_slash(family, codes.picked(sheets, words), shells, positions, removable=removable)
            for family, sheets, words, shells, positions, removable in (
                ("38999-III", three, "20 24 26", "ABCDEFGHJ", codes.KEYS_38999_III, True),
                ("38999-III", three, "21 23 25 27", "ABCDEFGHJ", codes.KEYS_38999_III, False),
                ("38999-IV", four, "40 42 44 46 47", "BCDEFGHJ", codes.KEYS_38999_IV, True),
                ("38999-IV", four, "41 43 45 48", "BCDEFGHJ", codes.KEYS_38999_IV, False),
            )
        ),
        _38999_ms("38999-I", codes.SHEETS_38999_I, _ODD),
        _38999_ms("38999-II", codes.SHEETS_38999_II, _EVEN),
    )


FORMS = (
    *_38999_forms(),
    *_83723_forms(),
    *_26482_forms(),
    _50151(codes.SHEETS_50151_CRIMP, codes.CLASSES_50151_CRIMP, removable=True),
    _50151(codes.SHEETS_50151_SOLDER, codes.CLASSES_50151_SOLDER, removable=False),
    # MIL-STD-1554A figure 1: shell 8 has fewer positions here too.
    _26500(("8",), codes.POSITIONS_1554_SMALL),
    _26500(_EVEN[1:], codes.POSITIONS_1554),
)
