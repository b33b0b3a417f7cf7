"""The words of a record, as data: English always, another language beside it where it is asked for."""

from service.core.entries import Kind
from service.core.records import german
from service.core.records.orders import Act

LANGUAGES = ("en", "de")

_REMARKS = {
    "not_on_the_books": "The order is not on the books: entries name it, but nobody stated what was to be done.",
    "no_reference_data": "No reference data is stated: the description alone says what was done.",
    "entries_wait": "Entries that name this order wait for their connector; they are in no count here.",
    "step_without_entry": "Planned, but no entry shows it.",
    "other_contact": "Another contact than planned.",
    "other_tool": "Another tool than planned.",
    "not_planned": "Entries beyond the plan.",
    "no_limit": "No limit is stated for these retainers.",
    "limit_not_verified": "The limit is not verified: nobody put a name, a day and a document to it.",
    "history_not_known": "The history is not known: the count is a lower bound.",
    "over_limit": "The count is OVER its limit.",
    "spent": "Spent: no further insertion is allowed.",
    "did_not_hold": "The last seating test did NOT hold.",
    "blocked": "An open finding blocks this cavity.",
    "other_work_between": "Other work fell in between and is in the count after.",
    "mating_limit_not_verified": "The mating limit is not verified.",
    "over_mating_limit": "Mated more often than the limit.",
    "discrepancies_open": "Discrepancies of this work are open.",
    "tool_overdue": "The tool was overdue for its check.",
    "tool_not_stated": "Steps for which no tool is stated.",
    "person_not_listed": "The person is not on the shop's list.",
    "entered_in_error": "Entries were entered in error; they are listed.",
}
_ACTS = {
    Act.INSERT: "insert",
    Act.REMOVE: "remove",
    Act.REPLACE: "replace",
    Act.SEATING_TEST: "test the seating",
    Act.RENEW: "renew the retainer",
    Act.MATE: "mate",
    Act.UNMATE: "unmate",
    Act.PLACE: "place",
    Act.RETIRE: "retire",
    Act.OTHER: "other",
}
_KINDS = {
    Kind.INSERTION: "contact inserted",
    Kind.REMOVAL: "contact removed",
    Kind.TINE_ENTRY: "removal tool in, nothing released",
    Kind.SEATING_TEST: "seating test",
    Kind.FINDING: "finding",
    Kind.FINDING_CLOSED: "finding closed",
    Kind.MATING: "mated",
    Kind.UNMATING: "unmated",
    Kind.PLACEMENT: "placed",
    Kind.RENEWAL: "retainer renewed",
    Kind.RETIREMENT: "retired",
    Kind.CARRY_IN: "count carried in",
    Kind.CORRECTION: "correction",
    Kind.ACCEPTANCE: "acceptance",
    Kind.RESOLUTION: "discrepancy resolved",
}
_WORDS = {
    "title": "Maintenance record entry",
    "record": "Record",
    "approves": (
        "The signature of approval approves return to service only for the work performed that is stated here."
    ),
    "corrects": "This record corrects record",
    "reason": "Reason",
    "not_to_be_missed": "Not to be missed",
    "work_done": "Work done",
    "description": "Description",
    "work_order": "Work order",
    "version": "version",
    "asset": "Asset",
    "reference": "Reference data",
    "revision": "revision",
    "task": "task",
    "paragraph": "paragraph",
    "none_stated": "none stated",
    "began": "Begun",
    "completed": "Completed",
    "local": "local time",
    "inspection_required": "Independent inspection required",
    "yes": "yes",
    "no": "no",
    "not_known": "not known",
    "connectors": "Connectors",
    "serial": "Serial",
    "part_number": "Part number",
    "cage": "CAGE",
    "uii": "UII",
    "place": "Place when the work ended",
    "mating": "Mating cycles",
    "counts": "Counts before and after",
    "counts_note": (
        "Cycles begun, of the retainer life given; the fold of the whole history before the first step of this "
        "work in the cavity and after its last. Remaining: insertions still allowed after the work."
    ),
    "cavity": "Cavity",
    "size": "Size",
    "retainer_life": "Life",
    "before": "Before",
    "after": "After",
    "limit": "Limit",
    "basis": "Basis and source",
    "remaining": "Remaining",
    "not_verified": "NOT VERIFIED",
    "verified_by": "verified by",
    "no_limit_stated": "no limit",
    "mandatory": "mandatory",
    "recommended": "recommended",
    "house": "house",
    "lower_bound": "at least",
    "no_counts": "The work touched no cavity.",
    "life_status": "Life status (14 CFR 43.10)",
    "life_note": (
        "Only where the operator declared the limit as mandatory. The status travels with the part and changes at "
        "each removal."
    ),
    "of": "Of",
    "retainers": "retainers",
    "accumulated": "Accumulated",
    "as_of": "As of (UTC)",
    "steps": "Steps done",
    "steps_note": "Times are UTC; the local offset stands behind each.",
    "when": "When (UTC)",
    "what": "What",
    "with": "With",
    "where": "Where, or how many",
    "result": "Result",
    "by": "By",
    "step": "Step",
    "tool": "tool",
    "contact": "contact",
    "held": "held",
    "did_not_hold": "did NOT hold",
    "level": "level",
    "not_level": "NOT level",
    "accepted": "accepted",
    "refused": "REFUSED",
    "no_steps": "Nothing is recorded.",
    "plan": "Steps planned",
    "done": "Done",
    "not_shown": "no entry",
    "no_plan": "No steps were planned.",
    "errors": "Entered in error",
    "corrected": "Corrected",
    "means": "Contacts and tools",
    "uses": "Uses",
    "due": "Check due",
    "overdue": "OVERDUE",
    "not_stated": "not stated",
    "no_means": "None stated.",
    "people": "Performed by",
    "person": "Person",
    "badge": "Badge",
    "certificate": "Certificate",
    "entries": "Entries",
    "signatures": "Signatures",
    "performed": "performed",
    "inspected": "inspected",
    "approved": "approved for return to service",
    "signed_at": "Signed (UTC)",
    "method": "Method",
    "secret": "badge and secret",
    "openid": "identity provider",
    "meaning": "Meaning",
    "signature": "Signature",
    "statement_hash": "SHA-256 of what was signed",
    "own_work": "own work, by exception",
    "discrepancies": "Open discrepancies",
    "none_open": "None was open.",
    "this_work": "of this work",
    "beside": "at a cavity it touched",
    "made": "Record made",
    "identity": "About this record",
    "record_id": "Record id",
    "installation": "Installation",
    "facts_hash": "SHA-256 of the facts",
    "chain_note": "Each entry stands in its connector's hash chain under the number and hash given.",
    "number_and_hash": "No. and hash",
    "language_note": "The English text holds.",
}
_ENGLISH = (
    _WORDS
    | {f"remark_{code}": words for code, words in _REMARKS.items()}
    | {f"act_{each.value}": words for each, words in _ACTS.items()}
    | {f"kind_{each.value}": words for each, words in _KINDS.items()}
)


def english(code: str) -> str:
    """Words in English."""
    return _ENGLISH[code]


def remark(code: str) -> str:
    """The sentence of a remark, in English."""
    return english(f"remark_{code}")


def act(which: Act) -> str:
    """What a planned step is, in English."""
    return english(f"act_{which.value}")


def beside(code: str, language: str) -> str:
    """Words in English, and behind a stroke in the other language where it says something else."""
    first = english(code)
    other = german.WORDS[code] if language == "de" else first
    return first if other == first else f"{first} / {other}"


def codes() -> tuple[str, ...]:
    """Everything that has words."""
    return tuple(_ENGLISH)
