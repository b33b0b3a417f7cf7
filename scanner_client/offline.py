"""Answers while the service is away: the very same rule, on the last known state and what waits in the outbox. Pure."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta

from msgspec import Struct, structs

from scanner_client import phrases, readings, shown
from scanner_client.dialogue import Advice, Basis
from scanner_client.outbox import Cached, Kept
from scanner_client.readings import Reading
from service import messages
from service.core import answers, contacts, cycles, entries, fold, marks, noting, plans
from service.core.answers import Answer
from service.core.contacts import Contacts
from service.core.entries import Definition, Recorded
from service.core.noting import Lists
from service.core.states import ConnectorState
from service.messages import CautionView, PlannedStep, PlanView, Snapshot, WayView

ORDER_UNCERTAIN = "order_uncertain"
_UNCERTAIN = (
    "What waits at this bench can't be put in its place in the history without the service, "
    "so the count here may be wrong."
)

CAUTIONS = (
    CautionView(
        kind="WARNING",
        text="Power off before a connector is opened: live contacts burn.",
        status="read",
        source="TM 5-3805-248-23-1 WP 0018 00",
    ),
    CautionView(
        kind="CAUTION",
        text="A tool of another size, or with a bent or chipped tip, damages the retainer.",
        status="second-hand",
        source="one aircraft maker's standard practices on a public site",
    ),
    CautionView(
        kind="CAUTION",
        text="A tool that is turned damages the retainer: square to the face, never rotated.",
        status="second-hand",
        source="one aircraft maker's standard practices on a public site",
    ),
    CautionView(
        kind="CAUTION",
        text="Dirt in a cavity stops a contact from seating: cap every open connector.",
        status="read",
        source="TM 5-3805-248-23-1 WP 0018 00; AC 43.13-1B 11-100 d",
    ),
)
"""The usual ones in our own words, for a bench that the service can't give its own. The approved data's come first."""

NOBODY = "this bench"
NO_LISTS = Lists()


class Footing(Struct, frozen=True):
    """What an answer stands on here: a state, whether its order is certain, and what was counted in."""

    state: ConnectorState
    certain: bool
    waiting: int
    left_out: int


def find(reading: Reading, known: Iterable[Definition]) -> tuple[Definition, ...]:
    """The connectors known here that a mark means, by the same keys as in the service."""
    mark = marks.read(reading.data, reading.symbology)
    wanted = set(marks.look_up_keys(mark))
    return tuple(
        each
        for each in known
        if wanted.intersection(marks.keys(each.serial, each.cage, each.part_number, each.connector))
        and not marks.contradicts(mark, each.serial, each.cage, each.part_number)
    )


def meaning(parked: Iterable[Kept], known: Definition, names: Collection[str] = ()) -> tuple[Kept, ...]:
    """Those of the parked entries that may mean a connector: by their own mark, or by a name that it goes by here."""
    return tuple(
        each
        for each in parked
        if each.entry.connector in names or find(Reading(each.entry.connector.encode()), (known,))
    )


def advise(
    cached: Cached,
    waiting: Sequence[Kept],
    steps: Sequence[PlannedStep],
    now: datetime,
    *,
    reached: bool = False,
    lists: Lists = NO_LISTS,
    parked: Sequence[Kept] = (),
) -> Advice:
    """The answer to steps on what is known here. `reached`: the state is fresh but lacks entries of this bench.

    `lists`: the shop's tools as last fetched, with the last day of each one's check. `parked`: entries of this bench that
    may mean the connector (see `meaning`) and were in no ledger when the service was last asked.
    """
    snapshot = cached.snapshot
    footings = tuple(_footings(snapshot, waiting))
    besides = _besides(
        snapshot.definition, [*parked, *(each for each in waiting if each.status == "parked")], lists, now
    )
    made = max((_plan(snapshot, each, steps, besides) for each in footings), key=_severity)
    remarks = (
        *_age(cached, now, reached=reached),
        *_counted(footings[0]),
    )
    return Advice(plan=made, basis=Basis.BENCH, remarks=remarks, as_of=snapshot.as_of)


def state(cached: Cached, waiting: Sequence[Kept]) -> ConnectorState:
    """The state to show: the last known one with what waits here counted in."""
    return tuple(_footings(cached.snapshot, waiting))[-1].state


def _footings(snapshot: Snapshot, waiting: Sequence[Kept]) -> Iterable[Footing]:
    """The state to judge on; two where only the service can order the entries, and then the worse answer holds."""
    definition = snapshot.definition
    usable = [each for each in waiting if each.status != "refused" and _fits(definition, each)]
    left_out = len(waiting) - len(usable)
    news = [Recorded(entry=each.entry, recorded_at=each.kept_at, recorded_by=NOBODY) for each in usable]
    extended = fold.extend(definition, snapshot.state, news)
    if extended is not None:
        yield Footing(extended, left_out == 0, len(news), left_out)
        return
    yield Footing(snapshot.state, False, len(news), left_out)
    forced = fold.extend(definition, snapshot.state, _at_the_end(snapshot.state, news))
    if forced is not None:
        yield Footing(forced, False, len(news), left_out)


def _fits(definition: Definition, kept: Kept) -> bool:
    known = {each.id for each in definition.cavities}
    return known.issuperset(entries.cavities_of(kept.entry))


def _at_the_end(state_before: ConnectorState, news: Sequence[Recorded]) -> list[Recorded]:
    """The entries as if they came last, so that every cycle counts. Those about other entries are left out."""
    times = [each.last_at for each in state_before.cavities]
    known = [each for each in (*times, state_before.whole.last_at) if each is not None]
    last = max((*known, *(each.ordered_at for each in news)))
    acting = [
        each
        for each in sorted(news, key=lambda each: (each.ordered_at, each.entry.id))
        if each.entry.kind not in entries.REFERRING and each.entry.id not in state_before.whole.pending
    ]
    moved = []
    for place, each in enumerate(acting, start=1):
        at = last + timedelta(microseconds=place)
        moved.append(structs.replace(each, entry=structs.replace(each.entry, performed_at=at), recorded_at=at))
    return moved


class _Besides(Struct, frozen=True):
    """What bears on steps beside the state: the shop's tools on the day of the work, and cavities with entries to come."""

    lists: Lists
    today: date
    awaited: frozenset[str]


