"""Making signatures, and reading them back with the proof that nothing in them was changed.

Who signs has been proven before (`proving`, or the identity provider). What is so now comes as a function, so that this knows
nothing of work orders or records; it is asked in the transaction that signs.
"""

from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

import asyncpg
import msgspec
from msgspec import Struct, structs

from service import problems
from service import signing_messages as messages
from service.core import chain
from service.core.signing import rules, seals
from service.core.signing.authority import Place
from service.core.signing.rules import Rule, Situation
from service.core.signing.seals import Sealed
from service.signing_messages import Meaning, Method, Outcome, Signature, Subject
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow import people, refusing
from service.workflow.people import Person

Statement = Callable[[Connection, str], Awaitable[Mapping[str, Any]]]
"""What there is to sign under a reference, as it is now. Raises the problem where there is nothing."""

SAME_PERSON: messages.RuleName = "same_person_inspection"


class Act(Struct, frozen=True, kw_only=True):
    """A signature that somebody who is proven is about to make."""

    subject: Subject
    reference: str
    statement: Mapping[str, Any]
    meaning: Meaning
    badge: str
    method: Method
    outcome: Outcome = "accepted"
    remark: str | None = None
    exception_reason: str | None = None
    id: UUID | None = None


class Signed(Struct, frozen=True):
    """A signature, and whether it is new: the same again under its id is not made twice."""

    signature: Signature
    new: bool


async def sign(connection: Connection, act: Act, at: datetime, current: Statement) -> Signed:
    """Sign what the screen showed, if that still is so and the signer may.

    Raises:
        ProblemRaised: the statement has changed, the id was used for something else, or a rule of signing says no.
    """
    canonical = _canonical(act.statement)
    try:
        async with connection.transaction():
            await database.run(connection, "lock_signing", act.subject, act.reference)
            before = await _again(connection, act, canonical)
            if before is not None:
                return Signed(before, new=False)
            await _compare(connection, act, canonical, current)
            return Signed(await _made(connection, act, canonical, at), new=True)
    except asyncpg.CheckViolationError as error:
        raise _refused_by_database(error) from error
    except asyncpg.UniqueViolationError as error:
        raise _reused(act.id) from error


async def of(connection: Connection, subject: str, reference: str) -> tuple[Signature, ...]:
    """The signatures on a subject, oldest first."""
    rows = await database.fetch(connection, "signatures", subject, reference)
    found, previous = [], b""
    for row in rows:
        found.append(_view(row, previous))
        previous = row["seal"]
    return tuple(found)


async def one(connection: Connection, signature: UUID) -> Signature:
    """One signature by its id. Raises the problem if there is none."""
    where = await database.fetch_one(connection, "signature_subject", signature)
    if where is not None:
        for each in await of(connection, where["subject"], where["reference"]):
            if each.id == signature:
                return each
    raise problems.raised(problems.Type.UNKNOWN_SIGNATURE, f"no signature has the id {signature}")


async def altered(connection: Connection) -> AsyncIterator[tuple[UUID, str]]:
    """The signatures that are not as they were made, by their hash, their seal, or what the feed was told of them."""
    before, previous = ("", ""), b""
    async with connection.transaction(isolation="repeatable_read", readonly=True):
        async for row in connection.cursor(SQL["every_signature"]):
            previous = previous if (row["subject"], row["reference"]) == before else b""
            if not _view(row, previous).intact:
                yield row["id"], "is not what was signed, or not in its place: its hash or its seal does not fit"
            before, previous = (row["subject"], row["reference"]), row["seal"]
        for row in await database.fetch(connection, "signatures_unlike_the_feed"):
            yield row["id"], "is not as the feed was told of it when it was made"


async def situation(connection: Connection, subject: str, reference: str, signer: Person | None = None) -> Situation:
    """What there is to judge by: for `rules.broken` with a signer, for `rules.inspection_stands` without one."""
    rows = await database.fetch(connection, "signed_work", subject, reference)
    steps = tuple(
        rules.Step(
            performed_by=row["performed_by"],
            happened_at=row["happened_at"],
            place=Place(row["family"], row["shop"]),
            void=row["is_void"],
        )
        for row in rows
    )
    earlier = tuple(
        rules.Earlier(meaning=row["meaning"], outcome=row["outcome"], badge=row["badge"], signed_at=row["signed_at"])
        for row in await database.fetch(connection, "signatures", subject, reference)
    )
    allowed = bool(await connection.fetchval(SQL["signing_rule"], SAME_PERSON))
    authorities = () if signer is None else signer.authorities
    return Situation(authorities=authorities, steps=steps, earlier=earlier, exception_allowed=allowed)


async def entries_statement(connection: Connection, reference: str) -> dict[str, Any]:
    """Entries as they were sent, by their ids with commas between: what there is to sign of work that has no work order.

    Raises:
        ProblemRaised: the reference is no list of ids, or no entry of the ledger has one of them.
    """
    try:
        wanted = [UUID(each) for each in reference.split(",")]
    except ValueError:
        wanted = []
    if not wanted or ",".join(str(each) for each in dict.fromkeys(wanted)) != reference:
        text = "entries are named by their ids, each once, in small letters, with commas between and no blanks"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/reference", text))
    rows = {row["id"]: row["body"] for row in await database.fetch(connection, "entries_by_id", wanted)}
    missing = [str(each) for each in wanted if each not in rows]
    if missing:
        text = f"not in the ledger: {', '.join(missing[:5])}; what waits for its connector is signed once it has joined"
        raise problems.raised(problems.Type.UNKNOWN_ENTRY, text, ("#/reference", text))
    facts = [msgspec.to_builtins(chain.decode_body(rows[each]).recorded.entry) for each in wanted]
    return {"entries": facts}


