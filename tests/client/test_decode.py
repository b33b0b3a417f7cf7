"""Images to scans: symbols made here are read back byte for byte, and everything else is a clear error."""

import io
import struct
import subprocess
import sys
import zlib

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from scanner_client import decode
from scanner_client.decode import UnreadableError
from scanner_client.readings import Channel, Reading
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


def modes() -> list[tuple[str, bytes]]:
    """The same readable symbol in the ways that files keep pixels."""
    grey = symbols.page(symbols.symbol("SN-1042"))
    levels = np.asarray(grey)
    animated = io.BytesIO()
    grey.convert("P").save(animated, "GIF", save_all=True, append_images=[Image.new("P", grey.size, 3)] * 5)
    moving = io.BytesIO()
    grey.convert("RGB").save(moving, "WEBP", save_all=True, append_images=[Image.new("RGB", grey.size)] * 3)
    pages = io.BytesIO()
    grey.save(pages, "TIFF", save_all=True, append_images=[Image.new("L", grey.size)])
    return [
        ("black and white", symbols.encoded(grey.convert("1"))),
        ("palette", symbols.encoded(grey.convert("RGB").quantize(7))),
        ("colour", symbols.encoded(grey.convert("RGB"))),
        ("CMYK", symbols.encoded(grey.convert("RGB").convert("CMYK"), "JPEG")),
        ("YCbCr", symbols.encoded(grey.convert("RGB").convert("YCbCr"), "TIFF")),
        ("grey with transparency", symbols.encoded(grey.convert("LA"))),
        ("32 bit", symbols.encoded(Image.fromarray(levels.astype(np.int32) * 70_000), "TIFF")),
        ("floating", symbols.encoded(Image.fromarray(levels.astype(np.float32) / 255), "TIFF")),
        ("animated GIF", animated.getvalue()),
        ("animated WebP", moving.getvalue()),
        ("two pages", pages.getvalue()),
    ]


MODES = modes()


@pytest.mark.parametrize("image", [each[1] for each in MODES], ids=[each[0] for each in MODES])
def test_however_pixels_are_kept(image: bytes) -> None:
    """Every way of keeping pixels is read; of several pictures in a file, the first."""
    assert decode.scan(image, "a").data == b"SN-1042"


@pytest.mark.parametrize("orientation", range(1, 9))
def test_photos_are_turned_as_the_camera_says(orientation: int) -> None:
    """A photo is seen upright whichever way the camera was held, mirrored ones included (Exif orientation, from memory)."""
    upright = symbols.page(symbols.symbol("SN-1042"))
    # What has to be done to a stored picture so that it is seen upright is undone here.
    undo = {2: 0, 3: 3, 4: 1, 5: 5, 6: 2, 7: 6, 8: 4}
    kept = upright.transpose(Image.Transpose(undo[orientation])) if orientation in undo else upright
    exif = Image.Exif()
    exif[0x0112] = orientation
    held = io.BytesIO()
    kept.save(held, "JPEG", exif=exif)
    seen = decode.pixels(held.getvalue(), "a")
    assert seen.shape == (upright.height, upright.width)
    assert np.abs(seen.astype(int) - np.asarray(upright).astype(int)).mean() < 3
    assert decode.scan(held.getvalue(), "a").data == b"SN-1042"


def header(width: int, height: int) -> bytes:
    """A PNG file that promises so many pixels and holds none."""
    parts = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)),
        (b"IDAT", zlib.compress(b"")),
        (b"IEND", b""),
    )
    packed = [
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in parts
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
@pytest.mark.parametrize(
    ("size", "code"),
    [
        ((10_000, 10_000), "too_big"),
        ((2_000_000_000, 2_000_000_000), "too_big"),
        ((1, 60_000_000), "too_big"),
        ((0, 0), "damaged_image"),
        ((0, 9), "damaged_image"),
        ((100, 100), "damaged_image"),
    ],
)
def test_what_a_header_promises_is_not_believed(size: tuple[int, int], code: str) -> None:
    """A hundred megapixels, a bomb, no pixels at all, none of those promised: refused before memory is taken."""
    with pytest.raises(UnreadableError) as caught:
        decode.scan(header(*size), "a")
    assert caught.value.code in (code, "not_an_image")


@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "TIFF", "GIF", "BMP", "PPM"])
def test_files_cut_off_and_bytes_changed(kind: str) -> None:
    """A file cut anywhere or changed anywhere is read right or is a clear error, never anything else."""
    rng = np.random.default_rng(8)
    whole = symbols.encoded(symbols.page(symbols.symbol("SN-1042", scale=4)), kind)
    spoilt = [whole[: len(whole) * part // 10] for part in range(10)]
    for _ in range(25):
        changed = bytearray(whole)
        for place in rng.integers(0, min(len(changed), int(rng.choice((60, 10**6)))), 4):
            changed[place] = int(rng.integers(256))
        spoilt.append(bytes(changed))
    for image in spoilt:
        try:
            found = decode.scans(image, "a", budget_s=0)
        except UnreadableError as error:
            assert error.to_do  # noqa: PT017 - either outcome is right
        else:
            assert {each.data for each in found} == {b"SN-1042"}


def test_the_biggest_image_fits_into_bounded_memory() -> None:
    """49 megapixels in colour and with transparency, under a kilobyte a hundred: read to the end in 1.5 GB."""
    script = (
        "import resource, sys\n"
        "from scanner_client import decode\n"
        "resource.setrlimit(resource.RLIMIT_AS, (1_500_000_000,) * 2)\n"
        "try:\n    decode.scans(sys.stdin.buffer.read(), 'a', budget_s=1)\n"
        "except decode.UnreadableError as error:\n    print(error.code)\n"
    )
    image = symbols.encoded(Image.new("RGBA", (7000, 7000), (255, 255, 255, 128)))
    told = subprocess.run([sys.executable, "-c", script], input=image, capture_output=True, check=True, timeout=120)
    assert told.stdout.strip() == b"no_symbol"


def test_a_bar_code_seen_once_is_not_guessed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bar code on which no second look agrees is an error that says so."""
    once = decode.Seen((), (Reading(b"SN-1", "]C0"),))
    monkeypatch.setattr(decode, "read", lambda *_: once)
    with pytest.raises(UnreadableError, match="too badly") as caught:
        decode.scan(whole(), "a")
    assert caught.value.code == "unsure_symbol"


def test_a_symbol_in_a_big_photo_is_read() -> None:
    """A label in a photo of 12 megapixels is read, in its middle or not."""
    for place in ((1900, 1400), (300, 2500)):
        photo = Image.new("L", (4000, 3000), 200)
        photo.paste(symbols.symbol("SN-1042", scale=10), place)
        assert decode.scan(symbols.encoded(photo), "a").data == b"SN-1042"
