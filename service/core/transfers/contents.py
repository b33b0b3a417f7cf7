"""What a bundle says, once it holds together: the connector's definitions and history, and whether they make sense."""

from uuid import UUID

import msgspec
from msgspec import Struct

from service.core import chain, entries
from service.core.chain import DefinitionBody
from service.core.discrepancies import Code
from service.core.entries import Definition, Recorded
from service.core.transfers.bundle import DEFINITIONS, ENTRIES, MANIFEST, Bundle, BundleError

_CODES = frozenset(each.value for each in Code)
_REPORT = "Nothing was taken in. Tell the sender: their `tinebook verify` should say where the ledger is not as it was recorded"


class Contents(Struct, frozen=True):
    """A connector's definitions, oldest first, and its history in the order of recording."""

    definitions: tuple[DefinitionBody, ...]
    history: tuple[Recorded, ...]

    @property
    def definition(self) -> Definition:
        """The one that holds."""
        return self.definitions[-1].definition


def read(bundle: Bundle) -> Contents:
    """The content of a bundle. Raises `BundleError` for one that no ledger of ours can have held."""
    connector = bundle.manifest.connector
    definitions = tuple(
        _definition(connector, f"{DEFINITIONS}, line {number}", each.body)
        for number, each in enumerate(bundle.definitions, 1)
    )
    known = definitions[-1].definition
    told = bundle.manifest
    if (told.serial, told.cage, told.part_number) != (known.serial, known.cage, known.part_number):
        raise BundleError(MANIFEST, "it names another connector than the last definition does", _REPORT)
    cavities = frozenset(each.id for each in known.cavities)
    seen: set[UUID] = set()
    history = []
    for number, each in enumerate(bundle.entries, 1):
        place = f"{ENTRIES}, line {number}"
        recorded = _recorded(connector, number, place, each.body)
        _check(recorded, cavities, seen, place)
        history.append(recorded)
    return Contents(definitions, tuple(history))


def _definition(connector: UUID, place: str, data: bytes) -> DefinitionBody:
    try:
        body = chain.decode_definition(data)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise BundleError(place, f"it is no definition that this version can read ({error})", _REPORT) from error
    if body.definition.connector != connector:
        raise BundleError(place, "it defines another connector", _REPORT)
    return body


def _recorded(connector: UUID, number: int, place: str, data: bytes) -> Recorded:
    try:
        body = chain.decode_body(data)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise BundleError(place, f"it is no entry that this version can read ({error})", _REPORT) from error
    if (body.connector, body.number) != (connector, number):
        raise BundleError(place, "it is another connector's, or not in its place", _REPORT)
    return body.recorded


def _check(recorded: Recorded, cavities: frozenset[str], seen: set[UUID], place: str) -> None:
    entry = recorded.entry
    if entry.id in seen:
        raise BundleError(place, f"the id {entry.id} stands twice", _REPORT)
    seen.add(entry.id)
    for each in entries.cavities_of(entry):
        if each not in cavities:
            raise BundleError(place, f"it names the cavity {each!r}, which the connector does not have", _REPORT)
    for each in recorded.noted:
        if each not in _CODES:
            newer = "Bring this installation up to date, then take the bundle in"
            raise BundleError(place, f"it notes {each[:50]!r}, which this version does not know", newer)
