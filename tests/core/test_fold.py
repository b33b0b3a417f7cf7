"""The fold, as tables: what each entry is found to be, and how the cavity stands after it."""

import time

import pytest

from service.core import cycles, fold
from service.core.discrepancies import SENTENCES, Code
from service.core.entries import HouseRule, Rating, Recorded
from service.core.states import CavityState, ConnectorState, WholeState
from tests import histories

TABLES = {
    "a clean life of ten cycles": """
        insertion C                        ->
        = C begun 1 completed 0 next 2 wear within occupied True
        removal C                          ->
        = C begun 1 completed 1 next 2 wear within occupied False
        insertion C                        ->
        removal C                          ->
        insertion C                        ->
        removal C                          ->
        insertion C                        ->
        removal C                          ->
        insertion C                        ->
        removal C                          ->
        insertion C                        ->
        removal C                          ->
        = C begun 6 completed 6 next 7 wear within
        insertion C                        ->
        = C begun 7 completed 6 next 8 wear nearing left 3
        removal C                          ->
        insertion C                        ->
        removal C                          ->
        insertion C                        ->
        removal C                          ->
        insertion C                        ->
        = C begun 10 completed 9 next 11 wear spent left 0
        removal C                          ->
        = C begun 10 completed 10 next 11 wear spent
        insertion C                        -> over_rating
        = C begun 11 completed 10 wear over
        removal C                          ->
        = C begun 11 completed 11 wear over
        = c begun 0 completed 0 wear within
    """,
    "ids are case-sensitive": """
        insertion C                        ->
        insertion c                        ->
        removal c                          ->
        = C occupied True begun 1
        = c occupied False completed 1
        = A occupied False begun 0
    """,
    "occupancy that contradicts itself is kept and said": """
        removal A                          -> removed_while_empty
        = A begun 1 completed 1 occupied False
        insertion A                        ->
        insertion A                        -> inserted_while_occupied
        = A begun 2 completed 1 occupied True next 3
    """,
    "tine entries load the retainer by half a cycle": """
        insertion A                        ->
        tine_entry A                       ->
        = A begun 1 completed 0
        tine_entry A                       ->
        tine_entry A                       ->
        = A begun 2 completed 0
        removal A                          ->
        = A begun 3 completed 1
    """,
    "one seating test per insertion": """
        insertion A                        ->
        seating_test A held=true           ->
        seating_test A held=true           -> second_seating_test
        = A begun 1 completed 0
        removal A                          ->
        seating_test A                     -> seating_test_of_empty
        insertion A                        ->
        seating_test A held=false          ->
        removal A                          ->
        = A begun 2 completed 2 did_not_hold True
    """,
    "a look is no pull": """
        insertion A tool_looked_at=true    ->
        seating_test A level=true          ->
        seating_test A level=true          ->
        = A tests 0 held None did_not_hold False
        seating_test A held=true           ->
        = A tests 1 held True
        seating_test A level=true          ->
        seating_test A level=true force_n=60 -> second_seating_test
        = A tests 2 held True
        removal A                          ->
        seating_test A level=false         -> seating_test_of_empty
        insertion C                        ->
        seating_test C                     ->
        seating_test C                     -> second_seating_test
    """,
    "a contact out of line is not seated, whatever the pull says": """
        insertion A                        ->
        seating_test A level=false         ->
        = A tests 0 held False did_not_hold True
        seating_test A level=true          ->
        = A held False did_not_hold True
        seating_test A held=true           ->
        = A held True did_not_hold False
        insertion C                        ->
        seating_test C held=true level=false ->
        = C tests 1 held False did_not_hold True
    """,
    "a finding blocks until it is closed": """
        finding A note=bent #f             ->
        insertion A                        -> worked_with_open_finding
        finding_closed A refers_to=f       ->
        removal A                          ->
        finding_closed A                   -> closed_no_finding
        finding A blocks=false             ->
        insertion A                        ->
    """,
    "a finding on the whole connector blocks every cavity": """
        finding note=corrosion             ->
        insertion A                        -> worked_with_open_finding
        finding_closed note=cleaned        ->
        insertion C                        ->
        finding_closed                     -> closed_no_finding
        finding_closed refers_to=nothing   ->
    """,
    "a renewal starts a new life": """
        insertion A                        ->
        removal A                          ->
        insertion C                        ->
        renewal cavities=A,C               -> renewed_while_occupied
        = A begun 0 completed 0 occupied False life 2
        = C begun 0 completed 0 occupied False life 2
        = c life 1
        renewal                            ->
        = c life 2
    """,
    "a late entry counts in the life in which the work was done": """
        @10 insertion A                    ->
        @20 removal A                      ->
        @30 renewal A                      ->
        = A begun 0 life 2
        @5 insertion A                     ->
        = A begun 0 life 2
        @40 insertion A                    ->
        = A begun 1 life 2
    """,
    "a carry-in opens the count": """
        carry_in A insertions=6 removals=5 occupied=true source=traveller ->
        = A begun 6 completed 5 next 7 occupied True
        removal A                          ->
        insertion A                        ->
        = A begun 7 completed 6
        carry_in A insertions=9 removals=3 source=paper -> carry_in_twice
        = A begun 10 completed 6
        insertion C                        ->
        carry_in C insertions=2            -> carry_in_after_entries, carry_in_without_source
        = C begun 3
    """,
    "a carry-in that contradicts itself counts the greater": """
        carry_in A insertions=9 removals=9 occupied=true source=card -> carry_in_contradicts
        = A begun 10 completed 9 next 11 wear spent
        carry_in C insertions=9 removals=9 occupied=false source=card ->
        = C begun 9 next 10
    """,
    "a renewal and a carry-in of one day": """
        @5 renewal A                       ->
        @5 carry_in A insertions=6 removals=6 source=card ->
        = A begun 6 life 2
        @5 carry_in C insertions=6 removals=6 source=card ->
        @5 renewal C                       ->
        = C begun 6 life 2
    """,
    "a carry-in beyond the rating says so": """
        carry_in insertions=12 removals=12 source=card -> over_rating
        = A begun 12 wear over
    """,
    "a correction voids, and is not itself corrected": """
        insertion A #wrong                 ->
        = A begun 1
        correction corrects=wrong note=typo #c ->
        = A begun 0 occupied False
        correction corrects=c note=undo    -> corrects_a_correction
        = A begun 0
        insertion A #kept                  ->
        correction corrects=kept           -> no_reason
        = A begun 1
        correction corrects=nowhere        -> corrects_unknown, no_reason
    """,
    "a discrepancy is resolved with a reason, or not at all": """
        removal A #odd                     -> removed_while_empty
        resolution refers_to=odd           -> no_reason
        = A discrepancies removed_while_empty
        resolution refers_to=odd code=over_rating note=other ->
        = A discrepancies removed_while_empty
        resolution refers_to=odd code=removed_while_empty note=seen ->
        = A discrepancies none
        resolution refers_to=elsewhere note=seen -> refers_to_unknown
    """,
    "an inspector accepts or refuses the work of others": """
        insertion A by=amy #work           ->
        acceptance refers_to=work by=ben   ->
        acceptance refers_to=work by=amy   -> inspected_own_work
        acceptance refers_to=work by=ben accepted=false ->
        acceptance note=all                ->
    """,
    "mating is counted for the whole connector": """
        mating                             ->
        mating                             -> mated_while_mated
        insertion A                        ->
        unmating                           ->
        unmating                           -> unmated_while_unmated
        mating                             -> over_mating_rating
    """,
    "a retired connector is not worked on": """
        insertion A                        ->
        retirement                         ->
        removal A                          -> work_after_retirement
        renewal A                          -> work_after_retirement
        mating                             -> work_after_retirement
    """,
    "what was noted at recording stays with the entry": """
        insertion A noted=unknown_person,clock_off -> clock_off, unknown_person
        insertion C noted=tool_overdue,wrong_contact -> tool_overdue, wrong_contact
        placement asset=TN-01 zone=410 position=P1 noted=clock_behind -> clock_behind
    """,
    "entries of one instant go in the order that could have happened": """
        @1 insertion A                     ->
        @1 removal A                       ->
        @1 insertion A                     ->
        @1 seating_test A                  ->
        = A begun 2 completed 1 occupied True
    """,
}


