"""Labels on paper: PDF pages and sheets. The same labels give the same bytes."""

from datetime import UTC, datetime

from fpdf import FPDF
from fpdf.prefs import ViewerPreferences
from msgspec import Struct

from service.labels import printing
from service.labels.layout import CHARACTER_WIDTH, Label
from service.labels.symbols import LabelError

_MADE_AT = datetime(2000, 1, 1, tzinfo=UTC)
_POINTS_PER_MM = 72 / printing.MM_PER_INCH
_COURIER_WIDTH = 0.6


class Sheet(Struct, frozen=True):
    """A sheet of label stock to fill from its top left corner. Sizes in mm."""

    width_mm: float = 210
    height_mm: float = 297
    margin_mm: float = 10
    gap_mm: float = 2


def page(label: Label) -> bytes:
    """One label on a page of its own size, as printers of label rolls want it."""
    drawn = _Page(*(printing.size_mm(each, label.dpi) for each in (label.width, label.height)))
    drawn.pdf.add_page()
    drawn.draw(label, 0, 0)
    return drawn.bytes()


def sheets(labels: list[Label], sheet: Sheet) -> bytes:
    """Labels in rows on as many sheets as they need. Raises `LabelError` for one that no sheet holds."""
    drawn = _Page(sheet.width_mm, sheet.height_mm)
    x = y = row_mm = 0.0
    for number, label in enumerate(labels):
        width_mm, height_mm = (printing.size_mm(each, label.dpi) for each in (label.width, label.height))
        if max(width_mm - sheet.width_mm, height_mm - sheet.height_mm) > -2 * sheet.margin_mm:
            raise LabelError(f"a label of {width_mm:.0f} x {height_mm:.0f} mm does not fit on the sheet")
        if x + width_mm > sheet.width_mm - sheet.margin_mm:
            x, y, row_mm = sheet.margin_mm, y + row_mm + sheet.gap_mm, 0.0
        if number == 0 or y + height_mm > sheet.height_mm - sheet.margin_mm:
            drawn.pdf.add_page()
            x = y = sheet.margin_mm
            row_mm = 0.0
        drawn.draw(label, x, y)
        x, row_mm = x + width_mm + sheet.gap_mm, max(row_mm, height_mm)
    return drawn.bytes()


class _Page:
    """A PDF whose bytes depend on what is drawn alone."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        self.pdf = FPDF(unit="mm", format=(width_mm, height_mm))
        self.pdf.set_creation_date(_MADE_AT)
        self.pdf.set_auto_page_break(False)
        self.pdf.set_margin(0)
        # A viewer that fits the page to the paper would change the size of the modules.
        self.pdf.viewer_preferences = ViewerPreferences(print_scaling="None")

    def draw(self, label: Label, x_mm: float, y_mm: float) -> None:
        """Draw a label with its corner at a place, moved to the nearest dot of the printer."""
        dot_mm = printing.size_mm(1, label.dpi)
        left, top = (round(each / dot_mm) for each in (x_mm, y_mm))
        for x, y, width, height in label.dark_runs():
            self.pdf.rect((left + x) * dot_mm, (top + y) * dot_mm, width * dot_mm, height * dot_mm, style="F")
        points = label.text_height * dot_mm * _POINTS_PER_MM * CHARACTER_WIDTH / _COURIER_WIDTH
        self.pdf.set_font("Courier", size=points)
        for number, line in enumerate(label.lines):
            x, y = label.line_place(number)
            self.pdf.text((left + x) * dot_mm, (top + y) * dot_mm, line)

    def bytes(self) -> bytes:
        """The file."""
        return bytes(self.pdf.output())
