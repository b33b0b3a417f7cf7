"""Counting to a cavity, as a table."""

import pytest

from service.core import guide


def numbers(count: int) -> tuple[str, ...]:
    """Ids from 1 on."""
    return tuple(str(each) for each in range(1, count + 1))


@pytest.mark.parametrize(
    ("ids", "cavity", "wanted"),
    [
        # Every tenth hole is ringed: common practice, no source.
        (numbers(55), "34", (3, 4, "third ring, then 4")),
        (numbers(55), "30", (3, 0, "third ring")),
        (numbers(55), "7", (0, 7, "7th from the start")),
        (numbers(55), "1", (0, 1, "1st from the start")),
        (numbers(55), "2", (0, 2, "2nd from the start")),
        (numbers(55), "3", (0, 3, "3rd from the start")),
        (numbers(10), "10", (1, 0, "first ring")),
        (tuple(reversed(numbers(12))), "11", (1, 1, "first ring, then 1")),
        (numbers(128), "128", (12, 8, "twelfth ring, then 8")),
        (numbers(250), "130", (13, 0, "13th ring")),
        (numbers(250), "229", (22, 9, "22nd ring, then 9")),
        (numbers(9), "7", None),
        (numbers(55), "56", None),
        (numbers(55), "07", None),
        ((*numbers(10), "12"), "7", None),
        ((*numbers(11), "1"), "7", None),
        (("A", "B", "C", "D", "E", "F", "G", "H", "J", "K"), "C", None),
        ((*numbers(10), "A"), "7", None),
        ((), "1", None),
    ],
)
def test_counting_to_a_cavity(ids: tuple[str, ...], cavity: str, wanted: tuple[int, int, str] | None) -> None:
    """Numbered inserts are counted by their rings; where the ids are anything else nothing is said."""
    found = guide.count(ids, cavity)
    assert (None if found is None else (found.ring, found.then, found.words)) == wanted
