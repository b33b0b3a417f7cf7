"""The wire contract of the signals: what wears retainers faster than it should, and whether the data show it at all."""

from datetime import datetime
from typing import Literal
from uuid import UUID

from service.messages import DECIDES, Reply

About = Literal[
    "connector",
    "position",
    "family",
    "part_number",
    "chronic",
    "bench",
    "tool",
    "batch",
    "retention",
    "person",
]
"""What is asked. The first four: reworked more often than the others. `chronic`: positions at which the same cavity comes back
on asset after asset. `bench`, `tool`, `batch`, `person`: seating tests fail more often. `retention`: readings that fall."""

Verdict = Literal["shown", "not_shown", "too_little"]
"""The data show it; they don't, though a large effect would have shown; there are too few to show anything."""

Effect = Literal["rate_ratio", "share_ratio", "odds_ratio", "newtons_per_cycle"]
"""Times the others' rate, times their share, times their odds; or newtons that a reading moves by with each cycle."""

Role = Literal["insertion", "removal"]
"""In what a tool was used."""


class SignalLine(Reply, frozen=True, kw_only=True):
    """One unit against the others of its group.

    `observed` events in `of` units (`SignalReport.unit`), where `expected` would have come if it were like the others. `effect`,
    from `effect_low` to `effect_high` (90 %): what it is a ratio of says `SignalReport.effect`; null is beyond all bounds or not
    known. `q_value`: the share of chance among what is pointed out if this is, over all that were asked about. `detectable`: the
    smallest effect that would have been pointed out with 80 %; null is none. `role`: in what a tool was used. `connector` only
    where the unit is one.
    """

    name: str
    role: Role | None
    connector: UUID | None
    group: str | None
    observed: int
    of: float
    expected: float | None
    effect: float | None
    effect_low: float | None
    effect_high: float | None
    detectable: float | None
    p_value: float | None
    q_value: float | None
    verdict: Verdict
    says: str


class SignalReport(Reply, frozen=True, kw_only=True):
    """The answer to one question, the clearest first. `says` is the answer in a sentence, also where nothing stands out.

    `units` were compared, `shown` of them stand out, with `observed` events in `of` units of `unit` in all. `false_rate`: at most
    this share of what is shown is chance, on average. `detectable`: the effect that half of the units would have shown at least.
    `left_out`: what was not counted and why; `cannot_show`: what must not be read into it.
    """

    about: About
    since: datetime
    until: datetime
    effect: Effect
    unit: str
    units: int
    shown: int
    observed: int
    of: float
    false_rate: float
    detectable: float | None
    says: str
    left_out: tuple[str, ...]
    cannot_show: tuple[str, ...]
    signals: tuple[SignalLine, ...]
    next: str | None
    notice: str = DECIDES
