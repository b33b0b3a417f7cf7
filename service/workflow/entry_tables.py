"""Entries in bulk from a table: where connectors are, what they had before Tinebook, or any kind of entry.

An entry without an id of its own gets one that is made of its row, so that the same table imported again counts once.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import BinaryIO

from service import problems
from service.core import entries
from service.core.entries import Entry
from service.store import database
from service.store.database import Connection
from service.workflow import enrolling, finding, importing, sheets
from service.workflow.recording import Scribe
from service.workflow.sheets import Checked, Flaw, Form, Repeats, Row

_CHECKED = 5_000
"""Rows that are held against the books in one question."""

_WHO = ("connector", "performed_at", "performed_by")


def _faults(entry: Entry) -> list[tuple[str, str]]:
    return [(each.field, each.text) for each in entries.faults(entry)]


PLACEMENTS = Form(
    name="placement",
    made=Entry,
    columns=(*_WHO, "asset", "zone", "position", "work_order", "note"),
    needed=_WHO,
    fixed={"kind": "placement"},
    identified=True,
    shared_by="connector",
    faults=_faults,
)
CARRY_INS = Form(
    name="carry_in",
    made=Entry,
    columns=(*_WHO, "cavity", "insertions", "removals", "tine_entries", "occupied", "source", "work_order", "note"),
    needed=_WHO,
    fixed={"kind": "carry_in"},
    identified=True,
    shared_by="connector",
    faults=_faults,
)
# A cell holds one cavity: an entry of several is as many rows, or a line of NDJSON.
ENTRIES = Form(
    name="entry",
    made=Entry,
    columns=tuple(each for each in Entry.__struct_fields__ if each != "cavities"),
    needed=(*_WHO, "kind"),
    identified=True,
    shared_by="connector",
    faults=_faults,
)


FORMS = {each.name: each for each in (PLACEMENTS, CARRY_INS, ENTRIES)}
"""The tables of entries by the name of what is in a row."""


async def check(
    connection: Connection,
    scribe: Scribe,
    read: Iterator[Row[Entry] | Flaw],
    aside: BinaryIO,
    progress: Callable[[int], None],
) -> Checked:
    """How many rows a share of a table has, and every flaw in it: cells, a cavity that is not there. Its entries go aside."""
    flaws: list[Flaw] = []
    repeats, done = Repeats(), 0
    for chunk in enrolling.chunks(read, _CHECKED):
        flaws += [each for each in chunk if isinstance(each, Flaw)]
        rows = [each for each in chunk if isinstance(each, Row)]
        for row in rows:
            repeats.add(row.value.id, row.number)
        flaws += await _unknown_cavities(connection, scribe, [each for each in rows if each.value.cavity is not None])
        importing.put_aside(aside, ((each.number, each.value) for each in rows))
        done += len(rows)
        progress(done)
        if len(flaws) >= enrolling.MOST_FLAWS:
            break
    return Checked(done, flaws, repeats)


def verdict(shares: Sequence[Checked]) -> tuple[int, list[Flaw]]:
    """How many rows a table has, and every flaw in it, a row that stands twice included.

    Two rows that say the same can't be told from one row copied by mistake: with ids of their own they can.
    """
    return sheets.verdict(shares, None, "says the same as, or has the id of,")


async def _unknown_cavities(connection: Connection, scribe: Scribe, rows: list[Row[Entry]]) -> list[Flaw]:
    """Rows that name a cavity which their connector does not have. A connector that is not on the books has none yet."""
    texts = {each.value.connector: finding.as_id(each.value.connector) for each in rows}
    marked = {text: finding.read(text) for text, known in texts.items() if known is None}
    found = await finding.meant(connection, marked) if marked else {}
    meant = {text: [known] if known is not None else found[text] for text, known in texts.items()}
    wanted = [each for several in meant.values() for each in several]
    numbers = await database.fetch(connection, "definition_numbers", wanted)
    held = await scribe.definitions.fetch(connection, ((row["connector"], row["definition"]) for row in numbers))
    cavities = {connector: [each.id for each in definition.cavities] for (connector, _), definition in held.items()}
    flaws = []
    for row in rows:
        several, name = meant[row.value.connector], row.value.cavity
        if len(several) == 1 and name is not None and name not in cavities.get(several[0], [name]):
            flaws.append(Flaw(row.number, "cavity", problems.unknown_cavity(name, cavities[several[0]], "#").detail))
    return flaws