def found_codes(state: ConnectorState, recorded: Recorded) -> tuple[str, ...]:
    """The codes that are open for an entry."""
    everywhere: list[CavityState | WholeState] = [state.whole, *state.cavities]
    return tuple(
        sorted({each.code for part in everywhere for each in part.discrepancies if each.entry == recorded.entry.id})
    )


def check_stands(state: ConnectorState, line: histories.Line, rating: Rating | None) -> None:
    """Compare how a cavity stands with what a table line says."""
    cavity = state.cavity(line.stands["cavity"])
    assert cavity is not None
    figures = cycles.limits(rating, None, HouseRule())
    stands = cycles.standing(cavity.counts, cavity.occupied, cavity.known, figures)
    open_codes = " ".join(each.code for each in cavity.discrepancies) or "none"
    seen = {
        "begun": stands.begun,
        "completed": stands.completed,
        "next": stands.next,
        "left": stands.left,
        "wear": stands.wear.value,
        "occupied": cavity.occupied,
        "life": cavity.life,
        "did_not_hold": cavity.did_not_hold,
        "held": cavity.held,
        "tests": cavity.seating_tests,
        "discrepancies": open_codes,
    }
    wanted = {key: value for key, value in line.stands.items() if key != "cavity"}
    assert {key: str(seen[key]) for key in wanted} == wanted, line.text


