"""The closed list of what can be recorded although it ought not to have been possible, each with its sentence."""

import enum


class Code(enum.StrEnum):
    """Names of discrepancies. Stable: they are stored, sent and filtered by."""

    OVER_RATING = "over_rating"
    OVER_MATING_RATING = "over_mating_rating"
    INSERTED_WHILE_OCCUPIED = "inserted_while_occupied"
    REMOVED_WHILE_EMPTY = "removed_while_empty"
    WORKED_WITH_OPEN_FINDING = "worked_with_open_finding"
    SECOND_SEATING_TEST = "second_seating_test"
    SEATING_TEST_OF_EMPTY = "seating_test_of_empty"
    RENEWED_WHILE_OCCUPIED = "renewed_while_occupied"
    WORK_AFTER_RETIREMENT = "work_after_retirement"
    CARRY_IN_AFTER_ENTRIES = "carry_in_after_entries"
    CARRY_IN_TWICE = "carry_in_twice"
    CARRY_IN_CONTRADICTS = "carry_in_contradicts"
    CARRY_IN_WITHOUT_SOURCE = "carry_in_without_source"
    CLOSED_NO_FINDING = "closed_no_finding"
    MATED_WHILE_MATED = "mated_while_mated"
    UNMATED_WHILE_UNMATED = "unmated_while_unmated"
    CORRECTS_UNKNOWN = "corrects_unknown"
    CORRECTS_A_CORRECTION = "corrects_a_correction"
    REFERS_TO_UNKNOWN = "refers_to_unknown"
    NO_REASON = "no_reason"
    INSPECTED_OWN_WORK = "inspected_own_work"
    WORK_REFUSED = "work_refused"
    CLOCK_AHEAD = "clock_ahead"
    CLOCK_BEHIND = "clock_behind"
    CLOCK_OFF = "clock_off"
    UNKNOWN_PERSON = "unknown_person"
    UNKNOWN_TOOL = "unknown_tool"
    WRONG_TOOL = "wrong_tool"
    TOOL_OVERDUE = "tool_overdue"
    WRONG_CONTACT = "wrong_contact"


SENTENCES = {
    Code.OVER_RATING: "The retainer has had more cycles than it is rated for.",
    Code.OVER_MATING_RATING: "The connector has been mated more often than it is rated for.",
    Code.INSERTED_WHILE_OCCUPIED: "A contact went into a cavity that, as recorded, already held one.",
    Code.REMOVED_WHILE_EMPTY: "A contact came out of a cavity that, as recorded, was empty.",
    Code.WORKED_WITH_OPEN_FINDING: "The cavity was worked on while a finding that blocks it was open.",
    Code.SECOND_SEATING_TEST: "More than one seating test on the same insertion: each one loads the retainer.",
    Code.SEATING_TEST_OF_EMPTY: "A seating test in a cavity that, as recorded, was empty.",
    Code.RENEWED_WHILE_OCCUPIED: "The retainer was renewed while, as recorded, a contact was in: a removal is missing.",
    Code.WORK_AFTER_RETIREMENT: "Work on a connector that had been retired.",
    Code.CARRY_IN_AFTER_ENTRIES: "An opening count for a retainer that already had entries: both are counted.",
    Code.CARRY_IN_TWICE: "A second opening count for the same retainer life: the greater figures are counted.",
    Code.CARRY_IN_CONTRADICTS: "An opening count with a contact in, but no more insertions than removals: one more is counted.",
    Code.CARRY_IN_WITHOUT_SOURCE: "An opening count that does not say where it comes from: counted, but the history stays unknown.",
    Code.CLOSED_NO_FINDING: "A finding was closed that, as recorded, was not open.",
    Code.MATED_WHILE_MATED: "Mated although, as recorded, it was mated already.",
    Code.UNMATED_WHILE_UNMATED: "Unmated although, as recorded, it was not mated.",
    Code.CORRECTS_UNKNOWN: "Corrects an entry that is not in this connector's ledger (yet): nothing is voided.",
    Code.CORRECTS_A_CORRECTION: "Corrects a correction, which has no effect: record the fact again instead.",
    Code.REFERS_TO_UNKNOWN: "Refers to an entry that is not in this connector's ledger (yet): it has no effect.",
    Code.NO_REASON: "A correction or a resolution without a reason in its note: it has no effect.",
    Code.INSPECTED_OWN_WORK: "Work was accepted by the person who did it.",
    Code.WORK_REFUSED: "An inspector refused this work.",
    Code.CLOCK_AHEAD: "The time of the work lies after the time it was recorded: a clock or a time zone is wrong.",
    Code.CLOCK_BEHIND: "The time of the work lies years before it was recorded: the clock looks dead.",
    Code.CLOCK_OFF: "The sender's clock was off when this was sent.",
    Code.UNKNOWN_PERSON: "The person is not on the shop's list.",
    Code.UNKNOWN_TOOL: "The tool is not on the shop's list.",
    Code.WRONG_TOOL: "The tool is for another contact size or for the other half of the job.",
    Code.TOOL_OVERDUE: "The tool was due for a check before the day of this work.",
    Code.WRONG_CONTACT: "The contact is for another size of cavity, or for the other half: pin instead of socket.",
}

TIME_DOUBTS = frozenset({Code.CLOCK_AHEAD, Code.CLOCK_BEHIND, Code.CLOCK_OFF})
"""While one of these is open, the entry may stand in the wrong retainer life, so no answer is a plain go."""


class Seriousness(enum.StrEnum):
    """What an open discrepancy may mean: a retainer or contact that does not hold, a count that is wrong, or a record that is."""

    HOLD = "hold"
    COUNT = "count"
    RECORD = "record"


RANK = {each: rank for rank, each in enumerate(Seriousness)}
"""The most serious first."""

_HOLD = (
    Code.OVER_RATING,
    Code.OVER_MATING_RATING,
    Code.WORKED_WITH_OPEN_FINDING,
    Code.SECOND_SEATING_TEST,
    Code.WORK_AFTER_RETIREMENT,
    Code.WORK_REFUSED,
    Code.WRONG_TOOL,
    Code.TOOL_OVERDUE,
    Code.WRONG_CONTACT,
)
_RECORD = (Code.CLOSED_NO_FINDING, Code.INSPECTED_OWN_WORK, Code.UNKNOWN_PERSON, Code.UNKNOWN_TOOL)
SERIOUSNESS = dict.fromkeys(Code, Seriousness.COUNT) | {
    **dict.fromkeys(_HOLD, Seriousness.HOLD),
    **dict.fromkeys(_RECORD, Seriousness.RECORD),
}
"""Code -> seriousness. A house ordering, no source: what may let go in service comes before what may count too few cycles."""
