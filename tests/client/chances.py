"""Connectors, histories, what waits at a bench and steps as chance has them: mostly clean ones, some as bad as can be."""

import random
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta, timezone
from typing import Any, TypeVar
from uuid import UUID

import msgspec

from scanner_client.outbox import Kept, Status
from service.core import fold
from service.core.answers import Action
from service.core.contacts import Contact, OtherContact
from service.core.discrepancies import Code
from service.core.entries import CavityDefinition, Definition, Entry, HouseRule, Kind, Rating, Recorded
from service.core.part_numbers import Sex
from service.core.tooling import Half, Pull, Release, Tool, Tooling
from service.messages import DrawingView, KeptCaution, PlannedStep, Snapshot
from service.reference_messages import ShopToolView

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
T = TypeVar("T")
CONNECTOR = UUID("5e5e5e5e-0000-4000-8000-000000000001")
IDS = ("A", "C", "c", "14", "AA", "7")
SIZES = ("20", "20", "20", "16", "22D")
FRACTIONS = (0.8, 0.8, 0.5, 0.9, 1.0, 0.333, 0.07, 0.29)
RATINGS = (1, 2, 3, 5, 7, 10, 10, 10, 35, 100)
TOOL_MARK = "[)>\x1e06\x1d17V0CVA5\x1d1PM81969/14-10\x1dST1\x1e\x04"
TOOLS = (
    *[None] * 20,
    "M81969/14-10",
    "M81969/14-10",
    "M81969/14-03",
    "M81969/14-11",
    "somebody's",
    TOOL_MARK,
    "T-1",
    "T-1",
    "T-2",
)
CONTACTS = (*[None] * 20, "M39029/56-348", "AS39029/56-348", "AS39029/58-363", "AS39029/1-1", "AS39029/2-2", "nobody's")
SERIAL = "EX-0001"
MET_UNDER = ("met under this",)
PARKED_AS = (
    str(CONNECTOR).upper(),
    SERIAL,
    f"{SERIAL}\r",
    f" {SERIAL}",
    "EX-0002",
    f"D0CVA5{SERIAL}",
    f"D1ABC2{SERIAL}",
    f"[)>\x1e06\x1d17V0CVA5\x1d1PD38999/26FJ4PN\x1dS{SERIAL}\x1e\x04",
    # The same key, but the mark says itself that its serial is another.
    "[)>\x1e06\x1d17V0CVA5\x1d1PEX-\x1dS0001\x1e\x04",
    *MET_UNDER,
    "not to be read\x1d",
)
CAUTION = KeptCaution(kind="WARNING", text="Look.", status="read", source="tests", actions=(Action.REMOVE,))
KINDS = (*(each for each in Kind if each is not Kind.RETIREMENT), *(each for each in Kind if each is not Kind.MATING))
ORDINARY = (
    Kind.TINE_ENTRY,
    Kind.SEATING_TEST,
    Kind.SEATING_TEST,
    Kind.MATING,
    Kind.UNMATING,
    Kind.PLACEMENT,
    Kind.RENEWAL,
)
FEW = tuple(UUID(int=random.Random(each).getrandbits(128)) for each in range(100))


class Chance(random.Random):
    """Chance with the draws that cases are made of, the same for the same seed."""

    def __init__(self, seed: str) -> None:
        """Begin anew; ids are drawn from a few, so that a file of many cases stays small."""
        super().__init__(seed)
        self._left = self.sample(FEW, len(FEW))

    def once_in(self, times: int) -> bool:
        """Whether something rare happens."""
        return self.randrange(times) == 0

    def uuid(self) -> UUID:
        """An id in no order of time."""
        return self._left.pop()

    def one_of(self, values: Sequence[T]) -> T:
        """One of a few values."""
        return values[self.randrange(len(values))]


