"""Signals in plain words: what one unit shows, what a whole question shows, and what must not be read into it."""

import math

from msgspec import Struct

from service.core.signals.verdict import Verdict


class Question(Struct, frozen=True, kw_only=True):
    """How one question is spoken of.

    `plural`: what is compared. `fact`: what was seen of one, with {name}, {role}, {observed} and {of}. `events`: what is counted,
    `of`: against what. `ratio`: what the effect is, as in "3 times {ratio}". `cannot_show`: what must not be read into it.
    """

    plural: str
    fact: str
    events: str
    of: str
    ratio: str
    cannot_show: tuple[str, ...]


_NO_CAUSE = "A difference is no cause: look at the work behind it before anything is changed."
_REWORK = (
    "How often a connector is opened depends on what it is wired to and where it sits, not on its retainers alone."
)

QUESTIONS: dict[str, Question] = {
    "connector": Question(
        plural="connectors",
        fact="{name}: contacts were taken out on {observed} days in {of} years",
        events="days with contacts taken out",
        of="connector-years",
        ratio="the rate of the others of its family",
        cannot_show=(_REWORK, _NO_CAUSE),
    ),
    "position": Question(
        plural="positions",
        fact="{name}: contacts were taken out on {observed} assets, in {of} asset-years",
        events="assets with contacts taken out there",
        of="asset-years at the positions",
        ratio="the rate of the other positions",
        cannot_show=(_REWORK, _NO_CAUSE),
    ),
    "family": Question(
        plural="families",
        fact="{name}: contacts were taken out of {observed} connectors, in {of} connector-years",
        events="connectors with contacts taken out",
        of="connector-years",
        ratio="the rate of the other families",
        cannot_show=(
            _REWORK,
            "A family sits where its kind of connector is wanted: place and family are mixed.",
            _NO_CAUSE,
        ),
    ),
    "part_number": Question(
        plural="part numbers",
        fact="{name}: contacts were taken out of {observed} connectors, in {of} connector-years",
        events="connectors with contacts taken out",
        of="connector-years",
        ratio="the rate of the other part numbers",
        cannot_show=(_REWORK, "A part number sits at few positions: place and part number are mixed.", _NO_CAUSE),
    ),
    "chronic": Question(
        plural="positions",
        fact="{name}: the same cavity came back on {observed} assets, in {of} asset-years",
        events="assets on which the same cavity came back",
        of="asset-years at the positions",
        ratio="as often as at the other positions",
        cannot_show=(
            "The ledger knows that a cavity was opened again, not why: read the findings and work orders.",
            _NO_CAUSE,
        ),
    ),
    "bench": Question(
        plural="benches",
        fact="{name}: {observed} of {of} tested insertions failed",
        events="failed insertions",
        of="tested insertions",
        ratio="the share that fails at the others",
        cannot_show=("Benches do different work and own different tools and gauges.", _NO_CAUSE),
    ),
    "tool": Question(
        plural="uses of tools",
        fact="{name}: after {role} with it, {observed} of {of} tested insertions failed",
        events="failed insertions after them",
        of="uses with a tested insertion after them",
        ratio="the odds of the other tools for that contact size and family at the same benches",
        cannot_show=(
            "A tool that precedes failures need not be their cause; it is the first thing to look at.",
            "Where one tool is used for both, what one does shows in the other, too.",
        ),
    ),
    "batch": Question(
        plural="contacts",
        fact="{name}: {observed} of {of} tested insertions failed",
        events="failed insertions",
        of="tested insertions",
        ratio="the share that fails with other contacts of that size",
        cannot_show=(
            "Contacts are told apart as they were written down: a lot shows only where it was recorded with the number.",
            "A contact goes into certain connectors: contact and family are mixed.",
        ),
    ),
    "retention": Question(
        plural="kinds of retainer",
        fact="{name}: {observed} readings of {of} retainers",
        events="readings",
        of="retainers with readings at several cycles",
        ratio="newtons a cycle",
        cannot_show=(
            "A pull that stops at its set force says that the contact held, not what more it would have: it can't fall.",
            "A slow drift of the gauges looks the same.",
        ),
    ),
    "person": Question(
        plural="people",
        fact="{name}: {observed} of {of} insertions that were tested failed",
        events="failed insertions",
        of="tested insertions",
        ratio="the share that fails for the others",
        cannot_show=(
            "It can't show that somebody works badly: difficult connectors, worn tools and night shifts fail more often.",
            "Who tests with more care finds more failures.",
            "It rests on few tests and says nothing of one piece of work. It is no basis for judging a person.",
        ),
    ),
}
"""Question -> how it is spoken of."""


