"""The log card as a document: the whole life of a connector on paper or on a page."""

from collections.abc import Iterable
from datetime import UTC, datetime
from uuid import UUID

from service.core import chain
from service.core.entries import Entry, Rating
from service.core.transfers.card import Card, DiscrepancyLine, EntryLine, LifeLine, PlaceLine, RatingVersion
from service.records.blocks import Block, Column, Heading, Note, Pairs, Paper, Table

_WEARS = {
    "within": "within its rating",
    "nearing": "nearing its rating",
    "spent": "spent: no more contact goes in before its retainer is renewed",
    "over": "over its rating",
    "unknown": "not known",
}
_IDS = {
    "given": "given when it was registered",
    "published": "from a published list",
    "derived": "derived from a twin's published list",
    "assumed": "ASSUMED when it was registered",
}
_OUTCOMES = {
    "open": "OPEN",
    "resolved": "Resolved",
    "corrected": "Entered in error",
    "settled": "Settled by other entries",
}
_ENTRIES = (
    Column("No.", 0.5, True),
    Column("Performed (UTC)", 1.3),
    Column("By", 1.1),
    Column("What", 1.5),
    Column("Details", 3.9),
    Column("Work order", 1.3),
    Column("Recorded (UTC), by", 2.0),
    Column("Hash", 1.1),
)
_LIVES = (
    Column("Cavity", 0.7),
    Column("Size", 0.6),
    Column("Life", 0.5, True),
    Column("From", 1.0),
    Column("Until", 1.0),
    Column("Insertions", 0.9, True),
    Column("Removals", 0.9, True),
    Column("Tool alone", 0.9, True),
    Column("Carried in", 1.2),
    Column("Cycles begun", 1.0, True),
    Column("Completed", 0.9, True),
    Column("Left", 0.6, True),
    Column("Wear", 1.0),
    Column("Contact", 1.5),
)


def sha256(card: Card) -> str:
    """The hash of what the card states: of its RFC 8785 form."""
    return chain.digest(chain.canonical(card)).hex()


def paper(card: Card) -> Paper:
    """The card as blocks."""
    return Paper(
        title="Log card of a connector",
        number=f"S/N {card.serial}" + (f" · P/N {card.part_number}" if card.part_number else ""),
        subtitle=f"As recorded until {_at(card.as_of)}. All times are in UTC.",
        sha256=sha256(card),
        dated=card.as_of,
        landscape=True,
        blocks=(
            *_identity(card),
            *_status(card),
            *_ratings(card),
            *_lives(card),
            *_places(card),
            *_entries(card),
            *_discrepancies(card),
            *_proof(card),
        ),
    )


