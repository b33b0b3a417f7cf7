"""What is shown in place of people who left: a pseudonym, wherever a text stands by which they were known.

Only digests of such texts are kept, so nothing says who a pseudonym is. What was hashed and signed stays as it is in the
database; only what is shown of it is changed.
"""

import hashlib
import re
from collections.abc import Mapping
from typing import Any
from uuid import UUID

import msgspec

_LONGEST_MEMORY = 10_000

PEOPLE = frozenset(
    {
        *(
            "performed_by",
            "recorded_by",
            "verified_by",
            "created_by",
            "computed_by",
            "withdrawn_by",
            "issued_by",
            "made_by",
        ),
        *(
            "stated_by",
            "registered_by",
            "corrected_by_person",
            "by",
            "badge",
            "signer",
            "inspector",
            "performer",
            "performers",
            "about",
        ),
    }
)
"""Fields that name a person, alone or in a list. Others are left alone: badge 117 is not cavity 117."""
BESIDE_A_BADGE = ("name", "certificate_number", "certificate_kind")
"""Fields that say more of whoever has the badge that stands beside them. By the badge, since two people may have one name."""

_FIELD = re.compile(rb'"(?:' + "|".join(sorted(PEOPLE)).encode() + rb')":\s*(\[[^\[\]{}]*\]|"(?:[^"\\]|\\.)*")')
_SIGNED = re.compile(rb'"statement":\s*("(?:[^"\\]|\\.)*")')
"""What was signed, as JSON within a text."""
_TEXT = re.compile(rb'"(?:[^"\\]|\\.)*"')


def digest(installation: UUID, shown: str) -> bytes:
    """What is kept of a text: SHA-256 of the installation's id and it. The database has the same function."""
    return hashlib.sha256(f"{installation}:{shown}".encode()).digest()


class Veil:
    """Pseudonyms by the digests of what they stand for."""

    def __init__(self, installation: UUID, pseudonyms: Mapping[bytes, str]) -> None:
        self._installation = installation
        self._pseudonyms = pseudonyms
        self._memory: dict[str, str] = {}

    def __bool__(self) -> bool:
        return bool(self._pseudonyms)

    def shown(self, text: str) -> str:
        """A text by which somebody may be known, as it is to be shown."""
        if not self._pseudonyms:
            return text
        found = self._memory.get(text)
        if found is None:
            found = self._pseudonyms.get(digest(self._installation, text), text)
            if len(self._memory) >= _LONGEST_MEMORY:
                self._memory.clear()
            self._memory[text] = found
        return found

    def document(self, data: bytes) -> bytes:
        """JSON as it is to be shown; the very bytes where it names nobody who left."""
        if not self._pseudonyms or not (
            any(map(self._names_somebody, _FIELD.finditer(data))) or any(map(self._signed, _SIGNED.finditer(data)))
        ):
            return data
        return msgspec.json.encode(self.value(msgspec.json.decode(data)))

    def _names_somebody(self, match: re.Match[bytes]) -> bool:
        texts = (msgspec.json.decode(each, type=str) for each in _TEXT.findall(match[1]))
        return any(self.shown(each) != each for each in texts)

    def _signed(self, match: re.Match[bytes]) -> bool:
        text = msgspec.json.decode(match[1], type=str)
        return self._statement(text) != text

    def _statement(self, text: str) -> str:
        return self.document(text.encode()).decode() if text.startswith("{") else text

    def value(self, value: Any) -> Any:
        """A value of JSON as it is to be shown."""
        if isinstance(value, list):
            return [self.value(each) for each in value]
        if not isinstance(value, dict):
            return value
        found = {name: self._field(name, each) for name, each in value.items()}
        badge = value.get("badge")
        if isinstance(badge, str) and self.shown(badge) != badge:
            found |= {name: self.shown(badge) for name in BESIDE_A_BADGE if isinstance(value.get(name), str)}
        return found

    def _field(self, name: str, value: Any) -> Any:
        if name == "statement" and isinstance(value, str):
            return self._statement(value)
        if name in PEOPLE:
            if isinstance(value, str):
                return self.shown(value)
            if isinstance(value, list):
                return [self.shown(each) if isinstance(each, str) else self.value(each) for each in value]
        return self.value(value)


NOTHING = Veil(UUID(int=0), {})
"""Where nobody has left."""
