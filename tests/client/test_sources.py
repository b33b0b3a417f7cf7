"""Where scans come from: files, a camera, a serial scanner, a raw terminal, a pipe."""

import io
import os
import pty
import stat
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from PIL import Image

from scanner_client import feeds, sources, wedge
from scanner_client.decode import UnreadableError
from scanner_client.readings import Channel, Reading
from scanner_client.sources import UnavailableError
from tests.client import symbols
from tests.client.symbols import MESSAGE
from tests.client.test_wedge import PLAIN


def test_photos_come_in_name_order(tmp_path: Path) -> None:
    """A folder gives its images, a pattern what it matches, a file itself."""
    for name in ("c.JPG", "a.png", "b.webp", "list.csv"):
        (tmp_path / name).write_bytes(b"x")
    assert [Path(each).name for each in sources.photos(str(tmp_path))] == ["a.png", "b.webp", "c.JPG"]
    assert [Path(each).name for each in sources.photos(str(tmp_path / "*.w*"))] == ["b.webp"]
    assert sources.photos(str(tmp_path / "list.csv")) == [str(tmp_path / "list.csv")]
    assert sources.photos("-") == ["-"]
    for nothing in (tmp_path / "x.png", tmp_path / "*.gif"):
        with pytest.raises(UnreadableError, match="no image here"):
            sources.photos(str(nothing))


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    """A file over 50 MB is refused before it is in memory."""
    path = tmp_path / "huge.png"
    with path.open("wb") as made:
        made.truncate(sources.MOST_PHOTO_BYTES + 1)
    with pytest.raises(UnreadableError, match="50 MB"):
        sources.photo(str(path))


def jpeg(text: str | None) -> bytes:
    """One picture of a camera."""
    seen = symbols.page(symbols.symbol(text)) if text else Image.new("L", (200, 200), 255)
    return symbols.encoded(seen, "JPEG")


def test_frames_are_cut_out_of_a_stream() -> None:
    """Whole pictures come out, what is between them or incomplete does not."""
    one, two = jpeg("SN-1"), jpeg("SN-2")
    stream = io.BytesIO(b"noise" + one + b"--" + two + one[:100])
    assert list(sources.frames(stream)) == [one, two]


def read(text: str, symbology: str = "]d1") -> Reading:
    """What a camera saw."""
    return Reading(text.encode(), symbology, Channel.CAMERA)


STEADY = [
    ("a matrix symbol at once", [[read("A")]], ["A"]),
    ("each symbol once while it stays", [[read("A")], [read("A")], [], [read("A")]], ["A"]),
    ("again after it was away", [[read("A")], [], [], [read("A")]], ["A", "A"]),
    ("another symbol", [[read("A")], [read("B")]], ["A", "B"]),
    ("a bar code only when two pictures agree", [[read("A", "]C0")], [read("A", "]C0")]], ["A"]),
    ("a bar code seen once is not believed", [[read("A", "]C0")], [read("B", "]C0")], []], []),
    ("Code 39 as well", [[read("A", "]A0")], [], [read("A", "]A0")]], []),
]


@pytest.mark.parametrize(("seen", "told"), [each[1:] for each in STEADY], ids=[each[0] for each in STEADY])
def test_what_a_camera_is_believed(seen: list[list[Reading]], told: list[str]) -> None:
    """Data Matrix after one picture, bar codes after two that agree."""
    assert [each.text for each in sources.steady(iter(tuple(each) for each in seen))] == told


