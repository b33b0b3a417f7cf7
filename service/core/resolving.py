"""The ways in which an open discrepancy can be resolved. None deletes anything: each is an entry, or several."""

import enum

from service.core.discrepancies import SERIOUSNESS, Code, Seriousness
from service.core.entries import Kind


class Way(enum.StrEnum):
    """What somebody can do about a discrepancy."""

    CORRECTION = "correction"
    RENEWAL = "renewal"
    ACCEPTANCE = "acceptance"
    MERGE = "merge"


SENTENCES = {
    Way.CORRECTION: "If the entry is wrong: correct it with the reason, and record what did happen as a new entry.",
    Way.RENEWAL: "If the retainer may not hold any more: renew it, record that, then accept this with that as the reason.",
    Way.ACCEPTANCE: "If it did happen so and has been dealt with: accept it with the reason. Counts stay as they are.",
    Way.MERGE: "If this connector is on the books twice: record its facts in the ledger of the other one.",
}

_OF_A_DOUBLE = frozenset(
    {
        Code.INSERTED_WHILE_OCCUPIED,
        Code.REMOVED_WHILE_EMPTY,
        Code.SEATING_TEST_OF_EMPTY,
        Code.RENEWED_WHILE_OCCUPIED,
        Code.CLOSED_NO_FINDING,
        Code.MATED_WHILE_MATED,
        Code.UNMATED_WHILE_UNMATED,
        Code.CORRECTS_UNKNOWN,
        Code.REFERS_TO_UNKNOWN,
    }
)
"""What looks impossible because half of the history stands under another name."""


def ways(code: Code, kind: Kind, cavity: str | None, *, has_double: bool) -> tuple[Way, ...]:
    """The ways out of a discrepancy of an entry of this kind, the most usual first."""
    found = []
    if has_double and code in _OF_A_DOUBLE:
        found.append(Way.MERGE)
    # Decision 5: a correction can't be corrected.
    if kind is not Kind.CORRECTION:
        found.append(Way.CORRECTION)
    if cavity is not None and SERIOUSNESS[code] is Seriousness.HOLD:
        found.append(Way.RENEWAL)
    return (*found, Way.ACCEPTANCE)
