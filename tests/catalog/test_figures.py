"""Figures of the catalogue: mating durability, retention, light pull, plugs, colours, unused cavities."""

import pytest

from service import catalog
from service.catalog import Status
from service.catalog.rows import Place
from service.core import forces
from service.core.tooling import Half, Release

BOOK = catalog.load()


@pytest.mark.parametrize(
    ("lbf", "newtons"),
    [
        # 1 lbf = 4.4482216152605 N exactly
        (10, 44.5),
        (15, 66.7),
        (20, 89.0),
        (25, 111.2),
        (30, 133.4),
    ],
)
def test_pounds_force_in_newtons(lbf: float, newtons: float) -> None:
    """A pound-force is 4.4482216152605 N, shown to a tenth, and the way back gives what was stated."""
    assert forces.newtons(lbf) == newtons
    assert forces.pounds(newtons) == lbf


@pytest.mark.parametrize(
    ("family", "size", "lbf", "newtons"),
    [
        # common practice, no source
        ("26500", "20", 15, 66.7),
        ("26500", "16", 20, 89.0),
        ("26500", "12", 25, 111.2),
        ("38999-III", "20", None, None),
        ("38999-III", "16", None, None),
        ("38999-III", "22D", None, None),
        ("83723-III", "20", None, None),
        ("26482-1", "20", None, None),
        ("26482-2", "12", None, None),
        ("50151", "16", None, None),
        ("no such family", "20", None, None),
    ],
)
def test_the_light_pull(family: str, size: str, lbf: float | None, newtons: float | None) -> None:
    """The light pull goes by family and size; where nothing is known nothing is said (common practice, no source)."""
    found = BOOK.pull(family, size)
    assert (found.force_lbf if found else None, found.force_n if found else None) == (lbf, newtons)
    if found is not None:
        assert found.status is Status.COMMON_PRACTICE


def test_the_light_pull_is_that_of_front_release() -> None:
    """The trade states the light pull for front release; no family of rear release borrows it (common practice, no source)."""
    for each in BOOK.pull_rows:
        assert {BOOK.families[family].release for family in each.families} == {Release.FRONT}


def test_a_pull_never_exceeds_what_the_contact_is_retained_under() -> None:
    """A light pull is listed only where the family's retention load for the size is known and is not less (from memory)."""
    for each in BOOK.pull_rows:
        for family in each.families:
            retained = BOOK.retention(family, each.contact_size)
            assert retained is not None, (family, each.contact_size)
            assert each.force_lbf <= retained.force_lbf, (family, each.contact_size)


@pytest.mark.parametrize(
    ("family", "size", "lbf"),
    [
        # from memory
        ("38999-III", "22D", 10),
        ("38999-I", "20", 15),
        ("26482-2", "20", 20),
        ("26500", "20", 15),
        ("26482-2", "12", 30),
        ("38999-II", "10", None),
    ],
)
def test_retention_goes_by_family_and_size(family: str, size: str, lbf: float | None) -> None:
    """The same size is retained differently in another family, and every such figure is marked as from memory."""
    found = BOOK.retention(family, size)
    assert (found.force_lbf if found else None) == lbf
    assert found is None or found.status is Status.MEMORY


@pytest.mark.parametrize(
    ("family", "style", "cycles", "status"),
    [
        ("38999-III", "P", 500, Status.SECOND_HAND),  # public parts-selection list
        ("38999-IV", "H", 1500, Status.SECOND_HAND),  # open dataset transcribing MIL-DTL-38999 1.4.2
        ("38999-I", "J", 1500, Status.SECOND_HAND),
        ("26482-2", "S", 500, Status.MEMORY),
        ("50151", "P", 100, Status.MEMORY),
    ],
)
def test_mating_durability(family: str, style: str, cycles: int, status: Status) -> None:
    """Mating durability goes by family and contact style, each with how sure it is."""
    found = BOOK.mating(family, style)
    assert found is not None
    assert (found.cycles, found.status) == (cycles, status)


def test_no_mating_durability_is_made_up() -> None:
    """A style or a family that no row names has none."""
    assert BOOK.mating("38999-III", "G") is None
    assert BOOK.mating("no such family", "P") is None


def test_figures_are_for_sizes_that_their_families_have() -> None:
    """Forces and plugs stand once for each family and size, and only for sizes that occur in the family."""
    for table in (BOOK.pull_rows, BOOK.retention_rows, BOOK.plug_rows):
        seen = [(family, each.contact_size) for each in table for family in each.families]
        assert len(set(seen)) == len(seen)
        for family, size in seen:
            assert size in {
                contacts.size
                for each in BOOK.arrangements.values()
                if family in each.families
                for contacts in each.contacts
            }


def test_figures_say_where_they_come_from() -> None:
    """Each row has a source; memory and common practice are admitted in it."""
    tables = (
        BOOK.mating_rows,
        BOOK.retention_rows,
        BOOK.pull_rows,
        BOOK.plug_rows,
        BOOK.colour_rows,
        BOOK.unused_rows,
    )
    for table in tables:
        assert table
        for each in table:
            assert each.source
            assert each.status is not Status.MEMORY or "from memory" in each.source
            assert (each.status is Status.COMMON_PRACTICE) == (each.source == "common practice, no source")


@pytest.mark.parametrize(("size", "colour"), [("20", "red"), ("16", "blue"), ("12", "yellow")])
def test_tool_colours(size: str, colour: str) -> None:
    """Tools are coloured by contact size (common practice, no source), and the tools' own rows agree with it."""
    found = BOOK.tool_colour(size)
    assert found is not None
    assert (found.colour, found.status) == (colour, Status.COMMON_PRACTICE)
    assert BOOK.tool_colour("8 twinax") is None


def test_tools_agree_with_the_colours_of_their_sizes() -> None:
    """The coloured end of every insertion tool that names a colour has the colour of its size."""
    named = [each.tool for each in BOOK.tools if each.tool.half is Half.INSERT and ", " in each.tool.end]
    assert named
    for each in named:
        colour = BOOK.tool_colour(each.contact_size)
        assert colour is not None
        assert each.end.endswith(f", {colour.colour}")


def test_sealing_plugs() -> None:
    """A plug is found by family and size (public code table, from memory)."""
    found = BOOK.sealing_plug("38999-III", "22D")
    assert found is not None
    assert (found.part_number, found.colour) == ("MS27488-22-2", "black")
    assert BOOK.sealing_plug("26500", "20") is None


def test_unused_cavities_by_place() -> None:
    """A firewall wants a stub of wire, an unpressurized place a plug or rod, both the rest (AC 43.13-1B 11-234, 11-262)."""
    anywhere = {"fill", "plug", "near_the_rim", "water"}
    assert {each.code for each in BOOK.unused_cavities(Place.FIREWALL)} == anywhere | {"stub_wire"}
    assert {each.code for each in BOOK.unused_cavities(Place.UNPRESSURIZED)} == anywhere | {"rod"}
    assert {each.code for each in BOOK.unused_cavities()} == anywhere | {"stub_wire", "rod", "pressurized"}
    assert all(each.text.endswith(".") for each in BOOK.unused_rows)


def test_the_catalogue_rates_no_retainer() -> None:
    """No table holds a number of insertion and removal cycles: a retainer is rated by the operator alone."""
    for table in (BOOK.retention_rows, BOOK.pull_rows, BOOK.tools, BOOK.plug_rows, tuple(BOOK.families.values())):
        assert not [name for each in table for name in each.__struct_fields__ if "cycle" in name or "rating" in name]
