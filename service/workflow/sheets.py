"""Tables that arrive as CSV: what is in each row, and what is wrong, by row and column.

UTF-8, with or without a byte order mark. Which of comma, semicolon and tab divides the columns is seen from the header alone.
Cells are taken as they stand: a scan in one may hold group separators, and blanks belong to it.
"""

import csv
import hashlib
import io
import re
from array import array
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Generic, Protocol, TypeVar, Union, get_args, get_origin, get_type_hints
from uuid import UUID

import msgspec
from msgspec import Struct

from service.workflow.shares import WHOLE, Share

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)

_DIVIDERS = (",", ";", "\t")
_IDS = UUID("6f2b1f52-7f4f-4c55-9e0c-3f5d5c1c6a10")
"""The name space of ids that are made of a row's content: the same row always has the same id."""
_TOGETHER = 1_000
"""Rows that are in one share where no column decides."""
_sorted_encoder = msgspec.json.Encoder(order="sorted")


class Flaw(Struct, frozen=True):
    """What is wrong with a table: in which row (the header is row 1), in which column if it is one, and what."""

    row: int
    column: str | None
    text: str

    def __str__(self) -> str:
        return f"row {self.row}, column {self.column}: {self.text}" if self.column else f"row {self.row}: {self.text}"


class Row(Struct, Generic[T], frozen=True):
    """One row that can be read: its number, what it says, and the digits of an id of its content."""

    number: int
    value: T
    id: str


class Form(Struct, Generic[T], frozen=True):
    """What a kind of table holds: its columns, those that every row fills, and what a row's cells are read as.

    `fixed` are fields that no column states; where `identified`, the row's id becomes the field `id`. `shared_by` is the
    column whose cell says in which share a row is; rows without one are shared out by their number.
    """

    name: str
    made: type[T]
    columns: tuple[str, ...]
    needed: tuple[str, ...]
    fixed: Mapping[str, str] = {}
    identified: bool = False
    shared_by: str | None = None
    faults: Callable[[T], Iterable[tuple[str, str]]] = lambda _: ()


class _Kind(Struct, frozen=True):
    """How a cell that is not text has to look."""

    pattern: re.Pattern[str]
    hint: str


_KINDS = {
    datetime: _Kind(
        re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}T.*(?:Z|[+-][0-9]{2}:?[0-9]{2})"),
        "needs day, time and zone, such as 2026-11-02T09:30:00+01:00",
    ),
    bool: _Kind(re.compile("true|false", re.IGNORECASE), "is true or false"),
    int: _Kind(re.compile("-?[0-9]{1,18}"), "is a whole number"),
    float: _Kind(re.compile("-?[0-9]{1,18}([.][0-9]{1,18})?"), "is a number, such as 1.25"),
}


def read(path: Path, form: Form[T], share: Share = WHOLE) -> Iterator[Row[T] | Flaw]:
    """The rows of a share of a table one after the other. What is wrong with the header, or can't be read on, ends it.

    A row whose share can't be told is a flaw in every share.
    """
    with path.open("rb") as file:
        lines = _decoded(file)
        try:
            line = next(lines, "").removeprefix("\ufeff")
            divider = _divider(line, form.columns)
            names = next(csv.reader(io.StringIO(line, newline=""), delimiter=divider, strict=True), [])
            flaws = list(_header_flaws(names, form))
            yield from flaws or _rows(csv.reader(lines, delimiter=divider, strict=True), names, form, share)
        except UnicodeDecodeError:
            yield Flaw(1, None, "the file is not in UTF-8: save it again as CSV UTF-8")
        except csv.Error as error:
            yield Flaw(1, None, f"the header can't be read: {error}")


def _decoded(file: Iterable[bytes]) -> Iterator[str]:
    """Line by line, so that a byte that is no text is found in its row and not somewhere in a block."""
    for line in file:
        yield line.decode()


def _divider(line: str, known: tuple[str, ...]) -> str:
    def fitting(divider: str) -> int:
        return sum(each in known for each in line.rstrip("\r\n").replace('"', "").split(divider))

    return max(_DIVIDERS, key=fitting)


def _header_flaws(names: list[str], form: Form[Any]) -> Iterator[Flaw]:
    if not names:
        yield Flaw(1, None, f"the first row names the columns: {', '.join(form.columns)}")
        return
    for name, count in Counter(names).items():
        if name not in form.columns:
            yield Flaw(1, name, f"there is no such column; the columns are {', '.join(form.columns)}")
        elif count > 1:
            yield Flaw(1, name, "stands twice")
    for name in form.needed:
        if name not in names:
            yield Flaw(1, name, "is missing")


class _Reader(Protocol[T_co]):
    def __next__(self) -> T_co: ...


