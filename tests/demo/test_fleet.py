"""The demo fleet: plausible, invented, and the same for the same seed."""

import hashlib
import os
import subprocess
import sys
from collections import Counter
from datetime import UTC, datetime, time, timedelta

import msgspec
import pytest

from service.core import entries, marks, part_numbers
from service.core.entries import Kind
from service.demo import fleet, mishaps, operator, yard
from tests.demo import fleets

NIGHTFALL = datetime.combine(fleets.TODAY, time(), UTC)

_DIGEST = """
import hashlib, msgspec
from tests.demo import fleets
print(hashlib.sha256(msgspec.json.encode(fleets.made(5, fleets.SMALL))).hexdigest())
"""


def test_the_same_seed_and_day_give_the_same_bytes_in_another_process() -> None:
    """Ids and facts depend on seed and day alone, not on the process and its hash seed."""
    here = hashlib.sha256(msgspec.json.encode(fleets.made(5, fleets.SMALL))).hexdigest()
    environment = os.environ | {"PYTHONHASHSEED": "77"}
    there = subprocess.run([sys.executable, "-c", _DIGEST], env=environment, capture_output=True, text=True, check=True)
    assert there.stdout.strip() == here


def test_another_seed_is_another_fleet() -> None:
    """No id of one seed is an id of another."""
    one, other = fleets.made(5, fleets.SMALL), fleets.made(6, fleets.SMALL)
    assert not {each.id for each in one.entries} & {each.id for each in other.entries}
    assert not {each.id for each in one.registrations} & {each.id for each in other.registrations}


def test_it_is_as_large_as_promised() -> None:
    """36 aircraft, about 3 000 connectors of at least six families, 80 000 to 150 000 entries, each id once."""
    found = fleets.made()
    assets = {each.asset for each in found.entries if each.asset is not None and each.asset.startswith("TN-")}
    assert len(assets) == 36
    assert 2_900 <= len(found.connectors) <= 3_300
    assert 80_000 <= len(found.entries) <= 150_000
    assert len({each.id for each in found.entries}) == len(found.entries)
    families = {each.definition.family for each in fleets.folded()}
    assert {"38999-I", "38999-II", "38999-III", "38999-IV", "83723-III", "26482-2", "26500"} <= families


def test_every_part_number_is_one_of_a_known_form_and_arrangement() -> None:
    """Each decodes, and the catalogue finds no fault with it and knows its arrangement."""
    for number in sorted({each.part_number or "" for each in fleets.made().registrations}):
        described = fleets.BOOK.describe(number)
        assert isinstance(described.decoded, part_numbers.Decoded), number
        assert described.fault is None, number
        assert described.arrangement_known, number


def test_cavities_are_published_or_said_to_be_assumed() -> None:
    """Where the catalogue lists the cavity ids they are its; where it does not, the registration says they are assumed."""
    kinds = {each.definition.cavity_ids for each in fleets.folded()}
    assert kinds >= {"published", "assumed"}
    for each in fleets.folded():
        described = fleets.BOOK.describe(each.definition.part_number or "")
        assert described.arrangement is not None
        assert len(each.definition.cavities) == described.arrangement.total
        sizes = Counter(cavity.contact_size for cavity in each.definition.cavities)
        assert sizes == {part.size: part.count for part in described.arrangement.contacts}
        assert (each.definition.cavity_ids == "assumed") == (described.cavities is None)
        assert described.cavities is None or each.definition.cavities == described.cavities


def test_no_code_of_a_real_company_is_used() -> None:
    """CAGE codes are those that facts about the marks print as examples (MIL-STD-130N explainers), or none."""
    assert {each.cage for each in fleets.made().registrations} <= {"0CVA5", "0F3N5", "A3309", None}


def test_every_entry_is_well_formed() -> None:
    """No entry has a fault, each names cavities that its connector has, and each reads back from its JSON."""
    for each in fleets.folded():
        known = {cavity.id for cavity in each.definition.cavities}
        for fact in each.connector.facts:
            assert not entries.faults(fact.entry), fact.entry
            assert set(entries.cavities_of(fact.entry)) <= known, fact.entry
            assert fact.entry.connector == str(each.definition.connector)
    decoded = entries.EntryDecoder.decode(msgspec.json.encode(fleets.made().entries[-1]))
    assert decoded == fleets.made().entries[-1]