@pytest.fixture
def fake_ffmpeg(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A program in ffmpeg's place that shows three pictures and then fails, and a device for it."""
    stream = tmp_path / "stream.mjpeg"
    stream.write_bytes(jpeg(None) + jpeg("SN-1042") + jpeg("SN-1042"))
    program = tmp_path / "ffmpeg"
    program.write_text(f"#!/bin/sh\ncat {stream}\necho device gone >&2\nexit 1\n")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{tmp_path}:/bin:/usr/bin")
    device = tmp_path / "video0"
    device.write_bytes(b"")
    return device


def test_a_camera_gives_readings_until_it_goes_away(fake_ffmpeg: Path) -> None:
    """Symbols in the pictures come out once; a camera that ends is an error with what the program said."""
    with pytest.raises(UnavailableError, match="device gone"):
        list(sources.camera(str(fake_ffmpeg)))
    seen = sources.camera(str(fake_ffmpeg))
    assert next(seen) == Reading(b"SN-1042", "]d1", Channel.CAMERA)


def test_no_camera_and_no_program_are_told_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing plugged in, or nothing installed to see with: each says what to do."""
    with pytest.raises(UnavailableError, match="no camera at"):
        next(sources.camera(str(tmp_path / "video9")))
    monkeypatch.setenv("PATH", str(tmp_path))
    device = tmp_path / "video0"
    device.write_bytes(b"")
    with pytest.raises(UnavailableError, match="apt install"):
        next(sources.camera(str(device)))


class Port:
    """A serial port that gives bytes and then silence; then it is pulled out."""

    def __init__(self, *pieces: bytes) -> None:
        self.left = [byte for piece in pieces for byte in ([bytes((each,)) for each in piece] or [b""])]

    def read(self, size: int = 1) -> bytes:
        """One byte, or none after a silence."""
        assert size == 1
        if not self.left:
            raise EOFError
        return self.left.pop(0)


def messages(*pieces: bytes) -> list[wedge.Event]:
    """The messages that a serial scanner sent, up to when it was pulled out."""
    found: list[wedge.Event] = []
    with suppress(EOFError):
        found.extend(sources.serial_messages(Port(*pieces)))
    return found


def test_serial_messages_end_by_suffix_eot_or_silence() -> None:
    """However a scanner ends its messages, each comes out whole."""
    scan = wedge.Scan(Reading(MESSAGE, None, Channel.SERIAL))
    assert messages(MESSAGE + b"\r\n", MESSAGE, b"") == [scan, scan]
    assert messages(b"]C0SN-1042\r") == [wedge.Scan(Reading(b"SN-1042", "]C0", Channel.SERIAL))]
    assert messages(b"SN-1042", b"") == [wedge.Scan(Reading(b"SN-1042", None, Channel.SERIAL))]
    assert isinstance(messages(b"[)>0617V\r")[0], wedge.Refused)
    assert messages(b"", b"\r\n") == []


def test_a_serial_port_that_is_not_there() -> None:
    """A missing port says what to plug in and which right is needed."""
    with pytest.raises(UnavailableError, match="dialout"):
        sources.serial_port("/dev/ttyNOWHERE", 9600)


def test_lines_of_a_pipe() -> None:
    """Scans and typed lines are told apart by their bytes; GS and RS never split a line."""
    piped = io.BytesIO(b"insert 14\r\n" + MESSAGE + b"\n]d1x y \nlast")
    assert list(sources.lines(piped)) == [
        wedge.Text("insert 14"),
        wedge.Scan(Reading(MESSAGE, None, Channel.SERIAL)),
        wedge.Scan(Reading(b"x y ", "]d1", Channel.SERIAL)),
        wedge.Text("last"),
    ]


def test_a_raw_terminal_loses_nothing() -> None:
    """Through a real terminal device in raw mode GS, RS and EOT arrive, and the terminal is put back afterwards."""
    import termios  # noqa: PLC0415

    outer, inner = pty.openpty()
    before = termios.tcgetattr(inner)
    echoed: list[str] = []
    with sources.raw_terminal(inner):
        found: Iterator[wedge.Event | None] = sources.keys(inner, echoed.append, profile=PLAIN)
        os.write(outer, MESSAGE + b"\r")
        first = next(each for each in found if each is not None)
        os.write(outer, b"\x03")
        second = next(each for each in found if each is not None)
    assert first == wedge.Scan(Reading(MESSAGE, None, Channel.WEDGE))
    assert second == wedge.Interrupt()
    assert "".join(echoed) == ""
    assert termios.tcgetattr(inner) == before
    os.close(outer)
    os.close(inner)


def test_what_another_person_has_half_typed_is_dropped() -> None:
    """After a time-out the next person's line is theirs alone; a scanner's profile stays."""
    outer, inner = pty.openpty()
    forget = iter((False, False, True, False, False, False))
    with sources.raw_terminal(inner):
        found = sources.keys(inner, lambda _: None, profile=PLAIN, forgetting=lambda: next(forget, False))
        os.write(outer, b"he")
        assert next(found) is None
        assert next(found) is None
        os.write(outer, b"list\r")
        assert next(each for each in found if each is not None) == wedge.Scan(Reading(b"list", None, Channel.WEDGE))
    os.close(outer)
    os.close(inner)


def test_events_of_other_sources_come_between_the_keys() -> None:
    """A scanner beside the keyboard is heard; one that fails says so instead of ending the talk."""
    poured = threading.Event()

    def scanner() -> Iterator[wedge.Event]:
        yield wedge.Text("from the scanner")
        poured.set()
        raise UnavailableError("pulled out")

    def keys() -> Iterator[wedge.Event | None]:
        assert poured.wait(5)
        while True:
            yield None

    found = []
    for each in feeds.merged(keys(), [scanner()]):
        if each is not None:
            found.append(each)
        if len(found) == 2:
            break
    assert found == [wedge.Text("from the scanner"), wedge.Refused("pulled out")]
