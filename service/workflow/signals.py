"""What wears retainers faster than it should: questions to the ledger of a stretch of time, answered with how sure they are."""

import math
import time
from collections.abc import AsyncIterator, Iterable, Sequence
from datetime import datetime, timedelta
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta, Struct

from service import problems
from service import signal_messages as messages
from service.core.signals import sentences
from service.core.signals.verdict import Verdict
from service.store.database import Connection
from service.workflow import access, comparisons, pseudonyms, signals_kept
from service.workflow.access import Bearer
from service.workflow.comparisons import Asked, Table
from service.workflow.signals_kept import Kept, Key

STRETCH_DAYS = 730
"""What is asked about where nobody says since when: 24 months."""

_EFFECTS: dict[messages.About, messages.Effect] = {
    "tool": "odds_ratio",
    "bench": "share_ratio",
    "batch": "share_ratio",
    "person": "share_ratio",
    "retention": "newtons_per_cycle",
}
_VERDICTS: dict[Verdict, messages.Verdict] = {
    Verdict.SHOWN: "shown",
    Verdict.NOT_SHOWN: "not_shown",
    Verdict.TOO_LITTLE: "too_little",
}
_NO_P_VALUE = 2.0


class Filters(Struct, frozen=True, kw_only=True):
    """Which part of the fleet and of its history is asked about; what is said combines. Without `since`: the last 24 months."""

    asset: str | None = None
    zone: str | None = None
    position: str | None = None
    family: str | None = None
    part_number: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    verdict: messages.Verdict | None = None


class Cursor(Struct, frozen=True, array_like=True):
    """Where the next page begins: after the unit of this p-value (2: none), this name or id, and this role."""

    p_value: Annotated[float, Meta(ge=0, le=2)]
    unit: str
    role: str


def admit(about: messages.About, bearer: Bearer) -> None:
    """Raise the problem for somebody who asks about people without being an administrator."""
    if about == "person" and access.Scope.ADMIN not in bearer.scopes:
        raise problems.raised(problems.Type.FORBIDDEN, "asking about people needs the scope admin")


async def report(
    connection: Connection, about: messages.About, filters: Filters, now: datetime, after: Cursor | None, limit: int
) -> tuple[messages.SignalReport, Cursor | None]:
    """The answer to one question, the clearest units first. Its `next` is left to the caller.

    That `person` is only asked by who may is for the caller to see to, with `admit`. Raises the problem for a stretch of time
    that ends before it begins.
    """
    kept = None
    if filters == Filters(verdict=filters.verdict):
        kept = await signals_kept.newest(connection, about, now)
    if kept is not None:
        return _of_kept(kept, filters.verdict, after, limit)
    asked = _asked(about, filters, now)
    table = await _answered(connection, asked)
    order = _ordered(table, filters.verdict)
    page, following = _paged([_key(table, each) for each in order], after, limit)
    lines = tuple(_line(about, table, order[each]) for each in page)
    return _report(asked, table, lines), following


def _of_kept(
    kept: Kept, verdict: messages.Verdict | None, after: Cursor | None, limit: int
) -> tuple[messages.SignalReport, Cursor | None]:
    pairs = zip(kept.keys, kept.report.signals, strict=True)
    wanted = [(key, line) for key, line in pairs if verdict is None or line.verdict == verdict]
    page, following = _paged([key for key, _ in wanted], after, limit)
    return msgspec.structs.replace(kept.report, signals=tuple(wanted[each][1] for each in page)), following


def _paged(keys: Sequence[Key], after: Cursor | None, limit: int) -> tuple[range, Cursor | None]:
    """Which places of the order make a page, and where the next one begins."""
    start = 0 if after is None else next((n for n, each in enumerate(keys) if each > _after(after)), len(keys))
    page = range(start, min(start + limit, len(keys)))
    return page, Cursor(*keys[page[-1]]) if page and page.stop < len(keys) else None


async def keep(connection: Connection, about: messages.About, now: datetime) -> float:
    """Answer a question about the whole fleet and keep the answer; returns the seconds that it took.

    Answers about people are not kept: who is asked for them, asks for them once.
    """
    began = time.monotonic()
    asked = _asked(about, Filters(), now)
    table = await _answered(connection, asked)
    order = _ordered(table, None)
    clearest = order[: signals_kept.MOST_UNITS]
    found = _report(asked, table, tuple(_line(about, table, each) for each in clearest))
    if len(order) > len(clearest):
        beyond = (
            f"Kept are the {len(clearest):,} clearest of {len(order):,}: narrow the question down to see the others."
        )
        found = msgspec.structs.replace(found, left_out=(*found.left_out, beyond))
    took_s = time.monotonic() - began
    await signals_kept.keep(connection, Kept(found, tuple(_key(table, each) for each in clearest)), took_s)
    return took_s


