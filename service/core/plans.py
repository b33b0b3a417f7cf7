"""Plans: ordered steps judged one after the other, each on the state that the ones before it leave."""

from collections.abc import Iterable, Sequence
from copy import copy
from uuid import UUID

from msgspec import Struct

from service.core import answers, cavity, cycles, entries, tooling, ways
from service.core.answers import Action, Answer, Judged
from service.core.entries import Definition, Entry, HouseRule, Kind, Recorded
from service.core.states import CavityState, ConnectorState
from service.core.ways import Way


class Step(Struct, frozen=True):
    """One thing somebody is about to do. `size` is that of the cavity's contact, `brought` what is known of tool and contact."""

    action: Action
    cavity: str
    size: str
    brought: answers.Brought = answers.NOTHING_STATED


class JudgedStep(Struct, frozen=True):
    """A step with its answer, where its retainer would stand after it, and the ways out where there is no more going on."""

    step: Step
    judged: Judged
    after: cycles.Standing
    ways: tuple[Way, ...] = ()


class Handling(Struct, frozen=True):
    """One half cycle of the work: what, where, from which face, with which tools; after an insertion, the pull to test it."""

    half: tooling.Half
    cavity: str
    contact_size: str
    tool_face: tooling.Face | None
    contact_face: tooling.Face
    tools: tuple[tooling.Tool, ...]
    seating_pull: tooling.Pull | None = None


class Limiting(Struct, frozen=True):
    """The cavity that runs out first, and where it stands."""

    cavity: str
    standing: cycles.Standing


class Plan(Struct, frozen=True):
    """The answer to all steps, the steps, the order of work, and the cavity that will run out first afterwards."""

    answer: Answer
    steps: tuple[JudgedStep, ...]
    work: tuple[Handling, ...]
    limiting: Limiting | None


def plan(
    definition: Definition,
    house: HouseRule,
    state: ConnectorState,
    steps: Sequence[Step],
    tools: tooling.Tooling | None = None,
    *,
    awaited: frozenset[str] = frozenset(),
) -> Plan:
    """Judge the steps in order. A step that is no_go is still followed through, as the facts would be if it were done.

    `awaited`: cavities that accepted entries may be about which are in no ledger yet.
    """
    figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
    present = {each.id: copy(each) for each in state.cavities}
    by_rules = cavity.rules(definition)
    judged = []
    # A cavity that any step is about is not free for another one.
    named = frozenset(each.cavity for each in steps)
    for step in steps:
        met = present[step.cavity]
        verdict = answers.judge(
            definition, house, state.whole, met, step.action, step.brought, awaited=step.cavity in awaited
        )
        now = ConnectorState(whole=state.whole, cavities=tuple(present.values()))
        found = (
            ways.out(definition, house, now, step.cavity, step.action, taken=named, awaited=awaited)
            if verdict.answer is Answer.NO_GO
            else ()
        )
        for kind in halves(step.action):
            cavity.apply(met, _supposed(kind, step.cavity), by_rules)
        judged.append(JudgedStep(step, verdict, standing(met, figures), found))
    return Plan(
        answer=answers.worst([each.judged.answer for each in judged]),
        steps=tuple(judged),
        work=tuple(handling for step in steps for handling in _handlings(step, tools)),
        limiting=limiting(present.values(), figures),
    )


def halves(action: Action) -> tuple[Kind, ...]:
    """The kinds of entry that a step leaves behind, in order."""
    match action:
        case Action.INSERT:
            return (Kind.INSERTION,)
        case Action.REMOVE:
            return (Kind.REMOVAL,)
        case Action.REPLACE:
            return (Kind.REMOVAL, Kind.INSERTION)


def limiting(cavities: Iterable[CavityState], figures: cycles.Limits) -> Limiting | None:
    """The connector's count is that of its limiting cavity: the worst wear, then the least left, then the insert's order."""
    cavities = tuple(cavities)
    standings = [standing(each, figures) for each in cavities]
    worst = cycles.most_pressing(standings)
    return None if worst is None else Limiting(cavities[worst].id, standings[worst])


def standing(state: CavityState, figures: cycles.Limits) -> cycles.Standing:
    """Where the retainer of a cavity stands."""
    return cycles.standing(state.counts, state.occupied, state.known, figures)


def _supposed(kind: Kind, name: str) -> Recorded:
    entry = Entry(id=_NOBODY, connector="-", kind=kind, performed_at=entries.EARLIEST, performed_by="-", cavity=name)
    return Recorded(entry=entry, recorded_at=entries.EARLIEST, recorded_by="-")


def _handlings(step: Step, tools: tooling.Tooling | None) -> list[Handling]:
    wanted = {Kind.REMOVAL: tooling.Half.REMOVE, Kind.INSERTION: tooling.Half.INSERT}
    return [
        Handling(
            half=half,
            cavity=step.cavity,
            contact_size=step.size,
            tool_face=tooling.tool_face(tools.release, half) if tools else None,
            contact_face=tooling.Face.WIRE_SIDE,
            tools=tools.serving(half, step.size) if tools else (),
            seating_pull=tools.pull(step.size) if tools and half is tooling.Half.INSERT else None,
        )
        for half in (wanted[kind] for kind in halves(step.action))
    ]


_NOBODY = UUID(int=0)