def test_registrations_read_back_from_their_json() -> None:
    """Each is a registration that the API would take, with an identity that no other one has."""
    found = fleets.made().registrations
    for each in found:
        assert msgspec.json.decode(msgspec.json.encode(each), type=type(each)) == each
    assert len({(each.serial, each.cage, each.part_number) for each in found}) == len(found)
    assert len({each.id for each in found}) == len(found)


def test_a_few_serials_are_unique_only_in_their_part_number() -> None:
    """Two part numbers of one maker count from 0001 each: their full identity tells them apart, the serial does not."""
    short = [each for each in fleets.made().registrations if each.serial == "0001"]
    assert len(short) == 2
    first, second = (set(marks.keys(each.serial, each.cage, each.part_number)) for each in short)
    assert first & second
    assert first - second


@pytest.mark.parametrize("seed", [2026, 7])
def test_the_wear_of_the_fleet(seed: int) -> None:
    """Most connectors are within their rating, a few percent nearing, some spent, a handful over, some unknown."""
    found = fleets.wears(seed)
    share = {name: count / sum(found.values()) for name, count in found.items()}
    assert 0.85 <= share["within"] <= 0.94
    assert 0.015 <= share["nearing"] <= 0.06
    assert 0.003 <= share["spent"] <= 0.02
    assert 4 <= found["over"] <= 25
    assert 0.03 <= share["unknown"] <= 0.1
    assert 3 <= found["retired"] <= 30


def test_a_small_fleet_shows_every_wear_too() -> None:
    """The test sets' adapters see to it."""
    assert {"within", "nearing", "spent", "over", "unknown", "retired"} == set(fleets.wears(5, fleets.SMALL))


@pytest.mark.parametrize(("seed", "size"), [(2026, fleet.FULL), (7, fleet.FULL), (5, fleets.SMALL)])
def test_every_promised_discrepancy_is_open_somewhere(seed: int, size: fleet.Size) -> None:
    """Whoever tries the demo finds one of each."""
    found = {code for each in fleets.folded(seed, size) for code in each.codes}
    assert found >= mishaps.PROMISED


def test_some_discrepancies_are_resolved() -> None:
    """Resolutions have a reason, and what they settle is off the open list."""
    settled = 0
    for each in fleets.folded():
        open_now = {(found.entry, found.code) for part in each.state.cavities for found in part.discrepancies}
        for fact in each.connector.facts:
            if fact.entry.kind is Kind.RESOLUTION:
                assert fact.entry.note
                settled += (fact.entry.refers_to, fact.entry.code) not in open_now
    assert settled >= 20


def test_some_findings_are_still_open() -> None:
    """Findings that block their cavity, and others that do not."""
    left = [found.blocks for each in fleets.folded() for cavity in each.state.cavities for found in cavity.findings]
    assert True in left
    assert False in left


def test_ratings_have_their_provenance() -> None:
    """All are the house's placeholder of 10 with its document; some were verified by a badge, most not; some are missing."""
    ratings = [each.rating for each in fleets.made().registrations]
    assert all(each.value == 10 and each.basis == "house" and each.document for each in ratings if each)
    verified = sum(1 for each in ratings if each is not None and each.verified)
    assert 0.02 <= verified / len(ratings) <= 0.25
    assert 20 <= ratings.count(None) <= 150


def test_history_unknown_and_carried_in() -> None:
    """Connectors older than the log book have no known history; of some the count was carried in, nearly always with its source."""
    unknown = [each for each in fleets.folded() if each.definition.history == "unknown"]
    carried = [each for each in unknown if any(cavity.carried for cavity in each.state.cavities)]
    assert len(unknown) >= 200
    assert 0.3 <= len(carried) / len(unknown) <= 0.8
    stated = [fact.entry for each in unknown for fact in each.connector.facts if fact.entry.kind is Kind.CARRY_IN]
    assert sum(1 for each in stated if each.source is None) <= len(stated) // 20


