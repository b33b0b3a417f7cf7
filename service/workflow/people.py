"""The shop's people: what they are called, their certificates, what they may sign for and who says so."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

import asyncpg
from msgspec import Struct

from service import problems
from service import signing_messages as messages
from service.core.signing.authority import Authority, What
from service.messages import ProblemError
from service.store import database
from service.store.database import Connection
from service.store.statements import SQL
from service.workflow.access import Bearer, Scope


class Person(Struct, frozen=True, kw_only=True):
    """A person as of a moment: the certificate that had begun then, and every authority that there is a word of."""

    badge: str
    name: str
    certificate_number: str | None
    certificate_kind: str | None
    authorities: tuple[Authority, ...]


async def as_of(connection: Connection, badge: str, at: datetime) -> Person | None:
    """Somebody as of a moment; None for a badge that is nobody's. The name is the one of today."""
    name = await connection.fetchval(SQL["person_name"], badge)
    if name is None:
        return None
    certificates = await database.fetch(connection, "certificates", [badge], at.date())
    last = certificates[-1] if certificates else None
    rows = await database.fetch(connection, "authorities", [badge])
    return Person(
        badge=badge,
        name=name,
        certificate_number=None if last is None else last["certificate_number"],
        certificate_kind=None if last is None else last["certificate_kind"],
        authorities=tuple(_authority(row) for row in rows),
    )


async def put(
    connection: Connection, badge: str, asked: messages.PersonPut, bearer: Bearer, at: datetime
) -> messages.PersonView:
    """Add somebody to the list, or say more of them. The same again changes nothing.

    Raises:
        ProblemRaised: a bearer who is no administrator says more than the name, or something said contradicts itself.
    """
    _admit(asked, bearer)
    _check(asked)
    async with connection.transaction():
        await database.run(connection, "lock_person", badge)
        await refuse_left(connection, badge)
        await database.run(connection, "put_person", badge, asked.name)
        await database.run(connection, "lock_person", badge)
        await _certify(connection, badge, asked.certificate, bearer.name, at)
        for each in asked.authorities:
            await _authorise(connection, badge, each, bearer.name, at)
        await _identify(connection, badge, asked.identity, bearer.name, at)
        return await show(connection, badge, at.date())


def _admit(asked: messages.PersonPut, bearer: Bearer) -> None:
    told = [name for name in ("certificate", "authorities", "identity") if getattr(asked, name)]
    if told and Scope.ADMIN not in bearer.scopes:
        text = f"only an administrator says {', '.join(told)}: leave it out, or use a token with the scope admin"
        raise problems.raised(problems.Type.FORBIDDEN, text, *((f"#/{each}", text) for each in told))


def _check(asked: messages.PersonPut) -> None:
    faults = []
    if asked.certificate is not None and (asked.certificate.number is None) != (asked.certificate.kind is None):
        text = "a certificate has a number and a kind; one that ends has neither"
        faults.append(ProblemError(pointer="#/certificate", detail=text))
    for at, each in enumerate(asked.authorities):
        if each.until_on is not None and each.until_on < each.from_on:
            text = f"authority that begins on {each.from_on} can't end on {each.until_on}"
            faults.append(ProblemError(pointer=f"#/authorities/{at}/until_on", detail=text))
    if faults:
        detail = "; ".join(each.detail for each in faults)
        raise problems.raised(problems.Type.INVALID_REQUEST, detail, *((each.pointer, each.detail) for each in faults))


async def _certify(
    connection: Connection, badge: str, word: messages.CertificateWord | None, by: str, at: datetime
) -> None:
    if word is None:
        return
    before = await database.fetch(connection, "certificates", [badge], word.from_on)
    last = before[-1] if before else None
    held = (None, None) if last is None else (last["certificate_number"], last["certificate_kind"])
    if held != (word.number, word.kind):
        await database.run(connection, "record_certificate", badge, word.number, word.kind, word.from_on, by, at)


async def _authorise(connection: Connection, badge: str, word: messages.AuthorityWord, by: str, at: datetime) -> None:
    known = await database.fetch(connection, "authorities", [badge])
    said = (word.what, word.scope, word.from_on, word.until_on)
    if not any(
        each["withdrawn_at"] is None and (each["what"], each["scope"], each["from_on"], each["until_on"]) == said
        for each in known
    ):
        await database.run(
            connection, "record_authority", badge, word.what, word.scope, word.from_on, word.until_on, by, at
        )


async def _identify(
    connection: Connection, badge: str, identity: messages.Identity | None, by: str, at: datetime
) -> None:
    if identity is None:
        return
    (held, *_) = [*await database.fetch(connection, "identities", [badge]), None]
    if held is not None and (held["issuer"], held["subject"]) == (identity.issuer, identity.subject):
        return
    try:
        await database.run(connection, "record_identity", badge, identity.issuer, identity.subject, by, at)
    except asyncpg.UniqueViolationError as error:
        text = (
            "this identity is or was another person's, or this person's before: one that signed for somebody never "
            "signs for anybody else. Have the provider give this person a subject of their own"
        )
        raise problems.raised(problems.Type.IDENTITY_TAKEN, text, ("#/identity/subject", text)) from error


