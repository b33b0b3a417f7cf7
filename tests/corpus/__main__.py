"""Print how many damaged pictures are read: `python -m tests.corpus [--holdout | --spent] [--wall] [--budget-ms 50]`."""

import argparse
import sys

from tests.corpus import frames, report
from tests.corpus.frames import Kind, Split


def main() -> None:
    """Read a whole set and print its table."""
    told = argparse.ArgumentParser(prog="python -m tests.corpus", description=__doc__)
    which = told.add_mutually_exclusive_group()
    which.add_argument("--holdout", action="store_true", help="the set that nothing was tuned on")
    which.add_argument("--spent", action="store_true", help="a set that was a hold-out until it changed something")
    told.add_argument("--wall", action="store_true", help="time as it passes, not this thread's processor time")
    told.add_argument("--budget-ms", type=float, default=50.0, help="time for a frame (default: 50)")
    told.add_argument("--kind", choices=[each.value for each in Kind], help="only these pictures")
    told.add_argument("--each", type=int, help="only so many of each damage")
    asked = told.parse_args()
    kinds = (Kind(asked.kind),) if asked.kind else tuple(Kind)
    split = Split.HOLD_OUT if asked.holdout else Split.SPENT if asked.spent else Split.TUNING
    clock = report.wall() if asked.wall else report.own()
    made = frames.made(split, kinds, asked.each)
    found = list(report.outcomes(made, asked.budget_ms / 1000, clock))
    lines = report.table(found, asked.budget_ms)
    sys.stdout.write(f"{split.name}, {asked.budget_ms:.0f} ms a frame\n" + "\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