async def each(
    connection: Connection, about: messages.About, filters: Filters, now: datetime
) -> AsyncIterator[messages.SignalLine]:
    """Every unit of one question, the clearest first, for a stream."""
    table = await _answered(connection, _asked(about, filters, now))
    for unit in _ordered(table, filters.verdict):
        yield _line(about, table, unit)


async def _answered(connection: Connection, asked: Asked) -> Table:
    table = await comparisons.answered(connection, asked)
    through = await pseudonyms.veiling(connection) if asked.about == "person" else None
    if not through:
        return table
    units = tuple(msgspec.structs.replace(each, name=through.shown(each.name)) for each in table.units)
    return msgspec.structs.replace(table, units=units)


def _asked(about: messages.About, filters: Filters, now: datetime) -> Asked:
    until = filters.until or now
    since = filters.since or until - timedelta(days=STRETCH_DAYS)
    if since >= until:
        raise problems.raised(problems.Type.INVALID_REQUEST, "since must lie before until")
    return Asked(
        about=about,
        since=since,
        until=until,
        asset=filters.asset,
        zone=filters.zone,
        position=filters.position,
        family=filters.family,
        part_number=filters.part_number,
    )


def _ordered(table: Table, verdict: messages.Verdict | None) -> list[int]:
    wanted: Iterable[int] = range(len(table.units))
    if verdict is not None:
        wanted = (each for each in wanted if _VERDICTS[Verdict(table.verdict[each])] == verdict)
    return sorted(wanted, key=lambda each: _key(table, each))


def _key(table: Table, unit: int) -> Key:
    p_value = float(table.p_value[unit])
    return (_NO_P_VALUE if math.isnan(p_value) else p_value, *table.units[unit].key)


def _after(cursor: Cursor) -> Key:
    return (cursor.p_value, cursor.unit, cursor.role)


def _report(asked: Asked, table: Table, lines: tuple[messages.SignalLine, ...]) -> messages.SignalReport:
    question = sentences.QUESTIONS[asked.about]
    shown = _ordered(table, "shown")
    told = table.detectable[~np.isnan(table.p_value)]
    detectable = float(np.median(told)) if told.size else math.inf
    units, observed = len(table.units) + table.silent, int(table.observed.sum())
    of = float(table.of.sum()) + table.silent_of
    summary = sentences.Summary(
        units=units,
        observed=observed,
        of=of,
        named=tuple(_named(table, each) for each in shown[:3]),
        shown=len(shown),
        detectable=detectable,
    )
    return messages.SignalReport(
        about=asked.about,
        since=asked.since,
        until=asked.until,
        effect=_EFFECTS.get(asked.about, "rate_ratio"),
        unit=question.of,
        units=units,
        shown=len(shown),
        observed=observed,
        of=of,
        false_rate=comparisons.FALSE_RATE,
        detectable=_finite(detectable),
        says=sentences.summary(question, summary),
        left_out=("What was recorded in error.", *table.left_out),
        cannot_show=question.cannot_show,
        signals=lines,
        next=None,
    )


def _named(table: Table, unit: int) -> str:
    found = table.units[unit]
    return f"{found.name} ({found.role})" if found.role is not None else found.name


def _line(about: messages.About, table: Table, unit: int) -> messages.SignalLine:
    found, question = table.units[unit], sentences.QUESTIONS[about]
    verdict = Verdict(int(table.verdict[unit]))
    effect = sentences.Effect(float(table.effect[unit]), float(table.low[unit]), float(table.high[unit]))
    observed, of, q_value = int(table.observed[unit]), float(table.of[unit]), float(table.q_value[unit])
    fact = question.fact.format(name=found.name, role=found.role, observed=f"{observed:,}", of=sentences.figure(of))
    expected = float(table.expected[unit])
    drifts = about == "retention"
    return messages.SignalLine(
        name=found.name,
        role=found.role,
        connector=found.connector,
        group=found.group,
        observed=observed,
        of=of,
        expected=None if drifts else _finite(expected),
        effect=_finite(effect.middle),
        effect_low=_finite(effect.low),
        effect_high=_finite(effect.high),
        detectable=_finite(float(table.detectable[unit])),
        p_value=_finite(float(table.p_value[unit])),
        q_value=_finite(q_value),
        verdict=_VERDICTS[verdict],
        says=sentences.drift(fact, effect, q_value, verdict)
        if drifts
        else sentences.line(question, fact, expected, effect, q_value, verdict),
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
