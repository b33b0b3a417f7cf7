"""GS1 application identifiers: which are known, where a value ends, what it must look like. The tables are biip's.

What biip is lenient about is refused here: it would end a value that is too long where its form ends and read the rest as
another element, take digits of any script, and only note a wrong check digit.
"""

from collections.abc import Iterator

from biip import ParseConfig, ParseError
from biip.checksums import gs1_standard_check_digit
from biip.gs1_element_strings import GS1ElementString
from msgspec import Struct

# Its judgement of dates depends on the day on which it is asked; ours must not.
_CONFIG = ParseConfig(gs1_element_strings_verify_date=False)


class Field(Struct, frozen=True):
    """One element. The identifier is empty where none could be told; the value then holds all that was left."""

    identifier: str
    value: str


def read(piece: str) -> Iterator[Field]:
    """The elements between two separators; several where those before the last have a predefined length."""
    while piece:
        found = _first(piece)
        if found is None:
            yield Field("", piece)
            return
        yield found
        piece = piece[len(found.identifier) + len(found.value) :]


def _first(piece: str) -> Field | None:
    if not piece.isascii():
        return None
    try:
        found = GS1ElementString.extract(piece, config=_CONFIG)
    except ParseError:
        return None
    whole = found.ai.ai + found.value
    if not piece.startswith(whole) or (found.ai.separator_required and piece != whole):
        return None
    return Field(found.ai.ai, found.value)


# How many digits of the value the check digit closes (GS1 syntax dictionary, `csum`; 03 and 410-417 as biip has them).
_CHECKED = {"00": 18, **dict.fromkeys(("01", "02", "03", "8003"), 14), **{f"41{n}": 13 for n in range(8)}}

# GS1 syntax dictionary: what an identifier needs beside it (one identifier of each group), and what it excludes.
_NEEDS: dict[str, tuple[frozenset[str], ...]] = {
    "02": (frozenset(("37",)),),
    "21": (frozenset(("01", "03", "8006")),),
    "240": (frozenset(("01", "02", "03", "8006", "8026")),),
    "250": (frozenset(("01",)), frozenset(("21",))),
}
_EXCLUDES = {"01": frozenset(("255", "37")), "21": frozenset(("235",))}


def has_check_digit(field: Field) -> bool:
    """Whether a value's check digit is right, or the identifier has none."""
    digits = field.value[: _CHECKED.get(field.identifier, 0)]
    return not digits or gs1_standard_check_digit(digits[:-1]) == int(digits[-1])


def associated(fields: tuple[Field, ...]) -> bool:
    """Whether a set of elements keeps GS1's rules on which go together.

    Marks that follow the DoD's practice break them, so it is no fault if it does not.
    """
    present = {each.identifier for each in fields}
    return all(
        all(group & present for group in _NEEDS.get(each, ())) and not _EXCLUDES.get(each, frozenset()) & present
        for each in present
    )
