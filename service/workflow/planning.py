"""Answering a plan before the work."""

from collections.abc import Sequence
from datetime import date
from uuid import UUID

import asyncpg
import msgspec

from service import messages, problems, views
from service.core import answers, contacts, entries, marks, noting, plans
from service.core.answers import Answer
from service.core.entries import Definition, Entry, HouseRule, Recorded
from service.store import database
from service.store.database import Connection
from service.store.ledger import Head
from service.workflow import finding
from service.workflow.reference import Reference

_ENOUGH = 1000
_HANDED_OVER = (
    "This connector was handed over to another owner: its ledger goes on there, and the count here is not the newest."
)


async def waiting(pool: asyncpg.Pool, connector: UUID) -> list[Entry]:
    """Parked entries that may be about a connector. Read before its head: one that joins in between is then in both."""
    async with pool.acquire() as connection:
        return await waiting_for(connection, connector)


async def waiting_for(connection: Connection, connector: UUID) -> list[Entry]:
    """Parked entries that may be about a connector."""
    rows = await database.fetch(connection, "waiting_for", connector, _ENOUGH)
    return [msgspec.json.decode(row["body"], type=Recorded).entry for row in rows]


def awaited(known: Definition, parked: Sequence[Entry]) -> frozenset[str]:
    """The cavities of a connector that parked entries may be about."""
    mine = [
        each
        for each in parked
        if not marks.contradicts(finding.read(each.connector), known.serial, known.cage, known.part_number)
    ]
    return frozenset(
        each.id
        for each in known.cavities
        if len(parked) == _ENOUGH or any(entries.concerns(one, each.id) for one in mine)
    )


def answer(
    head: Head,
    asked: messages.PlanRequest,
    reference: Reference,
    house: HouseRule,
    parked: Sequence[Entry],
    today: date,
) -> messages.PlanView:
    """Judge the steps in order, each on the state that the ones before it leave. `today` is held against tools' checks."""
    known = head.definition
    sizes = {each.id: each.contact_size for each in known.cavities}
    for index, step in enumerate(asked.steps):
        if step.cavity not in sizes:
            raise problems.ProblemRaised(problems.unknown_cavity(step.cavity, list(sizes), f"#/steps/{index}/cavity"))
    steps = [
        plans.Step(
            each.action, each.cavity, sizes[each.cavity], _brought(each, known, sizes[each.cavity], reference, today)
        )
        for each in asked.steps
    ]
    made = plans.plan(known, house, head.state, steps, reference.tooling(known), awaited=awaited(known, parked))
    shown = views.plan(known, made, house, reference.cautions(known, [each.action for each in steps]))
    return _of_one_gone(shown) if head.handed_over else shown


def _of_one_gone(shown: messages.PlanView) -> messages.PlanView:
    """Nothing may be done here on the count of a ledger that goes on elsewhere, whatever it says."""
    away = messages.ReasonView(code="handed_over", answer=Answer.NO_GO, text=_HANDED_OVER)
    steps = tuple(
        msgspec.structs.replace(each, answer=Answer.NO_GO, reasons=(away, *each.reasons), ways=())
        for each in shown.steps
    )
    return msgspec.structs.replace(shown, answer=Answer.NO_GO, steps=steps)


def _brought(
    step: messages.PlannedStep, known: Definition, size: str, reference: Reference, today: date
) -> answers.Brought:
    return answers.Brought(
        tool=noting.fit(step.tool, reference.lists, reference.tooling(known), size, step.action),
        contact=contacts.fit(step.contact, reference.contacts(known), size),
        tool_overdue=noting.overdue(step.tool, reference.lists, today),
    )
