"""Putting connectors on the books, one or thousands at a time, by serial or by what a mark says."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from uuid import UUID

import msgspec
from msgspec import Struct

from service import catalog, messages, problems
from service.core import chain, enrolment, marks, reported, states
from service.core.entries import CavityDefinition, CavityIds, Definition, HouseRule
from service.core.house import What
from service.core.marks import Mark
from service.store import database, fleet, ledger
from service.store.database import Connection
from service.store.ledger import Head
from service.workflow import connectors, finding, recording, scanning, shop
from service.workflow.reference import Reference
from service.workflow.shop import Shop


class Registered(Struct, frozen=True):
    """A connector on the books; `new` is False where the same registration had been made before."""

    head: Head
    new: bool


class Request(Struct, frozen=True):
    """A registration with its serial, and the mark from which that was read where one was scanned."""

    asked: messages.Registration
    mark: Mark | None

    @property
    def identity(self) -> tuple[str, str | None, str | None]:
        """What no two connectors share."""
        return self.asked.serial, self.asked.cage, self.asked.part_number


async def register(
    connection: Connection,
    scribe: recording.Scribe,
    reference: Reference,
    house: HouseRule,
    asked: messages.Registration,
    by: str,
    at: datetime,
    fresh_id: UUID,
) -> Registered:
    """Put a connector on the books; entries that waited for it join its ledger in the same transaction."""
    request = read(asked)
    async with connection.transaction():
        await database.run(connection, "lock_parking")
        (before,) = await known(connection, scribe, [request])
        if isinstance(before, messages.Problem):
            raise problems.ProblemRaised(before)
        held = await shop.read(connection, sets_of([request]))
        if before is not None:
            conflict = contradiction(before, request, held)
            if conflict is not None:
                raise problems.ProblemRaised(conflict)
            identity = before.connector
        else:
            definition = define(request.asked, reference, request.asked.id or fresh_id, held)
            await write(connection, scribe, house, list(begin([definition], house, by, at)))
            identity = definition.connector
        # Not into the scribe's memory: until this is committed it may still come to nothing.
        heads = await ledger.heads(connection, ledger.Definitions(), [identity], lock=False)
    return Registered(heads[identity], before is None)


def read(asked: messages.Registration) -> Request:
    """Find out what the connector is called: as the request says, or as its mark does. Raises the problem otherwise."""
    given = (asked.serial or None, asked.mark, asked.bytes_base64)
    if sum(each is not None for each in given) != 1:
        text = "say which connector it is by one of serial, mark and bytes_base64"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/serial", text))
    if asked.serial:
        return Request(asked, None)
    pointer = "#/mark" if asked.mark is not None else "#/bytes_base64"
    scan = messages.Scan(bytes_base64=asked.bytes_base64, text=asked.mark)
    mark = marks.read(scanning.scanned_bytes(scan), asked.symbology)
    named = enrolment.named(mark)
    if isinstance(named, enrolment.Unfit):
        raise problems.raised(problems.Type.MARK_UNUSABLE, named.text, (pointer, named.text))
    for name, said in (("cage", named.cage), ("part_number", named.part_number)):
        stated = getattr(asked, name)
        if None not in (said, stated) and said != stated:
            text = f"the mark says {said!r}: leave {name} out, or register by the serial"
            raise problems.raised(problems.Type.INVALID_REQUEST, text, (f"#/{name}", text))
    merged = {"serial": named.serial, "cage": named.cage, "part_number": named.part_number}
    kept = {name: value for name, value in merged.items() if value is not None}
    full = msgspec.structs.replace(asked, mark=None, bytes_base64=None, symbology=None, **kept)
    try:
        msgspec.convert(msgspec.to_builtins(full), messages.Registration)
    except msgspec.ValidationError as error:
        text = f"what this mark gives can't be registered: {error}"
        raise problems.raised(problems.Type.MARK_UNUSABLE, text, (pointer, text)) from error
    return Request(full, mark)


async def known(
    connection: Connection, scribe: recording.Scribe, requests: Sequence[Request]
) -> list[Definition | messages.Problem | None]:
    """Which of these connectors are on the books already, found by their identity, their id or their mark."""
    meant: dict[int, list[UUID]] = {}
    for row in await database.fetch(
        connection,
        "same_connectors",
        [each.asked.serial for each in requests],
        [each.asked.cage for each in requests],
        [each.asked.part_number for each in requests],
    ):
        meant.setdefault(row["place"] - 1, []).append(row["connector"])
    scanned = {str(place): each.mark for place, each in enumerate(requests) if each.mark is not None}
    for name, found in (await finding.meant(connection, scanned)).items() if scanned else ():
        before = meant.setdefault(int(name), [])
        before.extend(each for each in found if each not in before)
    wanted = {each for found in meant.values() for each in found} | {
        each.asked.id for each in requests if each.asked.id
    }
    rows = await database.fetch(connection, "definition_numbers", list(wanted))
    held = await scribe.definitions.fetch(connection, ((row["connector"], row["definition"]) for row in rows))
    by_id = {connector: definition for (connector, _), definition in held.items()}
    for place, request in enumerate(requests):
        # The id first: where it is another connector's, nothing recorded under it may go to the one with this serial.
        if request.asked.id in by_id:
            meant[place] = [request.asked.id]
    return [_one([by_id[each] for each in meant.get(place, ()) if each in by_id]) for place in range(len(requests))]


def _one(found: list[Definition]) -> Definition | messages.Problem | None:
    if len(found) > 1:
        text = f"the mark means {len(found)} connectors on the books: register by the serial, with its part number"
        return problems.problem(problems.Type.CONNECTOR_KNOWN, text)
    return found[0] if found else None


_STATED = ("history", "family", "populated", "rating", "mating_rating", "nearing_fraction", "cavities")


def contradiction(before: Definition, request: Request, held: Shop) -> messages.Problem | None:
    """What a registration states otherwise than the books do. What it leaves open is as the books say."""
    asked = request.asked
    stated = {name: getattr(asked, name) for name in _STATED}
    differing = [name for name, value in stated.items() if value is not None and value != getattr(before, name)]
    if asked.cavities is not None and asked.cavity_ids != before.cavity_ids:
        differing.append("cavity_ids")
    if asked.cavity_set is not None and held.cavity_sets.get(asked.cavity_set) != before.cavities:
        differing.append("cavity_set")
    found = enrolment.Named(before.serial, before.cage, before.part_number)
    if request.mark is not None and enrolment.finds(request.mark, found):
        if asked.part_number and before.part_number not in (None, asked.part_number):
            differing.append("part_number")
    elif request.identity != (found.serial, found.cage, found.part_number):
        differing.append("serial, cage or part_number")
    if not differing:
        return None
    text = (
        f"serial {before.serial!r} is registered as {before.connector}, with another {', '.join(differing)}; to change its "
        f"rating, PUT /v1/connectors/{before.connector}/rating"
    )
    fault = problems.problem(problems.Type.CONNECTOR_KNOWN, text, *((f"#/{each}", text) for each in differing))
    return msgspec.structs.replace(fault, connector=before.connector)


def sets_of(requests: Iterable[Request]) -> set[str]:
    """The cavity sets that registrations may take: the one that is named, or one under the part number."""
    return {
        name
        for each in requests
        if each.asked.cavities is None
        for name in (each.asked.cavity_set or each.asked.part_number,)
        if name is not None
    }


def define(
    asked: messages.Registration,
    reference: Reference,
    connector: UUID,
    held: Shop | None = None,
) -> Definition:
    """What a registration makes of a connector.

    Cavities that nobody gave, and neither shop nor catalogue lists, are never invented. A rating that is not stated is the
    shop's for the part number or family, with its provenance, where it has one.
    """
    held = held or Shop()
    described = reference.described(asked.part_number) if asked.part_number else None
    cavities, source = _cavities(asked, described, held)
    family = asked.family or (described.decoded.family if described and described.decoded else None)
    return Definition(
        connector=connector,
        serial=asked.serial,
        cavities=cavities,
        history=asked.history,
        cage=asked.cage,
        part_number=asked.part_number,
        family=family,
        cavity_ids=source,
        rating=asked.rating or held.book.rating(What.RATING, family, asked.part_number),
        mating_rating=asked.mating_rating or held.book.rating(What.MATING_RATING, family, asked.part_number),
        populated=asked.populated,
        nearing_fraction=asked.nearing_fraction or held.book.nearing_fraction(family, asked.part_number),
    )


_Cavities = tuple[tuple[CavityDefinition, ...], CavityIds]


def _cavities(asked: messages.Registration, described: catalog.Description | None, held: Shop) -> _Cavities:
    if asked.cavities is not None and asked.cavity_set is not None:
        text = "give either cavities or a cavity_set"
        raise problems.raised(problems.Type.INVALID_REQUEST, text, ("#/cavity_set", text))
    if asked.cavities is not None:
        _check_cavities(asked.cavities)
        return asked.cavities, asked.cavity_ids
    if asked.cavity_ids == "assumed":
        text = "assumed cavities have to be given, each with its id: Tinebook makes up none"
        raise problems.raised(problems.Type.CAVITIES_NEEDED, text, ("#/cavities", text))
    if asked.cavity_set is not None:
        if asked.cavity_set not in held.cavity_sets:
            text = f"there is no cavity set {asked.cavity_set!r}: `tinebook import cavities` brings one"
            raise problems.raised(problems.Type.CAVITIES_NEEDED, text, ("#/cavity_set", text))
        return held.cavity_sets[asked.cavity_set], "given"
    if asked.part_number is not None and asked.part_number in held.cavity_sets:
        return held.cavity_sets[asked.part_number], "given"
    return _published(described)


def _published(described: catalog.Description | None) -> _Cavities:
    """The cavities that the catalogue lists for a part number, and whether its source lists them or they were derived."""
    if described is None:
        text = "give each cavity's id and contact size, or a part number whose arrangement the catalogue knows"
    elif described.fault is not None:
        text = f"the part number does not tell the cavities: {described.fault.text}"
    elif described.decoded is not None and described.decoded.removable is False:
        text = "this part number's contacts are fixed in the insert: there is no retainer to count for"
    elif described.cavities is None:
        text = "the catalogue does not list the cavities of this arrangement: give each cavity's id and contact size"
    else:
        return described.cavities, "derived" if described.cavities_status is catalog.Status.DERIVED else "published"
    raise problems.raised(problems.Type.CAVITIES_NEEDED, text, ("#/cavities", text))


def _check_cavities(cavities: tuple[CavityDefinition, ...]) -> None:
    seen: set[str] = set()
    for index, each in enumerate(cavities):
        if each.id in seen:
            text = f"cavity {each.id!r} stands twice"
            raise problems.raised(problems.Type.INVALID_REQUEST, text, (f"#/cavities/{index}/id", text))
        seen.add(each.id)


class Beginning(Struct, frozen=True):
    """Where a new connector's chain and state begin, and under which keys it is found."""

    definition: Definition
    at: datetime
    keys: tuple[str, ...]
    body: bytes
    hash: bytes
    state: states.ConnectorState
    encoded: bytes
    change: reported.Change

    @property
    def connector(self) -> UUID:
        """The connector's id."""
        return self.definition.connector


