"""What a bench shows: the answer large, in word, shape and colour; what it rests on; what to do now. Fits 80 x 24."""

import textwrap
from collections.abc import Iterable, Sequence
from datetime import datetime

from msgspec import Struct
from rich.console import Console
from rich.text import Text

from scanner_client import lettering, phrases, shown
from scanner_client.dialogue import Advice, Basis, Shift, Unit
from scanner_client.outbox import Counts
from service.core import guide
from service.core.answers import Answer
from service.core.cycles import Wear
from service.messages import (
    DECIDES,
    CavityView,
    ConnectorLine,
    ConnectorView,
    HandlingView,
    PlaceView,
    RatingView,
    StepView,
)

Lines = list[Text]

_STYLES = {
    Answer.GO: "bold black on green",
    Answer.WARN: "bold black on yellow",
    Answer.NO_GO: "bold white on red",
    None: "bold white on blue",
}
_WEAR_MARKS = {Wear.WITHIN: "○.", Wear.NEARING: "◐~", Wear.SPENT: "●#", Wear.OVER: "✖X", Wear.UNKNOWN: "??"}
_WEAR_STYLES = {
    Wear.WITHIN: "green",
    Wear.NEARING: "yellow",
    Wear.SPENT: "bold red",
    Wear.OVER: "bold white on red",
    Wear.UNKNOWN: "bold blue",
}
_OCCUPIED = {True: "contact", False: "empty", None: "?"}
_CELL = 38


class Look(Struct, frozen=True):
    """What the terminal can show."""

    width: int = 80
    height: int = 24
    ascii: bool = False


class Board(Struct, frozen=True):
    """What stands around every answer: whose work on what, with what, what waits, and the time.

    `ids`: the connector's cavities, by which one is counted to; `unit`: in what the shop measures forces.
    """

    name: str
    shift: Shift
    counts: Counts
    now: datetime
    equipment: tuple[str, ...] = ()
    ids: tuple[str, ...] = ()
    unit: Unit | None = None


class Section(Struct, frozen=True):
    """Lines that belong together. Where the screen is low, those with a `cut` may be cut short: 1 first, 2 last."""

    lines: Lines
    cut: int = 0


def look(console: Console, *, ascii_only: bool = False) -> Look:
    """What this terminal can show."""
    plain = ascii_only or not (console.encoding or "").lower().startswith("utf")
    return Look(max(console.width, 40), max(console.height, 12), plain)


def answer(advice: Advice, board: Board, seen: Look, *, whole: bool = False) -> Lines:
    """An answer with everything that belongs to it. Cut to the height of the screen unless `whole`."""
    sections = [
        Section([_header(board, seen)]),
        Section(band(advice.answer, seen)),
        Section(_basis(advice, seen)),
        Section([line for each in board.equipment for line in _wrapped(each, seen, "")]),
        *_plan_sections(advice, board, seen),
        Section([*_wrapped(DECIDES, seen, "dim"), *wrapped(waiting(board.counts, board.now), seen)]),
    ]
    if whole:
        return [line for section in sections for line in section.lines]
    # The prompt and the cursor have a line each.
    return _fitted(sections, seen.height - 2)


def band(word: Answer | None, seen: Look) -> Lines:
    """The answer in large letters, in a frame of its own, told apart without colour and from afar."""
    style = _STYLES[word]
    return [Text(each, style=style, no_wrap=True) for each in lettering.framed(word, seen.width, ascii_only=seen.ascii)]


