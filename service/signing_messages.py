"""The wire contract of people, their authority, and what they sign."""

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from msgspec import Meta

from service.core.entries import Note, Text
from service.messages import DECIDES, Reply, Request

Subject = Literal["work_order", "record", "entries", "transfer"]
Meaning = Literal["performed", "inspected", "approved"]
Outcome = Literal["accepted", "refused"]
Method = Literal["secret", "openid"]
Secret = Annotated[str, Meta(min_length=1, max_length=200)]
Reason = Annotated[Note, Meta(min_length=1)]
Reference = Annotated[str, Meta(min_length=1, max_length=4000)]


class SignatureRequest(Request, frozen=True, kw_only=True):
    """What somebody signs. `statement` is what the screen showed, whole; it has to be what is so now.

    `remark` says what an inspection found, and is needed where it refuses. `exception_reason` makes it an inspection of one's
    own work, where the shop allows that at all.
    """

    subject: Subject
    reference: Reference
    statement: dict[str, Any]
    meaning: Meaning
    badge: Text
    secret: Secret
    outcome: Outcome = "accepted"
    remark: Reason | None = None
    exception_reason: Reason | None = None
    id: UUID | None = None


class Signature(Reply, frozen=True, kw_only=True):
    """A signature, with name and certificate as they were when it was made.

    `statement` is the RFC 8785 text of what was signed, `sha256` the hash of its bytes. `seal`: SHA-256 over the seal of the
    signature before it on the same subject and the RFC 8785 form of this one. `intact`: both still fit.
    """

    number: int
    id: UUID
    subject: Subject
    reference: str
    meaning: Meaning
    outcome: Outcome
    remark: str | None
    badge: str
    name: str
    certificate_number: str | None
    certificate_kind: str | None
    method: Method
    exception_reason: str | None
    statement: str
    sha256: str
    seal: str
    signed_at: datetime
    intact: bool
    notice: str = DECIDES


class SignatureList(Reply, frozen=True, kw_only=True):
    """The signatures on one subject, oldest first."""

    signatures: tuple[Signature, ...]
