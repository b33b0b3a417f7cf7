"""The outlook of a whole fleet, piece by piece: who runs out by when, and the sums that demand is worked out from."""

import enum
from collections.abc import Callable, Iterable

import msgspec
import numpy as np
from msgspec import Struct

from service.core.outlook import connector, fleet
from service.core.outlook.arrays import Counts, Flags, Floats, Integers
from service.core.outlook.fleet import UNRATED, Fleet
from service.core.outlook.supposition import SUPPOSITIONS, Suppositions

_AT_A_TIME = 16_384
"""Connectors worked out at a time: enough to make a loop cheap, few enough to stay near the processor."""
_BUSY_AT_A_TIME, _LEAST_AT_A_TIME = 2_400_000, 256
"""The same, times the square of the events to think of: busy connectors have more kinds of cavity and longer tables of each."""


class Band(enum.IntEnum):
    """How much a probability says."""

    KNOWN = 0
    """It is one."""
    AT_LEAST = 1
    """A lower bound: some count is one itself, or some retainer has no rating. It may be run out already."""
    NOT_KNOWN = 2
    """Nothing: no retainer is rated, or no cavity is known."""


class RunOut(Struct, frozen=True, eq=False):
    """Of each connector and horizon, the probability of having run out: (n, h), at least that, as `band` (n,) says.

    `supposed` (n, h): for a history not known, the probability if in the unseen exposure it was used as its group is; NaN where
    the band is `KNOWN` or the unseen exposure is not known either. A supposition, to be shown as one.
    """

    probability: Floats
    band: Integers
    supposed: Floats

    @property
    def highest(self) -> Floats:
        """The probability at most, (n, h): one wherever a count is not known."""
        return np.where(self.band[:, None] == Band.KNOWN, self.probability, 1.0)


class Lots(Struct, frozen=True, eq=False):
    """Sums over connectors of one part number and one group, for l such lots: those of known histories, not yet run out.

    `part`, `group` (l,); `expected` (l, 6, h) run out within each horizon under each supposition; `squares` (l, h) of the
    probabilities, averaged over the suppositions; `squares_between` (l, h) of the probabilities between a horizon and the one
    before. Of all connectors: `due` (l,) have run out already, `unknown` (l,) have a history or a rating that is not known,
    of which at least `unknown_least` (l, h) run out.
    """

    part: Integers
    group: Integers
    expected: Floats
    squares: Floats
    squares_between: Floats
    due: Integers
    unknown: Integers
    unknown_least: Floats


class Outlook(Struct, frozen=True, eq=False):
    """Who runs out by when, and the sums over part numbers and groups. `days` (h,) are the horizons."""

    days: Floats
    run_out: RunOut
    lots: Lots


class Piece(Struct, frozen=True, eq=False):
    """A part of the work: some connectors, the events to think of, and what came of it."""

    connectors: Integers
    reach: int


class _Done(Struct, frozen=True, eq=False):
    piece: Piece
    run_out: RunOut
    sums: dict[str, Floats]
    lots: Integers


Work = Callable[[Piece], _Done]
Mapper = Callable[[Work, Iterable[Piece]], Iterable[_Done]]
"""Like `map`. That of a thread pool uses every core, since numpy lets others run while it works; the result is the same."""


def of_fleet(
    whole: Fleet,
    supposed: Suppositions,
    part: Integers,
    days: Floats,
    progress: Callable[[int, int], None] = lambda _done, _of: None,
    mapper: Mapper = map,
) -> Outlook:
    """The outlook at horizons `days` (h,), ascending, for connectors of part numbers `part` (n,), numbered from 0.

    `progress` is told connectors done, and of how many.

    Raises:
        ValueError: the fleet contradicts itself, a group is out of range, or the horizons do not ascend.
    """
    _check(whole, supposed, part, days)
    lots, lot = _numbered(part, whole.group)
    result, count = _empty(whole, part, days, lots), whole.connectors

    def work(piece: Piece) -> _Done:
        return _worked_out(piece, fleet.select(whole, piece.connectors), supposed, days, lot[piece.connectors])

    bare = np.flatnonzero(whole.cavities == 0)
    np.add.at(result.lots.unknown, lot[bare], 1)
    done = bare.size
    progress(done, count)
    for each in mapper(work, _pieces(whole, supposed, days)):
        _enter(each, result)
        done += each.piece.connectors.size
        progress(done, count)
    return result


def reached(days: Floats, probability: Floats, level: float) -> Floats:
    """When the probability (n, h) of having run out comes to `level`: days (n,), straight between horizons, else infinite.

    Today has none but those that have run out already, for which it is 0 days.
    """
    times = np.concatenate([[0.0], days])
    first = np.where(probability[:, :1] >= 1, probability[:, :1], 0.0)
    values = np.hstack([first, probability])
    over = values >= level
    at = np.argmax(over, axis=1)
    before, rows = np.maximum(at - 1, 0), np.arange(at.size)
    low, high = values[rows, before], values[rows, at]
    share = np.divide(level - low, high - low, out=np.zeros_like(low), where=high > low)
    return np.where(over.any(axis=1), times[before] + share * (times[at] - times[before]), np.inf)


