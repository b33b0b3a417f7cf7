"""What is noted about an entry at the moment it is recorded: clocks, people and tools. Kept with the entry for good."""

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from datetime import date, datetime, timedelta

from msgspec import Struct

from service.core import answers, contacts, tooling
from service.core.answers import Action, ToolFit
from service.core.contacts import ContactFit, Contacts
from service.core.discrepancies import Code
from service.core.entries import Definition, Entry, Kind

# House figures, not from a standard: bench clocks that keep time agree within seconds; an offline bench sends days late.
AHEAD = timedelta(minutes=5)
OFF = timedelta(minutes=2)
BEHIND = timedelta(days=5 * 365)

_ACTIONS = {Kind.INSERTION: Action.INSERT, Kind.REMOVAL: Action.REMOVE, Kind.TINE_ENTRY: Action.REMOVE}


class Lists(Struct, frozen=True):
    """The shop's own lists: badges, and tools with their part numbers. An empty list is one that the shop does not keep.

    `due`: the last day of a tool's check, for those tools of which the shop says one.
    """

    people: AbstractSet[str] = frozenset()
    tools: Mapping[str, str] = {}
    due: Mapping[str, date] = {}


def clocks(entry: Entry, recorded_at: datetime, sent_at: datetime | None) -> tuple[str, ...]:
    """What the times say: work after its recording, work years before it, a sender whose clock is off."""
    found = []
    if ahead(entry, recorded_at):
        found.append(Code.CLOCK_AHEAD)
    if entry.performed_at < recorded_at - BEHIND:
        found.append(Code.CLOCK_BEHIND)
    if sent_at is not None and abs(recorded_at - sent_at) > OFF:
        found.append(Code.CLOCK_OFF)
    return tuple(found)


def ahead(entry: Entry, recorded_at: datetime) -> bool:
    """Whether the work is dated after its recording, by more than clocks differ."""
    return entry.performed_at > recorded_at + AHEAD


def person(entry: Entry, lists: Lists) -> tuple[str, ...]:
    """Whether the performer is unknown."""
    return (Code.UNKNOWN_PERSON,) if lists.people and entry.performed_by not in lists.people else ()


def means(
    entry: Entry, lists: Lists, definition: Definition, tools: tooling.Tooling | None, known: Contacts
) -> tuple[str, ...]:
    """What the tool and the contact are found to be, against the connector that the entry is about."""
    late = (Code.TOOL_OVERDUE,) if overdue(entry.tool, lists, entry.performed_at.date()) else ()
    return (*tool(entry, lists, definition, tools), *late, *contact(entry, definition, known))


def overdue(mark: str | None, lists: Lists, day: date) -> bool:
    """Whether a tool of the list was due for a check before that day, which is the day where the work is done."""
    due = None if mark is None else lists.due.get(mark)
    return due is not None and day > due


def tool(entry: Entry, lists: Lists, definition: Definition, tools: tooling.Tooling | None) -> tuple[str, ...]:
    """Whether the tool is unknown or wrong for the cavity's contact size and this half of the job."""
    action = _ACTIONS.get(entry.kind)
    if entry.tool is None or action is None or (tools is None and not lists.tools):
        return ()
    size = _size(entry, definition)
    if size is None:
        return ()
    match fit(entry.tool, lists, tools, size, action):
        case ToolFit.WRONG:
            return (Code.WRONG_TOOL,)
        case ToolFit.UNKNOWN:
            return (Code.UNKNOWN_TOOL,)
        case _:
            return ()


def contact(entry: Entry, definition: Definition, known: Contacts) -> tuple[str, ...]:
    """Whether the contact that went in was for another size or the other half. What can't be judged is not noted."""
    if entry.kind is not Kind.INSERTION or entry.contact is None:
        return ()
    size = _size(entry, definition)
    if size is None:
        return ()
    return (Code.WRONG_CONTACT,) if contacts.fit(entry.contact, known, size) is ContactFit.WRONG else ()


def _size(entry: Entry, definition: Definition) -> str | None:
    return next((each.contact_size for each in definition.cavities if each.id == entry.cavity), None)


def fit(mark: str | None, lists: Lists, tools: tooling.Tooling | None, contact_size: str, action: Action) -> ToolFit:
    """What is known of a tool by its mark on the shop's list or by its part number; the plan and the entry agree by using this."""
    if mark is None:
        return ToolFit.NOT_STATED
    by_number = answers.tool_fit(tools, lists.tools.get(mark, mark), contact_size, action)
    if by_number is not ToolFit.UNKNOWN:
        return by_number
    return ToolFit.UNKNOWN if lists.tools and mark not in lists.tools else ToolFit.NOT_STATED
