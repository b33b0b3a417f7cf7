"""Fleets for the tests, and what the rule makes of them."""

from collections import Counter
from collections.abc import Iterator
from datetime import date
from functools import cache

from msgspec import Struct

from service import catalog
from service.core import cycles, fold, noting, plans
from service.core.entries import Definition, HouseRule, Recorded
from service.core.states import ConnectorState
from service.demo import fleet
from service.demo.fleet import Connector, Fleet, Size
from service.workflow import recording, registering
from service.workflow.reference import Reference

TODAY = date(2026, 11, 25)
SMALL = Size(aircraft=3, positions=20, spares=4)
HOUSE = HouseRule()
BOOK = catalog.load()


@cache
def made(seed: int = 2026, size: Size = fleet.FULL) -> Fleet:
    """A fleet; the same one for all tests that ask for it."""
    return fleet.fleet(seed, TODAY, BOOK, size)


class Folded(Struct, frozen=True):
    """A connector with the state that its entries give, and the wear of its limiting cavity."""

    connector: Connector
    definition: Definition
    history: tuple[Recorded, ...]
    state: ConnectorState
    wear: str

    @property
    def codes(self) -> Iterator[str]:
        """Its open discrepancies."""
        found = [*self.state.whole.discrepancies]
        for cavity in self.state.cavities:
            found.extend(cavity.discrepancies)
        yield from (each.code.value for each in found)


@cache
def folded(seed: int = 2026, size: Size = fleet.FULL) -> tuple[Folded, ...]:
    """Every connector of a fleet folded with what the service notes when it records."""
    found = made(seed, size)
    reference = Reference(BOOK)
    reference.lists = noting.Lists(frozenset(found.people), found.tools)
    return tuple(_folded(each, reference) for each in found.connectors)


def _folded(each: Connector, reference: Reference) -> Folded:
    identity = each.registration.id
    assert identity is not None
    definition = registering.define(each.registration, reference, identity)
    history = []
    for fact in each.facts:
        taken = recording.submission(fact.entry, "demo", fact.recorded_at, None, reference).recorded
        means = noting.means(
            fact.entry, reference.lists, definition, reference.tooling(definition), reference.contacts(definition)
        )
        history.append(
            Recorded(entry=fact.entry, recorded_at=fact.recorded_at, recorded_by="demo", noted=(*taken.noted, *means))
        )
    state = fold.fold(definition, history)
    figures = cycles.limits(definition.rating, definition.nearing_fraction, HOUSE)
    limiting = plans.limiting(state.cavities, figures)
    assert limiting is not None
    wear = "retired" if state.whole.retired else limiting.standing.wear.value
    return Folded(each, definition, tuple(history), state, wear)


def wears(seed: int = 2026, size: Size = fleet.FULL) -> Counter[str]:
    """How many connectors stand where."""
    return Counter(each.wear for each in folded(seed, size))
