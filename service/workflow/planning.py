"""Answering a plan before the work."""

from service import messages, problems, views
from service.core import noting, plans
from service.core.entries import HouseRule
from service.store.ledger import Head
from service.workflow.reference import Reference


def answer(head: Head, asked: messages.PlanRequest, reference: Reference, house: HouseRule) -> messages.PlanView:
    """Judge the steps in order, each on the state that the ones before it leave."""
    sizes = {each.id: each.contact_size for each in head.definition.cavities}
    tools = reference.tooling(head.definition)
    steps = []
    for index, each in enumerate(asked.steps):
        if each.cavity not in sizes:
            raise problems.ProblemRaised(problems.unknown_cavity(each.cavity, list(sizes), f"#/steps/{index}/cavity"))
        fit = noting.fit(each.tool, reference.lists, tools, sizes[each.cavity], each.action)
        steps.append(plans.Step(each.action, each.cavity, sizes[each.cavity], fit))
    made = plans.plan(head.definition, house, head.state, steps, tools)
    return views.plan(
        head.definition, made, house, reference.cautions(head.definition, [each.action for each in steps])
    )
