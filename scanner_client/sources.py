"""Where scans come from: photos, a camera, a serial scanner, a scanner that types, typed lines."""

import glob
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Protocol

from scanner_client import decode, ladder, readings, wedge
from scanner_client.decode import UnreadableError
from scanner_client.readings import Channel, Reading
from service.core.wedge_profile import Profile

PHOTO_ENDINGS = frozenset({".png", ".jpg", ".jpeg", ".webp", ".tif", ".tiff", ".bmp", ".gif", ".ppm", ".pgm"})
MOST_PHOTO_BYTES = 50_000_000
MOST_FRAME_BYTES = 8_000_000
_JPEG_START, _JPEG_END = b"\xff\xd8", b"\xff\xd9"
_SILENCE_S = 0.1


class UnavailableError(Exception):
    """A source that can't be used here; the text says what to install or to plug in."""


def photos(told: str) -> list[str]:
    """The images that an argument means, in name order: a file, folder, or pattern with * or ?; - is standard input."""
    if told == "-":
        return [told]
    found = [str(each) for each in _paths(told)]
    if not found:
        raise UnreadableError(
            "no_image", told, "there is no image here.", "Check the name: PNG, JPEG, WebP, TIFF, BMP, GIF."
        )
    return found


def photo(where: str) -> bytes:
    """The bytes of an image that `photos` named."""
    if where == "-":
        return sys.stdin.buffer.read(MOST_PHOTO_BYTES + 1)
    try:
        if Path(where).stat().st_size > MOST_PHOTO_BYTES:
            raise UnreadableError("too_big", where, "the file is over 50 MB.", "Take the photo at a lower resolution.")
        return Path(where).read_bytes()
    except OSError as error:
        raise UnreadableError(
            "no_image", where, f"the file can't be read ({error.strerror}).", "Check its rights."
        ) from None


def frames(stream: IO[bytes]) -> Iterator[bytes]:
    """The JPEG images in a motion JPEG stream. What is not a whole image is dropped."""
    held = b""
    while piece := _available(stream):
        held += piece
        while (end := held.find(_JPEG_END)) >= 0:
            start = held.find(_JPEG_START)
            if 0 <= start < end:
                yield held[start : end + 2]
            held = held[end + 2 :]
        if len(held) > MOST_FRAME_BYTES:
            held = b""


def camera(device: str) -> Iterator[Reading]:
    """Symbols that a camera sees, each once while it stays in the picture. Runs until the caller stops asking."""
    with _camera_process(device) as process:
        assert process.stdout is not None  # noqa: S101 - it was opened as a pipe
        yield from steady(_seen(each) for each in frames(process.stdout))
        process.wait(timeout=5)
        told = process.stderr.read().decode(errors="replace")[-300:] if process.stderr else ""
        raise UnavailableError(
            f"The camera {device} gives no picture any more. Is it plugged in and free? It said: {told}"
        )


def steady(seen: Iterator[tuple[Reading, ...]]) -> Iterator[Reading]:
    """The readings worth believing: a matrix symbol at once, a bar code when two pictures in a row agree. Each once.

    Bar codes have no error correction, so that a single blurred picture can give a wrong one.
    """
    before: tuple[Reading, ...] = ()
    told: tuple[Reading, ...] = ()
    for now in seen:
        sure = tuple(each for each in now if not ladder.linear(each) or each in before)
        yield from (each for each in sure if each not in told)
        told = sure or (told if now or before else ())
        before = now


class Port(Protocol):
    """As much of a serial port as is used here."""

    def read(self, size: int = 1) -> bytes:
        """Up to `size` bytes; none after the port's time-out."""
        ...


def serial_port(name: str, baud: int) -> Port:
    """A serial scanner's port."""
    import serial  # noqa: PLC0415 - a bench without one starts faster, and need not have it

    try:
        port: Port = serial.Serial(name, baud, timeout=_SILENCE_S)
    except (serial.SerialException, ValueError) as error:
        raise UnavailableError(
            f"The serial scanner at {name} can't be opened ({error}). Plug it in, set it to serial (USB-CDC) mode, see "
            "that this user may use the port (on Linux: group dialout)."
        ) from None
    return port


def serial_messages(port: Port) -> Iterator[wedge.Event]:
    """Messages of a serial scanner. One ends with CR, LF or EOT, or when nothing has come for a tenth of a second."""
    held = b""
    while True:
        piece = port.read(1)
        if piece and piece not in (b"\r", b"\n"):
            held = (held + piece)[: wedge.LONGEST_BYTES]
            if piece != readings.EOT:
                continue
        if held:
            yield _message(held)
            held = b""


