"""One function per operation on people, their authority and secrets, and on signatures."""

from collections.abc import Callable
from functools import partial

import msgspec
from msgspec import Struct

from service import messages as wire
from service import problems
from service import signing_messages as messages
from service.api import handlers, reading, records
from service.api.handlers import Call, Reply
from service.api.services import Services
from service.core.entries import Text
from service.signing_messages import Reference, Subject
from service.store.database import Connection
from service.workflow import people, proving, signing, work_orders
from service.workflow import records as kept_records
from service.workflow.signing import Act, Signed, Statement

STATEMENTS: dict[str, Callable[[Services], Statement]] = {
    "entries": lambda _: signing.entries_statement,
    "work_order": lambda services: partial(work_orders.statement, means=records.means(services)),
    "record": lambda _: kept_records.statement,
}
"""What there is to sign, by its subject: as it is now under a reference. A subject that is not here is signed by nobody."""


class Signatures(Struct, frozen=True, forbid_unknown_fields=True):
    """On what the signatures are asked for."""

    subject: Subject
    reference: Reference


class PeopleCursor(Struct, frozen=True, array_like=True):
    """Where the next page of the people begins."""

    badge: Text


class RuleQuery(Struct, frozen=True):
    """A switch by its name."""

    name: messages.RuleName


async def put_person(services: Services, call: Call) -> Reply:
    """Add a person to the shop's list, or say more of one."""
    badge = handlers.key(call.path["badge"])
    async with services.pool.acquire() as connection:
        await people.put(connection, badge, call.body, call.bearer, services.clock())
    services.reference.forget()
    return Reply(200, wire.Written(key=badge))


async def list_people(services: Services, call: Call) -> Reply:
    """A page of the people, by badge."""
    after = reading.cursor(call.query.cursor, PeopleCursor)
    async with services.pool.acquire() as connection:
        found, following = await people.page(
            connection, after.badge if after else None, call.query.limit, services.clock().date()
        )
    cursor = reading.encode_cursor(PeopleCursor(following) if following is not None else None)
    return Reply(200, messages.PersonList(people=found, next=cursor))


async def show_person(services: Services, call: Call) -> Reply:
    """One person."""
    badge = handlers.key(call.path["badge"])
    async with services.pool.acquire() as connection:
        return Reply(200, await people.show(connection, badge, services.clock().date()))


async def withdraw(services: Services, call: Call) -> Reply:
    """Take back an authority."""
    badge = handlers.key(call.path["badge"])
    async with services.pool.acquire() as connection:
        return Reply(200, await people.withdraw(connection, badge, call.body, call.bearer.name, services.clock()))


async def issue_secret(services: Services, call: Call) -> Reply:
    """Give out an initial secret."""
    badge = handlers.key(call.path["badge"])
    async with services.pool.acquire() as connection:
        await proving.issue(connection, services.prover, badge, call.body, call.bearer.name, services.clock())
    note = "it signs nothing until its owner has changed it"
    return Reply(201, wire.Written(key=badge, note=note))


async def change_secret(services: Services, call: Call) -> Reply:
    """Put a secret of one's own in place of the old one. Whoever knows the old one may: no token says who somebody is."""
    badge = handlers.key(call.path["badge"])
    async with services.pool.acquire() as connection:
        await proving.change(connection, services.prover, badge, call.body, services.clock())
    return Reply(200, wire.Written(key=badge))


async def say_rule(services: Services, call: Call) -> Reply:
    """Turn a switch on or off."""
    try:
        name = msgspec.convert({"name": call.path["rule"]}, RuleQuery).name
    except msgspec.ValidationError as error:
        text = f"there is no switch {call.path['rule'][:200]!r}; there is {signing.SAME_PERSON}"
        raise problems.raised(problems.Type.NOT_FOUND, text) from error
    async with services.pool.acquire() as connection:
        return Reply(200, await signing.say(connection, name, call.body, call.bearer.name, services.clock()))


async def list_rules(services: Services, _: Call) -> Reply:
    """Every word on the switches."""
    async with services.pool.acquire() as connection:
        return Reply(200, await signing.said(connection))


async def sign(services: Services, call: Call) -> Reply:
    """Sign: with badge and secret, whatever the token, for what was shown, if it still is so."""
    asked: messages.SignatureRequest = call.body
    async with services.pool.acquire() as connection:
        done = await signed(services, connection, asked)
    return Reply(201 if done.new else 200, done.signature)


async def signed(services: Services, connection: Connection, asked: messages.SignatureRequest) -> Signed:
    """A signature made with badge and secret, for the API and the pages alike."""
    at = services.clock()
    await proving.prove(connection, services.prover, asked.badge, asked.secret, at)
    act = Act(
        method="secret",
        **{each: getattr(asked, each) for each in Act.__struct_fields__ if each != "method"},
    )
    return await signing.sign(connection, act, at, statement_of(services, asked.subject))


def statement_of(services: Services, subject: str) -> Statement:
    """What says what there is to sign. Raises the problem for what nobody signs here."""
    found = STATEMENTS.get(subject)
    if found is None:
        text = f"nothing of the kind {subject!r} is signed here; there is {', '.join(sorted(STATEMENTS))}"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/subject", text))
    return found(services)


async def list_signatures(services: Services, call: Call) -> Reply:
    """The signatures on one subject, oldest first."""
    asked: Signatures = call.query
    async with services.pool.acquire() as connection:
        found = await signing.of(connection, asked.subject, asked.reference)
    return Reply(200, messages.SignatureList(signatures=found))


async def show_signature(services: Services, call: Call) -> Reply:
    """One signature."""
    signature = handlers.identity(call.path["signature"], problems.Type.UNKNOWN_SIGNATURE)
    async with services.pool.acquire() as connection:
        return Reply(200, await signing.one(connection, signature))
