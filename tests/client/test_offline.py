"""Answers while the service is away: the same rule, on what is known here, and never a go where nothing is."""

from datetime import timedelta
from pathlib import Path
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from scanner_client import offline, outbox, readings, sending, station
from scanner_client.dialogue import Advice, Basis, Found, Missing, Subject
from scanner_client.outbox import Cached, Kept, Settled
from scanner_client.station import Bench
from service.core.answers import Action, Answer
from service.core.entries import Entry, Kind
from service.messages import PlannedStep, StepView
from tests.client import fake
from tests.client.fake import Clock, Service
from tests.client.test_outbox import entry

INSERT_14 = (PlannedStep(action=Action.INSERT, cavity="14"),)
REMOVE_14 = (PlannedStep(action=Action.REMOVE, cavity="14"),)


def opened(bench: Bench, mark: str = "SN-1042") -> Subject:
    """Find and open a connector."""
    found = station.find(bench, readings.typed(mark))
    assert isinstance(found, Found)
    return station.open_connector(bench, found.connectors[0].id, mark).subject


def cycle(bench: Bench, clock: Clock, times: int, first: int = 1, cavity: str = "14") -> list[Entry]:
    """Put a contact in and out, so many times, and record it here."""
    made = []
    for number in range(first, first + 2 * times):
        kind = Kind.INSERTION if (number - first) % 2 == 0 else Kind.REMOVAL
        made.append(structs.replace(entry(number, cavity, kind), performed_at=clock.go()))
    station.record(bench, made)
    return made


def advised(bench: Bench, about: Subject, steps: tuple[PlannedStep, ...] = INSERT_14) -> Advice:
    """The answer at the bench."""
    return station.advise(bench, about, steps)


def test_the_bench_answers_as_the_service_would(bench: Bench, service: Service, clock: Clock) -> None:
    """What the bench answers alone is what the service answers once it has everything: the same steps, word for word."""
    about = opened(bench)
    service.cut = lambda _: "away"
    for done in range(12):
        alone = advised(bench, about)
        assert alone.basis is Basis.BENCH
        service.cut = lambda _: "answer"
        station.send(bench)
        online = advised(bench, about)
        assert online.basis is Basis.SERVICE
        assert alone.plan is not None
        assert online.plan is not None
        assert alone.plan.steps == online.plan.steps
        assert alone.plan.work == online.plan.work
        assert alone.plan.rating == online.plan.rating
        assert alone.plan.limiting == online.plan.limiting
        service.cut = lambda _: "away"
        cycle(bench, clock, 1, first=2 * done + 1)


@pytest.mark.parametrize(
    ("cycles", "answer"), [(0, Answer.GO), (6, Answer.GO), (7, Answer.WARN), (9, Answer.WARN), (10, Answer.NO_GO)]
)
def test_what_waits_here_is_counted(bench: Bench, service: Service, clock: Clock, cycles: int, answer: Answer) -> None:
    """Entries that the service has not got yet count: rating 10 warns from the eighth insertion, refuses the eleventh."""
    about = opened(bench)
    service.cut = lambda _: "away"
    cycle(bench, clock, cycles)
    assert advised(bench, about).answer is answer


def test_an_answer_alone_says_so_with_its_age(bench: Bench, service: Service, clock: Clock) -> None:
    """How old the state is, and that others may have worked meanwhile, is said with the answer."""
    about = opened(bench)
    service.cut = lambda _: "away"
    clock.go(3 * 3600)
    cycle(bench, clock, 1)
    told = " ".join(advised(bench, about).remarks)
    assert "last known state, which is 3 hours old" in told
    assert "others may have worked on this connector meanwhile" in told
    assert "2 entries recorded here and not in that state yet: counted in" in told
    clock.go(-86_400)
    assert "age" in " ".join(advised(bench, about).remarks)
    assert "set back" in " ".join(advised(bench, about).remarks)


def test_nothing_known_is_never_a_go(bench: Bench, service: Service) -> None:
    """Away and never seen here: no answer, with words that say it is not a go; recording is still possible."""
    service.cut = lambda _: "away"
    found = station.find(bench, readings.typed("SN-1042"))
    assert isinstance(found, Missing)
    assert "not a go" in found.why
    advice = advised(bench, Subject(mark="SN-1042", remarks=(found.why,)))
    assert (advice.answer, advice.basis) == (None, Basis.NOTHING)
    by_id = advised(bench, Subject(mark="SN-1042", connector=fake.CONNECTOR))
    assert (by_id.answer, by_id.basis) == (None, Basis.NOTHING)


