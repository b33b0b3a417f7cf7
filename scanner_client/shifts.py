"""Whose bench it is: signing on and off, the time-out, and the work that waits for its person. Pure."""

import math
from datetime import datetime, timedelta

import msgspec
from msgspec import structs

from scanner_client import dialogue, phrases, readings
from scanner_client.dialogue import Left, Memory, Phase, Say, Shift, State, Turn
from service.core.entries import Entry, Text

IDLE_MIN = 15
"""Nobody's work stays on the screen of an unattended bench longer than this; a shop may set it."""
NOTICES_S = (60, 30, 10)
"""A person is told this long before."""
UNSETTLED = "First say what became of this: 'done' if you did it, 'not' if you did not."
NOBODY = "Scan or type your badge first."
_LEFT_HERE = "You left this unsettled here. Say what became of it."


def begin(memory: Memory, idle_min: int = IDLE_MIN, recent: tuple[Entry, ...] = ()) -> State:
    """A talk with what was remembered. The last act can still be taken back by whoever did it, and by nobody else."""
    badge = memory.shift.badge
    return State(
        phase=Phase.READY if badge else Phase.SIGN_ON,
        shift=memory.shift,
        used_at=memory.used_at,
        idle_min=idle_min,
        open=memory.open,
        unit=memory.unit,
        # Until its connector is at hand again it stays what this person left, whatever comes between.
        resume=memory.open.get(badge or ""),
        recent=tuple(each for each in recent if each.performed_by == badge),
    )


def memory(state: State) -> Memory:
    """What has to outlast a crash and a sign-off."""
    return Memory(shift=state.shift, used_at=state.used_at, open=_unsettled(state), unit=state.unit)


def sign_on(state: State, told: str) -> Turn:
    """Another badge is another person: nothing of the one before stays on the screen."""
    badge = named(told, "badge")
    if badge == state.shift.badge:
        return Turn(structs.replace(state, expects=None), (Say(f"Badge {badge} is signed on."),))
    if state.pending:
        return Turn(structs.replace(state, expects=None), (Say(UNSETTLED, urgent=True),))
    order = None if state.shift.badge else state.shift.work_order
    fresh = _put_aside(state).cleared(Phase.READY)
    known = structs.replace(fresh, shift=structs.replace(state.shift, badge=badge, work_order=order), recent=())
    told = f"Badge {badge} is signed on, and is signed off after {_minutes(state.idle_min)} without use."
    turn = resumed(known)
    return Turn(turn.state, (dialogue.Wipe(), Say(told), *turn.effects))


def sign_off(state: State) -> Turn:
    """Somebody leaves the bench to others."""
    if state.pending:
        return Turn(state, (Say(UNSETTLED, urgent=True),))
    return _signed_off(state, "Signed off.")


def tick(state: State, now: datetime) -> Turn:
    """Time has passed. What was not settled is asked again when the same person signs on."""
    left = left_s(state, now)
    if left is None or left > 0:
        return Turn(state)
    return _signed_off(state, f"Signed off: nobody has used this bench for {_minutes(state.idle_min)}.")


def left_s(state: State, now: datetime) -> int | None:
    """Seconds until an unattended bench signs off; None while nobody is signed on."""
    if state.shift.badge is None or state.used_at is None:
        return None
    return math.ceil((state.used_at + timedelta(minutes=state.idle_min) - now).total_seconds())


def resumed(state: State) -> Turn:
    """Go on with what this person left unsettled here."""
    left = state.open.get(state.shift.badge or "")
    if left is None or state.subject is not None:
        return Turn(state)
    wanted = dialogue.Open(left.connector, left.mark) if left.connector else dialogue.Find(readings.typed(left.mark))
    return Turn(structs.replace(state, resume=left), (Say(_LEFT_HERE, urgent=True), wanted))


def set_order(state: State, told: str | None) -> Turn:
    """The work order that entries go on from now."""
    order = named(told, "work order") if told else None
    shift = structs.replace(state.shift, work_order=order)
    said = f"Work order {order}." if order else "No work order any more."
    wanted = (dialogue.Prepare(order),) if order else ()
    return Turn(structs.replace(state, shift=shift, expects=None), (Say(said), *wanted))


def rename(state: State, told: str) -> Turn:
    """What this bench is called in entries."""
    bench = named(told, "bench")
    shift = structs.replace(state.shift, bench=bench)
    return Turn(structs.replace(state, shift=shift, expects=None), (Say(f"This is bench {bench}."),))


def named(told: str, what: str) -> str:
    """A name that an entry can carry; UnclearError otherwise."""
    try:
        return msgspec.convert(told, Text)
    except msgspec.ValidationError:
        raise phrases.UnclearError(f"That can't be a {what}: it needs 1 to 200 printable characters.") from None


def without(state: State) -> State:
    """What this person left here is settled."""
    others = {badge: each for badge, each in state.open.items() if badge != state.shift.badge}
    return structs.replace(state, resume=None, open=others)


def _signed_off(state: State, told: str) -> Turn:
    fresh = _put_aside(state).cleared(Phase.SIGN_ON)
    shift = Shift(bench=state.shift.bench)
    waits = " What is not settled is asked again when its person signs on." if _unsettled(state) else ""
    return Turn(structs.replace(fresh, shift=shift, recent=()), (dialogue.Wipe(), Say(told + waits)))


def _put_aside(state: State) -> State:
    return structs.replace(state, open=_unsettled(state), resume=None)


def _unsettled(state: State) -> dict[str, Left]:
    """Work that was asked about must still get into the ledger, so nobody's is forgotten when the screen is cleared."""
    badge, about = state.shift.badge, state.subject
    if badge is None or state.resume is not None:
        return dict(state.open)
    others = {name: each for name, each in state.open.items() if name != badge}
    if about is None or not (state.pending or state.to_test):
        return others
    steps = tuple(state.steps[each] for each in state.pending)
    left = Left(about.mark, about.connector, steps, state.tool, state.contact, state.to_test, state.shared)
    return {**others, badge: left}


def _minutes(count: int) -> str:
    return f"{count} {'minute' if count == 1 else 'minutes'}"
