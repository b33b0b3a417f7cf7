"""Recording entries. Those that arrive together share a commit; none that is bad sinks its neighbours."""

import asyncio
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

import asyncpg
import msgspec
from msgspec import Struct

from service import messages, problems, views
from service.core import chain, entries, fold, marks, noting, reported
from service.core.entries import Definition, Entry, HouseRule, Recorded
from service.core.marks import Mark
from service.core.states import ConnectorState
from service.store import database, fleet, ledger
from service.store.database import Connection
from service.store.ledger import Head
from service.workflow import finding
from service.workflow.reference import Reference

MAX_BATCH = 2_000
"""Entries in one transaction at most: bounds the time that a head stays locked."""
_ATTEMPTS = 4
_IN_LEDGER = ("recorded", "already_recorded")
_AWAY = (
    "the connector was handed over: what is recorded of it here waits until it comes back, or belongs to who has it now"
)
"""Its chain goes on elsewhere; an entry put on it here would part the two. The head's lock keeps it from coming back meanwhile."""


class Submission(Struct, frozen=True):
    """An entry on its way into the ledger."""

    recorded: Recorded
    digest: bytes

    @property
    def entry(self) -> Entry:
        """The fact."""
        return self.recorded.entry


class BusyError(Exception):
    """The queue is full: nothing of the request was taken, it may be sent again."""


class _RetryError(Exception):
    """Something else got in between: the batch must look again."""


def submission(entry: Entry, by: str, at: datetime, sent_at: datetime | None, reference: Reference) -> Submission:
    """What the service adds to a fact when it arrives."""
    noted = (*noting.clocks(entry, at, sent_at), *noting.person(entry, reference.lists))
    recorded = Recorded(entry=entry, recorded_at=at, recorded_by=by, noted=noted)
    return Submission(recorded, chain.digest(chain.canonical_entry(entry)))


class Recorder:
    """The one way into the ledger of this process: while a batch is being committed, the next one fills."""

    def __init__(self, dsn: str, house: HouseRule, reference: Reference, queue_limit: int) -> None:
        self._dsn = dsn
        self._scribe = Scribe(house, reference)
        self._queue_limit = queue_limit
        self._waiting: list[tuple[list[Submission], asyncio.Future[list[messages.EntryResult]]]] = []
        self._queued = 0
        self._wake = asyncio.Event()
        self._closing = False
        self._task: asyncio.Task[None] | None = None
        self._connection: asyncpg.Connection | None = None

    def start(self) -> None:
        """Begin to take entries."""
        self._task = asyncio.create_task(self._work(), name="recorder")

    async def close(self) -> None:
        """Take no more, and return when all that was taken is on disk."""
        self._closing = True
        self._wake.set()
        if self._task is not None:
            await self._task
        if self._connection is not None and not self._connection.is_closed():
            await self._connection.close()

    async def record(self, submissions: list[Submission]) -> list[messages.EntryResult]:
        """Record entries; returns once they are on disk. Raises BusyError if too many wait already."""
        # Where nothing waits any request is taken: one larger than the limit could otherwise never be.
        if self._closing or (self._queued and self._queued + len(submissions) > self._queue_limit):
            raise BusyError
        done: asyncio.Future[list[messages.EntryResult]] = asyncio.get_running_loop().create_future()
        self._waiting.append((submissions, done))
        self._queued += len(submissions)
        self._wake.set()
        # Shielded: a client that hangs up must not pull its entries out of a batch that is being committed.
        return await asyncio.shield(done)

    async def _work(self) -> None:
        while True:
            while not self._waiting:
                if self._closing:
                    return
                self._wake.clear()
                await self._wake.wait()
            await self._serve(self._take())

    def _take(self) -> list[tuple[list[Submission], asyncio.Future[list[messages.EntryResult]]]]:
        taken, size = 0, 0
        for submissions, _ in self._waiting:
            if taken and size + len(submissions) > MAX_BATCH:
                break
            taken, size = taken + 1, size + len(submissions)
        batch, self._waiting = self._waiting[:taken], self._waiting[taken:]
        self._queued -= size
        return batch

    async def _serve(self, batch: list[tuple[list[Submission], asyncio.Future[list[messages.EntryResult]]]]) -> None:
        together = [each for submissions, _ in batch for each in submissions]
        try:
            results = await self._scribe.commit(await self._connected(), together)
        except Exception as error:  # noqa: BLE001 - whatever it is, it belongs to the requests of this batch
            self._drop_connection()
            if len(batch) == 1 or database.is_away(error):
                for _, done in batch:
                    _settle(done, error)
                return
            # One of them may be at fault: each goes alone, so that it sinks only itself.
            for one in batch:
                await self._serve([one])
            return
        start = 0
        for submissions, done in batch:
            _settle(done, results[start : start + len(submissions)])
            start += len(submissions)

    async def _connected(self) -> asyncpg.Connection:
        if self._connection is None or self._connection.is_closed():
            self._connection = await database.service_connection(self._dsn)
        return self._connection

    def _drop_connection(self) -> None:
        # After a failure the driver may hold a connection open that answers nothing any more.
        if self._connection is not None:
            self._connection.terminate()
            self._connection = None