def cavities(views: Sequence[CavityView], seen: Look) -> Lines:
    """Every cavity: id, size, what is in it, cycles begun of the rating, and its wear in shape and word."""
    columns = max(1, seen.width // _CELL)
    rows = -(-len(views) // columns)
    made = []
    for row in range(rows):
        line = Text(no_wrap=True)
        for each in views[row::rows]:
            line.append_text(_cell(each, seen))
        made.append(line)
    return made


def choices(found: Sequence[ConnectorLine], seen: Look) -> Lines:
    """Connectors that carry one mark, numbered."""
    return [
        line
        for number, each in enumerate(found, start=1)
        for line in _wrapped(
            f"{number:>3}  {each.serial}  part {each.part_number or 'not known'}  {_place(each.place)}", seen, "bold"
        )
    ]


def connector(view: ConnectorView, seen: Look) -> Lines:
    """The connector at hand as it stands: which it is, its rating, every cavity, and what is open."""
    facts = [f"part {view.part_number or 'not known'}", _place(view.place), "RETIRED" if view.retired else ""]
    assumed = ["The cavity ids are assumed: compare them with the insert."] if view.cavity_ids == "assumed" else []
    return [
        *_wrapped("  ".join([view.serial, *filter(None, facts)]), seen, "bold"),
        *_wrapped(rating(view.rating), seen, ""),
        *(line for each in assumed for line in _wrapped(each, seen, "bold yellow")),
        *cavities(view.cavities, seen),
        *(
            line
            for each in view.discrepancies
            for line in _wrapped(f"Open: {f'{each.cavity}: ' if each.cavity else ''}{each.text}", seen, "bold yellow")
        ),
    ]


def said(told: str, seen: Look, style: str) -> Lines:
    """A sentence, wrapped at words."""
    return [
        line
        for each in told.split("\n")
        for line in [Text(part, style=style) for part in textwrap.wrap(each, seen.width - 1)]
    ]


def wrapped(told: Text, seen: Look) -> Lines:
    """A line, wrapped at words where it is longer than the screen is wide."""
    return _wrapped(told.plain, seen, str(told.style))


def waiting(counts: Counts, now: datetime) -> Text:
    """What waits at this bench: how much, since when, and what a person must look at."""
    told = []
    if counts.unsent and counts.oldest_unsent_at:
        since = shown.age(now - counts.oldest_unsent_at)
        told.append(f"{shown.count(counts.unsent, 'entry', 'entries')} not sent yet, the oldest for {since}")
    if counts.refused:
        told.append(f"{counts.refused} refused: somebody must look ('outbox')")
    if counts.parked:
        told.append(f"{counts.parked} kept aside by the service")
    return Text("; ".join(told), style="bold magenta") if told else Text("Everything is sent.", style="dim")


def rating(view: RatingView | None) -> str:
    """A rating with where it comes from."""
    if view is None:
        return "Rating: none recorded."
    parts = [
        view.document,
        f"rev. {view.revision}" if view.revision else None,
        f"para. {view.paragraph}" if view.paragraph else None,
    ]
    source = " ".join(each for each in parts if each) or "no document named"
    checked = f"verified by {view.verified_by} on {view.verified_on}" if view.verified else "NOT VERIFIED"
    return f"Rating: {view.value} cycles, {view.basis}, {source} - {checked}"


def _header(board: Board, seen: Look) -> Text:
    shift = board.shift
    others = [each for each in (shift.work_order, shift.bench) if each]
    told = [board.name, shift.badge or "nobody signed on", *others]
    return Text(" | ".join(told)[: seen.width], style="bold", no_wrap=True)


def _basis(advice: Advice, seen: Look) -> Lines:
    style = "bold" if advice.basis is not Basis.SERVICE else "bold magenta"
    return [line for each in advice.remarks for line in _wrapped(each, seen, style)]


def _plan_sections(advice: Advice, board: Board, seen: Look) -> list[Section]:
    plan = advice.plan
    if plan is None:
        return []
    steps = [line for number, each in enumerate(plan.steps, start=1) for line in _step(number, each, plan.rating, seen)]
    work = [line for number, each in enumerate(plan.work, start=1) for line in _handling(number, each, board, seen)]
    return [
        Section(steps, cut=2),
        Section(_wrapped(rating(plan.rating), seen, "" if plan.rating and plan.rating.verified else "bold")),
        Section([line for each in plan.cautions for line in _wrapped(f"{each.kind}: {each.text}", seen, "")], cut=1),
        Section(work, cut=1),
    ]


def _step(number: int, step: StepView, rated: RatingView | None, seen: Look) -> Lines:
    of = f" of {rated.value}" if rated else ""
    left = "left not known" if step.left_after is None else f"{step.left_after} left after"
    wear = f"{_wear_mark(step.wear_after, seen)} {step.wear_after}"
    where = f"{number} {step.action} {step.cavity}, size {step.contact_size}"
    told = f"{where}: cycle {step.cycle}{of}, {left}, {wear}: {lettering.WORDS[step.answer]}"
    made = _wrapped(told, seen, "bold")
    for each in step.reasons:
        made.extend(_wrapped(each.text, seen, "", "    "))
    if step.ways:
        made.extend(_wrapped("What is left to do, if the approved data allow it:", seen, "bold", "    "))
    for way in step.ways:
        made.extend(_wrapped(f"- {way.text}", seen, "", "    "))
    return made


def _handling(number: int, each: HandlingView, board: Board, seen: Look) -> Lines:
    tools = " or ".join(f"{tool.part_number} ({tool.end})" if tool.end else tool.part_number for tool in each.tools)
    side = each.contact_face.replace("_", " ")
    way = "in from" if each.half == "insert" else "out to"
    face = f"tool from the {each.tool_face.replace('_', ' ')}" if each.tool_face else "tool face not known"
    told = f"{number}. {each.half} {each.cavity}: {tools or 'tool not known'}; {face}, contact {way} the {side}"
    counted = guide.count(board.ids, each.cavity)
    found = f". Find it: {counted.words}" if counted else ""
    return _wrapped(f"{told}{_pull(each, board.unit)}{found}", seen, "")


def _pull(each: HandlingView, unit: Unit | None) -> str:
    pull = each.seating_pull
    if pull is None:
        return ""
    sure = pull.source if pull.verified else f"not verified: {pull.source}"
    forces = phrases.force(pull.force_n, unit) if unit else f"{pull.force_n:g} N ({pull.force_lbf:g} lbf)"
    return f"; then a pull of {forces}, {sure}"


def _cell(view: CavityView, seen: Look) -> Text:
    rated = f"/{view.rating.value}" if view.rating else ""
    blocked = " BLOCKED" if view.blocked else ""
    told = f"{view.id:<4}{view.contact_size:<4}{_OCCUPIED[view.occupied]:<8}{view.cycles_begun}{rated:<5}"
    cell = Text(told)
    cell.append(f"{_wear_mark(view.wear, seen)} {view.wear}{blocked}", style=_WEAR_STYLES[view.wear])
    cell.pad_right(max(0, _CELL - len(cell.plain)))
    return cell


def _wear_mark(wear: Wear, seen: Look) -> str:
    return _WEAR_MARKS[wear][1 if seen.ascii else 0]


def _place(place: PlaceView) -> str:
    return " ".join(each for each in (place.asset, place.zone, place.position) if each)


def _wrapped(told: str, seen: Look, style: str, indent: str = "") -> Lines:
    wrapped = textwrap.wrap(told, seen.width - 1, initial_indent=indent, subsequent_indent=indent + "  ")
    return [Text(each, style=style, no_wrap=True) for each in wrapped]


def _fitted(sections: Iterable[Section], height: int) -> Lines:
    """All sections, the longest of those that may be cut first cut until they fit; never silently."""
    lengths = [len(each.lines) for each in sections]
    parts = list(sections)
    while sum(lengths) > height:
        # Two lines stay: one of the section and the one that says how many are hidden.
        open_to_cut = [place for place, each in enumerate(parts) if each.cut and lengths[place] > 2]  # noqa: PLR2004
        if not open_to_cut:
            break
        lengths[max(open_to_cut, key=lambda place: (-parts[place].cut, lengths[place]))] -= 1
    made: Lines = []
    for part, length in zip(parts, lengths, strict=True):
        if length == len(part.lines):
            made.extend(part.lines)
            continue
        hidden = len(part.lines) - length + 1
        made.extend([*part.lines[: length - 1], Text(f"    {hidden} more lines: 'more' (or --whole)", style="bold")])
    return made