def definition(chance: Chance) -> Definition:
    """A connector of a few cavities, with a rating or without, of a known history or not."""
    ids = chance.sample(IDS, chance.one_of((1, 2, 2, 3, 5)))
    sizes = chance.one_of((SIZES, SIZES[:1]))
    return Definition(
        connector=CONNECTOR,
        serial=SERIAL,
        cavities=tuple(CavityDefinition(each, chance.one_of(sizes)) for each in ids),
        history="unknown" if chance.once_in(5) else "new",
        cage="0CVA5" if len(ids) % 2 else None,
        part_number=chance.one_of((None, "D38999/26FJ4PN")),
        family=chance.one_of((None, "D38999-III")),
        rating=None if chance.once_in(6) else rating(chance),
        mating_rating=Rating(value=chance.one_of((1, 3)), basis="house") if chance.once_in(4) else None,
        populated=chance.one_of((None, None, True, False)),
        nearing_fraction=chance.one_of(FRACTIONS) if chance.once_in(4) else None,
    )


def rating(chance: Chance) -> Rating:
    """A rating, verified or not."""
    return Rating(
        value=chance.one_of(RATINGS),
        basis=chance.one_of(("mandatory", "recommended", "house")),
        document=chance.one_of((None, "Doc 1")),
        verified_by=chance.one_of((None, "amy")),
        verified_on=chance.one_of((None, "2026-01-31")),
        first_insertion_counts=not chance.once_in(4),
        nearing_fraction=chance.one_of(FRACTIONS) if chance.once_in(4) else None,
    )


def tooling(chance: Chance) -> Tooling | None:
    """What the family is worked on with, where it is known."""
    if chance.once_in(4):
        return None
    tools = (
        Tool("M81969/14-10", "20", Half.INSERT, "coloured", "from memory", "tests"),
        Tool("M81969/14-10", "20", Half.REMOVE, "white", "from memory", "tests"),
        Tool("M81969/14-11", "20", Half.REMOVE, "white", "from memory", "tests"),
        Tool("M81969/14-03", "16", Half.INSERT, "coloured", "from memory", "tests"),
    )
    pulls = (Pull("20", 66.7, 15.0, verified=False, status="from memory", source="tests"),)
    release = chance.one_of((Release.REAR, Release.FRONT))
    return Tooling(release, "from memory", tools, pulls if chance.once_in(2) else ())


def entry(chance: Chance, kind: Kind, known: Definition, at: datetime, others: list[UUID]) -> Entry:
    """An entry of a kind with what it may state, about one cavity, several, or the whole connector."""
    at = at.astimezone(timezone(timedelta(hours=2))) if chance.once_in(8) else at
    referring = kind in {Kind.RESOLUTION, Kind.ACCEPTANCE} or (kind is Kind.FINDING_CLOSED and chance.once_in(2))
    target = chance.one_of(tuple(others)) if others and not chance.once_in(6) else chance.uuid()
    return Entry(
        id=chance.uuid(),
        connector=str(CONNECTOR),
        kind=kind,
        performed_at=at,
        performed_by=chance.one_of(("amy", "bo")),
        corrects=target if kind is Kind.CORRECTION else None,
        refers_to=target if referring else None,
        **_named(chance, kind, known),
        **_stated(chance, kind),
    )


def _named(chance: Chance, kind: Kind, known: Definition) -> dict[str, Any]:
    ids = tuple(each.id for each in known.cavities)
    match kind:
        case Kind.INSERTION | Kind.REMOVAL | Kind.TINE_ENTRY | Kind.SEATING_TEST:
            return {"cavity": chance.one_of(ids)}
        case Kind.RENEWAL | Kind.CARRY_IN:
            some = tuple(chance.sample(ids, chance.randint(1, len(ids))))
            return chance.one_of(({"cavity": chance.one_of(ids)}, {"cavities": some}, {}))
        case Kind.FINDING | Kind.FINDING_CLOSED:
            return chance.one_of(({"cavity": chance.one_of(ids)}, {"cavity": chance.one_of(ids)}, {}))
        case _:
            return {}


