"""An entry as a sentence: what somebody would say was done, with what, and what came of it."""

from collections.abc import Iterator

from service.core.discrepancies import SENTENCES, Code
from service.core.entries import Entry, Kind
from service.core.markup import Markup, element, joined, text
from service.pages import wording
from service.pages.sheet import code

_DONE = {
    Kind.INSERTION: "Contact inserted",
    Kind.REMOVAL: "Contact removed",
    Kind.TINE_ENTRY: "Removal tool in, nothing released",
    Kind.SEATING_TEST: "Seating test",
    Kind.FINDING: "Finding",
    Kind.FINDING_CLOSED: "Finding closed",
    Kind.MATING: "Mated",
    Kind.UNMATING: "Unmated",
    Kind.PLACEMENT: "Placed",
    Kind.RENEWAL: "Retainer renewed",
    Kind.RETIREMENT: "Retired",
    Kind.CARRY_IN: "Count carried in",
    Kind.CORRECTION: "Correction",
    Kind.ACCEPTANCE: "Inspection",
    Kind.RESOLUTION: "Discrepancy resolved",
}
_WORDS_OF_NOTED = {each.value: sentence for each, sentence in SENTENCES.items()}
_IDS = 12
"""More cavities than these are counted, not named."""


def told(entry: Entry) -> Markup:
    """What was done, where, with what, and the result."""
    return joined(element("b", text(_DONE[entry.kind])), *_where(entry), *_result(entry), *_means(entry))


def done(kind: Kind) -> str:
    """The kind of an entry in words."""
    return _DONE[kind]


def noted(names: tuple[str, ...]) -> Iterator[str]:
    """What was noted at the recording, as sentences."""
    for each in names:
        yield _WORDS_OF_NOTED.get(each, each)


def code_words(name: str) -> str:
    """A discrepancy's code as words."""
    return Code(name).value.replace("_", " ")


def _where(entry: Entry) -> Iterator[Markup]:
    if entry.cavity is not None:
        yield joined(text(", cavity "), code(entry.cavity))
    elif len(entry.cavities) > _IDS:
        yield text(f", {len(entry.cavities)} cavities")
    elif entry.cavities:
        yield joined(text(", cavities "), code(" ".join(entry.cavities)))
    elif entry.kind in (Kind.RENEWAL, Kind.CARRY_IN):
        yield text(", every cavity")
    if entry.kind is Kind.PLACEMENT:
        yield text(": " + (" ".join(each for each in (entry.asset, entry.zone, entry.position) if each) or "nowhere"))


def _result(entry: Entry) -> Iterator[Markup]:
    if entry.held is not None:
        yield joined(text(": "), element("b", text("held" if entry.held else "did NOT hold")))
    if entry.level is not None:
        yield text(f", {'level' if entry.level else 'NOT level'}")
    if entry.force_n is not None:
        yield text(f", {entry.force_n:g} N")
    if entry.accepted is not None:
        yield text(": accepted" if entry.accepted else ": REFUSED")
    if entry.blocks is not None:
        yield text(", blocks the cavity" if entry.blocks else ", does not block")
    counts = ((entry.insertions, "insertion"), (entry.removals, "removal"), (entry.tine_entries, "tool entry"))
    for count, word in counts:
        if count is not None:
            yield text(f", {wording.counted(count, word, 'tool entries' if word == 'tool entry' else None)}")
    if entry.occupied is not None:
        yield text(", contact in" if entry.occupied else ", empty")
    if entry.code is not None:
        yield text(f": {entry.code.replace('_', ' ')}")


def _means(entry: Entry) -> Iterator[Markup]:
    if entry.contact is not None:
        yield joined(text(", contact "), code(entry.contact))
    if entry.tool is not None:
        yield joined(text(", tool "), code(entry.tool))
