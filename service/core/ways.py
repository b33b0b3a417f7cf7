"""The ways out where a cavity can't take a contact any more. None is permission: the approved data decide."""

import enum
from collections.abc import Iterator
from itertools import islice

from msgspec import Struct

from service.core import answers, cycles
from service.core.answers import Action, Answer
from service.core.cycles import Wear
from service.core.entries import Definition, HouseRule
from service.core.states import ConnectorState

MOST_FREE = 5
"""Free cavities that are named at most: a choice, not a list of the insert."""
_SHUT = frozenset({"spent", "open_finding", "retired"})


class Sort(enum.StrEnum):
    """What kind of way it is, in the order in which they are named."""

    FREE_CAVITY = "free_cavity"
    RENEWAL = "renewal"
    REPLACEMENT = "replacement"


class Way(Struct, frozen=True, kw_only=True):
    """One way out. For a free cavity: where its retainer stands, how often it was used, what an insertion is answered there.

    `needs` is what has to be there first, `text` the sentence to read aloud.
    """

    way: Sort
    cavity: str | None = None
    wear: Wear | None = None
    cycles: int | None = None
    answer: Answer | None = None
    needs: str
    text: str


_MOVED = (
    "Cavity {cavity} is empty and takes the same size of contact; cycles begun there: {cycles}. "
    "If the approved data allow it, the wire can go there: that needs a drawing change."
)
_RENEWED = "If the approved data allow it, a renewed retainer or insert starts a new count in cavity {cavity}."
_FINDING = " The finding has to be closed as well."
_REPLACED = "If the approved data allow it, another connector takes the place of this one."


def out(
    definition: Definition,
    house: HouseRule,
    state: ConnectorState,
    cavity: str,
    action: Action = Action.INSERT,
    *,
    taken: frozenset[str] = frozenset(),
    awaited: frozenset[str] = frozenset(),
) -> tuple[Way, ...]:
    """The ways out of a cavity that is spent, blocked or retired, the least costly first; none where it is none of these.

    A removal needs no other cavity, and nothing in a retired connector is worth a renewal. `taken` are cavities that are
    meant for something else, `awaited` those that accepted entries may be about which are in no ledger yet.
    """
    present = state.cavity(cavity)
    if present is None:
        return ()
    shut = _SHUT.intersection(
        each.code for each in answers.judge(definition, house, state.whole, present, action).reasons
    )
    if not shut:
        return ()
    found: list[Way] = []
    if "retired" not in shut:
        if action is not Action.REMOVE:
            found.extend(islice(_free(definition, house, state, cavity, taken, awaited), MOST_FREE))
        found.append(_renewal(cavity, blocked="open_finding" in shut))
    return (*found, Way(way=Sort.REPLACEMENT, needs="another connector", text=_REPLACED))


def _free(
    definition: Definition,
    house: HouseRule,
    state: ConnectorState,
    cavity: str,
    taken: frozenset[str],
    awaited: frozenset[str],
) -> Iterator[Way]:
    """Empty cavities of the same size that would take a contact: the least worn, then the least used, then in order."""
    figures = cycles.limits(definition.rating, definition.nearing_fraction, house)
    size = next(each.contact_size for each in definition.cavities if each.id == cavity)
    empty = [
        (each, cycles.standing(each.counts, each.occupied, each.known, figures))
        for each, defined in zip(state.cavities, definition.cavities, strict=True)
        if defined.contact_size == size and each.occupied is False and each.id != cavity and each.id not in taken
    ]
    for each, stands in sorted(empty, key=lambda pair: (cycles.SEVERITY[pair[1].wear], pair[1].begun)):
        judged = answers.judge(definition, house, state.whole, each, Action.INSERT, awaited=each.id in awaited)
        if judged.answer is not Answer.NO_GO:
            yield Way(
                way=Sort.FREE_CAVITY,
                cavity=each.id,
                wear=stands.wear,
                cycles=stands.begun,
                answer=judged.answer,
                needs="a drawing change",
                text=_MOVED.format(cavity=each.id, cycles=stands.begun),
            )


def _renewal(cavity: str, *, blocked: bool) -> Way:
    text = _RENEWED.format(cavity=cavity) + (_FINDING if blocked else "")
    return Way(way=Sort.RENEWAL, cavity=cavity, needs="a renewal that the approved data describe", text=text)
