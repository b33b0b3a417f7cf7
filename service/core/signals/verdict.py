"""What the data say of one question."""

import enum


class Verdict(enum.IntEnum):
    """Shown, not shown though a large effect would have been, or too little data to show anything."""

    SHOWN = 0
    NOT_SHOWN = 1
    TOO_LITTLE = 2


WORDS = {
    Verdict.SHOWN: "the data show it",
    Verdict.NOT_SHOWN: "the data do not show it",
    Verdict.TOO_LITTLE: "too little data to show it either way",
}
"""The verdict in plain words, for a page or a message."""
