"""What a part number says, drawn: the insert, the keying, the contacts with their bands, and the tools."""

from service import part_number_messages as messages
from service.core.drawings import contact as contact_drawing
from service.core.drawings import insert, keying
from service.core.drawings.places import Place
from service.core.markup import EMPTY, Markup, element, joined, text
from service.core.part_numbers import Band, Sex
from service.core.tooling import Face
from service.pages import sheet
from service.pages.sheet import code, how, paragraph
from service.workflow.arrangements import Drawing

_DENSE = 100
"""Beyond so many cavities the ids would be too small on a phone: the drawing keeps its width and scrolls."""


def shown(view: messages.ConnectorKindView, face: Face, drawing: Drawing | None = None) -> Markup:
    """A connector: insert, keying, contacts and tools. The insert stands at its true places where `drawing` has them."""
    return joined(
        element("p", text(view.title)) if view.title else EMPTY,
        element(
            "div", _insert(view, face, drawing), element("section", _keying(view), _positions(view)), class_="pair"
        ),
        _contacts(view),
        tools("Tools for its contact sizes", view.tools) if view.tools else EMPTY,
    )


def _insert(view: messages.ConnectorKindView, face: Face, drawing: Drawing | None) -> Markup:
    arrangement = view.arrangement
    if not arrangement.known:
        known = ", ".join(arrangement.inserts) or "none"
        words = f"Arrangement {arrangement.name} is on no list known here, so there is nothing to draw. "
        return element(
            "section",
            element("h2", text("Insert")),
            paragraph(text(words), text(f"Shell {view.shell} of this family has: {known}.")),
        )
    cavities, places = _cavities(arrangement), None
    if drawing is not None:
        cavities, places = _placed(arrangement, drawing)
    dense = len(cavities) > _DENSE and all(each.id for each in cavities)
    drawn = insert.drawing(arrangement.name, cavities, _sex(view.sex), face, places, dense=dense)
    known = EMPTY if drawing is None else paragraph(text("Places: "), how("imported", drawing.source))
    return element(
        "section",
        element("h2", text(f"Insert {arrangement.name}")),
        element(
            "figure", element("div", drawn, class_="wide", tabindex="0", role="group", aria_label="Insert drawing")
        ),
        known,
        _sizes(arrangement),
    )


def _cavities(arrangement: messages.ArrangementView) -> list[insert.Cavity]:
    if arrangement.cavities is not None:
        return [insert.Cavity(each.id, each.contact_size) for each in arrangement.cavities]
    return [insert.Cavity(None, each.contact_size) for each in arrangement.contacts for _ in range(each.count)]


def _placed(arrangement: messages.ArrangementView, drawing: Drawing) -> tuple[list[insert.Cavity], list[Place]]:
    """Cavities and their places, in the order of the insert where it is known.

    Of cavities that nobody lists, the size is known where all have the same.
    """
    points = {each.cavity: (each.x_mm, each.y_mm) for each in drawing.points}
    listed = [insert.Cavity(each.id, each.contact_size) for each in arrangement.cavities or ()]
    if not listed:
        size = arrangement.contacts[0].contact_size if len(arrangement.contacts) == 1 else "not known"
        listed = [insert.Cavity(each, size) for each in points]
    return listed, [points[each.id or ""] for each in listed]


def _sizes(arrangement: messages.ArrangementView) -> Markup:
    """The same as the drawing, in words: every cavity by size, in the order of the insert."""
    rows = [
        (code(each.contact_size), text(each.count), _ids(arrangement, each.contact_size))
        for each in arrangement.contacts
    ]
    known = how(str(arrangement.status), str(arrangement.source))
    ids = EMPTY if arrangement.cavities_status is None else text(f". Cavity ids: {arrangement.cavities_status}.")
    return joined(
        sheet.table(f"{arrangement.total} cavities", ("Contact size", "Count", "Cavities"), rows),
        paragraph(known, ids),
        paragraph(text(f"Spare contacts to provide: {arrangement.spare_contacts} "), how("read", "AC 43.13-1B 11-234")),
    )


def _ids(arrangement: messages.ArrangementView, size: str) -> Markup:
    if arrangement.cavities is None:
        return text("ids not known here")
    return text(" ".join(each.id for each in arrangement.cavities if each.contact_size == size))


def _keying(view: messages.ConnectorKindView) -> Markup:
    if view.keying is None:
        return EMPTY
    drawn = keying.drawing(view.position, view.shell, view.keying.angles_deg, plug=view.shell_half == "plug")
    pairs = zip(keying.NAMES, view.keying.angles_deg, strict=True)
    listed = ", ".join(f"{name} {angle}°" for name, angle in pairs)
    return joined(
        element("h2", text(f"Keying {view.position}")),
        element("figure", drawn, element("figcaption", text(f"From the main key: {listed}. {keying.SENSE}"))),
        paragraph(how(view.keying.status, view.keying.source)),
    )


def _positions(view: messages.ConnectorKindView) -> Markup:
    whose = {"arrangement": "This arrangement", "form": "This form of number"}[view.positions.of]
    allowed = ", ".join("normal" if each == "N" else each for each in view.positions.allowed)
    own = "normal" if view.position == "N" else view.position
    return joined(
        element("h2", text("Positions")),
        paragraph(text(f"{whose} has {allowed}. This one: "), element("b", text(own)), text(".")),
    )


def _contacts(view: messages.ConnectorKindView) -> Markup:
    if view.removable is False:
        return joined(element("h2", text("Contacts")), paragraph(text("They have no retainer: they can't be removed.")))
    if not view.contacts:
        return EMPTY
    drawn = (contact(each) for each in view.contacts)
    return joined(element("h2", text("Contacts that fit")), element("div", *drawn, class_="contacts"))


def contact(view: messages.ContactView) -> Markup:
    """A contact with its bands, drawn and in words."""
    bands = [Band(each.digit, each.colour) for each in view.bands]
    size = f"size {view.mating_size}, " if view.mating_size else ""
    wire = f"wire AWG {view.wire_awg}, " if view.wire_awg else ""
    doubt = f" Doubt: {view.doubt}." if view.doubt else ""
    return element(
        "figure",
        contact_drawing.drawing(view.part_number, bands, _sex(view.sex)),
        element(
            "figcaption",
            code(view.part_number),
            text(f" {view.sex or 'pin or socket not known'}, {size}{wire}{view.serves}. "),
            text(f"Bands {view.reading_order}: {', '.join(each.colour for each in bands)}.{doubt} "),
            how(view.status, view.source),
        ),
    )


def tools(title: str, uses: tuple[messages.ToolUseView, ...], *, families: bool = False) -> Markup:
    """Which tool serves which half of the job for which size, with which end, and in which families."""
    rows = [(code(each.part_number), _use(each, families=families)) for each in uses]
    return joined(element("h2", text(title)), sheet.table("One row for each use", ("Tool", "Does"), rows))


def _use(each: messages.ToolUseView, *, families: bool) -> Markup:
    serves = f" of {', '.join(each.families)}" if families else ""
    does = element("b", text(f"{each.half}s size {each.contact_size}"))
    return joined(does, text(f"{serves}: {each.end}. "), how(each.status, each.source))


def _sex(stated: str | None) -> Sex | None:
    return Sex(stated) if stated else None
