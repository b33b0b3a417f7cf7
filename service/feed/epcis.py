"""Work at contacts as GS1 has it: an EPCIS 2.0 document in its JSON form, with words of its Core Business Vocabulary.

A contact is put into a composite object that exists and is taken out of one, for longer than a shipment lasts: an AssociationEvent
with the steps `installing` and `removing`. EPCIS has no place for the cavity; it stands in a field of ours. A contact has
no serial, so it is a quantity of one of its class. Who did the work is left out: partners need not know.
"""

import itertools
import warnings
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import TypeAlias
from urllib.parse import quote
from uuid import UUID

from msgspec import Struct

from service.core import digital_link, own_marks, references
from service.core.entries import Entry, Kind, Recorded
from service.core.own_marks import OwnMarkError

with warnings.catch_warnings():
    # Its source has an escape that Python complains of when it compiles it.
    warnings.simplefilter("ignore")
    from epcpy.epc_schemes.adi import ADI
    from epcpy.utils.common import ConvertException

MEDIA_TYPE = "application/ld+json"
KINDS = (Kind.INSERTION, Kind.REMOVAL, Kind.SEATING_TEST, Kind.CORRECTION)
"""What of the ledger a document can hold."""

_CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
_OURS = "tinebook"
_EXTENSION = "urn:tinebook:epcis:"
_CONTACT = "urn:tinebook:contact"

Json: TypeAlias = dict[str, object]


class Fact(Struct, frozen=True):
    """An entry of a connector, and what the rest of its history says about it."""

    recorded: Recorded
    connector: str
    contact: str | None = None
    corrected_by: Recorded | None = None


def connector(identity: UUID, serial: str, cage: str | None, part_number: str | None) -> str:
    """The URI of a connector: its GS1 Digital Link, or an EPC for aircraft parts (ADI, GS1 Tag Data Standard), or its id here."""
    if serial.startswith(digital_link.CANONICAL):
        return serial
    uri = f"urn:epc:id:adi:{cage}.{_part(part_number or '')}.{_part(serial)}"
    try:
        return identity.urn if cage is None else str(ADI(uri).epc_uri)
    except ConvertException:
        return identity.urn


def _part(text: str) -> str:
    return text.replace("/", "%2F")


def facts(recorded: Recorded, uri: str, history: Sequence[Recorded]) -> Fact | None:
    """What there is to tell of an entry; None where it is nothing for EPCIS. `history` is its connector's, as it was recorded.

    A correction tells of the entry that it voids, once more. One that came before that entry is told with it instead, so
    that the last a partner hears of an event is how it stands. One without effect tells of nothing.
    """
    entry = recorded.entry
    void = references.read(history).void
    earlier = list(itertools.takewhile(lambda each: each.entry.id != entry.id, history))
    if entry.kind is not Kind.CORRECTION:
        voiding = (each for each in earlier if each.entry.corrects == entry.id and entry.id in void and each.entry.note)
        return _told(recorded, uri, history, next(voiding, None))
    before = next((each for each in earlier if each.entry.id == entry.corrects), None)
    if before is None or before.entry.id not in void or not entry.note:
        return None
    return _told(before, uri, history, recorded)


def _told(recorded: Recorded, uri: str, history: Sequence[Recorded], corrected_by: Recorded | None) -> Fact | None:
    entry = recorded.entry
    if entry.kind in {Kind.INSERTION, Kind.REMOVAL}:
        return Fact(recorded, uri, entry.contact or _put_in_before(recorded, history), corrected_by)
    if entry.kind is Kind.SEATING_TEST and _conforms(entry) is not None:
        return Fact(recorded, uri, None, corrected_by)
    return None


