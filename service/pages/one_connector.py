"""One connector: its insert with the wear of each cavity, its rating, what is open, its forecast and its history."""

from uuid import UUID

from msgspec import Struct

from service import messages, problems, views
from service.api import reading
from service.api.services import Services
from service.core.cycles import Wear
from service.core.drawings import signs, worn
from service.core.entries import CavityId
from service.core.markup import EMPTY, Markup, element, joined, text
from service.core.tooling import Face
from service.pages import addresses, asking, forecast, layout, papers, sentences, tables, timeline, wording
from service.pages.door import Asked, Visitor
from service.pages.layout import Sheet, link
from service.pages.sheet import code
from service.pages.tables import Column
from service.store.ledger import Head
from service.workflow import connectors, history

_ENTRIES = 150
_COLUMNS = (
    Column("Cavity"),
    Column("Wear"),
    Column("Cycles begun", number=True),
    Column("Completed", number=True),
    Column("Left", number=True),
    Column("Contact"),
    Column("Size"),
    Column("Retainer life", number=True),
    Column("Open"),
)


class Asking(Struct, frozen=True, forbid_unknown_fields=True):
    """Which cavity's history is wanted, and from where back."""

    cavity: CavityId | None = None
    cursor: str | None = None


async def page(request: Asked, visitor: Visitor) -> Sheet:
    """The page of one connector."""
    del visitor
    services: Services = request.app.state.services
    asked = asking.read(request, Asking)
    head = await services.reader.one(_id(request.path_params["connector"]))
    view = views.connector(head.definition, head.state, services.house, head.entries, head.hash.hex())
    if asked.cavity is not None and asked.cavity not in {each.id for each in view.cavities}:
        text_ = f"{view.serial} has no cavity {asked.cavity!r}; ids are case-sensitive"
        raise problems.raised(problems.Type.UNKNOWN_CAVITY, text_)
    drawn = await _drawn(services, head, view, asked.cavity)
    async with services.pool.acquire() as connection:
        told, following = await history.back(
            connection, head, asked.cavity, reading.cursor(asked.cursor, history.Cursor), _ENTRIES
        )
        foreseen = await forecast.of_connector(connection, services, head.connector)
        owners = await papers.whereabouts(connection, head)
    content = (
        *_opening(view, gone=head.handed_over),
        papers.links(head.connector),
        owners,
        element("div", drawn, element("div", _rating(view), foreseen), class_="beside"),
        *_cavities(view),
        _open(view),
        *_history(view, asked, told, reading.encode_cursor(following)),
    )
    return Sheet(title=f"Connector {view.serial}", content=content, path=addresses.CONNECTORS)


def _id(written: str) -> UUID:
    try:
        return UUID(written)
    except ValueError as error:
        raise connectors.unknown(written) from error


def _opening(view: messages.ConnectorView, *, gone: bool) -> tuple[Markup, ...]:
    flags = [
        (gone, "handed over"),
        (view.retired, "retired"),
        (view.history == "unknown", "history not known"),
        (view.cavity_ids == "assumed", "cavity ids assumed"),
    ]
    number = view.part_number
    return (
        layout.heading(
            f"Connector {view.serial}",
            signs.named(view.wear),
            *(element("span", text(words), class_="flag") for said, words in flags if said),
        ),
        layout.pairs(
            ("Limiting cavity", _limiting(view)),
            ("Place", wording.place(view.place)),
            (
                "Part number",
                text("-") if number is None else link(number, addresses.page("/part-numbers", number=number)),
            ),
            ("Family", text(view.family or "-")),
            ("CAGE", text(view.cage or "-")),
            ("Entries", link(f"{view.entries:,}", "#history")),
        ),
    )


def _limiting(view: messages.ConnectorView) -> Markup:
    found = next((each for each in view.cavities if each.id == view.limiting_cavity), None)
    if found is None:
        return text("-")
    rating = found.rating
    stands = wording.of_rating(
        found.cycles_begun, rating.value if rating else None, verified=rating is not None and rating.verified
    )
    left = "" if found.left is None else f", {wording.counted(found.left, 'insertion') if found.left else 'none'} left"
    return joined(code(found.id), text(": "), stands, text(left))


async def _drawn(services: Services, head: Head, view: messages.ConnectorView, marked: str | None) -> Markup:
    known, reference = head.definition, services.reference
    ids = [each.id for each in known.cavities]
    places = await reference.layouts.drawn(services.pool, reference.arrangement(known), ids)
    sex = reference.sex(known)
    cavities = [drawn_cavity(each) for each in view.cavities]
    told = () if marked is None else (marked,)
    faces = (
        element(
            "figure",
            worn.drawing(cavities, places.layout, sex, face, f"Insert of {view.serial}", marked=told),
            element("figcaption", text(words)),
        )
        for face, words in ((Face.WIRE_SIDE, "Wire side (rear)"), (Face.MATING_FACE, "Mating face (front)"))
    )
    held = "pins or sockets not known" if sex is None else f"of a {sex} insert"
    true = f"True places: {places.source}" if places.source else "SCHEMATIC: not the true places"
    return element(
        "section",
        element("h2", text("Insert")),
        signs.patterns(),
        element("div", *faces, class_="drawn"),
        layout.note(text(f"{true}; {held}. In a cavity: its id, and cycles begun against the rating.")),
        worn.key(),
    )