def _stated(chance: Chance, kind: Kind) -> dict[str, Any]:
    told = {"note": "said so"} if chance.once_in(6) else {}
    match kind:
        case Kind.INSERTION:
            return told | chance.one_of(({}, {"contact": "M39029/56-348"}))
        case Kind.SEATING_TEST:
            held = {"held": chance.one_of((True, True, False, None)), "force_n": chance.one_of((None, 66.7))}
            return told | held | {"level": chance.one_of((None, None, True, False))}
        case Kind.FINDING:
            return told | {"blocks": chance.one_of((None, True, True, False))}
        case Kind.CARRY_IN:
            counts = {"insertions": chance.one_of((None, 0, 4, 11)), "removals": chance.one_of((None, 0, 4))}
            opening = {"tine_entries": chance.one_of((None, 0, 1)), "occupied": chance.one_of((None, True, False))}
            return told | counts | opening | {"source": chance.one_of((None, "card 12"))}
        case Kind.PLACEMENT:
            return told | {"asset": chance.one_of((None, "XX-ABC")), "zone": "210", "position": "P1"}
        case Kind.ACCEPTANCE:
            return told | {"accepted": chance.one_of((True, False))}
        case _:
            return told


class Hand:
    """Who works here: knows what is in which cavity, and mostly does what fits."""

    def __init__(self, chance: Chance, known: Definition, *, wild: bool) -> None:
        """Begin on a connector as registered."""
        self.chance, self.known, self.wild = chance, known, wild
        self.inside: dict[str, bool] = {each.id: bool(known.populated) for each in known.cavities}
        self.done: list[UUID] = []
        self.found: list[UUID] = []

    def next(self, at: datetime) -> Entry:
        """What is done now."""
        chance = self.chance
        if chance.once_in(2 if self.wild else 60):
            made = entry(chance, chance.one_of(KINDS), self.known, at, self.done)
        elif self.known.history == "unknown" and not self.done and chance.once_in(2):
            made = entry(chance, Kind.CARRY_IN, self.known, at, self.done)
        elif chance.once_in(30):
            made = entry(chance, Kind.FINDING, self.known, at, self.done)
        elif self.found and chance.once_in(6):
            made = entry(chance, Kind.FINDING_CLOSED, self.known, at, self.found)
        elif chance.once_in(4 if self.wild else 12):
            made = entry(chance, chance.one_of(ORDINARY), self.known, at, self.done)
        else:
            made = self._cycle(at)
        self.done.append(made.id)
        if made.kind is Kind.FINDING:
            self.found.append(made.id)
        return made

    def _cycle(self, at: datetime) -> Entry:
        # One cavity more than the others, so that some retainers run out.
        cavity = self.chance.one_of((*self.inside, next(iter(self.inside))))
        full = self.inside[cavity]
        self.inside[cavity] = not full
        made = entry(self.chance, Kind.REMOVAL if full else Kind.INSERTION, self.known, at, self.done)
        return msgspec.structs.replace(made, cavity=cavity)


def snapshot(chance: Chance, hand: Hand) -> Snapshot:
    """What a history of some length leaves; `as_of` is when the last of it was done."""
    at = START
    history: list[Recorded] = []
    for _ in range(chance.one_of((0, 2, 6, 12, 17))):
        at += timedelta(microseconds=chance.one_of((1, 60_000_000, 60_000_000, 0 if hand.wild else 60_000_000)))
        made = hand.next(at)
        noted = (chance.one_of(tuple(Code)),) if hand.wild and chance.once_in(9) else ()
        late = timedelta(microseconds=chance.one_of((0, 5, 900_000_000, -60_000_000 if hand.wild else 0)))
        history.append(Recorded(entry=made, recorded_at=at + late, recorded_by="tests", noted=noted))
    sex = chance.one_of((None, Sex.PIN, Sex.SOCKET))
    drawing = DrawingView(schematic=True, sex=sex, source=None, pitch=0.1, places=())
    return Snapshot(
        definition=hand.known,
        state=fold.fold(hand.known, history),
        house=HouseRule(chance.one_of(("warn", "warn", "no_go")), chance.one_of(FRACTIONS)),
        tooling=tooling(chance),
        entries=len(history),
        as_of=at,
        drawing=chance.one_of((drawing, None)),
        cautions=chance.one_of(((), (CAUTION,))),
        **chance.one_of(({}, contacts(chance))),
    )


