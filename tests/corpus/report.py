"""What the decoder reads of a set of pictures: plain and with the ladder, by damage, with times and wrong reads."""

import time
from collections.abc import Callable, Iterable, Iterator

import numpy as np
from msgspec import Struct

from scanner_client import decode
from scanner_client.decode import Seen
from scanner_client.readings import Channel
from tests.corpus.frames import Frame, Kind

Clock = Callable[[], float]


class Outcome(Struct, frozen=True):
    """One picture, read plainly and with the ladder. `once` is right but not believed: a bar code that one look gave."""

    kind: Kind
    damage: str
    severity: float
    plain: bool
    ladder: bool
    once: bool
    wrong: tuple[bytes, ...]
    plain_ms: float
    ladder_ms: float


def outcomes(frames: Iterable[Frame], budget_s: float, clock: Clock) -> Iterator[Outcome]:
    """Read every picture. Plain is the decoder alone on the whole picture: a ladder without time to climb."""
    for frame in frames:
        plain, plain_ms = _timed(frame, 0, clock, aimed=False)
        seen, ladder_ms = _timed(frame, budget_s, clock, aimed=True)
        sure = {each.data for each in seen.sure}
        yield Outcome(
            kind=frame.kind,
            damage=frame.damage,
            severity=frame.severity,
            plain=frame.data in {each.data for each in (*plain.sure, *plain.unsure)},
            ladder=frame.data in sure,
            once=frame.data in {each.data for each in seen.unsure},
            wrong=tuple(sorted(sure - {frame.data})),
            plain_ms=plain_ms,
            ladder_ms=ladder_ms,
        )


def table(found: list[Outcome], budget_ms: float) -> Iterator[str]:
    """The lines of the report."""
    yield f"{'':32}{'frames':>7}{'plain':>7}{'ladder':>8}{'in time':>8}{'wrong':>6}   ms p50 / p95 (plain)"
    for kind in Kind:
        of_kind = [each for each in found if each.kind is kind]
        for damage in dict.fromkeys(each.damage for each in of_kind):
            yield _line(f"{kind}, {damage}", [each for each in of_kind if each.damage == damage], budget_ms)
        if of_kind:
            yield _line(f"{kind}, all", of_kind, budget_ms)
            yield ""
    yield f"Frames with a wrong read: {sum(1 for each in found if each.wrong)} of {len(found)}"


def _line(name: str, found: list[Outcome], budget_ms: float) -> str:
    times = np.percentile([each.ladder_ms for each in found], (50, 95))
    plain = np.percentile([each.plain_ms for each in found], (50, 95))
    in_time = sum(each.ladder and each.ladder_ms <= budget_ms for each in found)
    return (
        f"{name:32}{len(found):7}{_rate(sum(each.plain for each in found), found):>7}"
        f"{_rate(sum(each.ladder for each in found), found):>8}{_rate(in_time, found):>8}"
        f"{sum(1 for each in found if each.wrong):6}   {times[0]:.0f} / {times[1]:.0f} ({plain[0]:.0f} / {plain[1]:.0f})"
    )


def _rate(count: int, found: list[Outcome]) -> str:
    return f"{100 * count / len(found):.1f}%"


def _timed(frame: Frame, budget_s: float, clock: Clock, *, aimed: bool) -> tuple[Seen, float]:
    began = clock()
    seen = decode.read(frame.grey, Channel.CAMERA, budget_s, clock, aimed=aimed)
    return seen, (clock() - began) * 1000


def wall() -> Clock:
    """Time as it passes: what an operator waits."""
    return time.perf_counter


def own() -> Clock:
    """The processor time of this thread: the same figures on a machine that others use as well."""
    return time.thread_time
