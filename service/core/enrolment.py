"""What a connector is registered as when its mark is scanned instead of typed."""

from msgspec import Struct

from service.core import identity, marks
from service.core.marks import Mark, Meaning


class Named(Struct, frozen=True):
    """What a mark says a connector is: such that the mark finds it again once it is registered so."""

    serial: str
    cage: str | None = None
    part_number: str | None = None


class Unfit(Struct, frozen=True):
    """Why no connector can be registered by a mark, in a sentence that says what to do."""

    text: str


_OTHERS = {
    Meaning.BADGE: "a badge",
    Meaning.TOOL: "a tool",
    Meaning.WORK_ORDER: "a work order",
    Meaning.CAVITY: "a cavity",
    Meaning.BENCH: "a bench",
}


def named(mark: Mark) -> Named | Unfit:
    """The serial, CAGE code and part number that a mark gives.

    Where the mark's elements would not lead back to the connector (a DUNS number for the maker, a lot in the identity), the
    whole identity is the serial. A part number that the item only goes by now stands in for one that the mark does not give.
    """
    if mark.faults:
        return Unfit(f"this mark gives no identity: {mark.faults[0].text}")
    if mark.meaning in _OTHERS:
        return Unfit(f"this mark names {_OTHERS[mark.meaning]}, not a connector: scan the connector's own mark")
    if mark.meaning is Meaning.CONNECTOR_ID:
        return Unfit("this mark is the id of a connector here, not its serial: scan the connector's own mark")
    if mark.identity is None:
        return Unfit("this mark names a kind of item, not one item: scan the mark with the serial")
    part_number = mark.part_number or mark.current_part_number
    cage = mark.cage if mark.cage is not None and identity.is_cage(mark.cage) else None
    if mark.serial is not None:
        found = Named(mark.serial, cage, part_number)
        if finds(mark, found):
            return found
    return Named(mark.identity, cage, part_number)


def finds(mark: Mark, found: Named) -> bool:
    """Whether a connector registered so is found by the mark."""
    keys = marks.keys(found.serial, found.cage, found.part_number)
    return bool(set(keys) & set(marks.look_up_keys(mark))) and not marks.contradicts(
        mark, found.serial, found.cage, found.part_number
    )