def contacts(chance: Chance) -> dict[str, Any]:
    """Contacts that are known for the connector, and others."""
    doubt = chance.one_of(("", "", "the size is not sure"))
    given = {"wire_awg": "20", "doubt": doubt, "status": "read", "source": "tests"}
    return {
        "contacts": (
            Contact(part_number="AS39029/56-348", sex=Sex.SOCKET, contact_size="20", **given),
            Contact(part_number="AS39029/58-363", sex=Sex.PIN, contact_size="16", **given),
        ),
        "other_contacts": (
            OtherContact(part_number="AS39029/1-1", sex=Sex.PIN, contact_size="20"),
            OtherContact(part_number="AS39029/2-2", sex=Sex.SOCKET, contact_size="16"),
        ),
    }


def waiting(chance: Chance, hand: Hand, after: Snapshot) -> Iterator[Kept]:
    """What waits at the bench: mostly newer than the state, at times late, at one instant, refused, or of no cavity here."""
    at, pending = after.as_of, after.state.whole.pending
    at_once = hand.wild and chance.once_in(2)
    for place in range(chance.one_of((0, 0, 0, 0, 1, 2, 3, 5))):
        if not at_once or not place:
            at += timedelta(microseconds=chance.one_of((0 if hand.wild else 2, 1, 60_000_000, 60_000_000)))
        made = hand.next(at - timedelta(hours=chance.one_of((1, 2000))) if chance.once_in(40) else at)
        if chance.once_in(60):
            made = msgspec.structs.replace(made, cavity="Z", cavities=())
        if pending and chance.once_in(5):
            made = msgspec.structs.replace(made, id=pending[0])
        status: Status = "refused" if chance.once_in(60) else chance.one_of(("unsent", "sent", "parked"))
        yield Kept(place, made, at + timedelta(microseconds=chance.one_of((0, 0, 250_000, -1))), status)


def parked(chance: Chance, hand: Hand, now: datetime) -> Iterator[Kept]:
    """What was parked long ago under a mark: at times this connector's, at times one that says it is another."""
    if not chance.once_in(4):
        return
    for place in range(chance.one_of((1, 1, 2))):
        made = entry(chance, chance.one_of(KINDS), hand.known, now - timedelta(days=30), hand.done)
        if chance.once_in(12):
            made = msgspec.structs.replace(made, cavity="Z", cavities=())
        yield Kept(place, msgspec.structs.replace(made, connector=chance.one_of(PARKED_AS)), now, "parked")


def steps(chance: Chance, hand: Hand) -> Iterator[PlannedStep]:
    """Steps that mostly fit what is in the cavities."""
    inside = dict(hand.inside)
    for _ in range(chance.one_of((1, 1, 1, 1, 2, 3))):
        cavity = chance.one_of(tuple(inside))
        fitting = (Action.REMOVE, Action.REPLACE) if inside[cavity] else (Action.INSERT,)
        action = chance.one_of(tuple(Action)) if hand.wild or chance.once_in(8) else chance.one_of(fitting)
        inside[cavity] = action is not Action.REMOVE
        named = "ZZ" if chance.once_in(200) else cavity
        yield PlannedStep(action=action, cavity=named, tool=chance.one_of(TOOLS), contact=chance.one_of(CONTACTS))


def shop(chance: Chance, now: datetime) -> Iterator[ShopToolView]:
    """The shop's tools by their marks, some of them due for a check."""
    if chance.once_in(2):
        return
    for mark, part_number in (("T-1", "M81969/14-10"), ("T-2", "M81969/14-03"), (TOOL_MARK, "M81969/14-11")):
        due_on = chance.one_of((None, now.date(), now.date() - timedelta(days=1)))
        yield ShopToolView(mark=mark, part_number=part_number, due_on=due_on, serves=())
