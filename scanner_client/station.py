"""A bench at work: carries out what the dialogue wants with the outbox and the link, and tells it what came of it."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import date, datetime
from uuid import UUID

from msgspec import Struct

from scanner_client import offline, readings, sending, shop, shown
from scanner_client.dialogue import Advice, Basis, Found, Heard, Missing, Opened, Subject
from scanner_client.link import AwayError, DeniedError, GarbledError, Link, RejectedError
from scanner_client.outbox import Cached, Kept, Outbox
from scanner_client.readings import Reading
from scanner_client.sending import Sent
from service.core import marks
from service.core.entries import Entry
from service.core.states import ConnectorState
from service.core.wedge_profile import Profile
from service.messages import PlannedStep, ScanView, Snapshot

NOT_HERE = (
    "The service is away and this connector is not known at this bench: there is no answer, and that is not a go. "
    "What is done can be recorded all the same; it goes to the service under this mark."
)
NOT_REGISTERED = (
    "No connector is registered under this mark. What is done can be recorded all the same; the service keeps it aside "
    "until the connector is registered."
)
NOT_FOUND_STATUS = 404


class Proof(Struct, frozen=True):
    """What the typing scanner of a station makes of each character, and the day on which the check symbol proved it."""

    profile: Profile
    proven_on: date


class Bench(Struct, frozen=True):
    """What a bench consists of: its outbox, its way to the service, its clock."""

    box: Outbox
    way: Link
    clock: Callable[[], datetime]


def proof(bench: Bench, name: str | None) -> Proof | None:
    """The proof of the station of this name, if its check symbol was ever scanned."""
    return bench.box.remembered(_proof_of(name), Proof)


def save_proof(bench: Bench, name: str | None, profile: Profile) -> Proof:
    """Keep what the check symbol has just proven, in place of what was proven before."""
    proven = Proof(profile, bench.clock().date())
    bench.box.remember(_proof_of(name), proven)
    return proven


def _proof_of(name: str | None) -> str:
    return f"wedge of {name or 'this bench'}"


def find(bench: Bench, reading: Reading) -> Heard:
    """The connectors that a mark means: asked of the service, else by what is known here."""
    key = _key(reading)
    try:
        lines = bench.way.find(reading)
    except RejectedError as error:
        return Missing(reading.text, str(error))
    except (AwayError, DeniedError, GarbledError) as error:
        return _found_here(bench, reading, key, error)
    bench.box.save_mark(key, lines)
    return Found(reading.text, lines) if lines else Missing(reading.text, _explained(reading, NOT_REGISTERED))


def open_connector(bench: Bench, connector: UUID, mark: str) -> Opened:
    """The connector at hand, with its fresh state or the last known one."""
    try:
        return Opened(subject(connector, mark, caught_up(bench, connector, mark).snapshot))
    except (AwayError, DeniedError, GarbledError, RejectedError) as error:
        cached = bench.box.snapshot(connector)
        remark = _stale(cached, error, bench.clock())
    return Opened(subject(connector, mark, cached.snapshot if cached else None, (remark,)))


def subject(connector: UUID, mark: str, snapshot: Snapshot | None, remarks: tuple[str, ...] = ()) -> Subject:
    """A connector as the talk speaks of it."""
    definition = snapshot.definition if snapshot else None
    return Subject(
        mark=mark,
        connector=connector,
        name=definition.serial if definition else mark,
        part_number=definition.part_number if definition else None,
        snapshot=snapshot,
        remarks=remarks,
    )


def refreshed(bench: Bench, connector: UUID) -> Cached:
    """The connector's state fetched now, and kept for later."""
    acknowledged = bench.box.acknowledged()
    snapshot = bench.way.snapshot(connector)
    bench.box.save_snapshot(snapshot, acknowledged)
    return Cached(snapshot, bench.clock(), acknowledged)


def caught_up(bench: Bench, connector: UUID, *marks_told: str) -> Cached:
    """The state fetched now, once it is asked what became of entries that were parked and may be about this connector."""
    cached = refreshed(bench, connector)
    parked = _parked(bench, cached, *marks_told)
    return refreshed(bench, connector) if sending.ask_after(bench.box, bench.way, parked) else cached


def _parked(bench: Bench, cached: Cached, *marks_told: str) -> tuple[Kept, ...]:
    """The parked entries of this bench that may mean a connector, oldest first."""
    known = cached.snapshot.definition
    names = {*marks_told, *_marks_of(bench, known.connector)}
    return offline.meaning(bench.box.of_status("parked"), known, names)


