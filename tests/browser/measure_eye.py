"""Print how soon the eye tells what a film shows, and what its ladder reads of damaged pictures.

`python -m tests.browser.measure_eye [--runs 20] [--pictures 300] [--film NAME]`. Nothing is asserted: times are those of
this machine, with whatever else it does. The time of a film runs from the first picture of the symbol that the page's
video shows to the eye's telling it; both marks are made in the page.
"""

import argparse
import itertools
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from tests.browser import films, stage, stills
from tests.browser.films import Film
from tests.browser.stills import Outcome
from tests.corpus.frames import Kind

EMPTY_S, SHOWN_S = 1.0, 4.0
MOST_FRAMES = 40
EACH = {Kind.DATA_MATRIX: 8, Kind.CODE_128: 4, Kind.QR: 3, Kind.DOT_PEEN: 5, Kind.NOTHING: 35}
"""Pictures of each damage: 300 in all."""


def main() -> None:
    """Measure the films, then the pictures."""
    told = argparse.ArgumentParser(prog="python -m tests.browser.measure_eye", description=__doc__)
    told.add_argument("--runs", type=int, default=20, help="how often each film's symbol comes (default: 20)")
    told.add_argument(
        "--pictures", type=int, default=300, help="about so many damaged pictures (default: 300; 0: none)"
    )
    told.add_argument("--film", choices=[each.name for each in films.FILMS], help="only this film")
    asked = told.parse_args()
    sys.stdout.write(f"{'film':28}{'runs':>5}{'told':>6}{'wrong':>6}   ms to the telling: p50 / p95\n")
    for film in films.FILMS:
        if asked.film in (None, film.name):
            sys.stdout.write(_timed(film, asked.runs) + "\n")
            sys.stdout.flush()
    if asked.pictures:
        sys.stdout.write("\n".join(_table(asked.pictures / 300)) + "\n")


def _timed(film: Film, runs: int) -> str:
    """Let the film go round until its symbol has come so often."""
    with tempfile.TemporaryDirectory() as folder:
        path = films.written(film, Path(folder), EMPTY_S, SHOWN_S)
        with stage.served() as port, stage.opened(port, path) as page:
            while not page.evaluate("Boolean(window.stage?.ready)"):
                page.wait_for_timeout(20)
            page.evaluate("stage.renew = true, stage.open()")
            entered: list[float] = []
            while len(entered) < runs + 1:
                page.wait_for_timeout(500)
                entered = page.evaluate("stage.entered_ms")
            reads = page.evaluate("stage.reads")
    # The first coming may lie before the decoder was ready, the last one is cut off.
    ended = list(itertools.pairwise(entered))
    times = [_soonest(reads, begin, end, film) for begin, end in ended]
    hit = [each for each in times if each is not None]
    wrong = sum((bytes.fromhex(each["bytes"]), each["symbology"]) not in film.told for each in reads)
    middle, most = np.percentile(hit, (50, 95)) if hit else (float("nan"), float("nan"))
    return f"{film.name:28}{len(times):5}{len(hit):6}{wrong:6}   {middle:.0f} / {most:.0f}"


def _soonest(reads: list[dict[str, Any]], begin: float, end: float, film: Film) -> float | None:
    """How long after its coming all of the film's symbols were told; None if they were not."""
    within = [each for each in reads if begin <= each["at_ms"] < end]
    if {(bytes.fromhex(each["bytes"]), each["symbology"]) for each in within} < film.told:
        return None
    return float(max(each["at_ms"] for each in within) - begin)


def _table(part: float) -> Iterator[str]:
    pictures = stills.tuning((kind, max(1, round(each * part))) for kind, each in EACH.items())
    with stills.opened(pictures) as page:
        found = list(stills.outcomes(page, pictures, MOST_FRAMES))
    yield f"\n{'tuning pictures':28}{'count':>6}{'plain':>8}{'told':>8}{'wrong':>6}   frames p50 / p95, ms a frame (plain)"
    for kind in Kind:
        of_kind = [each for each in found if each.kind is kind]
        if of_kind:
            yield _line(kind, of_kind)
    yield f"Pictures with a wrong telling: {sum(1 for each in found if each.wrong)} of {len(found)}"


def _line(name: str, found: list[Outcome]) -> str:
    told = [each for each in found if each.data in each.told]
    frames = np.percentile([each.frames for each in told], (50, 95)) if told else (0, 0)
    plain = 100 * sum(each.data in each.plain for each in found) / len(found)
    took, alone = (float(np.median([getattr(each, each_ms) for each in found])) for each_ms in ("frame_ms", "plain_ms"))
    return (
        f"{name:28}{len(found):6}{plain:7.1f}%{100 * len(told) / len(found):7.1f}%{sum(1 for each in found if each.wrong):6}"
        f"   {frames[0]:.0f} / {frames[1]:.0f}, {took:.0f} ({alone:.0f})"
    )


if __name__ == "__main__":
    main()