def test_entries_by_mark_are_counted_once_the_connector_is_known(bench: Bench, service: Service, clock: Clock) -> None:
    """What was recorded under a mark belongs to the connector that the mark means."""
    opened(bench)
    service.cut = lambda _: "away"
    uii = "D0CVA5SN-1042"
    for number, mark in ((1, "SN-1042"), (2, uii)):
        kind = Kind.INSERTION if number == 1 else Kind.REMOVAL
        station.record(bench, [structs.replace(entry(number, "14", kind), connector=mark, performed_at=clock.go())])
    about = opened(bench)
    plan = advised(bench, about).plan
    assert plan is not None
    assert plan.steps[0].cycle == 2


def test_a_late_entry_is_never_a_go(bench: Bench, service: Service, clock: Clock) -> None:
    """An entry older than the known state can only be put in its place by the service: warn at best, and why."""
    about = opened(bench)
    cycle(bench, clock, 1)
    service.cut = lambda _: "away"
    yesterday = fake.START - timedelta(days=1)
    late = [structs.replace(entry(each, "14", Kind.TINE_ENTRY), performed_at=yesterday) for each in (90, 91)]
    station.record(bench, late)
    plan = advised(bench, about).plan
    assert plan is not None
    assert plan.answer is Answer.WARN
    assert offline.ORDER_UNCERTAIN in [each.code for each in plan.steps[0].reasons]
    assert plan.steps[0].cycle == 3


def test_a_correction_here_is_never_a_go(bench: Bench, service: Service, clock: Clock) -> None:
    """What a correction voids is not known here; the cycle stays counted, and the answer is warn at best."""
    about = opened(bench)
    made = cycle(bench, clock, 8)
    service.cut = lambda _: "away"
    station.record(
        bench,
        [
            Entry(
                id=UUID(int=99),
                connector=str(fake.CONNECTOR),
                kind=Kind.CORRECTION,
                performed_at=clock.go(),
                performed_by="B-7",
                corrects=made[0].id,
                note="wrong cavity",
            )
        ],
    )
    plan = advised(bench, about).plan
    assert plan is not None
    assert plan.answer is Answer.WARN
    assert plan.steps[0].cycle == 9


def test_the_worse_of_two_readings_holds(bench: Bench, service: Service, clock: Clock) -> None:
    """With the order unknown, a late insertion may or may not have left a contact inside: the worse answer is given."""
    about = opened(bench)
    cycle(bench, clock, 1)
    service.cut = lambda _: "away"
    station.record(bench, [structs.replace(entry(90), performed_at=fake.START - timedelta(days=1))])
    assert advised(bench, about).answer is Answer.NO_GO
    assert advised(bench, about, REMOVE_14).answer is Answer.NO_GO


def test_a_refused_entry_is_said_and_not_counted(bench: Bench, service: Service, clock: Clock) -> None:
    """What the service refused waits for a person; the answer says so, with and without the service, and is no go alone."""
    about = opened(bench)
    service.refuse = lambda each: "malformed" if each.id.int == 1 else None
    station.record(bench, [structs.replace(entry(1), performed_at=clock.go())])
    online = advised(bench, about)
    assert online.basis is Basis.SERVICE
    assert "refused" in " ".join(online.remarks)
    service.cut = lambda _: "away"
    alone = advised(bench, about)
    assert "refused" in " ".join(alone.remarks)
    assert alone.answer is Answer.WARN


def test_an_entry_of_a_cavity_that_does_not_exist_breaks_nothing(bench: Bench, service: Service, clock: Clock) -> None:
    """A fact about a cavity that the connector has not is left out, and said."""
    about = opened(bench)
    service.cut = lambda _: "away"
    station.record(bench, [structs.replace(entry(1, "99"), performed_at=clock.go())])
    alone = advised(bench, about)
    assert alone.answer is Answer.WARN
    assert "not fitting" in " ".join(alone.remarks)


def test_the_service_is_not_asked_while_it_lacks_entries(bench: Bench, service: Service, clock: Clock) -> None:
    """If the service answers but has not got everything, the bench answers on the fresh state with its own entries."""
    about = opened(bench)
    service.cut = lambda request: "away" if request.url.path == "/v1/entries" else "answer"
    cycle(bench, clock, 10)
    bench.way.wake()
    service.cut = lambda request: "denied" if request.url.path == "/v1/entries" else "answer"
    advice = advised(bench, about)
    assert advice.basis is Basis.BENCH
    assert advice.answer is Answer.NO_GO
    assert "has not got everything" in advice.remarks[0]