def _rows(reader: _Reader[list[str]], names: list[str], form: Form[T], share: Share) -> Iterator[Row[T] | Flaw]:
    patterns = [(name, kind.pattern.fullmatch) for name, kind in _typed(form).items() if name in names]
    at = names.index(form.shared_by) if form.shared_by in names else None
    number = 1
    while True:
        number += 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except UnicodeDecodeError:
            yield Flaw(number, None, "is not in UTF-8: save the file again as CSV UTF-8; nothing after it was read")
            return
        except csv.Error as error:
            yield Flaw(number, None, f"can't be read: {error}; nothing after it was read")
            return
        if not any(cells):
            continue
        if len(cells) != len(names):
            yield Flaw(number, None, f"has {len(cells)} cells, the header has {len(names)}")
            continue
        if not share.has(str(number // _TOGETHER) if at is None else cells[at]):
            continue
        given = {name: cell for name, cell in zip(names, cells, strict=True) if cell}
        read = _read(number, given, form, patterns)
        if isinstance(read, Row):
            yield read
        else:
            yield from read


def _read(
    number: int, given: dict[str, str], form: Form[T], patterns: Iterable[tuple[str, Callable[[str], object]]]
) -> Row[T] | Iterable[Flaw]:
    own = _content_digits(form.name, given)
    whole = {"id": own, **given, **form.fixed} if form.identified else {**given, **form.fixed}
    for name, fits in patterns:
        if name in given and not fits(given[name]):
            return _cell_flaws(number, given, form)
    try:
        value = msgspec.convert(whole, form.made, strict=False)
    except (msgspec.ValidationError, ValueError) as error:
        return list(_cell_flaws(number, given, form)) or [Flaw(number, None, str(error))]
    return [Flaw(number, column, text) for column, text in form.faults(value)] or Row(number, value, own)


def _cell_flaws(number: int, given: dict[str, str], form: Form[Any]) -> Iterator[Flaw]:
    """What is wrong with a row, cell by cell; only ever asked of a row that could not be read."""
    hints, typed = get_type_hints(form.made, include_extras=True), _typed(form)
    for name in form.columns:
        cell = given.get(name)
        if cell is None:
            if name in form.needed:
                yield Flaw(number, name, "is empty")
        elif name in typed and not typed[name].pattern.fullmatch(cell):
            yield Flaw(number, name, f"{cell[:80]!r}: {typed[name].hint}")
        else:
            try:
                msgspec.convert(cell, hints[name], strict=False)
            except (msgspec.ValidationError, ValueError) as error:
                yield Flaw(number, name, f"{cell[:80]!r}: {error}")


def content_id(name: str, given: Mapping[str, str]) -> UUID:
    """The id of a row's content, whatever the order of its columns."""
    return UUID(_content_digits(name, given))


def _content_digits(name: str, given: Mapping[str, str]) -> str:
    """The digits of such an id: a UUID of version 5 (RFC 9562), made here since the library's way is three times slower."""
    digits = hashlib.sha1(_IDS.bytes + _sorted_encoder.encode([name, given]), usedforsecurity=False).hexdigest()
    return f"{digits[:12]}5{digits[13:16]}{'89ab'[int(digits[16], 16) & 3]}{digits[17:32]}"


def _typed(form: Form[Any]) -> dict[str, _Kind]:
    hints = get_type_hints(form.made, include_extras=True)
    found = {name: _KINDS.get(_plain(hints[name])) for name in form.columns}
    return {name: kind for name, kind in found.items() if kind is not None}


def _plain(hint: Any) -> Any:
    """The type of a cell behind `| None` and its limits."""
    if get_origin(hint) in (Union, UnionType):
        (hint,) = (each for each in get_args(hint) if each is not type(None))
    return get_args(hint)[0] if get_origin(hint) is Annotated else hint


class Repeats:
    """Finds rows that say what an earlier one said, in sixteen bytes a row: the keys, and whose they are."""

    def __init__(self) -> None:
        self.keys = array("Q")
        self.rows = array("Q")

    def add(self, key: UUID, row: int) -> None:
        """Take note of a row."""
        self.keys.append(key.int >> 64)
        self.rows.append(row)

    def extend(self, other: "Repeats") -> None:
        """Take note of all rows that another took note of."""
        self.keys.extend(other.keys)
        self.rows.extend(other.rows)

    def flaws(self, column: str | None, what: str) -> Iterator[Flaw]:
        """Every row whose key an earlier row has."""
        if len(set(self.keys)) == len(self.keys):
            return
        first: dict[int, int] = {}
        for row, key in sorted(zip(self.rows, self.keys, strict=True)):
            if key in first:
                yield Flaw(row, column, f"{what} row {first[key]}")
            else:
                first[key] = row


class Checked(Struct, frozen=True):
    """What one share of a table was found to be: how many rows can be read, what is wrong, and what each row says."""

    rows: int
    flaws: list[Flaw]
    repeats: Repeats


def verdict(shares: Sequence[Checked], column: str | None, what: str) -> tuple[int, list[Flaw]]:
    """How many rows a table has and every flaw in it, by row, once all shares are checked; `what` says what a repeat is."""
    repeats = Repeats()
    for each in shares:
        repeats.extend(each.repeats)
    flaws = dict.fromkeys(flaw for each in shares for flaw in each.flaws)
    flaws.update(dict.fromkeys(repeats.flaws(column, what)))
    return sum(each.rows for each in shares), sorted(flaws, key=lambda flaw: flaw.row)
