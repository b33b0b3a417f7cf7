"""What holds for any history whatever."""

import uuid
from datetime import timedelta

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from service.core import answers, chain, cycles, fold, limits, plans, reported, states
from service.core.answers import Action, Answer
from service.core.entries import REFERRING, TOOLED, Definition, Entry, HouseRule, Kind, Rating, Recorded, faults
from service.core.states import ConnectorState
from tests import histories

HOUSE = HouseRule()
CAVITIES = ("A", "C", "c")
PER_CAVITY = (Kind.INSERTION, Kind.REMOVAL, Kind.TINE_ENTRY, Kind.SEATING_TEST)
IDS = [uuid.UUID(int=number) for number in range(1, 13)]


@st.composite
def recordeds(draw: st.DrawFn) -> Recorded:
    """Any entry, with few ids and few instants, so that entries meet each other."""
    kind = draw(st.sampled_from(Kind))
    identity = draw(st.sampled_from(IDS))
    fields: dict[str, object] = {}
    if kind in PER_CAVITY or (kind in (Kind.FINDING, Kind.FINDING_CLOSED) and draw(st.booleans())):
        fields["cavity"] = draw(st.sampled_from(CAVITIES))
    if kind in (Kind.RENEWAL, Kind.CARRY_IN):
        fields["cavities"] = tuple(draw(st.lists(st.sampled_from(CAVITIES), unique=True, max_size=2)))
    if kind is Kind.CARRY_IN:
        fields |= {"insertions": draw(st.integers(0, 12)), "removals": draw(st.integers(0, 12))}
    if kind is Kind.CORRECTION:
        fields["corrects"] = draw(st.sampled_from([each for each in IDS if each != identity]))
    if kind in (Kind.RESOLUTION, Kind.ACCEPTANCE, Kind.FINDING_CLOSED):
        fields["refers_to"] = draw(st.sampled_from([each for each in IDS if each != identity]))
    if kind is Kind.SEATING_TEST:
        fields["held"] = draw(st.none() | st.booleans())
        fields["level"] = draw(st.none() | st.booleans())
    if kind in TOOLED:
        fields["tool_looked_at"] = draw(st.none() | st.booleans())
    if draw(st.booleans()):
        fields["note"] = "because"
    at = histories.START + timedelta(minutes=draw(st.integers(0, 8)))
    entry = Entry(
        id=identity,
        connector="EX-0001",
        kind=kind,
        performed_at=at,
        performed_by=draw(st.sampled_from(["amy", "ben"])),
        **fields,  # type: ignore[arg-type]
    )
    assert not faults(entry)
    noted = draw(st.sampled_from([(), (), ("clock_off",)]))
    return Recorded(entry=entry, recorded_at=histories.START + timedelta(days=1), recorded_by="test", noted=noted)


NOTES = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc"], exclude_characters="\ufffe\uffff")
    | st.sampled_from("\n\t"),
    max_size=20,
)
any_history = st.lists(recordeds(), max_size=12, unique_by=lambda each: each.entry.id)
any_definition = st.builds(
    histories.definition,
    history=st.sampled_from(["new", "unknown"]),
    populated=st.none() | st.booleans(),
    rating=st.none()
    | st.builds(Rating, value=st.integers(1, 6), basis=st.just("house"), first_insertion_counts=st.booleans()),
)


@given(any_definition, any_history, st.randoms())
def test_any_order_of_arrival_gives_the_same_state(
    definition: Definition, history: list[Recorded], chance: object
) -> None:
    """State depends on what happened and when, never on when it was told."""
    shuffled = list(history)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert states.encode(fold.fold(definition, shuffled)) == states.encode(fold.fold(definition, history))


def grow(definition: Definition, state: ConnectorState, past: list[Recorded], news: list[Recorded]) -> ConnectorState:
    """What the write path does: extend where that is the truth, else refold what is touched from what it may read."""
    extended = fold.extend(definition, state, news)
    if extended is not None:
        return extended
    only = fold.touched(state, news)
    history = [*past, *news]
    if only is not None and not state.whole.referring:
        history = [each for each in history if each.entry.cavity is None or each.entry.cavity in only]
    return fold.refold(definition, state, history, only)


@given(any_definition, any_history, st.integers(1, 4))
@settings(max_examples=300)
def test_replay_equals_incremental(definition: Definition, history: list[Recorded], size: int) -> None:
    """Recording in batches, late entries and corrections among them, gives the state that one fold of everything gives."""
    state = states.blank(definition)
    past: list[Recorded] = []
    for start in range(0, len(history), size):
        batch = history[start : start + size]
        state = grow(definition, state, past, batch)
        past = [*past, *batch]
        assert states.encode(state) == states.encode(fold.fold(definition, past))


