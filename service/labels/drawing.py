"""One label as a file. The same label gives the same bytes."""

import io
from typing import Literal
from xml.sax.saxutils import escape

from PIL import Image, ImageDraw, ImageFont

from service.labels import printing
from service.labels.layout import Label
from service.labels.symbols import LabelError

MEDIA_TYPES = {"svg": "image/svg+xml", "png": "image/png", "pdf": "application/pdf"}


def draw(kind: Literal["svg", "png", "pdf"], label: Label) -> bytes:
    """A label in one of the formats; a PDF has a page of the label's own size."""
    match kind:
        case "svg":
            return svg(label)
        case "png":
            return png(label)
        case "pdf":
            from service.labels import paper  # noqa: PLC0415 - takes longer to load than all the rest of the service

            return paper.page(label)


def svg(label: Label) -> bytes:
    """One label as a vector drawing in its true size; a unit of it is one dot of the printer."""
    path = "".join(f"M{x} {y}h{width}v{height}h-{width}z" for x, y, width, height in label.dark_runs())
    width_mm, height_mm = (printing.size_mm(each, label.dpi) for each in (label.width, label.height))
    texts = "".join(
        f'<text x="{x}" y="{y}" textLength="{label.text_width(len(line))}" lengthAdjust="spacingAndGlyphs" '
        f'xml:space="preserve">{escape(line)}</text>\n'
        for line, (x, y) in ((line, label.line_place(number)) for number, line in enumerate(label.lines))
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm:.4f}mm" height="{height_mm:.4f}mm" '
        f'viewBox="0 0 {label.width} {label.height}" role="img">\n'
        f"<title>{escape(' / '.join(label.lines))}</title>\n"
        f'<rect width="{label.width}" height="{label.height}" fill="#fff"/>\n'
        f'<path d="{path}" fill="#000" shape-rendering="crispEdges"/>\n'
        f'<g font-family="monospace" font-size="{label.text_height}" fill="#000">\n{texts}</g>\n</svg>\n'
    ).encode()


def png(label: Label) -> bytes:
    """One label dot by dot, black and white, with the printer's resolution in it."""
    image = Image.new("1", (label.width, label.height), 1)
    draw = ImageDraw.Draw(image)
    for x, y, width, height in label.dark_runs():
        draw.rectangle((x, y, x + width - 1, y + height - 1), fill=0)
    for number, line in enumerate(label.lines):
        draw.text(label.line_place(number), line, fill=0, font=_font(label, line), anchor="ls")
    target = io.BytesIO()
    image.save(target, "PNG", dpi=(label.dpi, label.dpi))
    return target.getvalue()


def _font(label: Label, line: str) -> ImageFont.FreeTypeFont:
    """The size at which a line keeps to the room that it has in a fixed-width font."""
    size = float(label.text_height)
    while True:
        font = ImageFont.load_default(size)
        if not isinstance(font, ImageFont.FreeTypeFont):
            raise LabelError("this installation of Pillow can't draw letters: it was built without FreeType")
        if font.getlength(line) <= label.text_width(len(line)):
            return font
        size *= 0.95
