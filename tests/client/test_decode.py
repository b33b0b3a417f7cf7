"""Images to scans: symbols made here are read back byte for byte, and everything else is a clear error."""

import io

import pytest
import zxingcpp
from PIL import Image

from scanner_client import decode
from scanner_client.decode import UnreadableError
from scanner_client.readings import Channel
from tests.client import symbols

KINDS = [
    (zxingcpp.BarcodeFormat.DataMatrix, "]d1"),
    (zxingcpp.BarcodeFormat.QRCode, "]Q1"),
    (zxingcpp.BarcodeFormat.Code128, "]C0"),
    (zxingcpp.BarcodeFormat.Code39, "]A0"),
]


@pytest.mark.parametrize(("kind", "identifier"), KINDS, ids=[each[1] for each in KINDS])
def test_symbols_are_read_with_their_identifier(kind: zxingcpp.BarcodeFormat, identifier: str) -> None:
    """Each format gives its bytes and its AIM identifier (ISO/IEC 15424 modifiers, from scanner makers' tables)."""
    image = symbols.encoded(symbols.page(symbols.symbol("SN-1042", kind)))
    (found,) = decode.scans(image, "a.png")
    assert found.data == b"SN-1042"
    assert found.symbology is not None
    assert found.symbology.startswith(identifier[:2])
    assert found.channel is Channel.PHOTO


def test_a_message_keeps_its_separators() -> None:
    """An ISO/IEC 15434 message comes out with GS, RS and EOT, not with pictures of them."""
    image = symbols.encoded(symbols.page(symbols.symbol(symbols.MESSAGE.decode())))
    assert decode.scan(image, "a.png").data == symbols.MESSAGE


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "MPO", "WEBP", "TIFF", "BMP", "GIF"])
def test_image_formats(kind: str) -> None:
    """The usual files are read."""
    image = symbols.encoded(symbols.page(symbols.symbol("SN-1042")), kind)
    assert decode.scan(image, "a").data == b"SN-1042"


@pytest.mark.parametrize("degrees", [90, 180, 270])
def test_turned_photos(degrees: int) -> None:
    """A photo taken on its side is read."""
    turned = symbols.page(symbols.symbol("SN-1042")).rotate(degrees, expand=True)
    assert decode.scan(symbols.encoded(turned), "a").data == b"SN-1042"


def test_transparent_paper_is_white() -> None:
    """A symbol on a transparent background is read as if on white paper."""
    grey = symbols.page(symbols.symbol("SN-1042"))
    clear = Image.new("RGBA", grey.size, (0, 0, 0, 0))
    clear.paste((0, 0, 0, 255), mask=grey.point(lambda level: 255 - level))
    assert decode.scan(symbols.encoded(clear), "a").data == b"SN-1042"


def test_sixteen_bit_images() -> None:
    """A 16-bit grey image is read by its upper byte."""
    grey = symbols.page(symbols.symbol("SN-1042"))
    deep = Image.frombytes("I;16", grey.size, bytes(part for level in grey.tobytes() for part in (level, level)))
    assert decode.scan(symbols.encoded(deep), "a").data == b"SN-1042"


def test_a_symbol_too_fine_as_it_is_is_read_when_enlarged() -> None:
    """One pixel to a module is too fine as it is; twice the size is tried."""
    fine = symbols.page(symbols.symbol("SN-1042", scale=1))
    assert decode.scan(symbols.encoded(fine), "a").data == b"SN-1042"


def test_several_different_symbols_are_not_guessed_at() -> None:
    """Two different symbols are an error that lists both; the same one twice is one."""
    two = symbols.encoded(symbols.page(symbols.symbol("SN-1"), symbols.symbol("SN-2")))
    with pytest.raises(UnreadableError, match=r"2 different symbols.*SN-") as caught:
        decode.scan(two, "photo 7")
    assert caught.value.code == "several_symbols"
    assert {each.data for each in decode.scans(two, "photo 7")} == {b"SN-1", b"SN-2"}
    same = symbols.encoded(symbols.page(symbols.symbol("SN-1"), symbols.symbol("SN-1")))
    assert decode.scan(same, "photo 8").data == b"SN-1"


def test_a_symbol_that_lost_its_separators_is_refused() -> None:
    """A label that was printed without its separators is named as such."""
    image = symbols.encoded(symbols.page(symbols.symbol("[)>0617V0CVA51P1234S786950")))
    with pytest.raises(UnreadableError, match="separators") as caught:
        decode.scan(image, "a")
    assert caught.value.code == "unusable_symbol"


def whole() -> bytes:
    """A photo that is readable."""
    return symbols.encoded(symbols.page(symbols.symbol("SN-1042")), "JPEG")


def bomb(side: int) -> bytes:
    """A small file with a great many pixels."""
    return symbols.encoded(Image.new("1", (side, side), 1))


BAD = [
    ("nothing", b"", "not_an_image"),
    ("text", b"this is no image at all", "not_an_image"),
    ("a HEIF photo", b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic", "not_an_image"),
    ("half a JPEG", whole()[: len(whole()) // 2], "damaged_image"),
    ("half a PNG", symbols.encoded(Image.effect_noise((300, 300), 80))[:5000], "damaged_image"),
    ("51 million pixels", bomb(7200), "too_big"),
    ("200 million pixels", bomb(14_200), "too_big"),
    ("white paper", symbols.encoded(Image.new("L", (300, 300), 255)), "no_symbol"),
    ("one pixel", symbols.encoded(Image.new("L", (1, 1), 255)), "no_symbol"),
    ("noise", symbols.encoded(Image.effect_noise((300, 300), 80)), "no_symbol"),
]


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
@pytest.mark.parametrize(("image", "code"), [each[1:] for each in BAD], ids=[each[0] for each in BAD])
def test_errors_say_what_where_and_what_to_do(image: bytes, code: str) -> None:
    """Every bad image has its own code, and a text with the name of the image and something to do."""
    with pytest.raises(UnreadableError) as caught:
        decode.scan(image, "photo 7")
    assert caught.value.code == code
    assert str(caught.value).startswith("photo 7: ")
    assert caught.value.to_do


def test_a_valid_image_after_garbage_is_not_needed_twice() -> None:
    """Reading does not depend on what was read before."""
    with pytest.raises(UnreadableError):
        decode.scan(io.BytesIO(b"x" * 100).getvalue(), "bad")
    assert decode.scan(whole(), "good").data == b"SN-1042"
