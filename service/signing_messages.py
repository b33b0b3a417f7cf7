"""The wire contract of people, their authority, and what they sign."""

from datetime import date, datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from msgspec import Meta

from service.core.entries import Note, Text
from service.core.signing.authority import What
from service.messages import DECIDES, Reply, Request

Subject = Literal["work_order", "record", "entries", "transfer"]
Meaning = Literal["performed", "inspected", "approved"]
Outcome = Literal["accepted", "refused"]
Method = Literal["secret", "openid"]
RuleName = Literal["same_person_inspection"]
Secret = Annotated[str, Meta(min_length=1, max_length=200)]
NewSecret = Annotated[str, Meta(min_length=8, max_length=200)]
"""Long enough that it isn't guessed within the attempts that are taken. From memory: NIST SP 800-63B asks for 8 at least."""
Scope = Annotated[str, Meta(max_length=200, pattern="^(all|(family|shop):[^\\x00-\\x1f\\x7f]+)$(?!\\n)")]
"""What authority extends to: `all`, the connectors of a `family:`, or what is done at the benches of a `shop:`."""
Reason = Annotated[Note, Meta(min_length=1)]
Reference = Annotated[Note, Meta(min_length=1)]


class CertificateWord(Request, frozen=True, kw_only=True):
    """A certificate as it is from a day on; without a number and a kind it ends there."""

    from_on: date
    number: Text | None = None
    kind: Text | None = None


class AuthorityWord(Request, frozen=True, kw_only=True):
    """What somebody may sign for, from one day to another, both within."""

    what: What
    from_on: date
    until_on: date | None = None
    scope: Scope = "all"


class Identity(Request, frozen=True, kw_only=True):
    """Who somebody is to the identity provider: its issuer, and the subject that it calls them by."""

    issuer: Text
    subject: Text


class PersonPut(Request, frozen=True, kw_only=True):
    """A person on the shop's list. What is left out stays as it is; what is said already is not kept twice.

    All but the name is for an administrator to say. Authority is added here, and taken back by a withdrawal.
    """

    name: Text
    certificate: CertificateWord | None = None
    authorities: Annotated[tuple[AuthorityWord, ...], Meta(max_length=100)] = ()
    identity: Identity | None = None


class Withdrawal(Request, frozen=True, kw_only=True):
    """Authority that is taken back, by its number, and why."""

    authority: Annotated[int, Meta(ge=1, le=2**63 - 1)]
    reason: Reason


class SecretIssue(Request, frozen=True, kw_only=True):
    """An initial secret; it signs nothing until its owner has changed it. In place of another one it needs a reason."""

    secret: NewSecret
    reason: Reason | None = None


class SecretChange(Request, frozen=True, kw_only=True):
    """A secret of one's own in place of the old one."""

    old: Secret
    new: NewSecret


class CertificateView(Reply, frozen=True, kw_only=True):
    """A certificate, and from which day on."""

    number: str | None
    kind: str | None
    from_on: date
    recorded_by: str
    recorded_at: datetime


class AuthorityView(Reply, frozen=True, kw_only=True):
    """An authority. `holds`: a signature of today may rest on it."""

    number: int
    what: What
    scope: str
    from_on: date
    until_on: date | None
    holds: bool
    withdrawn_at: datetime | None
    withdrawn_by: str | None
    withdrawn_because: str | None
    recorded_by: str
    recorded_at: datetime


class PersonView(Reply, frozen=True, kw_only=True):
    """A person with certificates (the one that holds is the last that has begun) and authority. `secret`: whose it is."""

    badge: str
    name: str
    certificate: CertificateView | None
    certificates: tuple[CertificateView, ...]
    authorities: tuple[AuthorityView, ...]
    secret: Literal["none", "initial", "own"]
    identity: Identity | None


class PersonList(Reply, frozen=True, kw_only=True):
    """A page of the people, by badge."""

    people: tuple[PersonView, ...]
    next: str | None


class RuleWord(Request, frozen=True, kw_only=True):
    """A switch that concerns signing, on or off from now on, and why."""

    allowed: bool
    reason: Reason


class RuleView(Reply, frozen=True, kw_only=True):
    """A word on a switch. `holds`: it is the last on it."""

    number: int
    name: RuleName
    allowed: bool
    reason: str
    recorded_by: str
    recorded_at: datetime
    holds: bool


class RuleList(Reply, frozen=True, kw_only=True):
    """Every word on the switches, the newest first. A switch without a word is off."""

    rules: tuple[RuleView, ...]


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