def _check(whole: Fleet, supposed: Suppositions, part: Integers, days: Floats) -> None:
    fleet.check(whole)
    if part.shape != whole.group.shape or (part < 0).any():
        raise ValueError("each connector has a part number, numbered from 0")
    if whole.group.size and not 0 <= whole.group.min() <= whole.group.max() < supposed.breadth.size:
        raise ValueError("a group number is out of range")
    if days.ndim != 1 or days.size == 0 or days[0] < 0 or (np.diff(days) <= 0).any():
        raise ValueError("the horizons ascend from 0")


def _numbered(part: Integers, group: Integers) -> tuple[tuple[Integers, Integers], Integers]:
    groups = int(group.max(initial=0)) + 1
    codes, lot = np.unique(part * groups + group, return_inverse=True)
    return (codes // groups, codes % groups), lot


def _empty(whole: Fleet, part: Integers, days: Floats, lots: tuple[Integers, Integers]) -> Outlook:
    shape, of_lots = (part.size, days.size), (lots[0].size, days.size)
    return Outlook(
        days=days,
        run_out=RunOut(np.zeros(shape), np.full(whole.connectors, int(Band.NOT_KNOWN)), np.full(shape, np.nan)),
        lots=Lots(
            part=lots[0],
            group=lots[1],
            expected=np.zeros((of_lots[0], SUPPOSITIONS, of_lots[1])),
            squares=np.zeros(of_lots),
            squares_between=np.zeros(of_lots),
            due=np.zeros(of_lots[0], dtype=np.int64),
            unknown=np.zeros(of_lots[0], dtype=np.int64),
            unknown_least=np.zeros(of_lots),
        ),
    )


def _pieces(whole: Fleet, supposed: Suppositions, days: Floats) -> list[Piece]:
    """Connectors that ask for alike work side by side: few events to think of, few kinds of cavity."""
    furthest = whole.pace * days[-1] + np.nan_to_num(whole.unseen)
    reach = connector.reach(whole, supposed, furthest)
    fitted = np.flatnonzero(whole.cavities > 0)
    order = fitted[np.lexsort((whole.events[fitted], whole.cavities[fitted], whole.group[fitted], reach[fitted]))]
    bounds = np.flatnonzero(np.diff(reach[order])) + 1
    return [
        Piece(chosen, int(reach[chosen[0]]))
        for alike in np.split(order, bounds)
        if alike.size
        for chosen in fleet.slices(alike, _size(int(reach[alike[0]])))
    ]


def _size(reach: int) -> int:
    return min(_AT_A_TIME, max(_BUSY_AT_A_TIME // reach**2, _LEAST_AT_A_TIME))


def _worked_out(piece: Piece, some: Fleet, supposed: Suppositions, days: Floats, lot: Integers) -> _Done:
    ahead = some.pace[:, None] * days
    endurances = connector.endurance(some, supposed, piece.reach)
    under = connector.run_out(some, supposed, endurances, ahead)
    band, spent, rated = _bands(some)
    guessed = np.full(ahead.shape, np.nan)
    told = (band == Band.AT_LEAST) & rated & ~np.isnan(some.unseen)
    if told.any():
        chosen = np.flatnonzero(told)
        before = fleet.select(some, chosen)
        further = ahead[chosen] + before.unseen[:, None]
        guessed[chosen] = connector.run_out(before, supposed, endurances[chosen], further).mean(axis=0)
    probability = under.mean(axis=0)
    lots, sums = _sums(under, band, spent, lot)
    return _Done(piece, RunOut(probability, band, guessed), sums, lots)


def _bands(some: Fleet) -> tuple[Integers, Flags, Flags]:
    """The band of each connector; whether it has run out already, which no missing knowledge can undo; whether all is rated."""
    least = np.minimum.reduceat(some.left, some.starts[:-1])
    rated = some.left != UNRATED
    all_known = np.logical_and.reduceat(some.known & rated, some.starts[:-1])
    spent = least <= 0
    band = np.where(all_known | spent, Band.KNOWN, np.where(least == UNRATED, Band.NOT_KNOWN, Band.AT_LEAST))
    return band.astype(np.int64), spent, np.logical_and.reduceat(rated, some.starts[:-1])


def _sums(under: Floats, band: Integers, spent: Flags, lot: Integers) -> tuple[Integers, dict[str, Floats]]:
    order = np.argsort(lot, kind="stable")
    lots, firsts = np.unique(lot[order], return_index=True)
    counted, unknown = (band == Band.KNOWN) & ~spent, band != Band.KNOWN
    of_counted = under * counted[:, None]
    between = np.diff(of_counted, axis=2, prepend=0.0)

    def added(values: Floats | Counts) -> Floats:
        return np.asarray(np.add.reduceat(values[order], firsts, axis=0), dtype=np.float64)

    return lots, {
        "expected": added(of_counted.transpose(1, 0, 2)),
        "squares": added((of_counted**2).mean(axis=0)),
        "squares_between": added((between**2).mean(axis=0)),
        "due": added(spent.astype(np.int64)),
        "unknown": added(unknown.astype(np.int64)),
        "unknown_least": added(under.mean(axis=0) * unknown[:, None]),
    }


def _enter(done: _Done, result: Outlook) -> None:
    where = done.piece.connectors
    for name in ("probability", "band", "supposed"):
        getattr(result.run_out, name)[where] = getattr(done.run_out, name)
    sums = msgspec.structs.asdict(result.lots)
    for name, values in done.sums.items():
        sums[name][done.lots] += values.astype(sums[name].dtype)
