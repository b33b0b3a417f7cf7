"""A scanner that types: byte by byte, is this a scan or a person at the keys? Pure; times come in.

Decided by structure first (an AIM identifier, `[)>`, a separator), then by the suffix that ends it, by timing last.
"""

import re

from msgspec import Struct, structs

from scanner_client import readings
from scanner_client.readings import Channel, Reading

FAST_MS = 35
"""A scanner leaves less than this between two characters; a person does not keep it up."""
FEWEST = 3
"""Fewer characters than this are never called a scan by their timing alone."""
SUFFIX_MS = 100
"""A CR, LF or TAB this soon after a message belongs to its suffix."""
IDLE_MS = 250
"""A message without a suffix has ended when nothing has come for this long."""
FEWEST_WITHOUT_SUFFIX = 6
LONGEST_BYTES = 4 * readings.LONGEST

_SUFFIXES = b"\r\n\t"
_STRUCTURED = re.compile(rb"\][A-Za-z][0-9A-Za-z]|\[\)>|[^\x1c-\x1f]*[\x1c-\x1f]", re.DOTALL)
_INTERRUPT, _EOT, _ESCAPE, _CLEAR, _BACKSPACES = 0x03, 0x04, 0x1B, 0x15, b"\x08\x7f"


class Scan(Struct, frozen=True, tag="scan"):
    """A symbol was scanned."""

    reading: Reading


class Text(Struct, frozen=True, tag="text"):
    """A person typed a line."""

    text: str


class Refused(Struct, frozen=True, tag="refused"):
    """Something arrived that can't be used, and why."""

    reason: str


class Interrupt(Struct, frozen=True, tag="interrupt"):
    """Somebody pressed Ctrl-C."""


class End(Struct, frozen=True, tag="end"):
    """Somebody pressed Ctrl-D on an empty line."""


Event = Scan | Text | Refused | Interrupt | End


class Wedge(Struct, frozen=True):
    """What has arrived of a message, the greatest gap in it, when its last byte came, and how long a suffix may follow."""

    held: bytes = b""
    slowest_ms: int = 0
    last_ms: int = 0
    suffix_until_ms: int | None = None
    escape: bytes = b""
    flooded: bool = False


def feed(state: Wedge, byte: int, at_ms: int) -> tuple[Wedge, Event | None]:
    """Take one byte that arrived at `at_ms` (any clock that only goes forward)."""
    gap = at_ms - state.last_ms if state.held else 0
    state = structs.replace(state, last_ms=at_ms, slowest_ms=max(state.slowest_ms, gap))
    if state.escape or byte == _ESCAPE:
        return structs.replace(state, escape=_after_escape(state.escape, byte)), None
    if byte == _INTERRUPT:
        return Wedge(), Interrupt()
    if byte in _SUFFIXES:
        return _suffix(state, byte, at_ms)
    if byte == _EOT:
        return _end_of_transmission(state, at_ms)
    return _character(state, byte)


def pause(state: Wedge, at_ms: int) -> tuple[Wedge, Event | None]:
    """Say that nothing has come until `at_ms`: a scanner without a suffix has then ended its message."""
    if (not state.held and not state.flooded) or at_ms - state.last_ms < IDLE_MS:
        return state, None
    if state.flooded or structured(state.held):
        return _ended(state, state.last_ms)
    if state.slowest_ms <= FAST_MS and len(state.held) >= FEWEST_WITHOUT_SUFFIX:
        return _ended(state, state.last_ms)
    return state, None


def structured(held: bytes) -> bool:
    """Whether the bytes alone say that a scanner sent them."""
    return _STRUCTURED.match(held) is not None


def shown(state: Wedge) -> str:
    """What to echo: what a person is typing, and nothing of a scan."""
    if structured(state.held):
        return ""
    return state.held.decode(errors="ignore")


def _after_escape(escape: bytes, byte: int) -> bytes:
    """An arrow key or a paste bracket arrives as ESC [ ... letter: swallow all of it."""
    if not escape:
        return b"\x1b"
    opened = escape + bytes((byte,))
    if len(opened) == len(b"\x1b["):
        return opened if byte in b"[O" else b""
    return b"" if ord("@") <= byte <= ord("~") else opened


def _suffix(state: Wedge, byte: int, at_ms: int) -> tuple[Wedge, Event | None]:
    if not state.held and not state.flooded:
        soon = state.suffix_until_ms is not None and at_ms <= state.suffix_until_ms
        return state, None if soon or byte == ord("\t") else Text("")
    if byte == ord("\t") and not state.flooded and not structured(state.held) and state.slowest_ms > FAST_MS:
        return state, None
    return _ended(state, at_ms)


def _end_of_transmission(state: Wedge, at_ms: int) -> tuple[Wedge, Event | None]:
    """EOT closes an ISO/IEC 15434 message; on an empty line it is Ctrl-D."""
    if structured(state.held):
        return _ended(structs.replace(state, held=state.held + readings.EOT), at_ms)
    return state, None if state.held or state.flooded else End()


def _character(state: Wedge, byte: int) -> tuple[Wedge, Event | None]:
    if state.flooded:
        return state, None
    if byte in _BACKSPACES and not structured(state.held):
        # A character of UTF-8 goes as a whole.
        return structs.replace(state, held=state.held.decode(errors="ignore")[:-1].encode()), None
    if byte == _CLEAR:
        return structs.replace(state, held=b"", slowest_ms=0), None
    if byte < ord(" ") and byte not in b"\x1c\x1d\x1e\x1f":
        return state, None
    if len(state.held) >= LONGEST_BYTES:
        return structs.replace(state, held=b"", flooded=True), None
    return structs.replace(state, held=state.held + bytes((byte,))), None


def _ended(state: Wedge, at_ms: int) -> tuple[Wedge, Event]:
    # A scanner that types slowly sends its suffix slowly as well.
    grace_ms = max(SUFFIX_MS, 2 * state.slowest_ms if structured(state.held) else 0)
    fresh = Wedge(last_ms=state.last_ms, suffix_until_ms=at_ms + grace_ms)
    if state.flooded:
        return fresh, Refused(f"More than {LONGEST_BYTES} bytes arrived in one piece. That is no mark; scan again.")
    by_timing = state.slowest_ms <= FAST_MS and len(state.held) >= FEWEST
    if not structured(state.held) and not by_timing:
        return fresh, _text(state.held)
    reading = readings.framed(state.held, Channel.WEDGE)
    reason = readings.fault(reading)
    return fresh, Refused(reason) if reason else Scan(reading)


def _text(held: bytes) -> Event:
    try:
        return Text(held.decode())
    except UnicodeDecodeError:
        return Refused("What was typed is not UTF-8 text. Set the terminal to UTF-8, then type it again.")