def test_several_connectors_stay_several_offline(bench: Bench, service: Service) -> None:
    """A mark that meant two connectors online never passes for one of them while the service is away."""
    service.definitions[fake.OTHER] = fake.twin("1TEST")
    found = station.find(bench, readings.typed("SN-1042"))
    assert isinstance(found, Found)
    assert len(found.connectors) == 2
    station.open_connector(bench, fake.CONNECTOR, "SN-1042")
    service.cut = lambda _: "away"
    again = station.find(bench, readings.typed("SN-1042"))
    assert isinstance(again, Found)
    assert [each.id for each in again.connectors] == [each.id for each in found.connectors]


def test_another_that_came_since_the_mark_was_looked_up_is_found_offline(bench: Bench, service: Service) -> None:
    """The mark meant one connector when it was looked up; a second one that was fetched since then bears it, too."""
    opened(bench)
    service.definitions[fake.OTHER] = fake.twin("1TEST")
    station.refreshed(bench, fake.OTHER)
    service.cut = lambda _: "away"
    found = station.find(bench, readings.typed("SN-1042"))
    assert isinstance(found, Found)
    assert [each.id for each in found.connectors] == [fake.CONNECTOR, fake.OTHER]


def test_a_connector_is_found_here_by_its_other_marks(bench: Bench, service: Service) -> None:
    """Opened by its serial once, a connector is found by its UII later (MIL-STD-130N construct 1: D, enterprise, serial)."""
    opened(bench)
    service.cut = lambda _: "away"
    found = station.find(bench, readings.typed("D0CVA5SN-1042"))
    assert isinstance(found, Found)
    assert [each.id for each in found.connectors] == [fake.CONNECTOR]


def test_a_token_that_is_not_accepted_is_said_with_the_answer(bench: Bench, service: Service) -> None:
    """The answer comes from here, and why is not left open."""
    about = opened(bench)
    service.cut = lambda _: "denied"
    advice = advised(bench, about)
    assert advice.basis is Basis.BENCH
    assert "token" in advice.remarks[0]


KINDS = st.sampled_from([Kind.INSERTION, Kind.REMOVAL, Kind.TINE_ENTRY, Kind.SEATING_TEST, Kind.RENEWAL, Kind.MATING])


@given(
    before=st.lists(KINDS, max_size=14),
    here=st.lists(st.tuples(KINDS, st.integers(-40, 40)), max_size=14),
    action=st.sampled_from(list(Action)),
)
def test_alone_is_never_milder_than_a_go_that_the_service_would_not_give(
    before: list[Kind], here: list[tuple[Kind, int]], action: Action
) -> None:
    """Whatever waits here and however late it is: where the bench says go, the service with all of it says go as well."""
    clock = Clock()
    service = Service(clock)
    number = 0
    for kind in before:
        number += 1
        assert service.one(_fact(number, kind, clock.go(10))).outcome == "recorded"
    cached = Cached(service.snapshot(fake.CONNECTOR), clock.now, 0)
    base, waiting = clock.now, []
    clock.go(1000)
    for kind, seconds in here:
        number += 1
        fact = _fact(number, kind, base + timedelta(seconds=seconds))
        waiting.append(Kept(number, fact, clock.now, "unsent"))
        assert service.one(fact).outcome == "recorded"
    steps = (PlannedStep(action=action, cavity="14"),)
    alone = offline.advise(cached, waiting, steps, clock.now)
    if alone.answer is Answer.GO:
        whole = Cached(service.snapshot(fake.CONNECTOR), clock.now, 0)
        assert offline.advise(whole, [], steps, clock.now).answer is Answer.GO


def _fact(number: int, kind: Kind, at: object) -> Entry:
    cavity = None if kind is Kind.MATING else "14"
    return structs.replace(entry(number, "14", kind), cavity=cavity, performed_at=at)


def test_acknowledged_after_the_snapshot_is_counted(outbox_path: Path, clock: Clock, service: Service) -> None:
    """An entry that the service took after the state was fetched is in neither twice nor not at all."""
    box = outbox.open_file(outbox_path, clock)
    box.save_snapshot(service.snapshot(fake.CONNECTOR), box.acknowledged())
    clock.go(10)
    box.keep([entry(1)])
    box.settle([Settled(UUID(int=1), "sent")])
    cached = box.snapshot(fake.CONNECTOR)
    assert cached is not None
    waiting = box.since([str(fake.CONNECTOR)], cached.acknowledged)
    plan = offline.advise(cached, waiting, REMOVE_14, clock.now).plan
    assert plan is not None
    assert (plan.answer, plan.steps[0].cycle) == (Answer.GO, 2)
    box.close()