def _besides(definition: Definition, parked: Sequence[Kept], lists: Lists, now: datetime) -> _Besides:
    named = (each.id for each in definition.cavities)
    awaited = frozenset(each for each in named if any(entries.concerns(one.entry, each) for one in parked))
    # The service holds a check against the day in UTC as well.
    return _Besides(lists, now.astimezone(UTC).date(), awaited)


def _plan(snapshot: Snapshot, footing: Footing, asked: Sequence[PlannedStep], besides: _Besides) -> PlanView:
    definition = snapshot.definition
    sizes = {each.id: each.contact_size for each in definition.cavities}
    steps = []
    for each in asked:
        reason = phrases.unknown_cavity(definition, each.cavity)
        if reason:
            raise phrases.UnclearError(reason)
        steps.append(plans.Step(each.action, each.cavity, sizes[each.cavity], _brought(snapshot, each, sizes, besides)))
    made = plans.plan(definition, snapshot.house, footing.state, steps, snapshot.tooling, awaited=besides.awaited)
    view = shown.plan(snapshot, made, _cautions(snapshot, asked))
    return view if footing.certain else _at_best_warn(view)


def _brought(snapshot: Snapshot, step: PlannedStep, sizes: Mapping[str, str], besides: _Besides) -> answers.Brought:
    size = sizes[step.cavity]
    sex = None if snapshot.drawing is None else snapshot.drawing.sex
    known = Contacts(sex, snapshot.contacts, snapshot.other_contacts)
    return answers.Brought(
        tool=answers.tool_fit(snapshot.tooling, _part_number(step.tool, besides.lists), size, step.action),
        contact=contacts.fit(step.contact, known, size),
        tool_overdue=noting.overdue(step.tool, besides.lists, besides.today),
    )


def _cautions(snapshot: Snapshot, steps: Iterable[PlannedStep]) -> tuple[CautionView, ...]:
    """Those that the service gave along for these actions, else the ones that are always at hand."""
    actions = {each.action for each in steps}
    kept = tuple(
        CautionView(kind=each.kind, text=each.text, status=each.status, source=each.source)
        for each in snapshot.cautions
        if actions.intersection(each.actions)
    )
    return kept or CAUTIONS


def _part_number(tool: str | None, lists: Lists) -> str | None:
    """A tool's part number: by the shop's list, else from its number as typed or from its mark."""
    if tool is None or tool in lists.tools:
        return lists.tools.get(tool or "")
    mark = marks.read(readings.typed(tool).data)
    return mark.current_part_number or mark.part_number or tool


def _at_best_warn(view: PlanView) -> PlanView:
    reason = messages.ReasonView(code=ORDER_UNCERTAIN, answer=Answer.WARN, text=_UNCERTAIN)
    steps = tuple(
        structs.replace(
            each,
            answer=answers.worst([each.answer, Answer.WARN]),
            reasons=(*each.reasons, reason),
            ways=tuple(_at_best_warned(way) for way in each.ways),
        )
        for each in view.steps
    )
    return structs.replace(view, answer=answers.worst([each.answer for each in steps]), steps=steps)


def _at_best_warned(way: WayView) -> WayView:
    return way if way.answer is None else structs.replace(way, answer=answers.worst([way.answer, Answer.WARN]))


def _severity(view: PlanView) -> tuple[int, int, int]:
    weight = [Answer.GO, Answer.WARN, Answer.NO_GO].index(view.answer)
    worst = max(cycles.SEVERITY[each.wear_after] for each in view.steps)
    return weight, worst, max(each.cycle for each in view.steps)


def _age(cached: Cached, now: datetime, *, reached: bool) -> Iterable[str]:
    if reached:
        yield "Computed at this bench, since the service has not got everything that was recorded here yet."
        return
    age = now - cached.fetched_at
    if age < timedelta(0):
        yield (
            "Computed at this bench on the last known state, of unknown age, since this bench's clock was set back. "
            "Others may have worked on this connector meanwhile."
        )
        return
    yield (
        f"Computed at this bench on the last known state, which is {shown.age(age)} old: "
        "the service is away, and others may have worked on this connector meanwhile."
    )


def _counted(footing: Footing) -> Iterable[str]:
    if footing.waiting:
        yield f"{shown.count(footing.waiting, 'entry', 'entries')} recorded here and not in that state yet: counted in."
    if footing.left_out:
        yield (
            f"{shown.count(footing.left_out, 'entry', 'entries')} of this bench about this connector: refused or not "
            "fitting, so not counted. Somebody must look at the outbox."
        )