async def withdraw(
    connection: Connection, badge: str, asked: messages.Withdrawal, by: str, at: datetime
) -> messages.PersonView:
    """Take back an authority: no signature is made by it from now on, those that were made stand. Twice is once."""
    async with connection.transaction():
        if await connection.fetchval(SQL["authority_of"], badge, asked.authority) is None:
            text = f"{badge} has no authority {asked.authority}: GET /v1/people/{badge} lists them with their numbers"
            raise problems.raised(problems.Type.UNKNOWN_AUTHORITY, text, ("#/authority", text))
        await database.run(connection, "withdraw_authority", badge, asked.authority, asked.reason, by, at)
        return await show(connection, badge, at.date())


async def show(connection: Connection, badge: str, today: date) -> messages.PersonView:
    """One person. Raises the problem where the badge is nobody's."""
    rows = await database.fetch(connection, "people_page", None, 1, badge, None)
    if not rows:
        raise unknown(badge)
    return (await _views(connection, rows, today))[0]


async def page(
    connection: Connection, after: str | None, limit: int, today: date, like: str | None = None
) -> tuple[tuple[messages.PersonView, ...], str | None]:
    """A page of the people, by badge, and where the next begins. `like`: a part of the badge or the name."""
    rows = await database.fetch(connection, "people_page", after, limit + 1, None, _pattern(like))
    following = rows[limit - 1]["badge"] if len(rows) > limit else None
    return await _views(connection, rows[:limit], today), following


async def refuse_left(connection: Connection, badge: str) -> None:
    """Raise the problem of somebody who left, and whom another system would put back on the list."""
    if await database.fetch_one(connection, "pseudonym_of", badge) is not None:
        text = "this badge is of somebody who left and stands under a pseudonym: leave them out; it is never given to another"
        raise problems.raised(problems.Type.PERSON_LEFT, text)


def unknown(badge: str) -> problems.ProblemRaised:
    """The problem of a badge that is nobody's."""
    text = f"nobody on the shop's list has the badge {badge!r}: PUT /v1/people/{{badge}} adds somebody"
    return problems.raised(problems.Type.UNKNOWN_PERSON, text)


def _pattern(like: str | None) -> str | None:
    if not like:
        return None
    for special in ("\\", "_", "%"):
        like = like.replace(special, f"\\{special}")
    return f"%{like}%"


async def _views(connection: Connection, rows: Sequence[Any], today: date) -> tuple[messages.PersonView, ...]:
    badges = [row["badge"] for row in rows]
    certificates = _by_badge(await database.fetch(connection, "certificates", badges, None))
    authorities = _by_badge(await database.fetch(connection, "authorities", badges))
    identities = _by_badge(await database.fetch(connection, "identities", badges))
    return tuple(
        _view(
            row,
            tuple(_certificate(each) for each in certificates.get(row["badge"], ())),
            tuple(_authority_view(each, today) for each in authorities.get(row["badge"], ())),
            identities.get(row["badge"], ()),
            today,
        )
        for row in rows
    )


def _by_badge(rows: Iterable[Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for row in rows:
        found.setdefault(row["badge"], []).append(row)
    return found


def _view(
    row: Any,
    certificates: tuple[messages.CertificateView, ...],
    authorities: tuple[messages.AuthorityView, ...],
    identities: Sequence[Any],
    today: date,
) -> messages.PersonView:
    begun = [each for each in certificates if each.from_on <= today]
    held = begun[-1] if begun and begun[-1].number is not None else None
    identity = next((messages.Identity(issuer=each["issuer"], subject=each["subject"]) for each in identities), None)
    return messages.PersonView(
        badge=row["badge"],
        name=row["name"],
        certificate=held,
        certificates=certificates,
        authorities=authorities,
        secret=row["secret"],
        identity=identity,
    )


def _certificate(row: Any) -> messages.CertificateView:
    return messages.CertificateView(
        number=row["certificate_number"],
        kind=row["certificate_kind"],
        from_on=row["from_on"],
        recorded_by=row["recorded_by"],
        recorded_at=row["recorded_at"],
    )


def _authority(row: Any) -> Authority:
    return Authority(
        row["number"], What(row["what"]), row["scope"], row["from_on"], row["until_on"], row["withdrawn_at"]
    )


def _authority_view(row: Any, today: date) -> messages.AuthorityView:
    return messages.AuthorityView(
        number=row["number"],
        what=What(row["what"]),
        scope=row["scope"],
        from_on=row["from_on"],
        until_on=row["until_on"],
        holds=_authority(row).holds(today),
        withdrawn_at=row["withdrawn_at"],
        withdrawn_by=row["withdrawn_by"],
        withdrawn_because=row["reason"],
        recorded_by=row["recorded_by"],
        recorded_at=row["recorded_at"],
    )
