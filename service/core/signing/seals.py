"""What is signed as bytes, and what binds a signature to what stands in it: RFC 8785 and SHA-256."""

import hashlib
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

import rfc8785
from msgspec import Struct

from service.core import chain


class StatementError(Exception):
    """A statement that has no canonical form: says why."""


class Sealed(Struct, frozen=True, kw_only=True):
    """Everything that a seal covers: the signature whole, what was signed by its hash."""

    id: UUID
    subject: str
    reference: str
    meaning: str
    outcome: str
    remark: str | None
    badge: str
    name: str
    certificate_number: str | None
    certificate_kind: str | None
    method: str
    exception_reason: str | None
    sha256: str
    signed_at: datetime


def canonical(statement: Mapping[str, Any]) -> bytes:
    """The RFC 8785 form of a statement.

    Raises:
        StatementError: it holds a number that not every reader takes alike (beyond 2^53), or text that is no text.
    """
    try:
        return chain.canonical(dict(statement))
    except (rfc8785.CanonicalizationError, UnicodeError, RecursionError) as error:
        raise StatementError(
            f"the statement has no canonical form (RFC 8785): {error}; write such numbers as text"
        ) from error


def digest(data: bytes) -> bytes:
    """SHA-256 of what was signed."""
    return hashlib.sha256(data).digest()


def seal(previous: bytes, sealed: Sealed) -> bytes:
    """The seal of a signature after the one before it on the same subject (empty for the first)."""
    return chain.link(previous, chain.canonical(sealed))
