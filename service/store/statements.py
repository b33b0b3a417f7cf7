"""Every SQL statement has a name and stands in a .sql file beside a sentence that says what it answers."""

import re
from importlib import resources
from types import MappingProxyType

_NAME = re.compile(r"^-- name: (\w+)\n", re.MULTILINE)


def read(text: str) -> dict[str, str]:
    """The named statements of one file. A name that stands twice is an error."""
    parts = _NAME.split(text)[1:]
    found: dict[str, str] = {}
    for name, body in zip(parts[::2], parts[1::2], strict=True):
        if name in found:
            raise ValueError(f"statement {name!r} stands twice")
        found[name] = body.strip()
    return found


def _load() -> MappingProxyType[str, str]:
    found: dict[str, str] = {}
    for file in sorted((resources.files("service.store") / "queries").iterdir(), key=lambda each: each.name):
        for name, body in read(file.read_text(encoding="utf-8")).items():
            if name in found:
                raise ValueError(f"statement {name!r} stands in two files")
            found[name] = body
    return MappingProxyType(found)


SQL = _load()
"""Statement name -> statement. Read once at import: it is part of the program, like its code."""
