"""What can be said at the bench: the prompt of each phase, the help, and the question after an insertion. Pure."""

import textwrap

from scanner_client import phrases
from scanner_client.dialogue import Phase, State

_PROMPTS = {
    Phase.SIGN_ON: "Scan or type your badge.",
    Phase.READY: "Scan or type a connector.",
    Phase.CHOOSING: "Say the number of the connector in your hand.",
    Phase.CONNECTOR: "Say what you will do: insert 14, remove C, replace AA ('list': cavities, 'next')",
    Phase.ANSWERED: "'done' when it is done ('done 1': step 1), 'not' if you don't, 'more': see all",
    Phase.REASON: "Type why it was done all the same, or 'cancel'.",
    Phase.UNDOING: "Type why it was entered in error, or 'cancel'.",
    Phase.TESTING: "Is {cavity} seated? 'held {force}', 'failed', 'level', 'not level' or 'skip'",
}

_HELP = (
    ("badge X, off", "sign on, sign off; another badge is another person"),
    ("order X, tool X, contact X", "on what, with what ('-': none), or scan it"),
    ("insert 14 15, remove C, replace AA", "ask before you do it"),
    ("insert:14@TOOL", "the same with a tool of its own"),
    ("looked, not looked", "the tool's tip was looked at: straight, not chipped, clean"),
    ("done, done 2", "it was done, all or step 2"),
    ("done 1 removal", "of a replacement only the removal was done"),
    ("drop 2", "leave step 2 out, and ask about the others"),
    ("not", "it was not done"),
    ("did insert 14", "record what has happened already, without asking"),
    ("held 14 67N, failed 14, skip", "the pull: N or lbf, or the number alone after 'unit'"),
    ("level 14, not level 14", "the look: pins at one height, sockets flush"),
    ("held 14 67N level", "pull and look at once"),
    ("tine 14", "a removal tool went in and released nothing"),
    ("finding 14 TEXT", "something is wrong: no work until it is closed ('-': all)"),
    ("remark 14 TEXT", "worth knowing, forbids nothing"),
    ("closed 14 TEXT", "the finding is dealt with, and how"),
    ("renewed 14 TEXT", "a new retainer was fitted, by which document or part"),
    ("mated, unmated", "the connector was mated or unmated"),
    ("undo", "take the last act back, with a reason"),
    ("list, more", "the cavities; the whole answer"),
    ("next, next MARK", "another connector"),
    ("outbox, send, again 1", "what waits; send it; send a refused one once more"),
    ("take SERIAL ..., take asset X", "fetch connectors for work without network"),
    ("unit N, unit lbf", "in what forces are shown and told"),
    ("quit", "leave; nothing that was recorded is lost"),
)
_NOTES = (
    "Scan a badge, order, tool, contact bag, cavity mark or connector at any time: each is taken for what it is.",
    "Capitals and small letters differ: C and c are two cavities.",
    "Each of these words can be printed as a bar code and scanned.",
)
_COLUMN = 36
"""Where the meanings begin beside their words."""
_WIDE = 72
"""Below this many columns each meaning goes under its words."""


def prompt(state: State) -> str:
    """What can be said now."""
    if state.expects is not None:
        return f"Scan or type the {state.expects.replace('_', ' ')}."
    cavity = state.to_test[0] if state.to_test else ""
    unit = state.unit
    return _PROMPTS[state.phase].format(cavity=cavity, force="15lbf" if unit and unit.value == "lbf" else "67N")


def question(state: State) -> tuple[str, ...]:
    """How the contact that has just gone in is proven to be seated: the pull with its provenance, and the look."""
    if state.phase is not Phase.TESTING or not state.to_test:
        return ()
    return (
        f"{state.to_test[0]}: {_pull(state, state.to_test[0])}",
        "Look at the face: pins all at one height, sockets almost flush?",
    )


def help_lines(width: int) -> list[str]:
    """Everything that can be said, for a screen of that width."""
    made: list[str] = []
    for words, meaning in _HELP:
        if width < _WIDE:
            made.extend([*textwrap.wrap(words, width - 1), *_indented(meaning, width, 4)])
        else:
            first, *rest = textwrap.wrap(meaning, width - 1 - _COLUMN)
            made.extend([f"{words:<{_COLUMN}}{first}", *(" " * _COLUMN + each for each in rest)])
    return [*made, *(line for each in _NOTES for line in textwrap.wrap(each, width - 1))]


def _indented(told: str, width: int, by: int) -> list[str]:
    return textwrap.wrap(told, width - 1, initial_indent=" " * by, subsequent_indent=" " * by)


def _pull(state: State, cavity: str) -> str:
    snapshot = state.subject.snapshot if state.subject else None
    sizes = {each.id: each.contact_size for each in snapshot.definition.cavities} if snapshot else {}
    pull = snapshot.tooling.pull(sizes[cavity]) if snapshot and snapshot.tooling and cavity in sizes else None
    if pull is None:
        return "no pull is known for this family and size: take it from the approved data. One pull per insertion."
    sure = "" if pull.verified else "Not verified: "
    return f"pull {phrases.force(pull.force_n, state.unit)}, lightly and straight, once. {sure}{pull.source}."