def test_tools_are_known_by_part_number_offline(bench: Bench, service: Service) -> None:
    """The tool of another size is refused here as well, and one that nobody knows is a warning."""
    about = opened(bench)
    service.cut = lambda _: "away"
    answers = {}
    for tool in ("M81969/14-10", "M81969/14-03", "somebody's"):
        steps = (PlannedStep(action=Action.INSERT, cavity="14", tool=tool),)
        answers[tool] = advised(bench, about, steps).answer
    assert answers == {"M81969/14-10": Answer.GO, "M81969/14-03": Answer.NO_GO, "somebody's": Answer.WARN}


def test_the_state_shown_counts_what_waits(bench: Bench, service: Service, clock: Clock) -> None:
    """The list of cavities shows what was recorded here, sent or not."""
    about = opened(bench)
    service.cut = lambda _: "away"
    cycle(bench, clock, 3)
    state = station.standing(bench, about)
    assert state is not None
    cavity = state.cavity("14")
    assert cavity is not None
    assert (cavity.insertions, cavity.removals) == (3, 3)


def parked(bench: Bench, service: Service, clock: Clock, *made: Entry, mark: str = "SN-1042") -> Subject:
    """A connector at hand, fetched after entries of this bench about its serial were parked: another one bears it too."""
    service.definitions[fake.OTHER] = fake.twin("1TEST")
    sent = station.record(bench, [structs.replace(each, connector=mark, performed_at=clock.go()) for each in made])
    assert sent.parked == len(made)
    clock.go(60)
    return station.open_connector(bench, fake.CONNECTOR, "D0CVA5SN-1042").subject


def steps_alone(bench: Bench, service: Service, about: Subject, *cavities: str) -> list[StepView]:
    """What the bench says alone to an insertion into each cavity."""
    service.cut = lambda _: "away"
    plan = advised(bench, about, tuple(PlannedStep(action=Action.INSERT, cavity=each) for each in cavities)).plan
    service.cut = lambda _: "answer"
    bench.way.wake()
    assert plan is not None
    return list(plan.steps)


WAITING = [("entries_waiting", Answer.WARN)]


def reasons(step: StepView) -> list[tuple[str, Answer]]:
    """Why a step is answered so."""
    return [(each.code, each.answer) for each in step.reasons]


@pytest.mark.parametrize("mark", ["SN-1042", "SN-1042\r", "[)>\x1e06\x1d17V0CVA5\x1d1PTEST-20-4\x1dSSN-1042\x1e\x04"])
def test_a_parked_entry_that_may_be_about_a_cavity_is_never_a_go(
    bench: Bench, service: Service, clock: Clock, mark: str
) -> None:
    """The fresh state lacks it, and so does the count: warn for its cavity, with the rule's own reason; no other cavity."""
    service.definitions[UUID(int=77)] = structs.replace(fake.definition(), connector=UUID(int=77))
    about = parked(bench, service, clock, entry(1), entry(2, "14", Kind.REMOVAL), mark=mark)
    in_14, in_c = steps_alone(bench, service, about, "14", "c")
    assert (in_14.answer, reasons(in_14)) == (Answer.WARN, WAITING)
    assert (in_c.answer, reasons(in_c)) == (Answer.GO, [])


def test_a_parked_entry_about_the_whole_connector_concerns_every_cavity(
    bench: Bench, service: Service, clock: Clock
) -> None:
    """A renewal without cavities, a correction: nobody knows of which cavity the count is wrong."""
    correction = structs.replace(entry(1, kind=Kind.CORRECTION), cavity=None, corrects=UUID(int=9), note="wrong one")
    about = parked(bench, service, clock, correction)
    assert [reasons(each) for each in steps_alone(bench, service, about, "14", "c")] == [WAITING, WAITING]


def test_a_parked_entry_that_means_another_connector_leaves_a_go(bench: Bench, service: Service, clock: Clock) -> None:
    """Another serial, and the same key from a mark that says itself that its serial is another (MIL-STD-130N construct 2)."""
    other = "[)>\x1e06\x1d17V0CVA5\x1d1PSN-\x1dS1042\x1e\x04"
    for number, mark in enumerate(("SN-1043", other), start=1):
        about = parked(bench, service, clock, entry(number), mark=mark)
        assert steps_alone(bench, service, about, "14")[0].answer is Answer.GO