def advise(bench: Bench, about: Subject, steps: tuple[PlannedStep, ...]) -> Advice:
    """The answer to steps. Of the service if it has everything that was recorded here; else of the same rule, here."""
    if about.connector is None:
        return Advice(plan=None, basis=Basis.NOTHING, remarks=about.remarks or (NOT_HERE,))
    if any(each.tool for each in steps):
        _know_tools(bench)
    try:
        if not _waiting(bench, about):
            return Advice(
                plan=bench.way.plan(about.connector, steps), basis=Basis.SERVICE, remarks=_refused(bench, about)
            )
        cached = caught_up(bench, about.connector, about.mark)
    except (AwayError, DeniedError, GarbledError) as error:
        return _advise_here(bench, about, steps, error)
    return _advised(bench, about, steps, cached, reached=True)


def _advised(bench: Bench, about: Subject, steps: tuple[PlannedStep, ...], cached: Cached, *, reached: bool) -> Advice:
    # In this order: what another window settles meanwhile is then in one of them at least.
    parked = _parked(bench, cached, about.mark)
    waiting = bench.box.since(references(bench, about, cached.acknowledged), cached.acknowledged)
    lists = shop.lists(bench.box)
    return offline.advise(cached, waiting, steps, bench.clock(), reached=reached, lists=lists, parked=parked)


def _know_tools(bench: Bench) -> None:
    """Have the due dates at hand with the answer; the list as last fetched serves where there is no newer one."""
    if shop.stale(bench.box, bench.clock()) and not bench.way.resting:
        with suppress(AwayError, DeniedError, GarbledError, RejectedError):
            shop.fetch(bench.box, bench.way, bench.clock)


def references(bench: Bench, about: Subject, acknowledged: int = 0) -> tuple[str, ...]:
    """Everything that entries of this bench call this connector: its id, marks it was found by, marks that mean it."""
    if about.connector is None:
        return (about.mark,)
    definition = about.snapshot.definition if about.snapshot else None
    meant = [
        each
        for each in bench.box.referred(acknowledged)
        if definition and offline.find(Reading(each.encode()), (definition,))
    ]
    return (
        str(about.connector),
        about.mark,
        *meant,
        *_marks_of(bench, about.connector),
    )


def _marks_of(bench: Bench, connector: UUID) -> tuple[str, ...]:
    """The marks by which a connector was found here, as they were read."""
    return tuple(each.partition("|")[2] for each in bench.box.marks_of(connector))


def record(bench: Bench, entries: Sequence[Entry]) -> Sent:
    """Keep entries on disk, then send what can be sent."""
    bench.box.keep(entries)
    return deliver(bench, entries)


def deliver(bench: Bench, entries: Sequence[Entry]) -> Sent:
    """Send what can be sent, after entries were kept."""
    sent = sending.send(bench.box, bench.way, bench.clock)
    if sent.stopped is None:
        _refresh(bench, entries)
    return sent


def _refresh(bench: Bench, entries: Sequence[Entry]) -> None:
    """Fetch anew what is kept of the connectors just worked on, so that a later answer without the service is good."""
    for name in {each.connector for each in entries}:
        # A mark instead of an id is a ValueError: its connector is not known here.
        with suppress(ValueError, AwayError, DeniedError, GarbledError, RejectedError):
            refreshed(bench, UUID(name))


def send(bench: Bench) -> Sent:
    """Try to send what waits, rest or not."""
    bench.way.wake()
    return sending.send(bench.box, bench.way, bench.clock)


def again(bench: Bench, number: int) -> Sent:
    """Send a refused entry once more, by its number in the outbox's list from 1. LookupError if there is none."""
    refused = bench.box.of_status("refused")
    if number > len(refused) or not bench.box.again(refused[number - 1].entry.id):
        raise LookupError(f"There is no refused entry {number}: see 'outbox'.")
    return send(bench)


class Taken(Struct, frozen=True):
    """What was fetched for work without network: by each mark or asset how many connectors, and why the rest were not."""

    told: str
    connectors: tuple[UUID, ...] = ()
    why: str | None = None


def take(bench: Bench, marks_told: Sequence[str], asset: str | None = None) -> tuple[Taken, ...]:
    """Fetch connectors by their marks and all those of an asset, to have them where there is no network."""
    bench.way.wake()
    taken = []
    for told in marks_told:
        heard = find(bench, readings.typed(told))
        if isinstance(heard, Found):
            taken.append(_fetched(bench, told, [each.id for each in heard.connectors]))
        else:
            taken.append(Taken(told, why=heard.why if isinstance(heard, Missing) else "It was not found."))
    return (*taken, *([_of_asset(bench, asset)] if asset else []))


