"""The shop's own figures: which of them holds, and how they stand before the catalogue's."""

from typing import Any

import pytest

from service.core import house
from service.core.house import Book, Figure, HouseTool, HouseValue, What
from service.core.tooling import Half, Pull, Release, Tool, Tooling

FAMILY, NUMBER = "38999-III", "D38999/26WE35SN"


def value(what: What, figure: Figure | None, **more: Any) -> HouseValue:
    """A value for the family, unless said otherwise."""
    told = {"family": FAMILY, "part_number": None, "contact_size": None} | more
    return HouseValue(what=what, figure=figure, **told)


def rated(cycles: int, **more: Any) -> HouseValue:
    """A house rating."""
    return value(What.RATING, Figure(cycles=cycles, basis="house"), **more)


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ((), None),
        ((rated(10),), 10),
        ((rated(10), rated(8, part_number=NUMBER)), 8),
        ((rated(10), rated(9, family=None, part_number=NUMBER)), 9),
        ((rated(8, part_number=NUMBER), rated(9, family=None, part_number=NUMBER)), 8),
        ((rated(7, family="26500"), rated(6, part_number="D38999/26WE35SA")), None),
        # withdrawn for the part number: the family's holds again
        ((rated(10), value(What.RATING, None, part_number=NUMBER)), 10),
    ],
)
def test_the_most_exact_figure_holds(values: tuple[HouseValue, ...], expected: int | None) -> None:
    """What is stated for the part number comes before what is stated for its family; another's is never taken."""
    found = Book(values).rating(What.RATING, FAMILY, NUMBER)
    assert (found.value if found else None) == expected


def test_a_rating_keeps_its_provenance() -> None:
    """A house rating carries document, paragraph and who verified it, and counts as verified only with all of them."""
    proof = {"document": "Shop practice 7", "revision": "C", "paragraph": "3.2"}
    verified = rated(10, **proof, verified_by="badge 204", verified_on="2026-10-30")
    found = Book([verified]).rating(What.RATING, FAMILY, None)
    assert found is not None
    assert (found.document, found.revision, found.paragraph) == ("Shop practice 7", "C", "3.2")
    assert found.verified
    assert verified.source == "Shop practice 7 C 3.2; verified by badge 204 on 2026-10-30"
    assert not rated(10, **proof).verified
    assert not rated(10, verified_by="badge 204", verified_on="2026-10-30").verified
    assert rated(10).source == "no document stated"


def _tool(part_number: str, half: Half, size: str = "20") -> Tool:
    return Tool(part_number, size, half, "", "memory", "from memory")


BASE = Tooling(
    Release.REAR,
    "memory",
    (_tool("A", Half.INSERT), _tool("A", Half.REMOVE), _tool("B", Half.INSERT, "16")),
    (Pull("20", 66.7, 15, verified=False, status="common practice", source="common practice, no source"),),
)


def test_house_tools_replace_those_of_their_size_and_half() -> None:
    """The house's tool for one size and half stands there alone; everything else stays the catalogue's."""
    tools = Figure(tools=(HouseTool(half=Half.INSERT, part_number="H", end="red end"),))
    found = Book([value(What.TOOL, tools, contact_size="20")]).tooling(BASE, FAMILY, NUMBER)
    assert found is not None
    assert [(each.part_number, each.status) for each in found.serving(Half.INSERT, "20")] == [
        ("H", "house, not verified")
    ]
    assert [each.part_number for each in found.serving(Half.REMOVE, "20")] == ["A"]
    assert [each.part_number for each in found.serving(Half.INSERT, "16")] == ["B"]


def test_a_house_pull_replaces_the_default() -> None:
    """The house's pull stands before the catalogue's, in newtons and pounds-force, verified only if somebody did."""
    known = {"document": "Shop practice 9", "verified_by": "badge 204", "verified_on": "2026-10-30"}
    held = value(What.PULL, Figure(force_n=44.5), contact_size="20", **known)
    found = Book([held]).tooling(BASE, FAMILY, NUMBER)
    assert found is not None
    pull = found.pull("20")
    assert pull is not None
    assert (pull.force_n, pull.force_lbf, pull.verified, pull.status) == (44.5, 10.0, True, "house, verified")
    assert found.pull("16") is None
    plain = Book([rated(10)]).tooling(BASE, FAMILY, NUMBER)
    assert plain is not None
    assert plain.pulls == BASE.pulls


def test_a_release_side_of_the_house() -> None:
    """The house's release side stands before the catalogue's, and makes tools of a family that the catalogue lacks possible."""
    front = value(What.RELEASE, Figure(release=Release.FRONT))
    found = Book([front]).tooling(BASE, FAMILY, None)
    assert found is not None
    assert (found.release, found.release_status, found.tools) == (Release.FRONT, "house, not verified", BASE.tools)
    assert Book([front]).tooling(None, FAMILY, None) == Tooling(Release.FRONT, "house, not verified", ())
    assert Book([rated(10)]).tooling(None, FAMILY, None) is None


@pytest.mark.parametrize(
    ("what", "family", "size", "figure", "fields"),
    [
        (What.RATING, FAMILY, None, Figure(cycles=10, basis="house"), []),
        (What.RATING, FAMILY, None, Figure(cycles=10, basis="house", first_insertion_counts=False), []),
        (What.RATING, None, None, Figure(cycles=10, basis="house"), ["family"]),
        (What.RATING, FAMILY, "20", Figure(cycles=10, basis="house"), ["contact_size"]),
        (What.RATING, FAMILY, None, Figure(cycles=10), ["value/basis"]),
        (What.RATING, FAMILY, None, Figure(cycles=10, basis="house", force_n=1), ["value/force_n"]),
        (What.PULL, FAMILY, None, Figure(force_n=60), ["contact_size"]),
        (What.PULL, FAMILY, "20", Figure(force_n=60), []),
        (What.PULL, FAMILY, "20", Figure(), ["value/force_n"]),
        (What.NEARING_FRACTION, FAMILY, None, Figure(nearing_fraction=0.7), []),
        (What.RELEASE, FAMILY, None, Figure(release=Release.REAR), []),
        (What.RELEASE, FAMILY, None, None, []),
    ],
)
def test_a_statement_has_the_fields_of_its_kind(
    what: What, family: str | None, size: str | None, figure: Figure | None, fields: list[str]
) -> None:
    """A statement says for what it holds and has exactly the fields that its kind has; a withdrawal has none."""
    assert [each.field for each in house.faults(what, family, None, size, figure)] == fields
