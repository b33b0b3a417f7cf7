"""The table language of the tests: one line an entry, what it is found to be last.

    insertion C                              -> (nothing)
    @-90 removal C by=amy #out               -> removed_while_empty
    correction corrects=out note=typo        ->

Lines are a minute apart; `@N` puts one N minutes from the start instead. `#label` names an entry for later lines.
Values are read as JSON where they can be. A line `= C begun 3 wear within` states how a cavity stands at that point.
"""

import shlex
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec

from service.core import entries
from service.core.entries import CavityDefinition, Definition, Entry, Kind, Rating, Recorded

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
CONNECTOR = uuid.UUID("5e5e5e5e-0000-4000-8000-000000000001")
_NAMES = uuid.UUID("5e5e5e5e-0000-4000-8000-000000000000")


def definition(**changes: Any) -> Definition:
    """A new connector with the cavities A, C and c of size 20, rated 10 by the house, unless changed."""
    base: dict[str, Any] = {
        "connector": CONNECTOR,
        "serial": "EX-0001",
        "cavities": tuple(CavityDefinition(each, "20") for each in ("A", "C", "c")),
        "history": "new",
        "rating": Rating(value=10, basis="house"),
    }
    return Definition(**(base | changes))


class Line(msgspec.Struct):
    """One line of a table: an entry with what it should be found to be, or a statement of how a cavity stands."""

    text: str
    recorded: Recorded | None = None
    codes: tuple[str, ...] = ()
    stands: dict[str, str] = {}


def read(table: str) -> list[Line]:
    """A table as its lines."""
    labels: dict[str, uuid.UUID] = {}
    lines: list[Line] = []
    for number, raw in enumerate(each for each in table.splitlines() if each.strip()):
        text = raw.strip()
        if text.startswith("="):
            cavity, *rest = text[1:].split()
            lines.append(Line(text, stands={"cavity": cavity, **dict(zip(rest[::2], rest[1::2], strict=True))}))
            continue
        what, _, found = text.partition("->")
        codes = tuple(sorted(found.replace(",", " ").replace("(nothing)", "").split()))
        lines.append(Line(text, recorded=_recorded(what, number, labels), codes=codes))
    return lines


def _recorded(text: str, number: int, labels: dict[str, uuid.UUID]) -> Recorded:
    words = shlex.split(text)
    minute = number
    if words[0].startswith("@"):
        minute = int(words.pop(0)[1:])
    kind = Kind(words.pop(0))
    fields: dict[str, Any] = {}
    identity = uuid.uuid5(_NAMES, f"line {number}")
    for word in words:
        if word.startswith("#"):
            labels[word[1:]] = identity
        elif "=" in word:
            name, value = word.split("=", 1)
            fields[name] = _value(name, value, labels)
        else:
            fields["cavity"] = word
    at = START + timedelta(minutes=minute)
    noted = tuple(fields.pop("noted", "").split(",")) if "noted" in fields else ()
    entry = Entry(
        id=identity,
        connector=str(CONNECTOR),
        kind=kind,
        performed_at=at,
        performed_by=fields.pop("by", "amy"),
        **fields,
    )
    assert not entries.faults(entry), entries.faults(entry)
    return Recorded(
        entry=entry, recorded_at=START + timedelta(days=30, minutes=number), recorded_by="test", noted=noted
    )


def _value(name: str, text: str, labels: dict[str, uuid.UUID]) -> Any:
    if name in ("corrects", "refers_to"):
        return labels.get(text) or uuid.uuid5(_NAMES, text)
    if name == "cavities":
        return tuple(text.split(","))
    try:
        return msgspec.json.decode(text)
    except msgspec.DecodeError:
        return text