def _at(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"


def _brief(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M}"


def _identity(card: Card) -> tuple[Block, ...]:
    told = (
        ("Serial", card.serial),
        ("Part number", card.part_number or "-"),
        ("CAGE code", card.cage or "-"),
        ("Family", card.family or "-"),
        ("UII", card.uii or "none that its elements make up"),
        ("Connector's id", str(card.connector)),
        ("On the books since", f"{_at(card.registered_at)}, by {card.registered_by}"),
        ("History before that", "none: it was new" if card.history == "new" else "NOT KNOWN"),
        ("Cavity ids", _IDS.get(card.cavity_ids, card.cavity_ids)),
        ("Found by", ", ".join(card.marks)),
    )
    return Heading("Identity and marks"), Pairs(told)


def _status(card: Card) -> tuple[Block, ...]:
    left = "" if card.left is None else f"; insertions left: {card.left}"
    of = "" if card.rating is None else f" of {card.rating.value}"
    limiting = "-" if card.limiting_cavity is None else f"{card.limiting_cavity}; cycles begun: {card.begun}{of}{left}"
    place = ", ".join(each for each in (card.asset, card.zone, card.position) if each) or "not recorded"
    allowed = "no rating" if card.mating_rating is None else f"rated {card.mating_rating.value}"
    told = [
        ("Wear", _WEARS[card.wear]),
        ("Limiting cavity", limiting),
        ("Limit", "no rating is recorded" if card.rating is None else _provenance(card.rating)),
        ("Mating cycles", f"{max(card.matings, card.unmatings)} ({allowed})"),
        ("Last placed", place),
        ("Retired", "yes" if card.retired else "no"),
    ]
    return Heading("Status"), Pairs(tuple(told))


def _provenance(rating: Rating) -> str:
    source = " ".join(
        each
        for each in (
            rating.document,
            f"rev. {rating.revision}" if rating.revision else "",
            f"para. {rating.paragraph}" if rating.paragraph else "",
        )
        if each
    )
    verified = f"verified by {rating.verified_by} on {rating.verified_on}" if rating.verified else "NOT VERIFIED"
    first = "" if rating.first_insertion_counts else "; the first insertion is not counted"
    return f"{rating.value} cycles, {rating.basis}; {source or 'no document stated'}; {verified}{first}"


def _ratings(card: Card) -> tuple[Block, ...]:
    columns = (
        Column("Of", 1),
        Column("Rating and where it comes from", 5),
        Column("Since (UTC)", 1.2),
        Column("By", 1.2),
        Column("Why", 3),
    )
    return Heading("Ratings"), Table(columns, tuple(_rating(each) for each in card.ratings), "None was ever stated.")


def _rating(each: RatingVersion) -> tuple[str, ...]:
    told = "none" if each.rating is None else _provenance(each.rating)
    return each.of, told, _brief(each.recorded_at), each.recorded_by, each.reason


def _lives(card: Card) -> tuple[Block, ...]:
    # Of a connector with a hundred cavities most were never touched: one line says so of all of them.
    shown = [each for each in card.lives if _was_used(each)]
    still = [each.cavity for each in card.lives if not _was_used(each)]
    rest = (Note(f"Never worked on, nothing carried in: {' '.join(still)}"),) if still else ()
    table = Table(_LIVES, tuple(_life(each) for each in shown), "No cavity was ever worked on.")
    caption = Note(
        "Counts belong to a retainer life: a renewed retainer begins anew. From and until are numbers of entries below."
    )
    return Heading("Retainer lives"), caption, table, *rest


def _was_used(each: LifeLine) -> bool:
    counted = each.insertions or each.removals or each.tine_entries or any(each.carried_in)
    return bool(counted or each.life > 1 or each.until_entry is not None)


def _life(each: LifeLine) -> tuple[str, ...]:
    inside = {True: each.contact or "in", False: "empty", None: "not known"}[each.occupied]
    carried = "/".join(str(one) for one in each.carried_in) if any(each.carried_in) else "-"
    ended = each.until_entry is not None
    return (
        each.cavity,
        each.contact_size,
        str(each.life),
        "beginning" if each.from_entry is None else f"No. {each.from_entry}",
        f"No. {each.until_entry}" if ended else "goes on",
        str(each.insertions),
        str(each.removals),
        str(each.tine_entries),
        carried,
        str(each.begun) if each.known else f"{each.begun} or more",
        str(each.completed),
        "-" if ended or each.left is None else str(each.left),
        "-" if ended else str(each.wear.value),
        "-" if ended else inside,
    )


def _places(card: Card) -> tuple[Block, ...]:
    columns = (
        Column("No.", 0.5, True),
        Column("When (UTC)", 1.3),
        Column("By", 1.2),
        Column("Asset", 1.5),
        Column("Zone", 1.2),
        Column("Position", 1.5),
        Column("Work order", 1.5),
    )
    rows = tuple(_place(each) for each in card.places)
    return Heading("Placements"), Table(columns, rows, "No placement is recorded.")


def _place(each: PlaceLine) -> tuple[str, ...]:
    where = (each.asset or "-", each.zone or "-", each.position or "-")
    return str(each.entry), _brief(each.performed_at), each.performed_by, *where, each.work_order or "-"


def _entries(card: Card) -> tuple[Block, ...]:
    numbers = {each.entry.id: each.number for each in card.entries}
    rows = tuple(_entry(each, numbers) for each in card.entries)
    return Heading("Every entry, in the order of recording"), Table(_ENTRIES, rows, "Nothing is recorded.")


def _entry(each: EntryLine, numbers: dict[UUID, int]) -> tuple[str, ...]:
    entry = each.entry
    cavity = entry.cavity or " ".join(entry.cavities)
    error = "" if each.corrected_by is None else f"ENTERED IN ERROR, see No. {each.corrected_by}. "
    return (
        str(each.number),
        _brief(entry.performed_at.astimezone(UTC)),
        entry.performed_by,
        entry.kind.value.replace("_", " ") + (f", cavity {cavity}" if cavity else ""),
        error + "; ".join(_details(entry, numbers)),
        entry.work_order or "-",
        f"{_brief(each.recorded_at)}, {each.recorded_by}",
        each.hash[:12],
    )


def _details(entry: Entry, numbers: dict[UUID, int]) -> Iterable[str]:
    """What an entry states beside who, when and where; in words, each only where it is stated."""
    stated = (
        ("tool", entry.tool),
        ("contact", entry.contact),
        ("bench", entry.bench),
        ("asset", entry.asset),
        ("zone", entry.zone),
        ("position", entry.position),
        ("insertions", entry.insertions),
        ("removals", entry.removals),
        ("tool alone", entry.tine_entries),
        ("source", entry.source),
        ("discrepancy", entry.code),
    )
    yield from (f"{name} {value}" for name, value in stated if value is not None)
    if entry.force_n is not None:
        yield f"force {entry.force_n:g} N"
    words = (
        (entry.held, "held", "did NOT hold"),
        (entry.level, "stands level", "does NOT stand level"),
        (entry.tool_looked_at, "tool tip looked at", "tool tip not looked at"),
        (entry.accepted, "accepted", "REFUSED"),
        (entry.blocks, "blocks the cavity", "does not block"),
        (entry.occupied, "with a contact in", "empty"),
    )
    yield from ((yes if said else no) for said, yes, no in words if said is not None)
    for name, other in (("corrects", entry.corrects), ("about", entry.refers_to)):
        if other is not None:
            yield f"{name} No. {numbers[other]}" if other in numbers else f"{name} {other}, which is not in this ledger"
    if entry.note is not None:
        yield entry.note


def _discrepancies(card: Card) -> tuple[Block, ...]:
    columns = (
        Column("Entry", 0.6, True),
        Column("Cavity", 0.7),
        Column("What ought not to have been possible", 4),
        Column("What became of it", 5),
    )
    rows = tuple(_discrepancy(each) for each in card.discrepancies)
    opened = sum(each.outcome == "open" for each in card.discrepancies)
    note = (
        (Note(f"OPEN: {opened}. Nobody has resolved {'it' if opened == 1 else 'them'}.", strong=True),)
        if opened
        else ()
    )
    return Heading("Corrections and discrepancies"), *note, Table(columns, rows, "None was ever noticed.")


def _discrepancy(each: DiscrepancyLine) -> tuple[str, ...]:
    by = "" if each.by_entry is None else f" by {each.by}, No. {each.by_entry}: {each.reason or ''}"
    return str(each.entry), each.cavity or "-", each.text, f"{_OUTCOMES[each.outcome]}{by}"


def _proof(card: Card) -> tuple[Block, ...]:
    told = (
        ("Entries", str(len(card.entries))),
        ("Definitions", str(card.definitions)),
        ("Head of the chain", card.hash),
        ("Last definition", card.definition_hash),
    )
    words = "Each hash covers the entry and the hash before it, so a change anywhere changes the head. In the table: its beginning."
    return Heading("Chain"), Pairs(told, columns=1), Note(words)