def of_order(bench: Bench, work_order: str) -> tuple[UUID, ...]:
    """The connectors that a work order is about, as far as entries say so. Nothing while the service is away."""
    with suppress(AwayError, DeniedError, GarbledError, RejectedError):
        return tuple(each.id for each in bench.way.listed({"work_order": work_order}))
    return ()


def _of_asset(bench: Bench, asset: str) -> Taken:
    try:
        lines = bench.way.listed({"asset": asset})
    except (AwayError, DeniedError, GarbledError, RejectedError) as error:
        return Taken(asset, why=str(error))
    if not lines:
        return Taken(asset, why="No connector is placed there.")
    for each in lines:
        # Another connector may carry the same serial, and must be known here as well.
        find(bench, readings.typed(each.serial))
    return _fetched(bench, asset, [each.id for each in lines])


def _fetched(bench: Bench, told: str, connectors: Sequence[UUID]) -> Taken:
    taken, why = [], None
    for each in connectors:
        try:
            caught_up(bench, each)
            taken.append(each)
        except (AwayError, DeniedError, GarbledError, RejectedError) as error:
            why = str(error)
    return Taken(told, tuple(taken), why)


def meaning(bench: Bench, reading: Reading) -> ScanView | None:
    """What the service says that a scan means; None while it is away."""
    try:
        return bench.way.scan(reading)
    except (AwayError, DeniedError, GarbledError):
        return None


def standing(bench: Bench, about: Subject) -> ConnectorState | None:
    """The state to show of the connector at hand, with what waits here counted in."""
    cached = bench.box.snapshot(about.connector) if about.connector else None
    if cached is None:
        return None
    return offline.state(cached, bench.box.since(references(bench, about, cached.acknowledged), cached.acknowledged))


def _key(reading: Reading) -> str:
    """What a mark is kept under here: its family of symbol decides how it is read, so it is part of the key."""
    return f"{reading.symbology or ''}|{reading.text}"


def _found_here(bench: Bench, reading: Reading, key: str, trouble: Exception) -> Heard:
    told = bench.box.lines_of_mark(key)
    known = {each.snapshot.definition.connector: each.snapshot for each in bench.box.snapshots()}
    met = offline.find(reading, (each.definition for each in known.values()))
    before = {each.id for each in told}
    # Another one may bear the mark since it was looked up.
    lines = (*told, *(shown.line(known[each.connector]) for each in met if each.connector not in before))
    if lines:
        return Found(reading.text, lines)
    why = f"{trouble} {NOT_HERE}" if isinstance(trouble, DeniedError) else NOT_HERE
    return Missing(reading.text, _explained(reading, why))


def _explained(reading: Reading, why: str) -> str:
    """What is wrong with the mark itself, first."""
    return " ".join((*(each.text for each in marks.read(reading.data, reading.symbology).faults), why))


def _stale(cached: Cached | None, trouble: Exception, now: datetime) -> str:
    if cached is None:
        return f"{trouble} {NOT_HERE}"
    return f"{trouble} Shown is the last known state, {shown.age(now - cached.fetched_at)} old."


def _waiting(bench: Bench, about: Subject) -> bool:
    """Whether something about this connector has still not reached the service, after one more try."""
    wanted = set(references(bench, about))
    if not any(each.entry.connector in wanted for each in bench.box.of_status("unsent")):
        return False
    sending.send(bench.box, bench.way, bench.clock)
    return any(each.entry.connector in wanted for each in bench.box.of_status("unsent"))


def _refused(bench: Bench, about: Subject) -> tuple[str, ...]:
    wanted = set(references(bench, about))
    refused = sum(each.entry.connector in wanted for each in bench.box.of_status("refused"))
    if not refused:
        return ()
    told = shown.count(refused, "entry", "entries")
    return (f"{told} of this bench about this connector: refused, so not counted. Somebody must look at the outbox.",)


def _advise_here(bench: Bench, about: Subject, steps: tuple[PlannedStep, ...], trouble: Exception) -> Advice:
    assert about.connector is not None  # noqa: S101 - the caller has dealt with an unknown connector
    cached = bench.box.snapshot(about.connector)
    if cached is None:
        return Advice(plan=None, basis=Basis.NOTHING, remarks=(NOT_HERE,))
    advice = _advised(bench, about, steps, cached, reached=False)
    if isinstance(trouble, AwayError):
        return advice
    return Advice(plan=advice.plan, basis=advice.basis, remarks=(str(trouble), *advice.remarks), as_of=advice.as_of)
