"""The command `tinebook part-number`: what is known of a number, as a table or as JSON. It needs no database."""

import sys
from collections.abc import Iterator

import click

from service import catalog
from service import part_number_messages as messages
from service.messages import to_json
from service.workflow import identifying

FINE, WRONG = 0, 1


@click.command("part-number")
@click.argument("number")
@click.option("--json", "as_json", is_flag=True, help="Everything as one JSON object, as the API gives it.")
def command(number: str, as_json: bool) -> None:
    """What the part NUMBER of a connector, a contact or a tool means, field by field, and how each thing is known.

    Exit status 1 if something is wrong with the number; then its wrong character is pointed at.
    """
    view = identifying.identify(catalog.load(), number if as_json else number.strip())
    if as_json:
        click.echo(to_json(view).decode())
    else:
        click.echo("\n".join(lines(view)))
    sys.exit(WRONG if view.fault else FINE)


def lines(view: messages.PartNumberView) -> Iterator[str]:
    """The number as text for a terminal."""
    yield view.number
    if view.fault is not None:
        yield f"{' ' * view.fault.at}^ character {view.fault.at + 1}: {view.fault.text}"
    yield f"syntax {view.syntax}{_listed(view)}"
    if view.canonical not in (None, view.number):
        yield f"in its one spelling: {view.canonical}"
    yield from _table([(each.name, each.code, each.meaning, f"[{each.status}]") for each in view.fields])
    if view.connector is not None:
        yield from _connector(view.connector)
    if view.contact is not None:
        yield from ("", _contact(view.contact))
    if view.tools:
        yield from ("", "does:", *_tools(view.tools, families=True))
    if view.doubts:
        yield from ("", "doubts:", *(f"  {each}" for each in view.doubts))
    yield from ("", view.notice)


def _listed(view: messages.PartNumberView) -> str:
    if view.kind is None:
        return ""
    named = "arrangement" if view.kind == "connector" else view.kind
    return f", {named} {'on the list' if view.known else 'on no list that is known here'}"


def _connector(view: messages.ConnectorKindView) -> Iterator[str]:
    arrangement = view.arrangement
    yield ""
    if arrangement.known:
        sizes = " + ".join(f"{each.count} x {each.contact_size}" for each in arrangement.contacts)
        yield f"arrangement {arrangement.name}: {arrangement.total} cavities, {sizes} [{arrangement.status}]"
    else:
        yield f"arrangement {arrangement.name}: not known; this shell has {', '.join(arrangement.inserts) or 'none'}"
    if arrangement.cavities is not None:
        ids = " ".join(each.id for each in arrangement.cavities)
        yield f"cavities: {ids} [{arrangement.cavities_status}]"
    yield f"position {view.position}; allowed by the {view.positions.of}: {', '.join(view.positions.allowed)}"
    if view.keying is not None:
        angles = ", ".join(f"{angle}°" for angle in view.keying.angles_deg)
        yield f"keys at {angles} from the main key [{view.keying.status}]"
    if view.contacts:
        yield from ("", "contacts:", *(f"  {_contact(each)}" for each in view.contacts))
    if view.tools:
        yield from ("", "tools:", *_tools(view.tools, families=False))


def _contact(view: messages.ContactView) -> str:
    bands = "/".join(each.colour for each in view.bands)
    size = f"size {view.mating_size}" if view.mating_size else "size not known"
    wire = f", AWG {view.wire_awg}" if view.wire_awg else ""
    held = view.sex or "pin or socket not known"
    return f"{view.part_number}  {held}, {size}{wire}, bands {bands} ({view.reading_order}) [{view.status}]"


def _tools(uses: tuple[messages.ToolUseView, ...], *, families: bool) -> Iterator[str]:
    for each in uses:
        served = f" of {', '.join(each.families)}" if families else ""
        yield f"  {each.part_number}  {each.half}s size {each.contact_size}{served}: {each.end} [{each.status}]"


def _table(rows: list[tuple[str, ...]]) -> Iterator[str]:
    widths = [max((len(cell) for cell in column), default=0) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
