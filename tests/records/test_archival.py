"""A record as PDF/A-2u, looked into by another library (pikepdf, which is qpdf): what it can see of ISO 19005-2.

The rules are from memory, since the standard's text was not at hand. No validator of the whole standard is in reach here
(veraPDF is in no registry of packages): colours, the letters' widths and tagging are not judged.
"""

import io
import zlib
from typing import Any

import msgspec
import pikepdf
import pytest

from service.core import chain
from service.core.entries import CavityDefinition
from service.core.records import entry
from service.core.records.content import MaintenanceRecord, SignatureLine
from service.core.records.entry import Occasion
from service.core.records.orders import Reference, WorkOrder
from service.records import forms
from tests.histories import CONNECTOR, START
from tests.records.test_counts import stated

_FORBIDDEN = (
    "/JavaScript",
    "/Launch",
    "/Sound",
    "/Movie",
    "/ResetForm",
    "/ImportData",
    "/XFA",
    "/EmbeddedFiles",
    "/AA",
)


def record(cavities: int = 1, **told: Any) -> MaintenanceRecord:
    """A record of work on so many cavities."""
    names = [f"{each}" for each in range(1, cavities + 1)]
    table = "\n".join(f"{kind} {each} work_order=WO-1" for each in names for kind in ("removal", "insertion"))
    order = WorkOrder(title="Rework", reference=Reference(document="Shop practice 7"), **told)
    statement = stated(table, order, cavities=tuple(CavityDefinition(each, "20") for each in names), populated=True)
    signature = SignatureLine(
        id=CONNECTOR,
        meaning="approved",
        outcome="accepted",
        remark=None,
        badge="badge 301",
        name="A. Example",
        certificate_number="EX-301",
        certificate_kind="repairman",
        method="secret",
        exception_reason=None,
        sha256=chain.digest(chain.canonical(statement)).hex(),
        signed_at=START,
    )
    occasion = Occasion(number=7, id=CONNECTOR, installation=CONNECTOR, made_at=START, made_by="test")
    return entry.make(statement, signature, occasion)


def drawn(found: MaintenanceRecord, form: forms.Form = "pdf", language: forms.Language = "de") -> bytes:
    """A record in a form."""
    canonical = chain.canonical(found)
    return forms.drawn(canonical, found, chain.digest(canonical).hex(), form, language)


def test_it_says_that_it_is_an_archival_file() -> None:
    """XMP names part 2, level U; title and language are there; nothing is encrypted; the file has an id and reads without fault."""
    with pikepdf.open(io.BytesIO(drawn(record()))) as pdf:
        assert pdf.check_pdf_syntax() == []
        assert not pdf.is_encrypted
        assert len(pdf.trailer["/ID"]) == 2
        assert str(pdf.Root.Lang) == "en"
        packet = pdf.Root.Metadata
        assert "/Filter" not in packet, "XMP has to be readable as it is"
        with pdf.open_metadata(set_pikepdf_as_editor=False) as told:
            assert (told["pdfaid:part"], told["pdfaid:conformance"]) == ("2", "U")
            assert "Record 7" in told["dc:title"]


def test_colours_have_an_output_intent() -> None:
    """One output intent of PDF/A with an ICC profile within: three components, RGB, the profile's own signature."""
    with pikepdf.open(io.BytesIO(drawn(record()))) as pdf:
        (intent,) = pdf.Root.OutputIntents
        assert intent.S == "/GTS_PDFA1"
        profile = intent.DestOutputProfile
        assert int(profile.N) == 3
        assert profile.read_bytes()[36:40] == b"acsp"
        assert profile.read_bytes()[16:20] == b"RGB "


def test_every_font_is_within_and_can_be_read_out() -> None:
    """Each font of each page is embedded and maps its letters to Unicode, as level U asks."""
    with pikepdf.open(io.BytesIO(drawn(record(40)))) as pdf:
        assert len(pdf.pages) > 2
        fonts = [font for page in pdf.pages for font in page.Resources.Font.values()]
        assert fonts
        for font in fonts:
            assert "/ToUnicode" in font
            (inner,) = font.DescendantFonts
            assert "/FontFile2" in inner.FontDescriptor
            assert inner.FontDescriptor.FontFile2.read_bytes()[:4] in (b"\x00\x01\x00\x00", b"true")


def test_nothing_runs_and_nothing_is_attached() -> None:
    """No scripts, no actions that start something, no files within, no transparency that a reader would have to work out."""
    with pikepdf.open(io.BytesIO(drawn(record()))) as pdf:
        written = "\n".join(str(each) for each in pdf.objects if isinstance(each, pikepdf.Dictionary | pikepdf.Stream))
        assert [each for each in _FORBIDDEN if each in written] == []
        for page in pdf.pages:
            states: Any = page.Resources.get("/ExtGState", {})
            assert all(float(each.get("/ca", 1)) == 1 for each in states.values())


@pytest.mark.parametrize("form", ["pdf", "html"])
def test_the_same_record_is_the_same_bytes(form: forms.Form) -> None:
    """Neither the moment nor chance is in a document."""
    found = record(5)
    again = msgspec.json.decode(chain.canonical(found), type=MaintenanceRecord)
    assert drawn(found, form) == drawn(again, form)
    assert zlib.crc32(drawn(found, form)) != zlib.crc32(drawn(record(6), form))
