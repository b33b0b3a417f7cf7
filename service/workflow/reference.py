"""What the service looks things up in: the catalogue that ships with it, and the shop's own lists."""

import time
from collections.abc import Callable, Iterable

from service import catalog, messages
from service.core import contacts, noting, tooling
from service.core.answers import Action
from service.core.entries import Definition
from service.core.house import Book
from service.core.part_numbers import Sex
from service.store import database
from service.store.database import Connection
from service.workflow import shop
from service.workflow.layouts import Key, Layouts

_FRESH_S = 2.0
_KEPT = 10_000
"""Part numbers whose meaning and tools are kept worked out: the write path asks for tools once an entry."""
_INSERTING = (catalog.Work.INSERT, catalog.Work.SEATING_TEST)
_WORKS = {
    Action.INSERT: _INSERTING,
    Action.REMOVE: (catalog.Work.REMOVE,),
    Action.REPLACE: (catalog.Work.REMOVE, *_INSERTING),
}
_ALL = frozenset(work for works in _WORKS.values() for work in works)


class Reference:
    """The catalogue, and the shop's lists as they were at most two seconds ago."""

    def __init__(self, book: catalog.Catalog, clock_s: Callable[[], float] = time.monotonic) -> None:
        self.catalog = book
        self.lists = noting.Lists()
        self._book = Book()
        self._described: dict[str, catalog.Description] = {}
        self._toolings: dict[tuple[str | None, str | None], tooling.Tooling | None] = {}
        self._contacts: dict[tuple[str | None, Sex | None], contacts.Contacts] = {}
        self._cautions: dict[tooling.Release | None, tuple[messages.KeptCaution, ...]] = {}
        self.layouts = Layouts(clock_s)
        self._clock_s = clock_s
        self._read_at_s: float | None = None

    @property
    def stale(self) -> bool:
        """Whether the shop's lists should be read again."""
        return self._read_at_s is None or self._clock_s() - self._read_at_s >= _FRESH_S

    async def refresh(self, connection: Connection) -> None:
        """Read the shop's lists."""
        people = await database.fetch(connection, "people")
        tools = await database.fetch(connection, "tools")
        self.lists = noting.Lists(
            frozenset(row["badge"] for row in people),
            {row["mark"]: row["part_number"] for row in tools},
            {row["mark"]: row["due_on"] for row in tools if row["due_on"] is not None},
        )
        self.go_by(await shop.book(connection))
        self._read_at_s = self._clock_s()

    def go_by(self, book: Book) -> None:
        """Let the shop's figures stand before the catalogue's."""
        self._book, self._toolings = book, {}

    def forget(self) -> None:
        """What the shop states has changed: the next who asks reads it again."""
        self._read_at_s = None

    def described(self, part_number: str) -> catalog.Description:
        """What the catalogue knows of a part number. A fleet has few of them, and thousands are registered together."""
        if part_number not in self._described:
            if len(self._described) >= _KEPT:
                self._described.clear()
            self._described[part_number] = self.catalog.describe(part_number)
        return self._described[part_number]

    def tooling(self, definition: Definition) -> tooling.Tooling | None:
        """The tools for a connector, as the shop or else the catalogue has them; None where neither knows its family."""
        # Without figures of the shop's own, tools go by the family alone.
        key = (definition.family, definition.part_number if self._book else None)
        if key not in self._toolings:
            if len(self._toolings) >= _KEPT:
                self._toolings.clear()
            known = None if definition.family is None else self.catalog.tooling(definition.family)
            self._toolings[key] = self._book.tooling(known, *key)
        return self._toolings[key]

    def sex(self, definition: Definition) -> Sex | None:
        """What the insert holds, where the part number says it."""
        decoded = None if definition.part_number is None else self.described(definition.part_number).decoded
        return None if decoded is None else decoded.sex

    def arrangement(self, definition: Definition) -> Key | None:
        """Which insert it has, where the part number says it."""
        decoded = None if definition.part_number is None else self.described(definition.part_number).decoded
        return None if decoded is None else (decoded.arrangement_standard, decoded.arrangement)

    def contacts(self, definition: Definition) -> contacts.Contacts:
        """The contacts that are known, those made for this connector apart."""
        key = (definition.family, self.sex(definition))
        if key not in self._contacts:
            if len(self._contacts) >= _KEPT:
                self._contacts.clear()
            self._contacts[key] = self.catalog.contacts(*key)
        return self._contacts[key]

    def cautions(self, definition: Definition, actions: Iterable[Action]) -> tuple[messages.CautionView, ...]:
        """The usual cautions for these actions, warnings first. The approved data's own come before them."""
        wanted = set(actions)
        return tuple(
            messages.CautionView(kind=each.kind, text=each.text, status=each.status, source=each.source)
            for each in self.kept_cautions(definition)
            if wanted.intersection(each.actions)
        )

    def kept_cautions(self, definition: Definition) -> tuple[messages.KeptCaution, ...]:
        """The usual cautions for every action, each with those that it goes with."""
        tools = self.tooling(definition)
        release = tools.release if tools is not None else None
        if release not in self._cautions:
            self._cautions[release] = tuple(self._caution(each) for each in self.catalog.cautions(_ALL, release))
        return self._cautions[release]

    @staticmethod
    def _caution(row: catalog.Caution) -> messages.KeptCaution:
        actions = tuple(each for each in Action if not row.works or set(row.works).intersection(_WORKS[each]))
        return messages.KeptCaution(
            kind=row.kind.value, text=row.text, status=row.status, source=row.source, actions=actions
        )