def test_times_are_lived_in() -> None:
    """Recorded minutes after the work but for a few percent days later; ahead only as a mishap; nothing after the fleet's day."""
    facts = list(fleets.made().facts)
    assert max(each.recorded_at for each in facts) < NIGHTFALL
    delays = [each.recorded_at - each.entry.performed_at for each in facts]
    late = sum(1 for each in delays if each > timedelta(hours=12))
    ahead = sum(1 for each in delays if each < timedelta(0))
    prompt = sum(1 for each in delays if timedelta(0) <= each <= timedelta(minutes=10))
    assert 0.01 <= late / len(facts) <= 0.1
    assert 1 <= ahead <= 40
    assert prompt / len(facts) >= 0.9
    assert min(each.entry.performed_at for each in facts) >= yard.began(fleets.TODAY)


def test_a_ledger_is_in_the_order_of_recording() -> None:
    """Of each connector, from its registration on."""
    for each in fleets.made().connectors:
        times = [each.registered_at, *(fact.recorded_at for fact in each.facts)]
        assert times == sorted(times)


def test_the_worn_tool_precedes_seating_failures() -> None:
    """After removals with it, the next seating test fails at many times the rate of all others, once its tip was worn."""
    since = NIGHTFALL - timedelta(days=500)
    tests: Counter[tuple[bool, bool | None]] = Counter()
    for each in fleets.folded():
        tool: dict[str | None, str | None] = {}
        for recorded in each.history:
            entry = recorded.entry
            if entry.kind is Kind.REMOVAL:
                tool[entry.cavity] = entry.tool
            if entry.kind is Kind.SEATING_TEST and entry.performed_at >= since and entry.cavity in tool:
                tests[tool[entry.cavity] == operator.WORN_TOOL, entry.held] += 1
    worn = tests[True, False] / (tests[True, False] + tests[True, True])
    others = tests[False, False] / (tests[False, False] + tests[False, True])
    assert tests[True, False] >= 20
    assert worn > 10 * others


def test_the_chronic_position_stands_out() -> None:
    """More of its connectors are nearing their rating or worse than of any other position that all aircraft have."""
    bad: Counter[str | None] = Counter()
    for each in fleets.folded():
        if each.wear in ("nearing", "spent", "over") and (each.state.whole.asset or "").startswith("TN-"):
            bad[each.state.whole.position] += 1
    (worst, most), (_, second) = bad.most_common(2)
    assert worst == operator.CHRONIC
    assert most >= 2 * second


def test_programmes_reached_every_aircraft_that_flew() -> None:
    """The last step of each programme was carried out at its positions on nearly all aircraft."""
    last = operator.PROGRAMMES[-1]
    done = {
        (each.state.whole.asset, each.state.whole.position)
        for each in fleets.folded()
        if any(fact.entry.work_order == last.order for fact in each.connector.facts)
    }
    assert len(done) >= 30 * len(last.positions)


def test_the_day_is_found_again_from_the_opening() -> None:
    """The first connector is registered when the log book begins, which gives the fleet's day."""
    first = fleets.made().connectors[0]
    assert first.registration.id == yard.opening_id(2026)
    assert yard.ends(first.registered_at) == fleets.TODAY
    assert fleets.made().entries[-1].id == yard.closing_id(2026)


def test_the_tools_and_the_calendar_show_something() -> None:
    """One tool's check has run out and one's is about to; every aircraft has flown and comes in at least twice more."""
    made = fleets.made()
    assert made.due.keys() == made.tools.keys()
    assert [mark for mark, day in made.due.items() if day < fleets.TODAY] == [operator.OVERDUE_TOOL]
    assert made.due[operator.SOON_DUE_TOOL] - fleets.TODAY < timedelta(days=8)
    flown = Counter(each.asset for each in made.usage)
    planned = Counter(
        each.asset for each in made.visits if each.starts_on is not None and each.starts_on > fleets.TODAY
    )
    assert len(flown) == len(planned) == 36
    assert min(planned.values()) >= 2
    assert len({(each.asset, each.day) for each in made.usage}) == len(made.usage)
    assert max(each.day for each in made.usage) <= fleets.TODAY


def test_one_part_number_runs_short() -> None:
    """More of its connectors are nearing their rating or worse than of any other part number."""
    bad: Counter[str | None] = Counter()
    for each in fleets.folded():
        if each.wear in ("nearing", "spent", "over") and (each.state.whole.asset or "").startswith("TN-"):
            bad[each.definition.part_number] += 1
    (worst, most), (_, second) = bad.most_common(2)
    assert worst == next(each.part_number for each in operator.POSITIONS if each.name == operator.CHRONIC)
    assert most >= 2 * second