def drawn_cavity(each: messages.CavityView) -> worn.Cavity:
    """A cavity as a drawing takes it."""
    return worn.Cavity(
        each.id,
        each.contact_size,
        each.wear,
        each.cycles_begun,
        each.rating.value if each.rating else None,
        each.occupied,
        each.blocked,
    )


def _rating(view: messages.ConnectorView) -> Markup:
    mating, allowed = view.mating, view.mating.rating
    mated = {True: "mated", False: "not mated", None: "not known whether mated"}[mating.mated]
    count = wording.counted(mating.matings, "mating")
    against = f"{count} of {allowed.value} allowed" if allowed else f"{count}, no rating"
    return element(
        "section",
        element("h2", text("Rating of the retainers")),
        wording.provenance(view.rating),
        element("h2", text("Mating cycles")),
        element(
            "p", text(f"{against}; {mated}. "), wording.unverified() if allowed and not allowed.verified else EMPTY
        ),
    )


def _cavities(view: messages.ConnectorView) -> tuple[Markup, ...]:
    """Those that ask for attention at once, all of them on demand."""
    order = {wear: at for at, wear in enumerate(signs.WORST_FIRST)}
    pressing = sorted(
        (each for each in view.cavities if each.wear is not Wear.WITHIN or each.discrepancies or each.blocked),
        key=lambda each: (order[each.wear], -each.cycles_begun),
    )
    every = tables.listed(f"All {len(view.cavities)} cavities", _COLUMNS, [_row(view, each) for each in view.cavities])
    if not pressing:
        told = layout.nothing("Every cavity is within its rating, and nothing is open at any.")
    else:
        told = tables.listed(
            "Not within their rating, or something is open there", _COLUMNS, [_row(view, each) for each in pressing]
        )
    return (
        element("h2", text("Cavities"), id="cavities"),
        told,
        element("details", element("summary", text(f"All {len(view.cavities)} cavities")), every),
    )


def _row(view: messages.ConnectorView, each: messages.CavityView) -> tuple[Markup, ...]:
    rating = each.rating
    held = {True: "in", False: "empty", None: "not known"}[each.occupied]
    failed = ", did NOT hold" if each.held is False else ""
    blocked = [element("span", text("blocked"), class_="flag grave")] if each.blocked else []
    codes = [text(sentences.code_words(code_)) for code_ in each.discrepancies]
    return (
        element("a", code(each.id), href=addresses.connector(view.id, "history", cavity=each.id)),
        signs.named(each.wear),
        wording.of_rating(
            each.cycles_begun, rating.value if rating else None, verified=rating is None or rating.verified
        ),
        text(each.cycles_completed),
        wording.left(each.left),
        text(f"{held}{failed}"),
        text(each.contact_size),
        text(each.life),
        layout.lines(*blocked, *codes) if blocked or codes else text("-"),
    )


def _open(view: messages.ConnectorView) -> Markup:
    if not view.discrepancies:
        return EMPTY
    items = (
        joined(
            element("b", text(sentences.code_words(each.code))),
            text(f", cavity {each.cavity}: " if each.cavity else ": "),
            text(f"{each.text} "),
            link("The entry", f"#{timeline.entry_id(each.entry)}"),
        )
        for each in view.discrepancies
    )
    where = addresses.page(addresses.DISCREPANCIES, connector=str(view.id))
    return element(
        "section",
        element("h2", text(f"Open discrepancies ({len(view.discrepancies)})"), id="open"),
        layout.lines(*items),
        element("p", link("Resolve them", where)),
    )


def _history(
    view: messages.ConnectorView, asked: Asking, told: history.Page, following: str | None
) -> tuple[Markup, ...]:
    title = "History" if asked.cavity is None else f"History of cavity {asked.cavity}"
    all_ = addresses.connector(view.id, "history")
    older = (
        None if following is None else addresses.connector(view.id, "history", cavity=asked.cavity, cursor=following)
    )
    ways = (
        element("p", link("History of every cavity", all_)) if asked.cavity is not None else EMPTY,
        timeline.shown(told) if told.lines else layout.nothing("Nothing is recorded."),
        element(
            "nav",
            link("Newest", addresses.connector(view.id, "history", cavity=asked.cavity)) if asked.cursor else EMPTY,
            link("Older", older) if older else EMPTY,
            class_="pager",
            aria_label="Pages of the history",
        )
        if older or asked.cursor
        else EMPTY,
    )
    return (element("h2", text(title), id="history"), layout.note(text("Times are UTC, the newest first.")), *ways)
