"""Answering a plan before the work."""

from collections.abc import Sequence
from uuid import UUID

import asyncpg
import msgspec

from service import messages, problems, views
from service.core import entries, marks, noting, plans
from service.core.entries import Entry, HouseRule, Recorded
from service.store import database
from service.store.ledger import Head
from service.workflow import finding
from service.workflow.reference import Reference

_ENOUGH = 1000


async def waiting(pool: asyncpg.Pool, connector: UUID) -> list[Entry]:
    """Parked entries that may be about a connector. Read before its head: one that joins in between is then in both."""
    async with pool.acquire() as connection:
        rows = await database.fetch(connection, "waiting_for", connector, _ENOUGH)
    return [msgspec.json.decode(row["body"], type=Recorded).entry for row in rows]


def answer(
    head: Head, asked: messages.PlanRequest, reference: Reference, house: HouseRule, parked: Sequence[Entry]
) -> messages.PlanView:
    """Judge the steps in order, each on the state that the ones before it leave."""
    known = head.definition
    mine = [
        each
        for each in parked
        if not marks.contradicts(finding.read(each.connector), known.serial, known.cage, known.part_number)
    ]
    sizes = {each.id: each.contact_size for each in head.definition.cavities}
    tools = reference.tooling(head.definition)
    steps = []
    for index, each in enumerate(asked.steps):
        if each.cavity not in sizes:
            raise problems.ProblemRaised(problems.unknown_cavity(each.cavity, list(sizes), f"#/steps/{index}/cavity"))
        fit = noting.fit(each.tool, reference.lists, tools, sizes[each.cavity], each.action)
        awaited = len(parked) == _ENOUGH or any(entries.concerns(one, each.cavity) for one in mine)
        steps.append(plans.Step(each.action, each.cavity, sizes[each.cavity], fit, awaited))
    made = plans.plan(head.definition, house, head.state, steps, tools)
    return views.plan(
        head.definition, made, house, reference.cautions(head.definition, [each.action for each in steps])
    )