def keys(
    terminal: int,
    echo: Callable[[str], None],
    clock: Callable[[], float] = time.monotonic,
    profile: Profile | None = None,
    forgetting: Callable[[], bool] = lambda: False,
) -> Iterator[wedge.Event | None]:
    """What comes from a terminal in raw mode: scans and lines; None after each silence, so that others get a turn.

    `forgetting` says whether what is half typed is to be dropped, since it was another person's.
    """
    state = wedge.Wedge(profile=profile)
    while True:
        if forgetting():
            state = wedge.Wedge(profile=state.profile)
        ready, _, _ = select.select([terminal], [], [], _SILENCE_S)
        if not ready:
            state, event = wedge.pause(state, _ms(clock))
            yield event
            continue
        arrived = os.read(terminal, 4096)
        if not arrived:
            yield wedge.End()
            return
        for byte in arrived:
            state, event = wedge.feed(state, byte, _ms(clock))
            if event is not None:
                # What comes of a line begins where the line stood.
                echo("")
                yield event
        echo(wedge.shown(state))


def burst(terminal: int, clock: Callable[[], float] = time.monotonic) -> bytes | None:
    """Everything that comes from a terminal in raw mode in one go; None if somebody pressed Ctrl-C or Ctrl-D instead."""
    held, last_ms = b"", 0
    while not held or _ms(clock) - last_ms < wedge.PROOF_IDLE_MS:
        ready, _, _ = select.select([terminal], [], [], _SILENCE_S)
        if not ready:
            continue
        arrived = os.read(terminal, 4096)
        if not arrived or b"\x03" in arrived or (not held and arrived == readings.EOT):
            return None
        held, last_ms = (held + arrived)[: wedge.LONGEST_BYTES], _ms(clock)
    return held


@contextmanager
def raw_terminal(terminal: int) -> Iterator[None]:
    """Raw mode while scans are awaited: a cooked terminal swallows EOT and turns CR into LF."""
    try:
        import termios  # noqa: PLC0415 - not on every system
        import tty  # noqa: PLC0415
    except ImportError:
        raise UnavailableError(
            "A scanner that types needs a POSIX terminal here. Use a serial one, photos, or the bench page."
        ) from None
    before = termios.tcgetattr(terminal)
    try:
        tty.setraw(terminal, termios.TCSADRAIN)
        attributes = termios.tcgetattr(terminal)
        # Output keeps turning LF into CR LF, or every screen would run off to the right.
        attributes[1] = before[1]
        termios.tcsetattr(terminal, termios.TCSADRAIN, attributes)
        yield
    finally:
        termios.tcsetattr(terminal, termios.TCSADRAIN, before)


def lines(stream: IO[bytes]) -> Iterator[wedge.Event]:
    """Lines from a pipe: a scan where the bytes say so, else typed. Split at LF alone, since GS and RS are data."""
    for each in stream:
        message = each.removesuffix(b"\n").removesuffix(b"\r")
        yield _message(message) if wedge.structured(message) else _typed(message)


def _message(message: bytes) -> wedge.Event:
    reading = readings.framed(message, Channel.SERIAL)
    reason = readings.fault(reading)
    return wedge.Refused(reason) if reason else wedge.Scan(reading)


def _typed(message: bytes) -> wedge.Event:
    try:
        return wedge.Text(message.decode())
    except UnicodeDecodeError:
        return wedge.Refused("A line was not UTF-8 text.")


def _paths(told: str) -> list[Path]:
    path = Path(told)
    if path.is_dir():
        return sorted(each for each in path.iterdir() if each.suffix.lower() in PHOTO_ENDINGS and each.is_file())
    if path.is_file():
        return [path]
    # The pattern may be absolute, which Path.glob does not take.
    return sorted(Path(each) for each in glob.glob(told) if Path(each).is_file())  # noqa: PTH207


def _seen(frame: bytes) -> tuple[Reading, ...]:
    # Most pictures of a running camera show no symbol; that is no error.
    with suppress(UnreadableError):
        return tuple(each for each in decode.frame(frame, "camera").sure if readings.fault(each) is None)
    return ()


def _available(stream: IO[bytes]) -> bytes:
    """What a pipe holds now, without waiting for more than one byte."""
    reader = getattr(stream, "read1", stream.read)
    return bytes(reader(65_536))


@contextmanager
def _camera_process(device: str) -> Iterator[subprocess.Popen[bytes]]:
    process = subprocess.Popen(
        _camera_command(device), stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        for each in (process.stdout, process.stderr):
            if each is not None:
                each.close()


def _camera_command(device: str) -> list[str]:
    if not Path(device).exists():
        raise UnavailableError(
            f"There is no camera at {device}. Plug one in, or name it with --camera or TINEBOOK_BENCH_CAMERA."
        )
    if program := shutil.which("ffmpeg"):
        return [program, "-loglevel", "error", "-f", "v4l2", "-i", device, "-r", "10", "-f", "mjpeg", "-q:v", "3", "-"]
    if program := shutil.which("v4l2-ctl"):
        return [program, "-d", device, "--set-fmt-video=pixelformat=MJPG", "--stream-mmap", "--stream-to=-"]
    raise UnavailableError(
        "To see with a camera this bench needs ffmpeg or v4l2-ctl. Install one (Debian: apt install ffmpeg, or "
        "apt install v4l-utils), or use photos, a scanner, or the bench page."
    )


def _ms(clock: Callable[[], float]) -> int:
    return int(clock() * 1000)
