"""The vectors for a second reader of marks are what this reader reads."""

import json
from collections import Counter

from tests.core import mark_vectors


def test_the_file_is_what_the_reader_reads() -> None:
    """Whoever changes how marks are read writes the vectors anew, so that the page's reader is held to it."""
    assert mark_vectors.FILE.read_text("utf-8") == mark_vectors.document()


def test_the_vectors_reach_every_meaning_and_many_faults() -> None:
    """What chance makes of the marks is not all refused for one reason."""
    found = [each["mark"] for each in json.loads(mark_vectors.FILE.read_text("utf-8"))["vectors"]]
    meanings = Counter(each["meaning"] for each in found)
    faults = Counter(fault["code"] for each in found for fault in each.get("faults", ()))
    assert len(meanings) == 13
    assert meanings["iuid"] > 50
    assert len(faults) >= 20
