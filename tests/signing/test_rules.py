"""The rules of signing as tables: what stands, what is asked, what comes of it.

Sources: 14 CFR 121.371(c) (nobody inspects work of their own); EASA 145.A.48 with its AMC (reinspection by the same person);
the rest from the shop's contract, no source.
"""

from datetime import UTC, date, datetime, timedelta

import pytest

from service.core.entries import Kind
from service.core.signing import attempts, authority, rules
from service.core.signing.authority import Authority, Place, What
from service.core.signing.rules import Act, Earlier, Rule, Situation, Step

T0 = datetime(2026, 11, 25, 8, tzinfo=UTC)


def at(hours: float) -> datetime:
    """Hours after the first step."""
    return T0 + timedelta(hours=hours)


def step(by: str, hours: float, *, void: bool = False, family: str | None = None) -> Step:
    """A step."""
    return Step(performed_by=by, happened_at=at(hours), void=void, place=Place(family, None))


def earlier(meaning: str, badge: str, hours: float, outcome: str = "accepted") -> Earlier:
    """A signature that is there."""
    return Earlier(meaning=meaning, outcome=outcome, badge=badge, signed_at=at(hours))


ALL = tuple(Authority(number, each, "all", date(2020, 1, 1)) for number, each in enumerate(What))
WORK = (step("B-1", 0), step("B-2", 1))

