"""The grammar of part numbers: fields in their order, followed to read a number and to write one.

A form is data. Reading follows every form and, where none fits, reports the furthest place that any of them reached.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from msgspec import Struct

from service.core.part_numbers.values import Code, Expected, Fault, Part, Sex

DIGITS = tuple("0123456789")


class Field(Struct, frozen=True):
    """One field: the codes it may hold, or how many digits. Without a name it is punctuation.

    `omitted` is the code that the field stands for when it is not written; only such a field may be left out. `known`
    has what is known of some values of a field of digits.
    """

    name: str
    codes: tuple[Code, ...] = ()
    digits: tuple[int, int] | None = None
    omitted: str = ""
    known: tuple[Code, ...] = ()

    def meaning(self, code: str) -> Code | None:
        """What a code of this field means, if the field says so."""
        return next((each for each in (*self.codes, *self.known) if each.code == code), None)

    def canonical(self, code: str) -> str:
        """The code as it is written in the one spelling of a number: digits without surplus zeros."""
        if self.digits is None or not code.isdecimal() or not code.isascii():
            return code
        return code.lstrip("0").zfill(self.digits[0])


class Form(Struct, frozen=True, kw_only=True):
    """One form of part number. `sexes` are by contact code, or by sheet where a family puts the sex there."""

    family: str
    specification: str
    status: str
    source: str
    fields: tuple[Field, ...]
    standard: str = ""
    sexes: dict[str, Sex] = {}
    shells: dict[str, str] = {}
    removable: bool | None = True

    def field(self, name: str) -> Field:
        """A field by its name."""
        return next(each for each in self.fields if each.name == name)


def punctuation(*texts: str) -> Field:
    """A field without a name. Of several spellings the first is the one that is written."""
    return Field("", tuple(Code(each, "", "", "") for each in texts))


class Reach(NamedTuple):
    """Where a field could not go on, and what it would have taken there. `needed` is false where it could also end."""

    at: int
    field: str
    allowed: str
    needed: bool = True


def read(forms: Sequence[Form], text: str) -> tuple[Form, tuple[Part, ...]] | Fault:
    """The first form that a text has, with its fields as written (punctuation has no name, what was left out no code)."""
    reached: list[Reach] = []
    for form in forms:
        parts = _follow(form.fields, text, 0, reached)
        if parts is not None:
            return form, parts
    return _fault(text, reached)


def write(forms: Sequence[Form], codes: Mapping[str, str]) -> str | Fault:
    """The text of a number with these codes, by the first form that takes them all."""
    furthest: Fault | None = None
    for form in forms:
        written = _written(form, codes)
        if isinstance(written, str):
            return written
        if furthest is None or written.at > furthest.at:
            furthest = written
    return furthest or Fault("unknown_family", "No form of part number is known for this family.", 0)


def codes(form: Form, parts: Sequence[Part]) -> dict[str, str]:
    """The codes by field in their one spelling, with those that are stated by not being written."""
    pairs = zip(form.fields, parts, strict=True)
    return {field.name: field.canonical(part.code or field.omitted) for field, part in pairs if field.name}


def explained(form: Form, parts: Sequence[Part]) -> tuple[Part, ...]:
    """The fields that were written, each with its meaning. What no table has says so."""
    pairs = zip(form.fields, parts, strict=True)
    return tuple(_explained(field, part) for field, part in pairs if field.name and part.code)


def _explained(field: Field, part: Part) -> Part:
    found = field.meaning(field.canonical(part.code))
    if found is None:
        return Part(part.name, part.code, part.at, "in no table here", "unknown", "no source")
    return Part(part.name, part.code, part.at, found.meaning, found.status, found.source)


def _follow(fields: Sequence[Field], text: str, at: int, reached: list[Reach]) -> tuple[Part, ...] | None:
    """The parts of a text that has the form of the fields. `reached` notes where fields could not go on."""
    if not fields:
        if at < len(text):
            reached.append(Reach(at, "end", ""))
            return None
        return ()
    field = fields[0]
    for end in _ends(field, text, at, reached):
        rest = _follow(fields[1:], text, end, reached)
        if rest is not None:
            return (Part(field.name, text[at:end], at), *rest)
    return None


def _ends(field: Field, text: str, at: int, reached: list[Reach]) -> Iterator[int]:
    if field.digits is not None:
        yield from _digits(field, text, at, reached)
    for code in sorted((each.code for each in field.codes), key=len, reverse=True):
        common = next((n for n, char in enumerate(code) if text[at + n : at + n + 1] != char), len(code))
        if common == len(code):
            yield at + common
        else:
            left = code[common:] if not field.name else code[common]
            reached.append(Reach(at + common, field.name, left, needed=not field.omitted))
    if field.omitted:
        yield at


def _digits(field: Field, text: str, at: int, reached: list[Reach]) -> Iterator[int]:
    fewest, most = field.digits or (0, 0)
    run = 0
    while run < most and text[at + run : at + run + 1] in DIGITS:
        run += 1
    if run < most:
        reached.extend(Reach(at + run, field.name, digit, needed=run < fewest) for digit in DIGITS)
    yield from range(at + run, at + fewest - 1, -1)


def _fault(text: str, reached: Sequence[Reach]) -> Fault:
    at = max(each.at for each in reached)
    here = [each for each in reached if each.at == at]
    fields = [each for each in here if each.field != "end"]
    name = next((each.field for each in fields if each.needed), fields[0].field if fields else "end")
    expected = _expected(here)
    would = f"Allowed here: {allowed(expected)}."
    if at == len(text):
        return Fault("incomplete", f"The part number ends too early. Next would be: {allowed(expected)}.", at, expected)
    if name == "":
        return Fault("unknown_form", f"No known form of part number goes on with {text[at]!r}. {would}", at, expected)
    if name == "end":
        return Fault("surplus", f"The part number should end before {text[at]!r}.", at, expected)
    return Fault(f"bad_{name}", f"{text[at]!r} fits no known {name.replace('_', ' ')} here. {would}", at, expected)


def _expected(here: Sequence[Reach]) -> tuple[Expected, ...]:
    found: dict[str, dict[str, None]] = {}
    for each in here:
        found.setdefault(each.field, {}).update({each.allowed: None} if each.allowed else {})
    return tuple(Expected(field, tuple(sorted(texts))) for field, texts in found.items())


def allowed(expected: Sequence[Expected]) -> str:
    """What would be allowed, in words: the characters of each field, or the end."""
    return "; or ".join(_allowed(each) for each in sorted(expected, key=lambda each: each.field == "end"))


def _allowed(each: Expected) -> str:
    if each.field == "end":
        return "the end of the number"
    shown = "a digit" if each.allowed == DIGITS else ", ".join(each.allowed)
    return f"{shown} ({each.field.replace('_', ' ')})" if each.field else shown


def _written(form: Form, stated: Mapping[str, str]) -> str | Fault:
    text = ""
    unknown = stated.keys() - {each.name for each in form.fields if each.name}
    if unknown:
        names = ", ".join(sorted(unknown))
        return Fault("unknown_field", f"A part number of {form.family} has no field {names}.", 0)
    for field in form.fields:
        code = field.canonical(stated.get(field.name, field.omitted)) if field.name else field.codes[0].code
        if field.omitted and code == field.omitted:
            continue
        if not _takes(field, code):
            expected = (Expected(field.name, DIGITS if field.digits else tuple(each.code for each in field.codes)),)
            sentence = f"{code!r} is no {field.name.replace('_', ' ')} here. Allowed here: {allowed(expected)}."
            return Fault(f"bad_{field.name}", sentence, len(text), expected)
        text += code
    return text


def _takes(field: Field, code: str) -> bool:
    if field.digits is not None:
        fewest, most = field.digits
        return code.isascii() and code.isdecimal() and fewest <= len(code) <= most
    return any(each.code == code for each in field.codes)
