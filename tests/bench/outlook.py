"""`python -m tests.bench.outlook` prints how long the outlook of a million connectors takes, and in how much memory."""

import argparse
import resource
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.random import Generator

from service.core.outlook import demand, forecast, prior, stock, supposition, touching, visits
from service.core.outlook.arrays import Floats, Integers
from service.core.outlook.fleet import UNRATED, Fleet
from service.core.outlook.supposition import Suppositions

SIZES = np.array([3, 6, 10, 13, 19, 26, 35, 55])
GROUPS, PARTS, RATING = 24, 400, 10
MONTHS: Floats = np.arange(1, 13, dtype=np.float64) * 30.4375


def main() -> None:
    """Make the fleet, learn from it, look ahead, and say what each took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--connectors", type=int, default=1_000_000)
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--busy", type=float, default=1.0, help="rework, in times of the assumed rate")
    chosen = parser.parse_args()
    rng = np.random.default_rng(1)
    fleet, part = made(chosen.connectors, chosen.busy, rng)
    print(f"{fleet.connectors} connectors, {fleet.left.size} cavities, {memory()} to hold them")  # noqa: T201
    began = now()
    supposed = learnt(fleet)
    say("learning", began)
    began = now()
    with ThreadPoolExecutor(chosen.threads) as threads:
        found = forecast.of_fleet(fleet, supposed, part, MONTHS, progress, threads.map)
    say(f"\noutlook at {MONTHS.size} horizons, {chosen.threads} threads", began)
    began = now()
    of_year = demand.within(found.lots, PARTS)
    demand.interval(demand.between(found.lots, PARTS))
    shelf = stock.shelf(of_year)
    advice = visits.visits(5, 11, found.run_out, 0.05)
    say("demand, stock and the next check", began)
    print(f"{of_year.mean[:, -1].sum():.0f} expected in a year, {shelf.pieces[:, -1].sum()} on the shelf, ", end="")  # noqa: T201
    print(f"{np.bincount(advice.advice, minlength=3)} kept, renewed, not known; {memory()} at most")  # noqa: T201


def made(connectors: int, busy: float, rng: Generator) -> tuple[Fleet, Integers]:
    """A fleet after up to twenty years of 3000 hours, one connector in ten with a history that nobody counted."""
    many = rng.choice(SIZES, connectors)
    starts = np.concatenate([[0], np.cumsum(many)])
    exposure = rng.uniform(0, 60_000, connectors)
    events = rng.poisson(rng.gamma(0.5, busy * 2e-5 / 0.5, connectors) * exposure)
    full = rng.binomial(events, 0.05)
    partial = np.repeat(events - full, many)
    touches = np.zeros(partial.size, dtype=np.uint16)
    touched = np.flatnonzero(partial)
    touches[touched] = rng.binomial(partial[touched], rng.beta(0.5, 4.5, touched.size))
    left = RATING - touches.astype(np.int16) - np.repeat(full, many).astype(np.int16)
    left[np.repeat(rng.random(connectors) < 0.01, many)] = UNRATED
    unknown = rng.random(connectors) < 0.1
    fleet = Fleet(
        starts=starts,
        group=rng.integers(0, GROUPS, connectors),
        events=events,
        full_events=full,
        exposure=exposure,
        unseen=np.where(unknown, 20_000.0, 0.0),
        pace=rng.uniform(6, 11, connectors),
        left=left,
        known=np.repeat(~unknown, many),
        touches=touches,
    )
    return fleet, rng.integers(0, PARTS, connectors)


def learnt(fleet: Fleet) -> Suppositions:
    """What the fleet's groups teach."""
    stated = prior.WEAK[prior.Exposure.FLIGHT_HOURS]
    priors = prior.learn_groups(fleet.events, fleet.exposure, fleet.group, GROUPS, stated)
    touchings = touching.learn_groups(fleet, GROUPS)
    return supposition.of_groups(priors, touchings)


def progress(done: int, of: int) -> None:
    """On one line that is written over."""
    sys.stdout.write(f"\r{done} of {of}")
    sys.stdout.flush()


def say(what: str, began: tuple[float, float]) -> None:
    """How long something took by the clock, and of the processor: on a machine that others share only the second means much."""
    lasted, worked = time.perf_counter() - began[0], time.process_time() - began[1]
    print(f"{what}: {lasted:.1f} s, {worked:.1f} s of processor")  # noqa: T201


def now() -> tuple[float, float]:
    """The clock and the processor's time."""
    return time.perf_counter(), time.process_time()


def memory() -> str:
    """The most memory that this process has had."""
    return f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB"


if __name__ == "__main__":
    main()