@pytest.mark.parametrize("name", TABLES)
def test_table(name: str) -> None:
    """Every line of a table is found to be what it says, whether folded whole or entry by entry."""
    definition = histories.definition(mating_rating=Rating(value=2, basis="house"))
    history: list[Recorded] = []
    kept = fold.fold(definition, [])
    for line in histories.read(TABLES[name]):
        if line.recorded is None:
            check_stands(fold.fold(definition, history), line, definition.rating)
            continue
        history.append(line.recorded)
        whole = fold.fold(definition, history)
        assert found_codes(whole, line.recorded) == line.codes, line.text
        extended = fold.extend(definition, kept, [line.recorded])
        kept = whole if extended is None else extended
        assert kept == whole, line.text


def test_a_refusal_is_said_about_the_work_that_was_refused() -> None:
    """An acceptance that refuses opens a discrepancy on the entry it refuses, not on itself."""
    lines = histories.read("insertion A #w ->\nacceptance refers_to=w by=ben accepted=false ->")
    history = [each.recorded for each in lines if each.recorded]
    assert found_codes(fold.fold(histories.definition(), history), history[0]) == ("work_refused",)


def test_an_entry_that_arrives_after_its_correction_is_void_at_once() -> None:
    """A correction may be recorded before the entry that it corrects has arrived."""
    lines = histories.read("insertion A #later ->\ncorrection corrects=later note=typo ->")
    insertion, correction = [each.recorded for each in lines if each.recorded]
    definition = histories.definition()
    early = fold.fold(definition, [correction])
    assert found_codes(early, correction) == ("corrects_unknown",)
    assert early.whole.pending == (insertion.entry.id,)
    assert fold.extend(definition, early, [insertion]) is None
    late = fold.fold(definition, [correction, insertion])
    assert late.cavities[0].insertions == 0
    assert found_codes(late, correction) == ()


def test_a_clock_that_runs_ahead_can_not_hide_cycles() -> None:
    """A renewal dated in the future counts from when it was recorded, so later work is not pushed into the old life."""
    lines = histories.read("@9999999 renewal A ->\n@50000 insertion A ->")
    renewal, insertion = [each.recorded for each in lines if each.recorded]
    assert renewal.ordered_at == renewal.recorded_at < insertion.ordered_at
    assert fold.fold(histories.definition(), [renewal, insertion]).cavities[0].insertions == 1


def test_every_discrepancy_has_a_sentence_and_is_reached() -> None:
    """The closed list of discrepancies has no member without a sentence or without a test that reaches it."""
    assert set(SENTENCES) == set(Code)
    reached = {code for table in TABLES.values() for line in histories.read(table) for code in line.codes}
    elsewhere = {Code.WORK_REFUSED, Code.CLOCK_AHEAD, Code.UNKNOWN_TOOL, Code.WRONG_TOOL}
    assert reached | elsewhere == set(Code)


def test_a_long_day_under_one_time_is_folded_in_good_time() -> None:
    """Thousands of entries of one instant, each with a discrepancy, cost about in proportion to their number."""
    table = "\n".join("@0 insertion A noted=unknown_person ->" for _ in range(4000))
    history = [each.recorded for each in histories.read(table) if each.recorded]
    started = time.process_time()
    state = fold.fold(histories.definition(), history)
    assert time.process_time() - started < 5, "it took about a minute when each was sorted in anew"
    assert state.cavities[0].insertions == 4000
    assert list(state.cavities[0].discrepancies) == sorted(
        state.cavities[0].discrepancies, key=lambda each: (each.entry, each.code)
    )
