"""The letters of a document: which of them its font can draw, how wide they are, and where a text is broken into lines."""

import unicodedata
from functools import cache
from importlib import resources
from pathlib import Path

from fontTools.ttLib import TTFont

_FILES = {"": "DejaVuSansCondensed.ttf", "B": "DejaVuSansCondensed-Bold.ttf"}
_TO_THE_LEFT = frozenset({"R", "AL", "AN"})
_MM_PER_POINT = 25.4 / 72


def font_file(style: str) -> Path:
    """Where the font of a style ("" or "B") is."""
    return Path(str(resources.files("service.records").joinpath("fonts", _FILES[style])))


@cache
def _widths(style: str) -> dict[int, float]:
    """The width in em of each character that the font has."""
    with TTFont(font_file(style), lazy=True) as font:
        advances, em = font["hmtx"].metrics, font["head"].unitsPerEm
        return {code: advances[name][0] / em for code, name in font.getBestCmap().items()}


@cache
def _known() -> frozenset[int]:
    return frozenset(_widths("").keys() & _widths("B").keys())


def drawable(text: str) -> str:
    """A text that the font can draw and everybody reads alike: whatever else stands in it is shown as its code, not lost.

    That are letters that the font lacks, controls, and letters written to the left: they would stand in wrong order.
    """
    known = _known()
    return "".join(
        each if _plain(each, known) else f"\\u{ord(each):04x}" for each in unicodedata.normalize("NFC", text)
    )


def _plain(letter: str, known: frozenset[int]) -> bool:
    if letter == "\n":
        return True
    return letter.isprintable() and ord(letter) in known and unicodedata.bidirectional(letter) not in _TO_THE_LEFT


def width_mm(text: str, points: float, style: str = "") -> float:
    """How wide a drawable text is."""
    widths = _widths(style)
    return sum(widths[ord(each)] for each in text) * points * _MM_PER_POINT


def lines(text: str, room_mm: float, points: float, style: str = "") -> list[str]:
    """A text in lines that fit: broken where it says so, then between words, and a word that is too long anywhere."""
    found: list[str] = []
    for paragraph in drawable(text).split("\n"):
        found.extend(_paragraph(paragraph, room_mm, points, style))
    return found


def _paragraph(text: str, room_mm: float, points: float, style: str) -> list[str]:
    made, used_mm, space_mm = [""], 0.0, width_mm(" ", points, style)
    for word in text.split(" "):
        wide_mm = width_mm(word, points, style)
        gap_mm = space_mm if made[-1] else 0.0
        if used_mm + gap_mm + wide_mm <= room_mm:
            made[-1] = f"{made[-1]} {word}" if made[-1] else word
            used_mm += gap_mm + wide_mm
            continue
        if made[-1]:
            made.append("")
        pieces = _cut(word, room_mm, points, style)
        made[-1:] = pieces
        used_mm = width_mm(pieces[-1], points, style)
    return made


def _cut(word: str, room_mm: float, points: float, style: str) -> list[str]:
    pieces, used_mm = [""], 0.0
    for letter in word:
        wide_mm = width_mm(letter, points, style)
        if pieces[-1] and used_mm + wide_mm > room_mm:
            pieces.append("")
            used_mm = 0.0
        pieces[-1] += letter
        used_mm += wide_mm
    return pieces