async def say(
    connection: Connection, name: messages.RuleName, word: messages.RuleWord, by: str, at: datetime
) -> messages.RuleList:
    """Turn a switch on or off. Every word on it stays."""
    await database.run(connection, "record_signing_rule", name, word.allowed, word.reason, by, at)
    return await said(connection)


async def said(connection: Connection) -> messages.RuleList:
    """Every word on the switches, the newest first."""
    seen: set[str] = set()
    found = []
    for row in await database.fetch(connection, "signing_rules"):
        found.append(messages.RuleView(**row, holds=row["name"] not in seen))
        seen.add(row["name"])
    return messages.RuleList(rules=tuple(found))


def _canonical(statement: Mapping[str, Any]) -> bytes:
    try:
        return seals.canonical(statement)
    except seals.StatementError as error:
        raise problems.raised(problems.Type.INVALID_REQUEST, str(error), ("#/statement", str(error))) from error


async def _again(connection: Connection, act: Act, canonical: bytes) -> Signature | None:
    """The signature that is there under this id, where it is the very same."""
    if act.id is None:
        return None
    where = await database.fetch_one(connection, "signature_subject", act.id)
    if where is None:
        return None
    found = await one(connection, act.id)
    same = ("subject", "reference", "meaning", "outcome", "remark", "badge", "exception_reason")
    if found.statement.encode() != canonical or any(getattr(found, each) != getattr(act, each) for each in same):
        raise _reused(act.id)
    return found


def _reused(identity: UUID | None) -> problems.ProblemRaised:
    text = f"the id {identity} was used for another signature: make a new one"
    return problems.raised(problems.Type.ID_REUSED, text, ("#/id", text))


async def _compare(connection: Connection, act: Act, canonical: bytes, current: Statement) -> None:
    if seals.canonical(await current(connection, act.reference)) != canonical:
        text = (
            "what was shown is not what is so now (the work has changed since, or the statement was altered on the way): "
            "look again, and sign what is shown then"
        )
        raise problems.raised(problems.Type.STATEMENT_CHANGED, text, ("#/statement", text))


async def _made(connection: Connection, act: Act, canonical: bytes, at: datetime) -> Signature:
    if await database.fetch_one(connection, "lock_person", act.badge) is None:
        raise people.unknown(act.badge)
    signer = await people.as_of(connection, act.badge, at)
    if signer is None:
        raise people.unknown(act.badge)
    _judge(act, await situation(connection, act.subject, act.reference, signer), at)
    sealed = Sealed(
        id=act.id or uuid4(),
        subject=act.subject,
        reference=act.reference,
        meaning=act.meaning,
        outcome=act.outcome,
        remark=act.remark,
        badge=signer.badge,
        name=signer.name,
        certificate_number=signer.certificate_number,
        certificate_kind=signer.certificate_kind,
        method=act.method,
        exception_reason=act.exception_reason,
        sha256=seals.digest(canonical).hex(),
        signed_at=at,
    )
    await _keep(connection, sealed, canonical)
    return await one(connection, sealed.id)


def _judge(act: Act, found: Situation, at: datetime) -> None:
    if act.outcome == "refused" and (act.meaning != "inspected" or act.remark is None):
        text = "only an inspection refuses, and it says in `remark` what it found"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/outcome", text))
    if act.meaning == "inspected" and act.subject not in rules.WORKED_ON:
        text = "an inspection is of work: its subject is a work order, or entries"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/subject", text))
    if act.exception_reason is not None and act.meaning != "inspected":
        text = "the exception is one of inspections: leave the reason out"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/exception_reason", text))
    asked = rules.Act(
        badge=act.badge, subject=act.subject, meaning=act.meaning, at=at, exception=act.exception_reason is not None
    )
    broken = rules.broken(asked, found)
    if broken is not None:
        raise refusing.refused(broken, asked, found)


async def _keep(connection: Connection, sealed: Sealed, canonical: bytes) -> None:
    rows = await database.fetch(connection, "signatures", sealed.subject, sealed.reference)
    seal = seals.seal(rows[-1]["seal"] if rows else b"", sealed)
    *told, _, signed_at = structs.astuple(sealed)
    await database.run(connection, "make_signature", *told, canonical, seals.digest(canonical), seal, signed_at)


def _refused_by_database(error: asyncpg.CheckViolationError) -> problems.ProblemRaised:
    """The database had the last word: somebody else changed something at this very moment."""
    name = str(error.constraint_name)
    if name not in {each.value for each in Rule}:
        raise error
    return refusing.overruled(Rule(name))


def _view(row: Any, previous: bytes) -> Signature:
    canonical: bytes = row["canonical"]
    told = {name: row[name] for name in Sealed.__struct_fields__}
    sealed = Sealed(**told | {"sha256": row["sha256"].hex()})
    intact = seals.digest(canonical) == row["sha256"] and seals.seal(previous, sealed) == row["seal"]
    return Signature(
        **structs.asdict(sealed),
        number=row["number"],
        statement=canonical.decode(errors="replace"),
        seal=row["seal"].hex(),
        intact=intact,
    )