def begin(definitions: Iterable[Definition], house: HouseRule, by: str, at: datetime) -> Iterator[Beginning]:
    """What each connector begins with. Those of one kind begin in the same state, so it is worked out once a kind."""
    kinds: dict[object, tuple[states.ConnectorState, bytes, reported.Change]] = {}
    for each in definitions:
        kind = (
            *(each.cavities, each.history, each.populated, each.rating, each.nearing_fraction),
            *(each.family, each.part_number),
        )
        if kind not in kinds:
            state = states.blank(each)
            news = reported.change(None, reported.judge(each, state, None, house))
            kinds[kind] = state, states.encode(state), news
        body = chain.canonical_definition(
            chain.DefinitionBody(definition=each, recorded_at=at, recorded_by=by, reason="registered")
        )
        keys = marks.keys(each.serial, each.cage, each.part_number, each.connector)
        state, encoded, news = kinds[kind]
        news = msgspec.structs.replace(news, connector=each.connector)
        yield Beginning(each, at, keys, body, chain.link(b"", body), state, encoded, news)


async def write(connection: Connection, scribe: recording.Scribe, house: HouseRule, news: Sequence[Beginning]) -> None:
    """Put new connectors on the books, all in the same few statements; what waited for them joins their ledgers.

    The caller holds the lock on parking, and has made sure that they are new.
    """
    await _append(connection, news)
    await fleet.put(connection, [each.change for each in news], [])
    keys = [key for each in news for key in each.keys]
    waiting = {row["key"] for row in await database.fetch(connection, "waiting_keys", keys)}
    for each in news:
        if not waiting.isdisjoint(each.keys):
            head = Head(each.connector, 0, each.hash, each.definition, 1, each.state)
            await connectors.join_parked(connection, scribe, head, house)


async def _append(connection: Connection, news: Sequence[Beginning]) -> None:
    await database.append(
        connection,
        "register_connectors",
        "connector",
        ("connector", "serial", "cage", "part_number", "family", "registered_at"),
        [
            (each.connector, known.serial, known.cage, known.part_number, known.family, each.at)
            for each in news
            for known in (each.definition,)
        ],
    )
    keys = [(key, each.connector) for each in news for key in each.keys]
    await database.append(connection, "register_keys", "mark", ("key", "connector"), keys)
    await database.append(
        connection,
        "append_definitions",
        "definition",
        ("connector", "number", "recorded_at", "body", "hash"),
        [(each.connector, 1, each.at, each.body, each.hash) for each in news],
    )
    await database.append(
        connection,
        "start_heads",
        "head",
        ("connector", "entries", "hash", "definition", "state"),
        [(each.connector, 0, each.hash, 1, each.encoded) for each in news],
    )
