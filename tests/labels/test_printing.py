"""Sizes that are refused, and what is said that would do. Figures are those of trials with labels, and rules of ours."""

from uuid import UUID

import pytest

from service.core.own_marks import Kind
from service.labels import content, layout, printing, symbols
from service.labels.symbols import LabelError, Symbol

CONNECTOR = UUID("6f9619ff-8b86-4d01-b42d-00cf4fc964ff")
UII = content.connector(CONNECTOR, "EX-0001", "0CVA5", "D38999/26WB35SN")
CONTENTS = (
    UII,
    content.connector(CONNECTOR, "EX-0001", None, None),
    content.own(Kind.BADGE, "117"),
    content.wedge_check(),
)


@pytest.mark.parametrize("held", CONTENTS)
@pytest.mark.parametrize(
    ("module_mm", "dpi", "reads"),
    [(0.33, 300, True), (0.33, 600, True), (0.25, 600, True), (0.25, 300, False), (0.25, 203, False)],
)
def test_sizes_that_trials_found_to_read(held: content.Content, module_mm: float, dpi: int, *, reads: bool) -> None:
    """The simulated print agrees with trials: 0.33 mm reads at 300 and 600 dpi, 0.25 mm at 600 dpi only."""
    symbol = symbols.data_matrix(held.text)
    quality = printing.quality(symbol, printing.snapped(module_mm, dpi), dpi)
    assert (quality >= printing.LEAST_UNUSED_CORRECTION) is reads


def test_a_symbol_is_square_and_held_to_its_text() -> None:
    """40 characters, of which the encoder would make a rectangle, become a square of 22 modules; too much is refused."""
    assert symbols.data_matrix("A" * 40).modules == len(symbols.data_matrix("A" * 40).rows[0]) == 22
    with pytest.raises(LabelError, match="can't be encoded"):
        symbols.data_matrix("\x07" * 3000)
    other = symbols.data_matrix("B" * 40)
    assert printing.quality(Symbol("A" * 40, other.rows), 4, 300) == 0


def test_modules_are_whole_dots() -> None:
    """A module is the nearest whole number of the printer's dots, and at least one."""
    assert [printing.snapped(0.33, dpi) for dpi in (203, 300, 600)] == [3, 4, 8]
    assert printing.snapped(0.001, 100) == 1
    assert printing.size_mm(300, 300) == 25.4


@pytest.mark.parametrize(
    ("module_mm", "dpi", "sleeve_mm", "told"),
    [
        (
            0.25,
            300,
            None,
            "0.254 mm (3 dots at 300 dpi) does not read back from a simulated print; 0.339 mm (4 dots) does",
        ),
        (
            0.05,
            203,
            None,
            "0.125 mm (1 dots at 203 dpi) does not read back from a simulated print; 0.375 mm (3 dots) does",
        ),
        (
            0.33,
            300,
            6,
            "a camera sees 6.3 mm at once, and this symbol of 24 modules is 8.13 mm wide at 0.339 mm a module",
        ),
        (0.5, 600, 10, "a module fits and reads back"),
        (0.33, 300, 2, "nothing that fits reads back at 300 dpi: use a sleeve of"),
    ],
)
def test_a_size_that_will_not_do_is_refused_with_one_that_will(
    module_mm: float, dpi: int, sleeve_mm: float | None, told: str
) -> None:
    """A label that would not read back, or go out of sight round its sleeve, is refused and says what would do."""
    with pytest.raises(LabelError) as refused:
        layout.label(UII, module_mm, dpi, sleeve_mm)
    assert told in str(refused.value)


@pytest.mark.parametrize("held", CONTENTS[:3])
@pytest.mark.parametrize(("dpi", "sleeve_mm"), [(600, 9), (600, 12), (300, 15), (203, 30)])
def test_what_is_said_to_fit_a_sleeve_does(held: content.Content, dpi: int, sleeve_mm: float) -> None:
    """The module that a refusal names is accepted, and its symbol stays within a third of the circumference (our rule)."""
    with pytest.raises(LabelError) as refused:
        layout.label(held, 2, dpi, sleeve_mm)
    fitting_mm = float(str(refused.value).rsplit("; ", 1)[1].split(" mm")[0])
    made = layout.label(held, fitting_mm, dpi, sleeve_mm)
    assert made.symbol.side * made.module_mm <= 3.1416 * sleeve_mm / 3
    assert made.quality >= printing.LEAST_UNUSED_CORRECTION


def test_the_same_label_gets_the_same_verdict() -> None:
    """The chance in the simulated print is seeded."""
    symbol = symbols.data_matrix(UII.text)
    assert len({printing.quality(symbol, 4, 300, 9) for _ in range(3)}) == 1