def _settle(
    done: "asyncio.Future[list[messages.EntryResult]]", outcome: list[messages.EntryResult] | Exception
) -> None:
    if done.done():
        return
    if isinstance(outcome, Exception):
        done.set_exception(outcome)
    else:
        done.set_result(outcome)


class Draft:
    """What one batch is going to write."""

    def __init__(self) -> None:
        self.rows: list[ledger.LedgerRow] = []
        self.receipts: list[tuple[UUID, UUID | None, bytes]] = []
        self.moved: list[ledger.Moved] = []
        self.changes: list[reported.Change] = []
        self.opened: list[fleet.OpenRow] = []
        self.parkings: list[ledger.Parking] = []

    async def write(self, connection: Connection) -> None:
        """Write everything, in the order in which it depends on each other."""
        await ledger.append_receipts(connection, self.receipts)
        await ledger.append(connection, self.rows)
        await ledger.move_heads(connection, self.moved)
        await ledger.park(connection, self.parkings)
        await fleet.put(connection, self.changes, self.opened)


class Scribe:
    """Writes batches of entries: in a transaction of their own, or inside one of the caller's."""

    def __init__(self, house: HouseRule, reference: Reference) -> None:
        self._house = house
        self._reference = reference
        self.definitions = ledger.Definitions()

    async def commit(
        self, connection: Connection, submissions: Sequence[Submission], *, brief: bool = False
    ) -> list[messages.EntryResult]:
        """Write a batch in a transaction of its own, again if somebody got in between."""
        for attempt in range(_ATTEMPTS):
            try:
                async with connection.transaction():
                    return await self.write(connection, submissions, brief=brief)
            except (_RetryError, asyncpg.UniqueViolationError, asyncpg.DeadlockDetectedError):
                # Another process took one of the ids or registered the connector: looking again finds it.
                if attempt + 1 == _ATTEMPTS:
                    raise
        raise AssertionError("unreachable")

    async def write(
        self, connection: Connection, submissions: Sequence[Submission], *, brief: bool = False
    ) -> list[messages.EntryResult]:
        """Record a batch: lock the heads it needs in one order, fold, append; one result per entry, in order.

        A brief result says the outcome only, for whoever records a million and reads none.
        """
        targets, heads = await self._locked(connection, submissions)
        accepted = await _receipts(connection, submissions)
        known = {
            each.connector: dict.fromkeys(cavity.id for cavity in each.definition.cavities) for each in heads.values()
        }
        draft = Draft()
        answers: list[messages.EntryResult] = []
        fresh: dict[UUID, list[int]] = {}
        told: dict[UUID, list[int]] = {}
        for index, (each, target) in enumerate(zip(submissions, targets, strict=True)):
            entry = each.recorded.entry
            head = heads.get(target) if isinstance(target, UUID) else None
            before = accepted.get(entry.id)
            if before is not None:
                answers.append(_seen_before(each, before))
            elif head is None or head.handed_over:
                accepted[entry.id] = (each.digest, True)
                answers.append(_park(draft, each, target if head is None else _AWAY))
            elif (fault := _cavity_problem(entry, known[head.connector])) is not None:
                answers.append(messages.EntryResult(id=entry.id, outcome="refused", problem=fault))
            else:
                accepted[entry.id] = (each.digest, False)
                draft.receipts.append((entry.id, head.connector, each.digest))
                fresh.setdefault(head.connector, []).append(index)
                answers.append(messages.EntryResult(id=entry.id, outcome="recorded"))
            if not brief and head is not None and answers[index].outcome in _IN_LEDGER:
                told.setdefault(head.connector, []).append(index)
        after = {
            connector: await self.advance(
                connection, draft, heads[connector], [submissions[each].recorded for each in indexes]
            )
            for connector, indexes in fresh.items()
        }
        for connector, indexes in told.items():
            head = heads[connector]
            about = ((submissions[each].entry, answers[each].outcome) for each in indexes)
            whole = results(about, head.definition, after.get(connector, head.state), self._house)
            for index, answer in zip(indexes, whole, strict=True):
                answers[index] = answer
        await draft.write(connection)
        return answers

    async def _locked(
        self, connection: Connection, submissions: Sequence[Submission]
    ) -> tuple[list[UUID | str], dict[UUID, Head]]:
        targets = await _resolve(connection, submissions)
        wanted = {target for target in targets if isinstance(target, UUID)}
        heads = await ledger.heads(connection, self.definitions, wanted, lock=True)
        if all(target in heads for target in targets):
            return targets, heads
        # Something will be parked. From here on no connector can be registered, so what was not found has to be
        # looked for once more: else an entry could be parked just after its connector took in what waited for it.
        await database.run(connection, "lock_parking_shared")
        late = await ledger.heads(connection, self.definitions, wanted - heads.keys(), lock=False)
        if late or await _resolve(connection, submissions) != targets:
            raise _RetryError
        return targets, heads

    async def advance(self, connection: Connection, draft: Draft, head: Head, news: list[Recorded]) -> ConnectorState:
        """Fold new entries of one connector into its state, and draft what that writes."""
        news = self._with_means_noted(news, head.definition)
        rows = ledger.next_rows(head.connector, head.entries, head.hash, news)
        state, past = await _folded(connection, head, news)
        bench = ledger.last_bench(head.bench, news)
        draft.rows.extend(rows)
        draft.moved.append(ledger.Moved(head.connector, rows[-1].number, rows[-1].hash, state, bench))
        before = reported.judge(head.definition, head.state, head.bench, self._house)
        change = reported.change(before, reported.judge(head.definition, state, bench, self._house, before))
        draft.changes.append(change)
        if change.opened:
            known = {each.entry.id: (number, each) for number, each in past}
            known |= {row.recorded.entry.id: (row.number, row.recorded) for row in rows}
            draft.opened += fleet.open_rows(head.connector, change.opened, known, change.where)
        return state

    def _with_means_noted(self, news: list[Recorded], known: Definition) -> list[Recorded]:
        """With what the tools and contacts are found to be."""
        if all(each.entry.tool is None and each.entry.contact is None for each in news):
            return news
        lists, tools, contacts = self._reference.lists, self._reference.tooling(known), self._reference.contacts(known)
        noted = (noting.means(each.entry, lists, known, tools, contacts) for each in news)
        return [
            msgspec.structs.replace(each, noted=(*each.noted, *more)) if more else each
            for each, more in zip(news, noted, strict=True)
        ]


