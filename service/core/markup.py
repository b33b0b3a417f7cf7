"""Markup as a type of its own: whatever has it was escaped on the way, so that no text can turn into elements."""

import html
from typing import NewType

Markup = NewType("Markup", str)

_VOID = frozenset({"br", "hr", "input", "link", "meta"})
EMPTY = Markup("")


def text(shown: object) -> Markup:
    """Words as they are, every special character escaped."""
    return Markup(html.escape(str(shown)))


def element(name: str, /, *children: Markup, **attributes: object) -> Markup:
    """An element of HTML or SVG. Attributes that are None or False are left out, True stands for itself.

    A trailing underscore lets `class_` and `for_` be named; other underscores become hyphens.
    """
    written = "".join(_attribute(key, value) for key, value in attributes.items())
    if name in _VOID:
        return Markup(f"<{name}{written}>")
    return Markup(f"<{name}{written}>{joined(*children)}</{name}>")


def joined(*parts: Markup) -> Markup:
    """Several pieces after one another."""
    return Markup("".join(parts))


def _attribute(key: str, value: object) -> str:
    if value is None or value is False:
        return ""
    name = key.rstrip("_").replace("_", "-")
    return f' {name}="{html.escape(_written(name if value is True else value))}"'


def _written(value: object) -> str:
    """Figures of drawings to two places: no one sees more, and the text stays the same on every machine."""
    if not isinstance(value, float):
        return str(value)
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