def _put_in_before(recorded: Recorded, history: Iterable[Recorded]) -> str | None:
    """The contact that was last put into the cavity: what comes out is of that class, and receivers keep count by class."""
    if recorded.entry.kind is not Kind.REMOVAL:
        return None
    history = tuple(history)
    void = references.read(history).void
    earlier = [
        each
        for each in history
        if each.entry.kind is Kind.INSERTION
        and each.entry.cavity == recorded.entry.cavity
        and each.entry.id not in void
        and each.ordered_at <= recorded.ordered_at
    ]
    return max(earlier, key=lambda each: each.ordered_at).entry.contact if earlier else None


def _conforms(entry: Entry) -> bool | None:
    """Whether a seating test was passed; None where it does not say."""
    stated = [each for each in (entry.held, entry.level) if each is not None]
    return all(stated) if stated else None


def document(told: Iterable[Fact], created_at: datetime) -> Json:
    """A whole document. It may hold no event at all."""
    return {
        "@context": [_CONTEXT, {_OURS: _EXTENSION}],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": _instant(created_at),
        "epcisBody": {"eventList": [_event(each) for each in told]},
    }


def _event(fact: Fact) -> Json:
    entry = fact.recorded.entry
    whole: Json = {
        "type": "ObjectEvent" if entry.kind is Kind.SEATING_TEST else "AssociationEvent",
        "eventID": entry.id.urn,
        "eventTime": _instant(entry.performed_at),
        "eventTimeZoneOffset": _offset(entry.performed_at),
        "recordTime": _instant(fact.recorded.recorded_at),
    }
    whole |= _inspection(fact) if entry.kind is Kind.SEATING_TEST else _association(fact)
    whole |= _where_and_why(entry)
    if fact.corrected_by is not None:
        whole["errorDeclaration"] = _declaration(fact.corrected_by)
    return whole


def _association(fact: Fact) -> Json:
    """In the list of quantities even where the contact is not known: a removal that named none would mean all of them."""
    inserted = fact.recorded.entry.kind is Kind.INSERTION
    child = _CONTACT if fact.contact is None else f"{_CONTACT}:{quote(fact.contact, safe='')}"
    return {
        "parentID": fact.connector,
        "childQuantityList": [{"epcClass": child, "quantity": 1}],
        "action": "ADD" if inserted else "DELETE",
        "bizStep": "installing" if inserted else "removing",
    }


def _inspection(fact: Fact) -> Json:
    return {
        "epcList": [fact.connector],
        "action": "OBSERVE",
        "bizStep": "inspecting",
        "disposition": "conformant" if _conforms(fact.recorded.entry) else "non_conformant",
    }


def _where_and_why(entry: Entry) -> Json:
    found: Json = {f"{_OURS}:cavity": entry.cavity}
    bench, order = _mark(own_marks.Kind.BENCH, entry.bench), _mark(own_marks.Kind.WORK_ORDER, entry.work_order)
    if bench is not None:
        found["readPoint"] = {"id": bench}
    if order is not None:
        found["bizTransactionList"] = [{"bizTransaction": order}]
    if entry.force_n is not None:
        found[f"{_OURS}:forceNewton"] = entry.force_n
    return found


def _mark(kind: own_marks.Kind, name: str | None) -> str | None:
    try:
        return None if name is None else own_marks.build(kind, name)
    except OwnMarkError:
        return None


def _declaration(correction: Recorded) -> Json:
    """A corrected entry did not occur as it stands; what did is an event of its own, if somebody recorded it."""
    return {
        "declarationTime": _instant(correction.recorded_at),
        "reason": "did_not_occur",
        f"{_OURS}:correction": correction.entry.id.urn,
        f"{_OURS}:because": correction.entry.note,
    }


def _instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _offset(at: datetime) -> str:
    """The offset of the clock on the wall, to the minute: what was stated with the time."""
    minutes = round((at.utcoffset() or timedelta()).total_seconds() / 60)
    hours, rest = divmod(abs(minutes), 60)
    return f"{'-' if minutes < 0 else '+'}{hours:02}:{rest:02}"
