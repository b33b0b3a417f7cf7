"""JSON values in little space: the names of objects are written once, and so is every value that occurs more than once.

An object is `[n, value, ...]` with its names at place n of `shapes` (of which the first is no names: a list), and the text `~n`
is the value at place n of `shared`, in hexadecimal digits. No text of the values begins with `~`.
"""

import json
from collections import Counter
from typing import Any

_MARK = "~"
_WORTH = 7
"""A shorter text is no longer than a reference to it."""


class Packer:
    """Packs values one after the other; `seen` says how often each occurs."""

    def __init__(self, seen: Counter[str]) -> None:
        """Begin with nothing shared."""
        self.seen = seen
        self.shapes: dict[tuple[str, ...], int] = {(): 0}
        self.shared: list[str] = []
        self._places: dict[str, int] = {}

    def short(self, value: Any) -> Any:
        """A value in its short form."""
        if not isinstance(value, dict | list | str):
            return value
        text = _text(value)
        if text in self._places:
            return _reference(self._places[text])
        inner = self._inner(value)
        if self.seen[text] == 1 or len(_text(inner)) < _WORTH:
            return inner
        self._places[text] = len(self.shared)
        self.shared.append(_text(inner))
        return _reference(self._places[text])

    def _inner(self, value: Any) -> Any:
        if isinstance(value, list):
            return [0, *(self.short(each) for each in value)]
        if isinstance(value, dict) and value:
            shape = self.shapes.setdefault(tuple(value), len(self.shapes))
            return [shape, *(self.short(each) for each in value.values())]
        return value


def _reference(place: int) -> str:
    return f"{_MARK}{place:x}"


def packed(values: list[Any]) -> bytes:
    """The bytes of values, a line a value, so that a change shows where it is."""
    packer = Packer(Counter(text for each in values for text in _parts(each)))
    rows = [_text(packer.short(each)) for each in values]
    shapes = [_text(list(each)) for each in packer.shapes]
    parts = (("shapes", shapes), ("shared", packer.shared), ("values", rows))
    return ("{" + ",\n".join(f'"{name}":[\n' + ",\n".join(lines) + "\n]" for name, lines in parts) + "}\n").encode()


def unpacked(data: bytes) -> list[Any]:
    """The values again."""
    file = json.loads(data)
    shapes: list[list[str]] = file["shapes"]
    shared: list[Any] = []

    def full(value: Any) -> Any:
        if isinstance(value, str) and value.startswith(_MARK):
            return shared[int(value[1:], 16)]
        if not isinstance(value, list):
            return value
        head, *rest = value
        inner = [full(each) for each in rest]
        return dict(zip(shapes[head], inner, strict=True)) if head else inner

    for each in file["shared"]:
        shared.append(full(each))  # noqa: PERF401 - one may hold those before it
    return [full(each) for each in file["values"]]


def _text(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False)


def _parts(value: Any) -> list[str]:
    """Every value that a value holds, as text."""
    inner: list[str] = []
    if isinstance(value, dict):
        inner = [text for each in value.values() for text in _parts(each)]
    elif isinstance(value, list):
        inner = [text for each in value for text in _parts(each)]
    return [_text(value), *inner] if isinstance(value, dict | list | str) else inner
