"""The wire's shapes from the rule's values, for the service and for a bench that answers by itself. Pure."""

from collections.abc import Iterable

from service import messages
from service.core import cycles, plans, tooling
from service.core.discrepancies import SENTENCES
from service.core.drawings.places import Layout
from service.core.entries import CavityDefinition, Definition, HouseRule, Rating
from service.core.part_numbers import Sex
from service.core.states import CavityState, ConnectorState, Discrepancy
from service.core.ways import Way


def rating(value: Rating | None, connector_fraction: float | None, house: HouseRule) -> messages.RatingView | None:
    """A rating with its provenance."""
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
        nearing_from=cycles.limits(value, connector_fraction, house).nearing_from,
    )


class Shown:
    """What all cavities of one connector are shown with; made once a connector."""

    def __init__(self, definition: Definition, house: HouseRule) -> None:
        self.definition = definition
        self.figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
        self.rating = rating(definition.rating, definition.nearing_fraction, house)

    def cavity(self, state: CavityState, defined: CavityDefinition) -> messages.CavityView:
        """One cavity as it stands."""
        stands = cycles.standing(state.counts, state.occupied, state.known, self.figures)
        return messages.CavityView(
            id=state.id,
            contact_size=defined.contact_size,
            occupied=state.occupied,
            cycles_begun=stands.begun,
            cycles_completed=stands.completed,
            rating=self.rating,
            wear=stands.wear,
            left=stands.left,
            life=state.life,
            history_known=state.known,
            insertions=state.insertions,
            removals=state.removals,
            tine_entries=state.tine_entries,
            seating_tests=state.seating_tests,
            held=state.held,
            contact=state.contact,
            blocked=state.blocked,
            discrepancies=tuple([each.code.value for each in state.discrepancies]) if state.discrepancies else (),
        )

    def cavities(self, state: ConnectorState) -> tuple[messages.CavityView, ...]:
        """Every cavity as it stands, in the order of the definition."""
        return tuple(
            self.cavity(each, defined) for each, defined in zip(state.cavities, self.definition.cavities, strict=True)
        )

    def named(self, state: ConnectorState, cavity: str | None) -> messages.CavityView | None:
        """One cavity by its id, if there is one."""
        pairs = zip(state.cavities, self.definition.cavities, strict=True)
        return next((self.cavity(each, defined) for each, defined in pairs if each.id == cavity), None)


def connector(
    definition: Definition, state: ConnectorState, house: HouseRule, entries: int, chain_hash: str
) -> messages.ConnectorView:
    """One connector with every cavity."""
    shown = Shown(definition, house)
    limiting = plans.limiting(state.cavities, shown.figures)
    return messages.ConnectorView(
        id=definition.connector,
        serial=definition.serial,
        cage=definition.cage,
        part_number=definition.part_number,
        family=definition.family,
        history=definition.history,
        cavity_ids=definition.cavity_ids,
        rating=shown.rating,
        wear=limiting.standing.wear if limiting else cycles.Wear.UNKNOWN,
        limiting_cavity=limiting.cavity if limiting else None,
        left=limiting.standing.left if limiting else None,
        retired=state.whole.retired,
        place=place(state),
        mating=messages.MatingView(
            matings=state.whole.matings,
            unmatings=state.whole.unmatings,
            mated=state.whole.mated,
            rating=rating(definition.mating_rating, None, house),
        ),
        cavities=shown.cavities(state),
        discrepancies=tuple(_discrepancies(state)),
        entries=entries,
        chain_hash=chain_hash,
    )


def line(definition: Definition, state: ConnectorState, house: HouseRule) -> messages.ConnectorLine:
    """One connector in a list."""
    figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
    limiting = plans.limiting(state.cavities, figures)
    return messages.ConnectorLine(
        id=definition.connector,
        serial=definition.serial,
        cage=definition.cage,
        part_number=definition.part_number,
        family=definition.family,
        wear=limiting.standing.wear if limiting else cycles.Wear.UNKNOWN,
        limiting_cavity=limiting.cavity if limiting else None,
        left=limiting.standing.left if limiting else None,
        place=place(state),
    )


def place(state: ConnectorState) -> messages.PlaceView:
    """Where a connector is."""
    return messages.PlaceView(asset=state.whole.asset, zone=state.whole.zone, position=state.whole.position)


def drawing(layout: Layout, sex: Sex | None, source: str | None) -> messages.DrawingView:
    """Where cavities stand in a drawing; to four digits, a hair's breadth on any screen."""
    return messages.DrawingView(
        schematic=source is None,
        sex=sex,
        source=source,
        pitch=round(layout.pitch, 4),
        places=tuple((round(x, 4), round(y, 4)) for x, y in layout.places),
    )


def _discrepancies(state: ConnectorState) -> Iterable[messages.OpenDiscrepancy]:
    for each in state.whole.discrepancies:
        yield _discrepancy(each, None)
    for cavity in state.cavities:
        for each in cavity.discrepancies:
            yield _discrepancy(each, cavity.id)


def _discrepancy(open_: Discrepancy, cavity: str | None) -> messages.OpenDiscrepancy:
    return messages.OpenDiscrepancy(entry=open_.entry, code=open_.code.value, text=SENTENCES[open_.code], cavity=cavity)


def plan(
    definition: Definition,
    made: plans.Plan,
    house: HouseRule,
    cautions: tuple[messages.CautionView, ...],
) -> messages.PlanView:
    """A plan answered."""
    return messages.PlanView(
        answer=made.answer,
        steps=tuple(_step(each) for each in made.steps),
        work=tuple(_handling(each) for each in made.work),
        limiting=_limiting(made.limiting),
        rating=rating(definition.rating, definition.nearing_fraction, house),
        cautions=cautions,
    )


def _step(each: plans.JudgedStep) -> messages.StepView:
    return messages.StepView(
        action=each.step.action,
        cavity=each.step.cavity,
        contact_size=each.step.size,
        answer=each.judged.answer,
        reasons=tuple(messages.ReasonView(code=r.code, answer=r.answer, text=r.text) for r in each.judged.reasons),
        cycle=each.judged.standing.next,
        left_after=each.after.left,
        wear_after=each.after.wear,
        ways=tuple(_way(way) for way in each.ways),
    )


def _way(each: Way) -> messages.WayView:
    return messages.WayView(
        way=each.way,
        cavity=each.cavity,
        wear=each.wear,
        cycles=each.cycles,
        answer=each.answer,
        needs=each.needs,
        text=each.text,
    )


def _handling(each: plans.Handling) -> messages.HandlingView:
    return messages.HandlingView(
        half=each.half,
        cavity=each.cavity,
        contact_size=each.contact_size,
        tool_face=each.tool_face,
        contact_face=each.contact_face,
        tools=tuple(_tool(tool) for tool in each.tools),
        seating_pull=_pull(each.seating_pull),
    )


def _pull(each: tooling.Pull | None) -> messages.PullView | None:
    if each is None:
        return None
    return messages.PullView(
        force_n=each.force_n,
        force_lbf=each.force_lbf,
        verified=each.verified,
        status=each.status,
        source=each.source,
    )


def _tool(tool: tooling.Tool) -> messages.ToolView:
    return messages.ToolView(part_number=tool.part_number, end=tool.end, status=tool.status, source=tool.source)


def _limiting(each: plans.Limiting | None) -> messages.LimitingView | None:
    if each is None:
        return None
    return messages.LimitingView(
        cavity=each.cavity, wear=each.standing.wear, cycles_begun=each.standing.begun, left=each.standing.left
    )