async def _resolve(connection: Connection, submissions: Sequence[Submission]) -> list[UUID | str]:
    """Which connector each entry means: its id, or why it can't be told."""
    texts = {text: finding.as_id(text) for text in {each.entry.connector for each in submissions}}
    marked = {text: finding.read(text) for text, known in texts.items() if known is None}
    found = await finding.meant(connection, marked) if marked else {}
    return [texts[text] or _meant(marked[text], found[text]) for text in (each.entry.connector for each in submissions)]


def _meant(mark: Mark, found: list[UUID]) -> UUID | str:
    if len(found) == 1:
        return found[0]
    if found:
        return f"the mark means {len(found)} connectors: say which one"
    if mark.faults:
        return f"the mark gives no identity: {mark.faults[0].text}"
    return "no connector with this mark is registered yet"


async def _receipts(connection: Connection, submissions: Sequence[Submission]) -> dict[UUID, tuple[bytes, bool]]:
    rows = await database.fetch(connection, "receipts", [each.entry.id for each in submissions])
    return {row["id"]: (row["digest"], row["parked"]) for row in rows}


def _seen_before(each: Submission, before: tuple[bytes, bool]) -> messages.EntryResult:
    digest, parked = before
    if digest != each.digest:
        text = f"the id {each.entry.id} was used for another entry: give this one an id of its own"
        fault = problems.problem(problems.Type.ID_REUSED, text, ("#/id", text))
        return messages.EntryResult(id=each.entry.id, outcome="refused", problem=fault)
    return messages.EntryResult(id=each.entry.id, outcome="parked" if parked else "already_recorded")


