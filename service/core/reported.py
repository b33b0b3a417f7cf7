"""What the fleet's reports hold of one connector, and what of it changes with new entries.

The report tables are a cache of the states. Rows are kept per connector; sums are kept as additions, so that writers
need not wait for each other and a sum can be put right without stopping them.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from uuid import UUID

from msgspec import Struct

from service.core import cycles, limits, plans
from service.core.cycles import Standing, Wear
from service.core.entries import Definition, HouseRule
from service.core.limits import LimitLine, Whereabouts, WornCavity
from service.core.states import ConnectorState, Discrepancy

WEARS = (Wear.WITHIN, Wear.NEARING, Wear.SPENT, Wear.OVER, Wear.UNKNOWN)
"""The order of the counts in a sum: connectors, one per wear, open discrepancies."""
_PLACES = {wear: place for place, wear in enumerate(WEARS, 1)}
_WIDTH = len(WEARS) + 2
LAST_STEP = 100
"""Retainers with more cycles are counted with those of this many: nobody plots single ones beyond."""

GroupKey = tuple[str, str, str]
"""Dimension, what its groups are parts of, name. An empty text is what is not known: no name can be empty."""
StepKey = tuple[str, int, bool, int]
"""Family, rating (0: none), whether it is verified, cycles begun."""


class Subject(Struct, frozen=True):
    """A connector in one state, judged."""

    definition: Definition
    state: ConnectorState
    where: Whereabouts
    standings: list[Standing]

    @property
    def line(self) -> LimitLine | None:
        """Its line on the fleet's list."""
        return limits.line(self.definition, self.state, self.standings, self.where)

    @property
    def worn(self) -> dict[str, WornCavity]:
        """Its worn retainers by cavity."""
        if self.state.whole.retired:
            return {}
        pairs = zip(self.state.cavities, self.standings, strict=True)
        rows = (limits.worn(self.definition, each, stands) for each, stands in pairs)
        return {row.cavity: row for row in rows if row is not None}


def judge(
    definition: Definition, state: ConnectorState, bench: str | None, house: HouseRule, like: Subject | None = None
) -> Subject:
    """Judge a connector. A cavity that it has in common with `like`, under the same definition, is not judged again."""
    figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
    whole = state.whole
    where = Whereabouts(whole.asset, whole.zone, whole.position, definition.family, definition.part_number, bench)
    if like is None or like.definition is not definition:
        return Subject(definition, state, where, [plans.standing(each, figures) for each in state.cavities])
    pairs = zip(like.state.cavities, state.cavities, like.standings, strict=True)
    standings = [stands if old is new else plans.standing(new, figures) for old, new, stands in pairs]
    return Subject(definition, state, where, standings)


Open = tuple[UUID, str, str]
"""An open discrepancy of a connector: entry, code, and the cavity, empty for one of the whole."""


class Sums(Struct):
    """What is to be added to the fleet's sums; changed in place."""

    groups: dict[GroupKey, list[int]] = {}
    steps: dict[StepKey, int] = {}

    def add(self, other: "Sums") -> None:
        """Take in what is to be added besides."""
        for key, counts in other.groups.items():
            mine = self.groups.setdefault(key, [0] * _WIDTH)
            mine[:] = [one + more for one, more in zip(mine, counts, strict=True)]
        for step, count in other.steps.items():
            self.steps[step] = self.steps.get(step, 0) + count

    def shown(self) -> "Sums":
        """Without what adds up to nothing."""
        return Sums(
            {key: counts for key, counts in self.groups.items() if any(counts)},
            {step: count for step, count in self.steps.items() if count},
        )


class Change(Struct, frozen=True):
    """What has to be written so that the reports hold a connector as it is now."""

    connector: UUID
    where: Whereabouts
    line: LimitLine | None
    line_moved: bool
    worn: tuple[WornCavity, ...]
    healed: tuple[str, ...]
    opened: tuple[Open, ...]
    settled: tuple[Open, ...]
    relocated: bool
    sums: Sums


def change(before: Subject | None, after: Subject) -> Change:
    """What a write changes; from nothing where the connector is new."""
    old_line, line = (before.line if before else None), after.line
    changed = _changed(before, after)
    had, has = (_worn_among(before, changed) if before else {}), _worn_among(after, changed)
    were, are = _open_otherwise(before, after, changed)
    moved = before is not None and before.where != after.where
    worn = after.worn.values() if moved else (row for name, row in has.items() if had.get(name) != row)
    return Change(
        connector=after.definition.connector,
        where=after.where,
        line=line,
        line_moved=line != old_line,
        worn=tuple(worn),
        healed=tuple(name for name in had if name not in has),
        opened=tuple(sorted(are - were)),
        settled=tuple(sorted(were - are)),
        relocated=moved,
        sums=_added(before, after, changed, len(are) - len(were)),
    )


