"""Whether a signature can be made as things stand. The database judges by the same rules, under the same names.

The rules of inspections are from 14 CFR 121.371(c) (nobody inspects work of their own) and, for the exception, from what EASA
allows under "error-capturing methods" in 145.A.48: a reinspection by the same person, in unforeseen circumstances, recorded as
such. Where 121.371 applies the exception is never available.
"""

import enum
from collections.abc import Iterable
from datetime import datetime
from typing import assert_never

from msgspec import Struct

from service.core.entries import Kind
from service.core.signing import authority
from service.core.signing.authority import Authority, Place, What

NOT_WORK = frozenset({Kind.ACCEPTANCE, Kind.CORRECTION, Kind.FINDING, Kind.RESOLUTION})
"""What is said about work and is no step of it: an inspector may have said it."""
WORKED_ON = frozenset({"work_order", "entries"})
"""Subjects that are about steps in the ledger."""


class Rule(enum.StrEnum):
    """What a signature can break, in the order in which it is looked at. The names are those of the database's constraints."""

    AUTHORITY = "signer_has_authority"
    AS_OF_THEN = "signer_is_as_of_then"
    IN_ORDER = "signatures_are_in_order"
    SOME_WORK = "signature_is_of_some_work"
    NOT_BEFORE = "signature_is_not_before_the_work"
    NO_PERFORMER = "inspector_is_no_performer"
    EXCEPTION_ALLOWED = "exception_is_allowed"
    EXCEPTION_NEEDED = "exception_is_needed"
    REWORK_FIRST = "refusal_is_followed_by_rework"


class Step(Struct, frozen=True, kw_only=True):
    """A step of the work: who is said to have done it, when, where. `void`: entered in error, so it is no work."""

    performed_by: str
    happened_at: datetime
    place: Place = Place(None, None)
    void: bool = False


class Earlier(Struct, frozen=True, kw_only=True):
    """A signature that is there already on the same subject."""

    meaning: str
    outcome: str
    badge: str
    signed_at: datetime


class Act(Struct, frozen=True, kw_only=True):
    """A signature that somebody is about to make."""

    badge: str
    subject: str
    meaning: str
    at: datetime
    exception: bool = False


class Situation(Struct, frozen=True, kw_only=True):
    """What there is to judge by: the signer's authority of every kind, the steps in scope, the signatures so far, the switch."""

    authorities: tuple[Authority, ...] = ()
    steps: tuple[Step, ...] = ()
    earlier: tuple[Earlier, ...] = ()
    exception_allowed: bool = False

    @property
    def work(self) -> tuple[Step, ...]:
        """The steps that count as work."""
        return tuple(each for each in self.steps if not each.void)

    @property
    def last_work(self) -> datetime | None:
        """When the last of them was done."""
        return max((each.happened_at for each in self.work), default=None)

    @property
    def last_inspection(self) -> Earlier | None:
        """The inspection that stands."""
        return next((each for each in reversed(self.earlier) if each.meaning == "inspected"), None)


def wanted(meaning: str) -> What:
    """The authority that a signature of this meaning rests on."""
    return {"performed": What.PERFORMS, "inspected": What.INSPECTS}.get(meaning, What.APPROVES)


def same_badge(one: str, other: str) -> bool:
    """Whether two badges are one person's, as people write them."""
    return one.strip(" ").lower() == other.strip(" ").lower()


def is_performer(badge: str, steps: Iterable[Step], earlier: Iterable[Earlier]) -> bool:
    """Whether somebody did a step, be it one entered in error, or signed that the work was done."""
    return any(same_badge(each.performed_by, badge) for each in steps) or any(
        each.meaning == "performed" and same_badge(each.badge, badge) for each in earlier
    )


def broken(act: Act, situation: Situation) -> Rule | None:
    """The first rule that a signature would break; None where it may be made."""
    return next((each for each in Rule if _breaks(each, act, situation)), None)


def _breaks(rule: Rule, act: Act, situation: Situation) -> bool:
    match rule:
        case Rule.AUTHORITY:
            return not authorised(act, situation)
        case Rule.AS_OF_THEN:
            return False  # The service writes what it has just read; the database makes sure of it.
        case Rule.IN_ORDER:
            return any(each.signed_at > act.at for each in situation.earlier)
        case Rule.SOME_WORK:
            return act.subject in WORKED_ON and situation.last_work is None
        case Rule.NOT_BEFORE:
            return situation.last_work is not None and act.at < situation.last_work
        case Rule.NO_PERFORMER:
            return act.meaning == "inspected" and not act.exception and _performed(act, situation)
        case Rule.EXCEPTION_ALLOWED:
            return act.exception and not situation.exception_allowed
        case Rule.EXCEPTION_NEEDED:
            return act.exception and not _performed(act, situation)
        case Rule.REWORK_FIRST:
            return _passes_over_refusal(act, situation)
        case _:
            assert_never(rule)


def authorised(act: Act, situation: Situation) -> bool:
    """Whether the signer's authority that holds on that day covers every step."""
    kind, day = wanted(act.meaning), act.at.date()
    scopes = [each.scope for each in situation.authorities if each.what is kind and each.holds(day)]
    return authority.covers(scopes, (each.place for each in situation.work))


def _performed(act: Act, situation: Situation) -> bool:
    return is_performer(act.badge, situation.steps, situation.earlier)


def _passes_over_refusal(act: Act, situation: Situation) -> bool:
    """A refused inspection stands: work has to follow it, and an accepted inspection, before anybody approves."""
    last = situation.last_inspection
    if last is None or last.outcome == "accepted":
        return False
    if act.meaning == "inspected":
        return situation.last_work is None or situation.last_work <= last.signed_at
    return act.meaning == "approved"


def inspection_stands(inspector: str, signed_at: datetime, situation: Situation, *, exception: bool) -> bool:
    """Whether an accepted inspection still speaks for the work, for whoever derives the state of a work order.

    It does as long as nothing was done after it, and no entry that came late makes the inspector a performer.
    """
    last = situation.last_work
    own = is_performer(inspector, situation.steps, (each for each in situation.earlier if each.signed_at <= signed_at))
    return last is not None and last <= signed_at and (exception or not own)