def _park(draft: Draft, each: Submission, reason: UUID | str) -> messages.EntryResult:
    text = reason if isinstance(reason, str) and reason else "no connector with this id is registered yet"
    keys = marks.look_up_keys(finding.read(each.entry.connector))
    draft.receipts.append((each.entry.id, None, each.digest))
    draft.parkings.append(ledger.Parking(each.recorded, each.digest, text, keys))
    return messages.EntryResult(id=each.entry.id, outcome="parked")


def _cavity_problem(entry: Entry, known: Mapping[str, object]) -> messages.Problem | None:
    for name in entries.cavities_of(entry):
        if name not in known:
            return problems.unknown_cavity(name, list(known), "#/cavity" if entry.cavity else "#/cavities")
    return None


async def _folded(
    connection: Connection, head: Head, news: list[Recorded]
) -> tuple[ConnectorState, list[tuple[int, Recorded]]]:
    """The new state, and what was read of the history for it."""
    state = fold.extend(head.definition, head.state, news)
    if state is not None:
        return state, []
    only = fold.touched(head.state, news)
    partial = only if only is not None and not head.state.whole.referring else None
    past = await ledger.history(connection, head.connector, partial)
    history = [*(each for _, each in past), *news]
    return fold.refold(head.definition, head.state, history, only), past


def results(
    told: Iterable[tuple[Entry, messages.Outcome]], definition: Definition, state: ConnectorState, house: HouseRule
) -> list[messages.EntryResult]:
    """What became of entries of one connector, each with what it was found to be and its cavity as it stands now."""
    noted: dict[UUID, dict[str, None]] = {}
    for each in (*state.whole.discrepancies, *(open_ for part in state.cavities for open_ in part.discrepancies)):
        noted.setdefault(each.entry, {})[each.code.value] = None
    shown = views.Shown(definition, house)
    cavities: dict[str | None, messages.CavityView | None] = {None: None}
    found = []
    for entry, outcome in told:
        if entry.cavity not in cavities:
            cavities[entry.cavity] = shown.named(state, entry.cavity)
        codes = tuple(noted.get(entry.id, ()))
        found.append(
            messages.EntryResult(id=entry.id, outcome=outcome, discrepancies=codes, cavity=cavities[entry.cavity])
        )
    return found
