"""The log card: the whole life of a connector, as its ledger gives it. The same ledger and house rule, the same card."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Literal
from uuid import UUID

from msgspec import Struct

from service.core import cycles, fold, identity, marks, plans, references
from service.core.chain import DefinitionBody
from service.core.cycles import Wear
from service.core.discrepancies import SENTENCES, Code
from service.core.entries import Definition, Entry, HouseRule, Kind, Rating, Recorded
from service.core.fold import Life
from service.core.states import ConnectorState

FORM = "tinebook-log-card/1"


class Source(Struct, frozen=True):
    """The ledger of a connector: definitions, entries with their hashes, and the hash of the last definition."""

    definitions: Sequence[DefinitionBody]
    history: Sequence[Recorded]
    hashes: Sequence[str]
    definition_hash: str


class RatingVersion(Struct, frozen=True):
    """The rating of retainers or of mating as it was from a definition on."""

    definition: int
    recorded_at: datetime
    recorded_by: str
    reason: str
    of: Literal["retainers", "mating"]
    rating: Rating | None


class LifeLine(Struct, frozen=True):
    """A retainer life: counts as it ended, or as they are now. `from_entry` and `until_entry` are numbers in the ledger."""

    cavity: str
    contact_size: str
    life: int
    from_entry: int | None
    until_entry: int | None
    known: bool
    carried_in: tuple[int, int, int]
    insertions: int
    removals: int
    tine_entries: int
    begun: int
    completed: int
    rating: int | None
    left: int | None
    wear: Wear
    occupied: bool | None
    contact: str | None


class PlaceLine(Struct, frozen=True):
    """Where the connector was put, and by which entry."""

    entry: int
    performed_at: datetime
    performed_by: str
    asset: str | None
    zone: str | None
    position: str | None
    work_order: str | None


class EntryLine(Struct, frozen=True):
    """One entry as recorded. `corrected_by` is the number of the correction that marks it as entered in error."""

    number: int
    entry: Entry
    recorded_at: datetime
    recorded_by: str
    noted: tuple[str, ...]
    hash: str
    corrected_by: int | None


Outcome = Literal["open", "resolved", "corrected", "settled"]


class DiscrepancyLine(Struct, frozen=True):
    """A discrepancy and what became of it: `settled` means that other entries came which took its ground away."""

    entry: int
    code: str
    text: str
    cavity: str | None
    outcome: Outcome
    by_entry: int | None
    by: str | None
    reason: str | None


class Card(Struct, frozen=True, kw_only=True):
    """The card. `as_of` is the moment of the newest record in it; `hash` the head of the chain."""

    form: str
    connector: UUID
    serial: str
    cage: str | None
    part_number: str | None
    family: str | None
    uii: str | None
    marks: tuple[str, ...]
    history: str
    cavity_ids: str
    registered_at: datetime
    registered_by: str
    wear: Wear
    limiting_cavity: str | None
    begun: int | None
    left: int | None
    rating: Rating | None
    mating_rating: Rating | None
    matings: int
    unmatings: int
    retired: bool
    asset: str | None
    zone: str | None
    position: str | None
    ratings: tuple[RatingVersion, ...]
    lives: tuple[LifeLine, ...]
    places: tuple[PlaceLine, ...]
    entries: tuple[EntryLine, ...]
    discrepancies: tuple[DiscrepancyLine, ...]
    definitions: int
    definition_hash: str
    hash: str
    as_of: datetime


def card(source: Source, house: HouseRule) -> Card:
    """The card of a connector."""
    first, known = source.definitions[0], source.definitions[-1].definition
    history = list(source.history)
    numbers = {each.entry.id: number for number, each in enumerate(history, 1)}
    state = fold.fold(known, history)
    figures = cycles.limits(known.rating, known.nearing_fraction, house)
    limiting = plans.limiting(state.cavities, figures)
    whole, voided = state.whole, _voided(history, numbers)
    newest = max((*(each.recorded_at for each in source.definitions), *(each.recorded_at for each in history)))
    return Card(
        form=FORM,
        connector=known.connector,
        serial=known.serial,
        cage=known.cage,
        part_number=known.part_number,
        family=known.family,
        uii=_uii(known),
        marks=marks.keys(known.serial, known.cage, known.part_number, known.connector),
        history=known.history,
        cavity_ids=known.cavity_ids,
        registered_at=_utc(first.recorded_at),
        registered_by=first.recorded_by,
        wear=limiting.standing.wear if limiting else Wear.UNKNOWN,
        limiting_cavity=limiting.cavity if limiting else None,
        begun=limiting.standing.begun if limiting else None,
        left=limiting.standing.left if limiting else None,
        rating=known.rating,
        mating_rating=known.mating_rating,
        matings=whole.matings,
        unmatings=whole.unmatings,
        retired=whole.retired,
        asset=whole.asset,
        zone=whole.zone,
        position=whole.position,
        ratings=tuple(_ratings(source.definitions)),
        lives=tuple(_lives(known, history, numbers, figures)),
        places=tuple(_places(history, numbers, voided)),
        entries=tuple(_entries(source, voided)),
        discrepancies=tuple(_discrepancies(known, history, state, numbers, voided)),
        definitions=len(source.definitions),
        definition_hash=source.definition_hash,
        hash=source.hashes[-1] if source.hashes else source.definition_hash,
        as_of=_utc(newest),
    )


def _utc(at: datetime) -> datetime:
    return at.astimezone(UTC)


def _uii(known: Definition) -> str | None:
    if known.cage is None:
        return None
    if known.part_number is None:
        return identity.construct_1(known.cage, known.serial)
    return identity.construct_2(known.cage, known.part_number, known.serial)


def _voided(history: Sequence[Recorded], numbers: dict[UUID, int]) -> dict[UUID, int]:
    """Entries that count as entered in error, each with the number of the first correction that says so."""
    void = references.read(history).void
    found: dict[UUID, int] = {}
    for each in history:
        if each.entry.corrects in void and each.entry.note:
            found.setdefault(each.entry.corrects, numbers[each.entry.id])
    return found


def _ratings(definitions: Sequence[DefinitionBody]) -> Iterable[RatingVersion]:
    """A line where a rating begins to hold; a definition that leaves it as it was is none."""
    before: dict[str, Rating | None] = {}
    for number, body in enumerate(definitions, 1):
        pairs: tuple[tuple[Literal["retainers", "mating"], Rating | None], ...] = (
            ("retainers", body.definition.rating),
            ("mating", body.definition.mating_rating),
        )
        for of, rating in pairs:
            if of not in before or before[of] != rating:
                yield RatingVersion(number, _utc(body.recorded_at), body.recorded_by, body.reason, of, rating)
            before[of] = rating


def _lives(
    known: Definition, history: Sequence[Recorded], numbers: dict[UUID, int], figures: cycles.Limits
) -> Iterable[LifeLine]:
    sizes = {each.id: each.contact_size for each in known.cavities}
    for cavity, lived in fold.lives(known, history).items():
        began: int | None = None
        for each in lived:
            ended = None if each.ended_by is None else numbers[each.ended_by]
            yield _life(each, sizes[cavity], began, ended, figures)
            began = ended


def _life(each: Life, size: str, began: int | None, ended: int | None, figures: cycles.Limits) -> LifeLine:
    state = each.state
    stands = cycles.standing(state.counts, state.occupied, state.known, figures)
    return LifeLine(
        cavity=state.id,
        contact_size=size,
        life=state.life,
        from_entry=began,
        until_entry=ended,
        known=state.known,
        carried_in=state.opening,
        insertions=state.insertions,
        removals=state.removals,
        tine_entries=state.tine_entries,
        begun=stands.begun,
        completed=stands.completed,
        rating=figures.rating,
        left=stands.left,
        wear=stands.wear,
        occupied=state.occupied,
        contact=state.contact,
    )


def _places(history: Sequence[Recorded], numbers: dict[UUID, int], voided: dict[UUID, int]) -> Iterable[PlaceLine]:
    """Placements in the order in which they happened, without those that were recorded in error."""
    placed = [each for each in history if each.entry.kind is Kind.PLACEMENT and each.entry.id not in voided]
    for each in sorted(placed, key=lambda one: (one.ordered_at, numbers[one.entry.id])):
        entry = each.entry
        yield PlaceLine(
            numbers[entry.id],
            _utc(entry.performed_at),
            entry.performed_by,
            entry.asset,
            entry.zone,
            entry.position,
            entry.work_order,
        )


def _entries(source: Source, voided: dict[UUID, int]) -> Iterable[EntryLine]:
    for number, (each, link) in enumerate(zip(source.history, source.hashes, strict=True), 1):
        at = _utc(each.recorded_at)
        yield EntryLine(number, each.entry, at, each.recorded_by, each.noted, link, voided.get(each.entry.id))


_Raised = tuple[UUID, Code, str | None]


def _raised(state: ConnectorState) -> set[_Raised]:
    found: set[_Raised] = {(each.entry, each.code, None) for each in state.whole.discrepancies}
    return found | {(each.entry, each.code, part.id) for part in state.cavities for each in part.discrepancies}


def _discrepancies(
    known: Definition,
    history: Sequence[Recorded],
    state: ConnectorState,
    numbers: dict[UUID, int],
    voided: dict[UUID, int],
) -> Iterable[DiscrepancyLine]:
    """Every discrepancy that was ever open: with resolutions left out of the history, and with corrections left out, too."""
    unresolved = [each for each in history if each.entry.kind is not Kind.RESOLUTION]
    uncorrected = [each for each in unresolved if each.entry.kind is not Kind.CORRECTION]
    open_now = _raised(state)
    every = open_now | _raised(fold.fold(known, unresolved)) | _raised(fold.fold(known, uncorrected))
    resolutions = [
        each.entry
        for each in history
        if each.entry.kind is Kind.RESOLUTION and each.entry.note and each.entry.id not in voided
    ]
    for raised in sorted(every, key=lambda one: (numbers[one[0]], one[1].value, one[2] or "")):
        yield _line(raised, history, numbers, voided, resolutions, is_open=raised in open_now)


def _line(
    raised: _Raised,
    history: Sequence[Recorded],
    numbers: dict[UUID, int],
    voided: dict[UUID, int],
    resolutions: Sequence[Entry],
    *,
    is_open: bool,
) -> DiscrepancyLine:
    about, code, cavity = raised
    outcome: Outcome = "open"
    settling: Entry | None = None
    if not is_open:
        fitting = (each for each in resolutions if each.refers_to == about and each.code in (None, code.value))
        settling = next(fitting, None)
        outcome = "settled" if settling is None else "resolved"
        if settling is None and about in voided:
            settling, outcome = history[voided[about] - 1].entry, "corrected"
    return DiscrepancyLine(
        entry=numbers[about],
        code=code.value,
        text=SENTENCES[code],
        cavity=cavity,
        outcome=outcome,
        by_entry=None if settling is None else numbers[settling.id],
        by=None if settling is None else settling.performed_by,
        reason=None if settling is None else settling.note,
    )