def test_what_was_parked_under_a_mark_that_the_connector_was_found_by_may_mean_it(
    bench: Bench, service: Service, clock: Clock
) -> None:
    """A name by which the service found it here counts like its own marks, although nothing here can read it so."""
    about = parked(bench, service, clock, entry(1), mark="P1 left")
    assert steps_alone(bench, service, about, "14")[0].answer is Answer.GO
    bench.box.save_mark("]C0|P1 left", service.matching(str(fake.CONNECTOR).encode()))
    assert reasons(steps_alone(bench, service, about, "14")[0]) == WAITING


def test_a_parked_entry_counts_beside_a_fresh_state_too(bench: Bench, service: Service, clock: Clock) -> None:
    """The service is there but lacks other entries, so the bench answers: what is parked makes that a warn as well."""
    about = parked(bench, service, clock, entry(1))
    bench.box.keep([structs.replace(entry(2, "c"), performed_at=clock.go())])
    service.cut = lambda request: "denied" if request.method == "POST" else "answer"
    advice = advised(bench, about)
    assert (advice.basis, advice.answer) == (Basis.BENCH, Answer.WARN)
    assert advice.plan is not None
    assert reasons(advice.plan.steps[0]) == WAITING
    service.assign(fake.OTHER)
    assert advised(bench, about).answer is Answer.GO


def test_what_is_counted_in_before_it_is_assigned_is_a_warn_too(bench: Bench, service: Service, clock: Clock) -> None:
    """Parked after the state was fetched, an entry is counted as this connector's, which it may not be."""
    about = opened(bench)
    service.definitions[fake.OTHER] = fake.twin("1TEST")
    made = [entry(1), entry(2, "14", Kind.REMOVAL)]
    station.record(bench, [structs.replace(each, connector="SN-1042", performed_at=clock.go()) for each in made])
    step = steps_alone(bench, service, about, "14")[0]
    assert (step.answer, step.cycle, reasons(step)) == (Answer.WARN, 2, WAITING)


@pytest.mark.parametrize(("connector", "cycle"), [(fake.CONNECTOR, 2), (fake.OTHER, 1)])
def test_the_warn_ends_once_the_service_has_said_whose_they_are(
    bench: Bench, service: Service, clock: Clock, connector: UUID, cycle: int
) -> None:
    """Assigned to this connector they are in its count, assigned to the other they are not; neither waits here any more."""
    about = parked(bench, service, clock, entry(1), entry(2, "14", Kind.REMOVAL))
    service.assign(connector)
    assert reasons(steps_alone(bench, service, about, "14")[0]) == WAITING
    about = station.open_connector(bench, fake.CONNECTOR, "SN-1042").subject
    assert (bench.box.counts().parked, bench.box.counts().sent) == (0, 2)
    step = steps_alone(bench, service, about, "14")[0]
    assert (step.answer, step.cycle) == (Answer.GO, cycle)


def test_a_state_from_before_counts_what_was_assigned_to_its_connector_alone(
    bench: Bench, service: Service, clock: Clock
) -> None:
    """Of two connectors that one mark means, the older state of the one that got the entry takes it in, not the other's."""
    service.definitions[fake.OTHER] = fake.twin("1TEST")
    older = station.open_connector(bench, fake.OTHER, "SN-1042").subject
    about = parked(bench, service, clock, entry(1), entry(2, "14", Kind.REMOVAL))
    service.assign(fake.OTHER)
    station.take(bench, [str(fake.CONNECTOR)])
    assert bench.box.counts().parked == 0
    assert [steps_alone(bench, service, each, "14")[0].cycle for each in (about, older)] == [1, 2]


def test_asking_after_parked_entries_is_bounded_and_loses_none(bench: Bench, service: Service, clock: Clock) -> None:
    """The oldest first, not all at once; where the service is away or does not know one, it stays parked."""
    made = [entry(each) for each in range(1, sending.MOST_ASKED + 6)]
    parked(bench, service, clock, *made)
    del service.parked[0]
    service.assign(fake.OTHER)
    asked: list[str] = []

    def away_after_three(path: str) -> str:
        asked.append(path)
        return "away" if len(asked) > 3 else "answer"

    service.cut = lambda request: away_after_three(request.url.path) if "/entries/" in request.url.path else "answer"
    assert station.open_connector(bench, fake.CONNECTOR, "SN-1042").subject.snapshot is not None
    assert asked[:3] == [f"/v1/entries/{UUID(int=each)}" for each in (1, 2, 3)]
    assert bench.box.counts().parked == len(made) - 2
    bench.way.wake()
    service.cut = lambda _: "answer"
    station.open_connector(bench, fake.CONNECTOR, "SN-1042")
    assert [each.entry.id.int for each in bench.box.of_status("parked")] == [1, 53, 54, 55]
