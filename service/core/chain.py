"""The chain: each entry's hash covers the one before it, over RFC 8785 bytes, so that a change anywhere shows."""

import hashlib
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec
import rfc8785
from msgspec import Struct

from service.core.entries import Definition, Entry, Recorded

_sorted_encoder = msgspec.json.Encoder(order="sorted")


class LedgerBody(Struct, frozen=True, kw_only=True):
    """What is hashed of one entry: the fact, its place in the connector's ledger, and how it was recorded."""

    connector: UUID
    number: int
    recorded: Recorded


class DefinitionBody(Struct, frozen=True, kw_only=True):
    """What is hashed of one definition: what the connector is from now on, and who said so when and why."""

    definition: Definition
    recorded_at: datetime
    recorded_by: str
    reason: str


_body_decoder = msgspec.json.Decoder(LedgerBody)
_definition_decoder = msgspec.json.Decoder(DefinitionBody)


def canonical(value: Any) -> bytes:
    """RFC 8785 bytes of any JSON value or struct."""
    return rfc8785.dumps(msgspec.to_builtins(value))


def canonical_entry(entry: Entry) -> bytes:
    """RFC 8785 bytes of an entry as its author sent it."""
    if entry.force_n is not None:
        return canonical(entry)
    # Without a float the two forms are the same bytes (a property test holds them to it) and this is 25 times faster.
    return _sorted_encoder.encode(entry)


def canonical_body(body: LedgerBody) -> bytes:
    """RFC 8785 bytes of an entry as it stands in the ledger."""
    if body.recorded.entry.force_n is not None:
        return canonical(body)
    return _sorted_encoder.encode(body)


def canonical_definition(body: DefinitionBody) -> bytes:
    """RFC 8785 bytes of a definition as it is recorded."""
    definition = body.definition
    ratings = (definition.rating, definition.mating_rating)
    fractions = (definition.nearing_fraction, *(each.nearing_fraction for each in ratings if each is not None))
    if any(each is not None for each in fractions):
        return canonical(body)
    return _sorted_encoder.encode(body)


def decode_body(data: bytes) -> LedgerBody:
    """Read what `canonical_body` wrote."""
    return _body_decoder.decode(data)


def decode_definition(data: bytes) -> DefinitionBody:
    """Read the RFC 8785 bytes of a definition as it was recorded."""
    return _definition_decoder.decode(data)


def digest(data: bytes) -> bytes:
    """SHA-256."""
    return hashlib.sha256(data).digest()


def link(previous: bytes, data: bytes) -> bytes:
    """The hash of the next record in a chain: SHA-256 over the previous hash (empty for the first) and the record's bytes."""
    return hashlib.sha256(previous + data).digest()