@given(any_definition, any_history, st.integers(0, 12))
def test_lines_before_and_after_are_each_state_s_own(
    definition: Definition, history: list[Recorded], split: int
) -> None:
    """What the write path judges together, before and after new entries, is what each state gives by itself."""
    before = fold.fold(definition, history[:split])
    after = grow(definition, before, history[:split], history[split:])
    then = reported.judge(definition, before, None, HOUSE)
    assert reported.judge(definition, after, None, HOUSE, then) == reported.judge(definition, after, None, HOUSE)


@given(any_definition, any_definition, any_history, st.integers(1, 4), st.sampled_from([None, "Bench 1"]))
@settings(max_examples=300)
def test_reports_follow_the_states(
    definition: Definition, revised: Definition, history: list[Recorded], size: int, bench: str | None
) -> None:
    """What each write changes in the reports adds up to what the last state gives, after batches and a new rating."""
    state = states.blank(definition)
    before = reported.judge(definition, state, None, HOUSE)
    kept = Kept()
    kept.take(reported.change(None, before))
    for start in range(0, len(history), size):
        state = grow(definition, state, history[:start], history[start : start + size])
        after = reported.judge(definition, state, bench, HOUSE, before)
        kept.take(reported.change(before, after))
        before = after
    revised = msgspec.structs.replace(definition, rating=revised.rating)
    after = reported.judge(revised, fold.fold(revised, history), bench, HOUSE)
    kept.take(reported.change(before, after))
    worn, opened, sums = reported.whole(after)
    assert (kept.line, kept.worn, frozenset(kept.open)) == (after.line, worn, opened)
    assert kept.sums.shown() == sums


class Kept:
    """What the report tables would hold."""

    def __init__(self) -> None:
        self.line: limits.LimitLine | None = None
        self.worn: dict[str, limits.WornCavity] = {}
        self.open: set[reported.Open] = set()
        self.sums = reported.Sums()

    def take(self, change: reported.Change) -> None:
        """Do what a change says; it must say no more than what differs."""
        self.line = change.line if change.line_moved else self.line
        assert self.line == change.line
        for cavity in change.healed:
            del self.worn[cavity]
        self.worn |= {row.cavity: row for row in change.worn}
        assert self.open.isdisjoint(change.opened)
        assert self.open.issuperset(change.settled)
        self.open = (self.open - set(change.settled)) | set(change.opened)
        self.sums.add(change.sums)


@given(any_definition, any_history)
def test_counts_never_go_negative_and_never_shrink_without_a_reason(
    definition: Definition, history: list[Recorded]
) -> None:
    """No history makes a count negative; completed never exceeds begun."""
    for cavity in fold.fold(definition, history).cavities:
        assert min(cavity.insertions, cavity.removals, cavity.tine_entries) >= 0
        assert cycles.begun(cavity.counts) >= cavity.removals


@given(any_definition, any_history, st.lists(st.sampled_from(IDS), max_size=4))
def test_corrections_commute(definition: Definition, history: list[Recorded], targets: list[uuid.UUID]) -> None:
    """Several corrections have the same effect in whatever order they were made."""
    made = [
        Recorded(
            entry=Entry(
                id=uuid.UUID(int=100 + index),
                connector="EX-0001",
                kind=Kind.CORRECTION,
                performed_at=histories.START + timedelta(hours=index),
                performed_by="ben",
                corrects=target,
                note="typo",
            ),
            recorded_at=histories.START + timedelta(days=1),
            recorded_by="test",
        )
        for index, target in enumerate(targets)
    ]
    forth = fold.fold(definition, [*history, *made])
    back = fold.fold(definition, [*reversed(made), *history])
    assert forth == back
    kept = [each for each in history if each.entry.id not in targets or each.entry.kind is Kind.CORRECTION]
    counts = [each.counts for each in fold.fold(definition, [*kept, *made]).cavities]
    assert counts == [each.counts for each in forth.cavities]


any_steps = st.lists(st.tuples(st.sampled_from(Action), st.sampled_from(CAVITIES)), min_size=1, max_size=5)


