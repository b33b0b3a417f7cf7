"""The values that part numbers are read into, and what is wrong with one."""

import enum

from msgspec import Struct


class Sex(enum.StrEnum):
    """What the insert holds."""

    PIN = "pin"
    SOCKET = "socket"


class Code(Struct, frozen=True):
    """One code that a field may hold, in words, with how sure its meaning is and where that comes from."""

    code: str
    meaning: str
    status: str
    source: str


class Expected(Struct, frozen=True):
    """What one field would have allowed at the place of a fault; the field `end` stands for the end of the number."""

    field: str
    allowed: tuple[str, ...] = ()


class Fault(Struct, frozen=True):
    """What is wrong with a part number. `at` is the index of the first character that fits no known form."""

    code: str
    text: str
    at: int
    expected: tuple[Expected, ...] = ()


class Part(Struct, frozen=True):
    """One field of a part number as written: its name, its code, the index at which it starts, and what it means.

    `status` and `source` are those of the meaning.
    """

    name: str
    code: str
    at: int
    meaning: str = ""
    status: str = ""
    source: str = ""


class Decoded(Struct, frozen=True, kw_only=True):
    """What a connector's part number states. `status` and `source` are those of its form.

    `contacts_supplied` is false for an insert that comes without its contacts; `removable` is false where contacts
    have no retainer (soldered or sealed in). None stands for what the number leaves open. `codes` has every field by
    name as `encode` takes it, those included that say their usual value by not being written.
    """

    text: str
    family: str
    specification: str
    status: str
    source: str
    arrangement_standard: str
    arrangement: str
    shell: str
    insert: str
    sheet: str
    shell_class: str
    sex: Sex | None
    contacts_supplied: bool
    removable: bool | None
    position: str
    positions: tuple[str, ...]
    parts: tuple[Part, ...]
    codes: dict[str, str]

    def start(self, name: str) -> int:
        """The index at which a field starts, or would start if it were written."""
        return next((each.at for each in self.parts if each.name == name), len(self.text))


class Contact(Struct, frozen=True, kw_only=True):
    """What the part number of a contact states: its detail sheet and its BIN, the number that its bands repeat."""

    text: str
    specification: str
    status: str
    source: str
    sheet: str
    bin: str
    sex: Sex | None
    parts: tuple[Part, ...]
    codes: dict[str, str]


class Tool(Struct, frozen=True, kw_only=True):
    """What the part number of an insertion or removal tool states. `family` is the family of the tools."""

    text: str
    family: str
    specification: str
    status: str
    source: str
    parts: tuple[Part, ...]
    codes: dict[str, str]