CASES: dict[str, tuple[Act, Situation, Rule | None]] = {
    "somebody else inspects": (
        Act(badge="B-7", subject="work_order", meaning="inspected", at=at(2)),
        Situation(authorities=ALL, steps=WORK),
        None,
    ),
    "the first performer inspects": (
        Act(badge="B-1", subject="work_order", meaning="inspected", at=at(2)),
        Situation(authorities=ALL, steps=WORK),
        Rule.NO_PERFORMER,
    ),
    "a performer of one step of many, written another way": (
        Act(badge="b-2 ", subject="work_order", meaning="inspected", at=at(2)),
        Situation(authorities=ALL, steps=WORK),
        Rule.NO_PERFORMER,
    ),
    "a performer of a step that was entered in error": (
        Act(badge="B-2", subject="work_order", meaning="inspected", at=at(2)),
        Situation(authorities=ALL, steps=(step("B-1", 0), step("B-2", 1, void=True))),
        Rule.NO_PERFORMER,
    ),
    "whoever signed that it was done": (
        Act(badge="B-3", subject="work_order", meaning="inspected", at=at(2)),
        Situation(authorities=ALL, steps=WORK, earlier=(earlier("performed", "B-3", 1.5),)),
        Rule.NO_PERFORMER,
    ),
    "the exception while it is off": (
        Act(badge="B-1", subject="work_order", meaning="inspected", at=at(2), exception=True),
        Situation(authorities=ALL, steps=WORK),
        Rule.EXCEPTION_ALLOWED,
    ),
    "the exception while it is on": (
        Act(badge="B-1", subject="work_order", meaning="inspected", at=at(2), exception=True),
        Situation(authorities=ALL, steps=WORK, exception_allowed=True),
        None,
    ),
    "on, but not claimed": (
        Act(badge="B-1", subject="work_order", meaning="inspected", at=at(2)),
        Situation(authorities=ALL, steps=WORK, exception_allowed=True),
        Rule.NO_PERFORMER,
    ),
    "claimed by a stranger to the work": (
        Act(badge="B-7", subject="work_order", meaning="inspected", at=at(2), exception=True),
        Situation(authorities=ALL, steps=WORK, exception_allowed=True),
        Rule.EXCEPTION_NEEDED,
    ),
    "before the last step": (
        Act(badge="B-7", subject="work_order", meaning="inspected", at=at(0.5)),
        Situation(authorities=ALL, steps=WORK),
        Rule.NOT_BEFORE,
    ),
    "before a step that was entered in error": (
        Act(badge="B-7", subject="work_order", meaning="inspected", at=at(0.5)),
        Situation(authorities=ALL, steps=(step("B-1", 0), step("B-2", 1, void=True))),
        None,
    ),
    "nothing was done": (
        Act(badge="B-7", subject="work_order", meaning="performed", at=at(2)),
        Situation(authorities=ALL),
        Rule.SOME_WORK,
    ),
    "all that was done was entered in error": (
        Act(badge="B-7", subject="work_order", meaning="performed", at=at(2)),
        Situation(authorities=ALL, steps=(step("B-1", 0, void=True),)),
        Rule.SOME_WORK,
    ),
    "inspected again although it was refused": (
        Act(badge="B-7", subject="work_order", meaning="inspected", at=at(3)),
        Situation(authorities=ALL, steps=WORK, earlier=(earlier("inspected", "B-8", 2, "refused"),)),
        Rule.REWORK_FIRST,
    ),
    "inspected again after rework": (
        Act(badge="B-7", subject="work_order", meaning="inspected", at=at(4)),
        Situation(authorities=ALL, steps=(*WORK, step("B-1", 3)), earlier=(earlier("inspected", "B-8", 2, "refused"),)),
        None,
    ),
    "approved although it was refused": (
        Act(badge="B-9", subject="work_order", meaning="approved", at=at(4)),
        Situation(authorities=ALL, steps=(*WORK, step("B-1", 3)), earlier=(earlier("inspected", "B-8", 2, "refused"),)),
        Rule.REWORK_FIRST,
    ),
    "approved after refusal, rework and acceptance": (
        Act(badge="B-9", subject="work_order", meaning="approved", at=at(5)),
        Situation(
            authorities=ALL,
            steps=(*WORK, step("B-1", 3)),
            earlier=(earlier("inspected", "B-8", 2, "refused"), earlier("inspected", "B-8", 4)),
        ),
        None,
    ),
    "the rework is signed as performed": (
        Act(badge="B-1", subject="work_order", meaning="performed", at=at(4)),
        Situation(authorities=ALL, steps=(*WORK, step("B-1", 3)), earlier=(earlier("inspected", "B-8", 2, "refused"),)),
        None,
    ),
    "earlier than a signature that is there": (
        Act(badge="B-9", subject="work_order", meaning="approved", at=at(2)),
        Situation(authorities=ALL, steps=WORK, earlier=(earlier("performed", "B-1", 3),)),
        Rule.IN_ORDER,
    ),
    "authority of another kind": (
        Act(badge="B-7", subject="work_order", meaning="inspected", at=at(2)),
        Situation(authorities=ALL[:1], steps=WORK),
        Rule.AUTHORITY,
    ),
    "a record, which is about no step": (
        Act(badge="B-9", subject="record", meaning="approved", at=at(2)),
        Situation(authorities=ALL),
        None,
    ),
    "a record, with authority for one family": (
        Act(badge="B-9", subject="record", meaning="approved", at=at(2)),
        Situation(authorities=(Authority(1, What.APPROVES, "family:X", date(2020, 1, 1)),)),
        Rule.AUTHORITY,
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_rules(case: str) -> None:
    """Each signature breaks the rule that it should, or none."""
    asked, situation, wanted = CASES[case]
    assert rules.broken(asked, situation) is wanted


HOLDS: dict[str, tuple[Authority, date, bool]] = {
    "the first day": (Authority(1, What.INSPECTS, "all", date(2026, 1, 1), date(2026, 12, 31)), date(2026, 1, 1), True),
    "the day before": (Authority(1, What.INSPECTS, "all", date(2026, 1, 1)), date(2025, 12, 31), False),
    "the last day": (Authority(1, What.INSPECTS, "all", date(2026, 1, 1), date(2026, 2, 1)), date(2026, 2, 1), True),
    "the day after": (Authority(1, What.INSPECTS, "all", date(2026, 1, 1), date(2026, 2, 1)), date(2026, 2, 2), False),
    "withdrawn": (Authority(1, What.INSPECTS, "all", date(2026, 1, 1), None, at(0)), date(2026, 3, 1), False),
}


@pytest.mark.parametrize("case", HOLDS)
def test_authority_has_its_days(case: str) -> None:
    """Authority holds from its first to its last day, both within, and never again once withdrawn."""
    given, day, wanted = HOLDS[case]
    assert given.holds(day) is wanted


COVERED: dict[str, tuple[list[str], list[Place], bool]] = {
    "everything": (["all"], [Place("X", None)], True),
    "the family": (["family:X"], [Place("X", "Shop 1")], True),
    "another family": (["family:Y"], [Place("X", "Shop 1")], False),
    "the shop": (["shop:Shop 1"], [Place("X", "Shop 1")], True),
    "one of two": (["family:X"], [Place("X", None), Place("Y", None)], False),
    "two together": (["family:X", "shop:Shop 1"], [Place("X", None), Place("Y", "Shop 1")], True),
    "a family that nobody knows": (["family:None"], [Place(None, None)], False),
    "no place at all": (["family:X"], [], False),
    "no place, but everything": (["all"], [], True),
    "nothing": ([], [Place("X", None)], False),
}


@pytest.mark.parametrize("case", COVERED)
def test_scopes_cover_places(case: str) -> None:
    """Scopes cover a work only if they cover each of its steps."""
    scopes, places, wanted = COVERED[case]
    assert authority.covers(scopes, places) is wanted


STANDS: dict[str, tuple[tuple[Step, ...], bool, bool]] = {
    # steps, exception -> whether the inspection of B-7 at the second hour still stands
    "nothing since": (WORK, False, True),
    "work after it": ((*WORK, step("B-1", 3)), False, False),
    "work after it that was entered in error": ((*WORK, step("B-1", 3, void=True)), False, True),
    "an entry that came late makes the inspector a performer": ((*WORK, step("B-7", 1.5)), False, False),
    "as an exception": ((*WORK, step("B-7", 1.5)), True, True),
}


@pytest.mark.parametrize("case", STANDS)
def test_inspections_stand(case: str) -> None:
    """An accepted inspection speaks for the work until work follows it, or late entries show that it was of one's own."""
    steps, exception, wanted = STANDS[case]
    assert rules.inspection_stands("B-7", at(2), Situation(steps=steps), exception=exception) is wanted


def test_what_is_no_work_is_said_about_it() -> None:
    """An inspector's own words on work are no step of it; everything that touches the connector is."""
    assert {Kind.ACCEPTANCE, Kind.CORRECTION, Kind.RESOLUTION, Kind.FINDING} == rules.NOT_WORK


DELAYS = ((1, 0), (2, 0), (3, 5), (4, 10), (5, 20), (10, 640), (13, 3600), (1_000_000, 3600))


@pytest.mark.parametrize(("failures", "wanted"), DELAYS)
def test_delays_grow(failures: int, wanted: int) -> None:
    """Two wrong secrets cost nothing; from the third the wait doubles, to an hour at most."""
    assert attempts.delay_s(failures) == wanted


def test_waits_are_whole_seconds_and_end() -> None:
    """A wait is told in whole seconds that suffice, and is none once it is over."""
    until = attempts.blocked_until(3, T0)
    assert until == T0 + timedelta(seconds=5)
    assert attempts.wait_s(until, T0 + timedelta(seconds=4.5)) == 1
    assert attempts.wait_s(until, until) == 0