@given(any_definition, any_history, any_steps)
@settings(max_examples=300)
def test_a_plan_never_contradicts_what_recording_it_yields(
    definition: Definition, history: list[Recorded], steps: list[tuple[Action, str]]
) -> None:
    """A go never leads to a discrepancy, and an insertion that would be over the rating is a no_go."""
    state = fold.fold(definition, history)
    wanted = [plans.Step(action, cavity, "20") for action, cavity in steps]
    made = plans.plan(definition, HOUSE, state, wanted)
    at = histories.START + timedelta(days=2)
    past = list(history)
    for number, step in enumerate(made.steps):
        for half, kind in enumerate(plans.halves(step.step.action)):
            entry = Entry(
                id=uuid.UUID(int=1000 + 2 * number + half),
                connector="EX-0001",
                kind=kind,
                performed_at=at + timedelta(minutes=2 * number + half),
                performed_by="amy",
                cavity=step.step.cavity,
            )
            done = Recorded(entry=entry, recorded_at=at + timedelta(days=1), recorded_by="test")
            past.append(done)
            after = fold.fold(definition, past)
            codes = {each.code for part in after.cavities for each in part.discrepancies if each.entry == entry.id}
            if step.judged.answer is Answer.GO:
                assert not codes
            if codes - {"over_rating"}:
                assert step.judged.answer is not Answer.GO
            if "over_rating" in codes and kind is Kind.INSERTION:
                assert step.judged.answer is Answer.NO_GO
            if "over_rating" in codes:
                assert step.judged.answer is not Answer.GO
        recorded = after.cavity(step.step.cavity)
        assert recorded is not None
        figures = cycles.limits(definition.rating, definition.nearing_fraction, HOUSE)
        assert step.after == cycles.standing(recorded.counts, recorded.occupied, recorded.known, figures)


@given(any_definition, any_history)
def test_a_go_is_only_ever_said_where_everything_is_known(definition: Definition, history: list[Recorded]) -> None:
    """Without a rating, a known history and a known occupancy there is no go for an insertion."""
    state = fold.fold(definition, history)
    for cavity in state.cavities:
        judged = answers.judge(definition, HOUSE, state.whole, cavity, Action.INSERT)
        if judged.answer is Answer.GO:
            assert definition.rating is not None
            assert cavity.known
            assert cavity.occupied is False
            assert judged.standing.next < 0.8 * definition.rating.value or judged.standing.next < -(
                -8 * definition.rating.value // 10
            )


@given(any_definition, any_history)
def test_states_survive_their_bytes(definition: Definition, history: list[Recorded]) -> None:
    """A state that is written and read is the same state, and gives the same bytes again."""
    state = fold.fold(definition, history)
    data = states.encode(state)
    assert states.encode(states.decode(data)) == data
    kept = reported.judge(definition, states.decode(data), None, HOUSE)
    assert kept == reported.judge(definition, state, None, HOUSE)


@given(recordeds(), st.none() | st.floats(0, 10_000), st.none() | NOTES)
def test_the_fast_canonical_form_is_rfc_8785(recorded: Recorded, force_n: float | None, note: str | None) -> None:
    """The bytes that are hashed are those of the reference library for RFC 8785, whichever way they were made."""
    entry = msgspec.structs.replace(recorded.entry, force_n=force_n, note=note)
    body = chain.LedgerBody(
        connector=histories.CONNECTOR, number=7, recorded=msgspec.structs.replace(recorded, entry=entry)
    )
    assert chain.canonical_entry(entry) == chain.canonical(entry)
    assert chain.canonical_body(body) == chain.canonical(body)
    assert chain.decode_body(chain.canonical_body(body)) == body


def test_kinds_that_refer_are_the_ones_that_need_a_history() -> None:
    """Only corrections, resolutions and acceptances act on other entries out of order."""
    assert {Kind.CORRECTION, Kind.RESOLUTION, Kind.ACCEPTANCE} == REFERRING


@given(any_definition, st.none() | st.floats(0.1, 1), st.none() | st.floats(0.1, 1), st.text(max_size=30))
def test_the_fast_canonical_definition_is_rfc_8785(
    definition: Definition, fraction: float | None, rated: float | None, reason: str
) -> None:
    """The quick way to a definition's canonical bytes gives what RFC 8785 asks, with and without fractions."""
    rating = definition.rating and msgspec.structs.replace(definition.rating, nearing_fraction=rated)
    changed = msgspec.structs.replace(definition, nearing_fraction=fraction, rating=rating)
    body = chain.DefinitionBody(definition=changed, recorded_at=histories.START, recorded_by="x", reason=reason)
    assert chain.canonical_definition(body) == chain.canonical(body)
    assert chain.decode_definition(chain.canonical_definition(body)) == body