class Effect(Struct, frozen=True):
    """An effect with its interval; NaN or infinite where nobody knows or there is no bound."""

    middle: float
    low: float
    high: float


def figure(value: float) -> str:
    """A number as one would say it: two significant digits, more where it is large."""
    if math.isinf(value):
        return "beyond measure"
    size = abs(value)
    return f"{value:,.0f}" if size >= 10 or value == round(value, 0) else f"{value:.2g}"  # noqa: PLR2004 - two digits are enough


def line(asked: Question, fact: str, expected: float, effect: Effect, q_value: float, verdict: Verdict) -> str:
    """What one unit shows, in a sentence or two."""
    if math.isnan(effect.middle):
        return f"{fact}. There is nothing to compare it with."
    span = f"{_times(effect.middle)} {asked.ratio} (90 % interval: {_span(effect)})"
    compared = f"{fact}, where {figure(expected)} would be expected if it were like the others. That is {span}."
    return f"{compared} {_sure(q_value, verdict)}"


def drift(fact: str, effect: Effect, q_value: float, verdict: Verdict) -> str:
    """What the readings of one kind of retainer show."""
    if math.isnan(effect.middle):
        return f"{fact}. No two of them can be compared."
    moves = "fall" if effect.middle < 0 else "rise"
    moved = f"{fact} {moves} by {figure(abs(effect.middle))} N with each cycle"
    bounded = math.isfinite(effect.low) and math.isfinite(effect.high)
    span = f"90 % interval: {figure(effect.low)} to {figure(effect.high)} N" if bounded else "too few for an interval"
    return f"{moved} ({span}). {_sure(q_value, verdict)}"


class Summary(Struct, frozen=True, kw_only=True):
    """What a question came to: how many units, what was counted, the clearest names, the effect that half would have shown."""

    units: int
    observed: int
    of: float
    named: tuple[str, ...]
    shown: int
    detectable: float


def summary(asked: Question, found: Summary) -> str:
    """The answer to a whole question: what stands out, or how much data there was and what would have been seen."""
    data = f"{found.units:,} {asked.plural} were compared: {found.observed:,} {asked.events}, {figure(found.of)} {asked.of}."
    if found.shown:
        more = f" and {found.shown - len(found.named)} more" if found.shown > len(found.named) else ""
        return f"{_count(found.shown)} out: {'; '.join(found.named)}{more}. {data}"
    if found.units < 2:  # noqa: PLR2004 - one has nothing to be compared with
        return f"Nothing stands out, and there is nothing to compare. {data}"
    return f"Nothing stands out. {data} {_power(asked, found.detectable)}"


def _power(asked: Question, detectable: float) -> str:
    if not math.isfinite(detectable):
        return "That is too little: of most of them not even a very large effect would have shown."
    seen = f"{figure(abs(detectable))} {asked.ratio}" if detectable < 0 else f"{_times(detectable)} {asked.ratio}"
    return f"At half of them an effect would most likely have shown from {seen} on; a smaller one may be there."


def _count(shown: int) -> str:
    return "One stands" if shown == 1 else f"{shown:,} stand"


def _times(effect: float) -> str:
    return "more than any number of times" if math.isinf(effect) else f"{figure(effect)} times"


def _span(effect: Effect) -> str:
    if math.isinf(effect.high):
        return f"{figure(effect.low)} or more"
    return f"{figure(effect.low)} to {figure(effect.high)}"


def _sure(q_value: float, verdict: Verdict) -> str:
    if verdict is Verdict.SHOWN:
        percent = "less than 0.1 %" if q_value < 0.001 else f"{q_value:.1%}".replace("%", " %")  # noqa: PLR2004 - as said
        return f"The data show it; of all that is pointed out as clearly as this, {percent} is chance."
    if verdict is Verdict.NOT_SHOWN:
        return "The data do not show a difference; chance alone gives this."
    return "Too little data to show a difference either way."
