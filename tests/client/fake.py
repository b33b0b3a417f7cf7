"""A small stand-in for the service, in memory, that answers with the product's own rule; and cuts in the line to it."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from uuid import UUID

import httpx
import msgspec
from msgspec import Struct, structs

from scanner_client import offline, shown
from scanner_client.readings import Reading
from service import messages, reference_messages
from service.core import answers, contacts, fold, plans
from service.core.contacts import Contacts
from service.core.entries import CavityDefinition, Definition, Entry, HouseRule, Rating, Recorded, faults
from service.core.tooling import Half, Release, Tool, Tooling

START = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
CONNECTOR = UUID("01890a5d-ac96-774b-bcce-b302099a8001")
OTHER = UUID("01890a5d-ac96-774b-bcce-b302099a8002")
TOKEN = "a-token"  # noqa: S105 - of a stand-in

TOOLING = Tooling(
    release=Release.REAR,
    release_status="from memory",
    tools=(
        Tool("M81969/14-10", "20", Half.INSERT, "coloured", "from memory", "tests"),
        Tool("M81969/14-10", "20", Half.REMOVE, "white", "from memory", "tests"),
        Tool("M81969/14-03", "16", Half.INSERT, "coloured", "from memory", "tests"),
    ),
)


class Clock:
    """A clock that stands until it is told to go on."""

    def __init__(self, now: datetime = START) -> None:
        self.now = now

    def __call__(self) -> datetime:
        """What time it is."""
        return self.now

    def go(self, seconds: float = 1) -> datetime:
        """Let time pass."""
        self.now += timedelta(seconds=seconds)
        return self.now


def definition(connector: UUID = CONNECTOR, serial: str = "SN-1042", rating: int | None = 10) -> Definition:
    """A new, empty connector with a few cavities, two of which differ in case alone."""
    return Definition(
        connector=connector,
        serial=serial,
        cage="0CVA5",
        part_number="TEST-20-4",
        cavities=tuple(CavityDefinition(each, "20") for each in ("1", "14", "C", "c")),
        history="new",
        rating=Rating(value=rating, basis="recommended", document="Doc 1") if rating else None,
    )


def twin(cage: str) -> Definition:
    """Another connector of the same serial, of another enterprise."""
    return structs.replace(definition(OTHER), cage=cage)


Cut = Callable[[httpx.Request], str]


class Service:
    """The stand-in. `cuts` says what happens to a request: answer, lose (do it, lose the answer), away, busy, denied."""

    def __init__(self, clock: Clock, *definitions: Definition) -> None:
        self.clock = clock
        self.definitions = {each.connector: each for each in definitions or (definition(),)}
        self.ledger: list[Recorded] = []
        self.parked: list[Entry] = []
        self.tools: tuple[reference_messages.ShopToolView, ...] = ()
        self.requests: list[httpx.Request] = []
        self.sent_at: list[datetime | None] = []
        self.cut: Cut = lambda _: "answer"
        self.refuse: Callable[[Entry], str | None] = lambda _: None
        self.poison: Callable[[Entry], bool] = lambda _: False
        self.retry_after: str | None = None

    def transport(self) -> httpx.MockTransport:
        """The line to it."""
        return httpx.MockTransport(self.handle)

    def handle(self, request: httpx.Request) -> httpx.Response:
        """Take one request."""
        self.requests.append(request)
        match self.cut(request):
            case "away":
                raise httpx.ConnectError("connection refused", request=request)
            case "busy":
                headers = {"Retry-After": self.retry_after} if self.retry_after else {}
                return problem(503, "busy", headers)
            case "denied":
                return problem(401, "the token has expired")
            case "lose":
                self.answer(request)
                raise httpx.ReadTimeout("lost", request=request)
            case _:
                return self.answer(request)

    def answer(self, request: httpx.Request) -> httpx.Response:
        """Do what is asked."""
        parts = request.url.path.strip("/").split("/")
        match (request.method, *parts):
            case ("GET", "health", "ready"):
                return reply(messages.Health(status="ready"))
            case ("GET", "v1", "connectors"):
                return self.page(request.url.params)
            case ("GET", "v1", "tools"):
                return reply(reference_messages.ShopToolList(tools=self.tools, next=None))
            case ("GET", "v1", "entries", name):
                return self.place(UUID(name))
            case ("GET", "v1", "connectors", name, *rest):
                return reply(self.snapshot(UUID(name)) if rest else self.view(UUID(name)))
            case _:
                return self.posted(parts, request.content)

    def page(self, asked: httpx.QueryParams) -> httpx.Response:
        """The connectors that a mark means, or a page of those in an asset, one at a time."""
        if "mark" in asked:
            return reply(messages.ConnectorList(connectors=self.matching(asked["mark"].encode()), next=None))
        every = [shown.line(self.snapshot(each)) for each in self.definitions]
        if "work_order" in asked:
            about = {each.entry.connector for each in self.ledger if each.entry.work_order == asked["work_order"]}
            there = [each for each in every if str(each.id) in about or each.serial in about]
        else:
            there = [each for each in every if each.place.asset == asked["asset"]]
        at = int(asked.get("cursor", "0"))
        following = str(at + 1) if at + 1 < len(there) else None
        return reply(messages.ConnectorList(connectors=tuple(there[at : at + 1]), next=following))

    def posted(self, parts: list[str], body: bytes) -> httpx.Response:
        """Do what is asked with a body."""
        match parts:
            case ["v1", "scans"]:
                return self.scan(msgspec.json.decode(body, type=messages.Scan))
            case ["v1", "connectors", name, "plan"]:
                return self.plan(UUID(name), msgspec.json.decode(body, type=messages.PlanRequest))
            case ["v1", "entries"]:
                return self.entries(msgspec.json.decode(body, type=messages.EntriesRequest))
            case _:
                return problem(404, "no such thing")

    def snapshot(self, connector: UUID) -> messages.Snapshot:
        """The inputs of the rule."""
        known = self.definitions[connector]
        history = self.history(connector)
        return messages.Snapshot(
            definition=known,
            state=fold.fold(known, history),
            house=HouseRule(),
            tooling=TOOLING,
            entries=len(history),
            as_of=self.clock(),
        )

    def view(self, connector: UUID) -> messages.ConnectorView:
        """One connector with every cavity."""
        snapshot = self.snapshot(connector)
        line, known = shown.line(snapshot), snapshot.definition
        return messages.ConnectorView(
            id=line.id,
            serial=line.serial,
            cage=line.cage,
            part_number=line.part_number,
            family=None,
            history=known.history,
            cavity_ids=known.cavity_ids,
            rating=shown.rating(snapshot),
            wear=line.wear,
            limiting_cavity=line.limiting_cavity,
            left=line.left,
            retired=False,
            place=line.place,
            mating=messages.MatingView(matings=0, unmatings=0, mated=False, rating=None),
            cavities=shown.cavities(snapshot, snapshot.state),
            discrepancies=(),
            entries=snapshot.entries,
            chain_hash="",
        )

    def history(self, connector: UUID) -> list[Recorded]:
        """What is recorded of a connector."""
        return [each for each in self.ledger if self.meant(each.entry.connector) == connector]

    def meant(self, mark: str) -> UUID | None:
        """The connector that an entry means."""
        found = offline.find(Reading(mark.encode()), self.definitions.values())
        return found[0].connector if len(found) == 1 else None

    def matching(self, data: bytes, symbology: str | None = None) -> tuple[messages.ConnectorLine, ...]:
        """The connectors that a mark means."""
        found = offline.find(Reading(data, symbology), self.definitions.values())
        return tuple(shown.line(self.snapshot(each.connector)) for each in found)

    def place(self, entry: UUID) -> httpx.Response:
        """Where an entry is."""
        if any(each.id == entry for each in self.parked):
            return reply(messages.EntryPlace(id=entry, outcome="parked", connector=None, line=None))
        found = next((each.entry for each in self.ledger if each.entry.id == entry), None)
        if found is None:
            return problem(404, "no such entry was ever recorded")
        connector = self.meant(found.connector)
        return reply(messages.EntryPlace(id=entry, outcome="recorded", connector=connector, line=None))

    def assign(self, connector: UUID) -> None:
        """Say that everything parked belongs to a connector."""
        mine = [structs.replace(each, connector=str(connector)) for each in self.parked]
        self.ledger += [Recorded(entry=each, recorded_at=self.clock(), recorded_by="tests") for each in mine]
        self.parked.clear()

    def scan(self, asked: messages.Scan) -> httpx.Response:
        """What a scan means."""
        data = msgspec.convert(asked.bytes_base64, bytes)
        return reply(
            messages.ScanView(
                meaning="plain_serial",
                identity=None,
                fields={},
                deviations=(),
                faults=(),
                connectors=self.matching(data, asked.symbology),
            )
        )

    def plan(self, connector: UUID, asked: messages.PlanRequest) -> httpx.Response:
        """The answer to steps."""
        snapshot = self.snapshot(connector)
        sizes = {each.id: each.contact_size for each in snapshot.definition.cavities}
        for each in asked.steps:
            if each.cavity not in sizes:
                return problem(422, f"there is no cavity {each.cavity}")
        steps = [
            plans.Step(
                each.action,
                each.cavity,
                sizes[each.cavity],
                answers.Brought(
                    answers.tool_fit(snapshot.tooling, each.tool, sizes[each.cavity], each.action),
                    contacts.fit(each.contact, Contacts(None, (), ()), sizes[each.cavity]),
                ),
            )
            for each in asked.steps
        ]
        made = plans.plan(snapshot.definition, snapshot.house, snapshot.state, steps, snapshot.tooling)
        return reply(shown.plan(snapshot, made, offline.CAUTIONS))

    def entries(self, asked: messages.EntriesRequest) -> httpx.Response:
        """Record facts, each once."""
        self.sent_at.append(asked.sent_at)
        if any(self.poison(each) for each in asked.entries):
            return problem(413, "too much for this service")
        results = tuple(self.one(each) for each in asked.entries)
        if all(each.outcome == "refused" for each in results):
            whole = messages.Problem(type="t", title="Malformed", status=422, detail="all malformed", results=results)
            return reply(whole, 422, "application/problem+json")
        return reply(messages.EntriesReply(results=results))

    def one(self, entry: Entry) -> messages.EntryResult:
        """Record one fact."""
        reason = self.refuse(entry) or "; ".join(each.text for each in faults(entry))
        if reason:
            refused = messages.Problem(type="t", title="Malformed", status=422, detail=reason)
            return messages.EntryResult(id=entry.id, outcome="refused", problem=refused)
        known = next((each for each in (*(e.entry for e in self.ledger), *self.parked) if each.id == entry.id), None)
        if known is not None:
            same = known == entry
            clash = messages.Problem(type="t", title="Clash", status=409, detail="same id, other content")
            return messages.EntryResult(
                id=entry.id, outcome="already_recorded" if same else "refused", problem=None if same else clash
            )
        if self.meant(entry.connector) is None:
            self.parked.append(entry)
            return messages.EntryResult(id=entry.id, outcome="parked")
        self.ledger.append(Recorded(entry=entry, recorded_at=self.clock(), recorded_by="tests"))
        return messages.EntryResult(id=entry.id, outcome="recorded")


def reply(value: Struct, status: int = 200, kind: str = "application/json") -> httpx.Response:
    """A message as a response."""
    return httpx.Response(status, content=messages.to_json(value), headers={"Content-Type": kind})


def problem(status: int, detail: str, headers: dict[str, str] | None = None) -> httpx.Response:
    """A problem as a response."""
    made = messages.Problem(type="about:blank", title="No", status=status, detail=detail)
    answer = reply(made, status, "application/problem+json")
    answer.headers.update(headers or {})
    return answer


def ids(start: int = 1) -> Iterator[UUID]:
    """Ids that a test can tell apart."""
    number = start
    while True:
        yield UUID(int=number)
        number += 1