def whole(subject: Subject) -> tuple[dict[str, WornCavity], frozenset[Open], Sums]:
    """All that the reports hold of a connector beside its line: worn retainers, open discrepancies, its share of the sums."""
    every = range(len(subject.standings))
    opens = _open(subject, every)
    sums = Sums()
    _count(sums, subject, every, 1, len(opens))
    return subject.worn, frozenset(opens), sums.shown()


def _changed(before: Subject | None, after: Subject) -> Sequence[int]:
    """The cavities that may stand otherwise than before."""
    every = range(len(after.standings))
    if before is None or before.state.whole.retired != after.state.whole.retired:
        return every
    if before.definition is not after.definition:
        return every
    return [each for each in every if before.state.cavities[each] is not after.state.cavities[each]]


def _worn_among(subject: Subject, among: Iterable[int]) -> dict[str, WornCavity]:
    if subject.state.whole.retired:
        return {}
    found = {}
    for each in among:
        row = limits.worn(subject.definition, subject.state.cavities[each], subject.standings[each])
        if row is not None:
            found[row.cavity] = row
    return found


def _open(subject: Subject, among: Iterable[int]) -> set[Open]:
    return {_as_open(each, "") for each in subject.state.whole.discrepancies} | _open_in(subject.state, among)


def _open_in(state: ConnectorState, among: Iterable[int]) -> set[Open]:
    cavities = (state.cavities[each] for each in among)
    return {_as_open(each, cavity.id) for cavity in cavities for each in cavity.discrepancies}


def _open_otherwise(before: Subject | None, after: Subject, changed: Sequence[int]) -> tuple[set[Open], set[Open]]:
    """What was open and what is, leaving out parts whose list is the very same: a worn connector may have thousands."""
    if before is None:
        return set(), _open(after, changed)
    then, now = before.state, after.state
    parts = [each for each in changed if then.cavities[each].discrepancies is not now.cavities[each].discrepancies]
    if then.whole.discrepancies is now.whole.discrepancies:
        return _open_in(then, parts), _open_in(now, parts)
    return _open(before, parts), _open(after, parts)


def _as_open(discrepancy: Discrepancy, cavity: str) -> Open:
    return discrepancy.entry, discrepancy.code.value, cavity


def _added(before: Subject | None, after: Subject, changed: Sequence[int], opened: int) -> Sums:
    sums = Sums()
    if before is None or _group(before) != _group(after):
        # It leaves all its groups and joins the others as a whole: what it has open, too.
        every = range(len(after.standings))
        if before is not None:
            _count(sums, before, every, -1, len(_open(before, every)))
        _count(sums, after, every, 1, len(_open(after, every)))
        return sums.shown()
    differ = [each for each in changed if before.standings[each] is not after.standings[each]]
    counts = [0] * _WIDTH
    counts[-1] = opened
    if not after.state.whole.retired:
        _tally(counts, sums.steps, before, [(before.standings[each], 1) for each in differ], -1)
        _tally(counts, sums.steps, after, [(after.standings[each], 1) for each in differ], 1)
    _spread(sums, after.where, counts)
    return sums


def _group(subject: Subject) -> tuple[object, ...]:
    rating = subject.definition.rating
    verified = rating is not None and rating.verified
    return subject.where, subject.state.whole.retired, rating.value if rating else 0, verified


def _count(sums: Sums, subject: Subject, among: Sequence[int], sign: int, opened: int) -> None:
    """Count a connector in, or out, with all that it has."""
    counts = [0] * _WIDTH
    counts[-1] = sign * opened
    if not subject.state.whole.retired:
        counts[0] = sign
        # Most retainers of a connector stand alike.
        _tally(counts, sums.steps, subject, Counter(map(subject.standings.__getitem__, among)).items(), sign)
    _spread(sums, subject.where, counts)


def _tally(
    counts: list[int], steps: dict[StepKey, int], subject: Subject, among: Iterable[tuple[Standing, int]], sign: int
) -> None:
    rating, family = subject.definition.rating, subject.where.family or ""
    value, verified = (rating.value, rating.verified) if rating else (0, False)
    for stands, alike in among:
        counts[_PLACES[stands.wear]] += sign * alike
        step = (family, value, verified, min(stands.begun, LAST_STEP))
        steps[step] = steps.get(step, 0) + sign * alike


def _spread(sums: Sums, where: Whereabouts, counts: list[int]) -> None:
    """Add to each group that a connector is in. Most entries change none of them: that has to cost nothing."""
    if not any(counts):
        return
    for key in keys(where):
        held = sums.groups.setdefault(key, [0] * _WIDTH)
        held[:] = [one + more for one, more in zip(held, counts, strict=True)]


def keys(where: Whereabouts) -> tuple[GroupKey, ...]:
    """The groups that a connector is counted in. Zones and positions are counted over the fleet; zones in their asset, too."""
    asset, zone = where.asset or "", where.zone or ""
    return (
        ("fleet", "", ""),
        ("asset", "", asset),
        ("zone", "", zone),
        ("zone of asset", asset, zone),
        ("position", "", where.position or ""),
        ("family", "", where.family or ""),
        ("part_number", where.family or "", where.part_number or ""),
        ("bench", "", where.bench or ""),
    )
