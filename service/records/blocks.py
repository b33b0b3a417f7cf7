"""What a document of the record is made of. One description, from which paper and page are drawn alike."""

from datetime import datetime
from typing import Literal

from msgspec import Struct


class Heading(Struct, frozen=True):
    """Begins a part of a document, or with level 2 a part of a part."""

    text: str
    level: Literal[1, 2] = 1


class Pairs(Struct, frozen=True):
    """Names and what they stand for, in so many columns beside each other."""

    told: tuple[tuple[str, str], ...]
    columns: int = 2


class Column(Struct, frozen=True):
    """A column of a table: its heading, its share of the width, and whether figures stand to the right."""

    heading: str
    width: float
    figures: bool = False


class Table(Struct, frozen=True):
    """Rows of texts, one text for each column. `empty` is said where there is no row; `caption` says what the rows are."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str
    caption: str = ""


class Note(Struct, frozen=True):
    """A sentence or more; a strong one stands in a frame, since it must not be missed."""

    text: str
    strong: bool = False


class Symbol(Struct, frozen=True):
    """A QR code with what it says beside it. `rows` are its modules, true where dark, without the quiet zone."""

    rows: tuple[tuple[bool, ...], ...]
    caption: str
    size_mm: float = 24


class Sign(Struct, frozen=True):
    """Room for a signature by hand, with what it stands for."""

    meanings: tuple[str, ...]


Block = Heading | Pairs | Table | Note | Symbol | Sign


class Paper(Struct, frozen=True, kw_only=True):
    """A document: its title, what it is numbered or named, the hash of what it states, and its blocks in order.

    `dated` is the moment of the newest fact in it, never the moment of printing: the same facts are the same bytes.
    """

    title: str
    number: str
    sha256: str
    dated: datetime
    blocks: tuple[Block, ...]
    subtitle: str = ""
    landscape: bool = False
