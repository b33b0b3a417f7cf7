"""What a label holds: the text of its symbol, and the lines that a person reads beside it."""

from collections.abc import Iterator
from uuid import UUID

from msgspec import Struct

from service.core import identity, marks, own_marks, wedge_profile
from service.core.envelope import EOT, GS, RS
from service.core.own_marks import Kind

LINE_CHARACTERS = 24
"""Longer lines are broken, never cut."""


class Content(Struct, frozen=True):
    """The text of a symbol, and the lines beside it."""

    text: str
    lines: tuple[str, ...]


def connector(connector_id: UUID, serial: str, cage: str | None, part_number: str | None) -> Content:
    """A connector's label: its UII where its elements are legal and mean this connector, else its id.

    37S before all others, since it says where the part number ends (ANSI MH10.8.2; a plain UII can't be split again).
    Without a part number 25S. The UII is what the register states: a label is no proof of who issued it.
    """
    keys = marks.keys(serial, cage, part_number, connector_id)
    found = (text for text in _messages(serial, cage, part_number) if _means(text, keys, serial, cage, part_number))
    named = (("P/N", part_number), ("S/N", serial), ("CAGE", cage))
    return Content(next(found, str(connector_id)), lines(f"{name} {value}" for name, value in named if value))


def own(kind: Kind, name: str) -> Content:
    """A badge, a tool, a work order, a cavity or a bench. Raises `OwnMarkError` for a name that can't be marked."""
    return Content(own_marks.build(kind, name), lines((kind.value.replace("_", " ").upper(), name)))


def wedge_check() -> Content:
    """The check symbol for scanners that type."""
    return Content(wedge_profile.CHECK, ("SCANNER CHECK", "scan once per station"))


def lines(wanted: Iterator[str] | tuple[str, ...]) -> tuple[str, ...]:
    """Lines as every output can show them: what is not printable Latin-1 by its code, long ones broken."""
    shown = ("".join(_visible(character) for character in line) for line in wanted)
    return tuple(
        line[start : start + LINE_CHARACTERS] for line in shown for start in range(0, len(line), LINE_CHARACTERS)
    )


def _visible(character: str) -> str:
    if character.isprintable() and character <= "\xff":
        return character
    return character.encode("unicode_escape").decode()


def _messages(serial: str, cage: str | None, part_number: str | None) -> Iterator[str]:
    if cage is None:
        return
    if part_number is not None:
        value = identity.self_delimiting(cage, part_number, serial)
        if value is not None:
            yield _enveloped(f"37S{value}")
    elif (uii := identity.construct_1(cage, serial)) is not None:
        yield _enveloped(f"25S{uii}")


def _enveloped(element: str) -> str:
    return f"[)>{RS}06{GS}{element}{RS}{EOT}"


def _means(text: str, keys: tuple[str, ...], serial: str, cage: str | None, part_number: str | None) -> bool:
    """Whether a scan of the label would find this connector."""
    mark = marks.read(text.encode())
    return not set(keys).isdisjoint(marks.look_up_keys(mark)) and not marks.contradicts(mark, serial, cage, part_number)
