"""How states, plans and ages are put for people and scripts: the wire's shapes from the rule's values. Pure."""

from datetime import timedelta

from service import messages
from service.core import cycles, plans
from service.core.entries import Rating
from service.core.states import ConnectorState
from service.messages import Snapshot

_UNITS = ((86_400, "day", "days"), (3_600, "hour", "hours"), (60, "minute", "minutes"))


def age(span: timedelta) -> str:
    """A span of time as people say it: `3 hours`."""
    seconds = max(int(span.total_seconds()), 0)
    for size, one, many in _UNITS:
        if seconds >= size:
            return count(seconds // size, one, many)
    return "less than a minute"


def count(number: int, one: str, many: str) -> str:
    """A number with its noun."""
    return f"{number} {one if number == 1 else many}"


def rating(snapshot: Snapshot) -> messages.RatingView | None:
    """The rating with its provenance and the cycle from which it warns."""
    value: Rating | None = snapshot.definition.rating
    if value is None:
        return None
    return messages.RatingView(
        value=value.value,
        basis=value.basis,
        document=value.document,
        revision=value.revision,
        paragraph=value.paragraph,
        verified_by=value.verified_by,
        verified_on=value.verified_on,
        verified=value.verified,
        first_insertion_counts=value.first_insertion_counts,
        nearing_from=_figures(snapshot).nearing_from,
    )


def cavities(snapshot: Snapshot, state: ConnectorState) -> tuple[messages.CavityView, ...]:
    """Every cavity as it stands, in the order of the definition."""
    sizes = {each.id: each.contact_size for each in snapshot.definition.cavities}
    figures, rated = _figures(snapshot), rating(snapshot)
    found = []
    for each in state.cavities:
        stands = cycles.standing(each.counts, each.occupied, each.known, figures)
        found.append(
            messages.CavityView(
                id=each.id,
                contact_size=sizes[each.id],
                occupied=each.occupied,
                cycles_begun=stands.begun,
                cycles_completed=stands.completed,
                rating=rated,
                wear=stands.wear,
                left=stands.left,
                life=each.life,
                history_known=each.known,
                insertions=each.insertions,
                removals=each.removals,
                tine_entries=each.tine_entries,
                seating_tests=each.seating_tests,
                held=each.held,
                contact=each.contact,
                blocked=each.blocked,
                discrepancies=tuple(discrepancy.code.value for discrepancy in each.discrepancies),
            )
        )
    return tuple(found)


def plan(snapshot: Snapshot, made: plans.Plan, cautions: tuple[messages.CautionView, ...]) -> messages.PlanView:
    """A plan answered, in the shape in which the service answers it."""
    limiting = made.limiting
    return messages.PlanView(
        answer=made.answer,
        steps=tuple(_step(each) for each in made.steps),
        work=tuple(_handling(each) for each in made.work),
        limiting=messages.LimitingView(
            cavity=limiting.cavity,
            wear=limiting.standing.wear,
            cycles_begun=limiting.standing.begun,
            left=limiting.standing.left,
        )
        if limiting
        else None,
        rating=rating(snapshot),
        cautions=cautions,
    )


def _figures(snapshot: Snapshot) -> cycles.Limits:
    return cycles.limits(snapshot.definition.rating, snapshot.definition.nearing_fraction, snapshot.house)


def _step(each: plans.JudgedStep) -> messages.StepView:
    return messages.StepView(
        action=each.step.action,
        cavity=each.step.cavity,
        contact_size=each.step.size,
        answer=each.judged.answer,
        reasons=tuple(
            messages.ReasonView(code=reason.code, answer=reason.answer, text=reason.text)
            for reason in each.judged.reasons
        ),
        cycle=each.judged.standing.next,
        left_after=each.after.left,
        wear_after=each.after.wear,
    )


def _handling(each: plans.Handling) -> messages.HandlingView:
    return messages.HandlingView(
        half=each.half,
        cavity=each.cavity,
        contact_size=each.contact_size,
        tool_face=each.tool_face,
        contact_face=each.contact_face,
        tools=tuple(
            messages.ToolView(part_number=tool.part_number, end=tool.end, status=tool.status, source=tool.source)
            for tool in each.tools
        ),
    )


def line(snapshot: Snapshot) -> messages.ConnectorLine:
    """A connector in a list, from what is kept of it here."""
    definition, state = snapshot.definition, snapshot.state
    limiting = plans.limiting(state.cavities, _figures(snapshot))
    whole = state.whole
    return messages.ConnectorLine(
        id=definition.connector,
        serial=definition.serial,
        cage=definition.cage,
        part_number=definition.part_number,
        family=definition.family,
        wear=limiting.standing.wear if limiting else cycles.Wear.UNKNOWN,
        limiting_cavity=limiting.cavity if limiting else None,
        left=limiting.standing.left if limiting else None,
        place=messages.PlaceView(asset=whole.asset, zone=whole.zone, position=whole.position),
    )
