"""The wire contract of part numbers: everything that is known of one. `status` and `source` say how sure each thing is.

Statuses: read, second-hand, derived, common practice, memory, and unknown where a code stands in no table.
"""

from typing import Literal

from service.messages import DECIDES, Reply

ShellHalf = Literal["plug", "receptacle"]


class FieldView(Reply, frozen=True, kw_only=True):
    """One field of a part number as written, `at` being the index at which it starts."""

    name: str
    code: str
    at: int
    meaning: str
    status: str
    source: str


class ExpectedView(Reply, frozen=True, kw_only=True):
    """What one field would have allowed; the field `end` is the end of the number, one without a name punctuation."""

    field: str
    allowed: tuple[str, ...]


class FaultView(Reply, frozen=True, kw_only=True):
    """What is wrong with a part number: the index of the wrong character, that character, and what would be allowed.

    `character` is null where the number ends too early.
    """

    code: str
    text: str
    at: int
    character: str | None
    expected: tuple[ExpectedView, ...]


class FormView(Reply, frozen=True, kw_only=True):
    """The form that the number has: syntax only, whatever the reference data say."""

    family: str
    specification: str
    status: str
    source: str


class BandView(Reply, frozen=True, kw_only=True):
    """One colour band of a contact."""

    digit: str
    colour: str


class ContactView(Reply, frozen=True, kw_only=True):
    """A contact with its bands in reading order. `known` is whether its number is on the list."""

    part_number: str
    known: bool
    sex: str | None
    mating_size: str | None
    wire_awg: str | None
    serves: str
    duty: str | None
    bands: tuple[BandView, ...]
    reading_order: str
    doubt: str
    status: str
    source: str


class ToolUseView(Reply, frozen=True, kw_only=True):
    """What a tool does: which half of the job for which contact size of which families, with which end."""

    part_number: str
    half: str
    contact_size: str
    end: str
    families: tuple[str, ...]
    status: str
    source: str


class SizeView(Reply, frozen=True, kw_only=True):
    """How many cavities of one contact size an arrangement has."""

    contact_size: str
    count: int


class CavityPlaceView(Reply, frozen=True, kw_only=True):
    """One cavity with its printed id."""

    id: str
    contact_size: str


class PositionView(Reply, frozen=True, kw_only=True):
    """The positions that the number could have. `of` is whether the form or the arrangement says so."""

    allowed: tuple[str, ...]
    of: Literal["form", "arrangement"]


class ArrangementView(Reply, frozen=True, kw_only=True):
    """An insert arrangement. `known` is whether it is on its standard's list; `total` is null where it is not.

    `cavities` is null where their ids are not known: ids are never made up. `inserts` are those that the list has for
    this shell in this family.
    """

    standard: str
    name: str
    known: bool
    active: bool | None
    total: int | None
    contacts: tuple[SizeView, ...]
    cavities: tuple[CavityPlaceView, ...] | None
    cavities_status: str | None
    spare_contacts: int | None
    inserts: tuple[str, ...]
    status: str | None
    source: str | None


class KeyingView(Reply, frozen=True, kw_only=True):
    """Where the other keys of the shell stand, in degrees from the main key, in the order AR, BR, CR, DR."""

    position: str
    angles_deg: tuple[int, ...]
    status: str
    source: str


class ConnectorKindView(Reply, frozen=True, kw_only=True):
    """What a connector's part number says, with what the reference data have on it."""

    title: str | None
    shell: str
    shell_half: ShellHalf | None
    sex: str | None
    contacts_supplied: bool
    removable: bool | None
    position: str
    positions: PositionView
    arrangement: ArrangementView
    keying: KeyingView | None
    release: str | None
    release_status: str | None
    contacts: tuple[ContactView, ...]
    tools: tuple[ToolUseView, ...]


class PartNumberView(Reply, frozen=True, kw_only=True):
    """Everything that is known of a part number.

    Three things are apart: whether the syntax is fine (`form`, else null with a fault), whether what it names is on the
    lists (`known`), and what speaks against it all the same (`fault`). `canonical` is its one spelling.
    """

    number: str
    canonical: str | None
    kind: Literal["connector", "contact", "tool"] | None
    syntax: Literal["fine", "wrong"]
    known: bool
    form: FormView | None
    fields: tuple[FieldView, ...]
    fault: FaultView | None
    doubts: tuple[str, ...]
    connector: ConnectorKindView | None
    contact: ContactView | None
    tools: tuple[ToolUseView, ...]
    notice: str = DECIDES
