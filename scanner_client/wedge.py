"""A scanner that types: key by key, is this a scan or a person at the keys? Pure; times come in.

Decided by structure first (an AIM identifier, `[)>`, a separator), then by the suffix that ends it, by timing last. A scan
is turned back by the station's proven profile; without one, what holds separators or ought to is refused. The page's
`core/wedge.js` does the same, held to the same vectors.
"""

import re

from msgspec import Struct, structs

from scanner_client import keystrokes, readings
from scanner_client.keystrokes import Keystrokes
from scanner_client.readings import Channel, Reading
from service.core import wedge_profile
from service.core.envelope import EOT, GS, RS, Fault
from service.core.wedge_profile import Profile

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
ESCAPE_MS = 500
"""An escape sequence goes on within this time, else it was the Escape key alone."""
PROOF_IDLE_MS = 1000
"""The check symbol has arrived when nothing has come for this long, whatever it arrived as."""

UNPROVEN = (
    "This scan holds separators or ought to hold some, and what the scanner makes of them here is not proven. Scan the check "
    "symbol first (tinebook label check prints it). Until then plain serial numbers alone can be scanned."
)
GS1_SYMBOLS = frozenset({"]d2", "]d5", "]d8", "]dB", "]Q3", "]Q4", "]C1", "]e0"})
"""Symbols whose data have separators between them (ISO/IEC 15424, from scanner makers' tables)."""

_SUFFIXES = "\r\n\t"
_STRUCTURED = re.compile(rb"\][A-Za-z][0-9A-Za-z]|\[\)>|[^\x1c-\x1f]*[\x1c-\x1f]", re.DOTALL)
_INTERRUPT, _EOT = 0x03, 0x04
_CLEAR, _BACKSPACES = "\x15", "\x08\x7f"
_SEPARATES = frozenset("\x1c\x1d\x1e\x1f")
_HEADER = "[)>"
_AIM = re.compile("\\][A-Za-z][0-9A-Za-z]")
_INVALID = re.compile("0x[0-9A-F]{2}")
_SUBSTITUTE = re.compile("[\x00-\x1f\x7f-\x9f\u2400-\u2426\ue000-\uf8ff\ufffe\uffff]")
# Separators written out, as label programs and scanners do (issue threads; the rest from memory).
_WRITTEN = re.compile(
    r"<(?:GS|RS|EOT)>|\{(?:GS|RS|EOT)\}|[~^]d?0(?:29|30|04)|\\x(?:1d|1e|04)", re.IGNORECASE | re.ASCII
)
_LETTERS_OF_CHECK = 60


class Scan(Struct, frozen=True, tag="scan"):
    """A symbol was scanned."""

    reading: Reading


class Text(Struct, frozen=True, tag="text"):
    """A person typed a line."""

    text: str


class Refused(Struct, frozen=True, tag="refused"):
    """Something arrived that can't be used, and why."""

    reason: str


class Proven(Struct, frozen=True, tag="proven"):
    """The check symbol was scanned, and this is the station's profile from now on: keep it."""

    profile: Profile


class Interrupt(Struct, frozen=True, tag="interrupt"):
    """Somebody pressed Ctrl-C."""


class End(Struct, frozen=True, tag="end"):
    """Somebody pressed Ctrl-D on an empty line."""


Event = Scan | Text | Refused | Proven | Interrupt | End


class Wedge(Struct, frozen=True):
    """What has arrived of a message, the greatest gap in it, when its last key came, and how long a suffix may follow."""

    held: tuple[str, ...] = ()
    slowest_ms: int = 0
    last_ms: int = 0
    suffix_until_ms: int | None = None
    flooded: bool = False
    profile: Profile | None = None
    keys: Keystrokes = Keystrokes()
    byte_ms: int = 0


def feed(state: Wedge, byte: int, at_ms: int) -> tuple[Wedge, Event | None]:
    """Take one byte that arrived at `at_ms` (any clock that only goes forward)."""
    if byte == _INTERRUPT:
        return Wedge(profile=state.profile), Interrupt()
    if byte == _EOT and not state.held and not state.flooded:
        return state, End()
    keys = state.keys if at_ms - state.byte_ms <= ESCAPE_MS else keystrokes.without_escape(state.keys)
    keys, tokens = keystrokes.feed(keys, byte)
    return _pressed(structs.replace(state, keys=keys, byte_ms=at_ms), tokens, at_ms)


def press(state: Wedge, key: str, at_ms: int) -> tuple[Wedge, Event | None]:
    """Take one key: a character, or the name of what was pressed."""
    gap = at_ms - state.last_ms if state.held else 0
    state = structs.replace(state, last_ms=at_ms, slowest_ms=max(state.slowest_ms, gap))
    if key in _SUFFIXES:
        return _suffix(state, key, at_ms)
    if key == EOT:
        # It closes an ISO/IEC 15434 message; while somebody types it means nothing.
        return _ended(_with(state, key), at_ms) if _structured(state) else (state, None)
    return _character(state, key, at_ms)


def pause(state: Wedge, at_ms: int) -> tuple[Wedge, Event | None]:
    """Say that nothing has come until `at_ms`: a scanner without a suffix has then ended its message."""
    if at_ms - max(state.last_ms, state.byte_ms) < IDLE_MS:
        return state, None
    state, event = _pressed(structs.replace(state, keys=Keystrokes()), keystrokes.rest(state.keys), state.byte_ms)
    if event is not None or (not state.held and not state.flooded):
        return state, event
    by_timing = state.slowest_ms <= FAST_MS and len(state.held) >= FEWEST_WITHOUT_SUFFIX
    if state.flooded or by_timing or _structured(state):
        return _ended(state, state.last_ms)
    return state, None


def structured(message: bytes) -> bool:
    """Whether the bytes alone say that a scanner sent them."""
    return _STRUCTURED.match(message) is not None


def shown(state: Wedge) -> str:
    """What to echo: what a person is typing, and nothing of a scan."""
    return "" if _structured(state) else "".join(each for each in state.held if len(each) == 1)


def _pressed(state: Wedge, tokens: tuple[str, ...], at_ms: int) -> tuple[Wedge, Event | None]:
    found: Event | None = None
    for each in tokens:
        state, event = press(state, each, at_ms)
        found = found or event
    return state, found


def _structured(state: Wedge) -> bool:
    """Whether what has arrived says by itself that a scanner sent it: its header, an identifier, or a separator."""
    held, profile = state.held, state.profile
    return (
        _begins(held, _delivered(profile, _HEADER))
        or _identified(held, _delivered(profile, "]"))
        or any(_separates(each, profile) for each in held)
    )


def _begins(held: tuple[str, ...], start: tuple[str, ...]) -> bool:
    return held[: len(start)] == start


def _identified(held: tuple[str, ...], bracket: tuple[str, ...]) -> bool:
    after = "".join(each for each in held[len(bracket) : len(bracket) + 2] if len(each) == 1)
    return _begins(held, bracket) and _AIM.fullmatch("]" + after) is not None


def _separates(key: str, profile: Profile | None) -> bool:
    return key in _SEPARATES or (
        profile is not None and len(key) > 1 and key in wedge_profile.delivered(profile, GS + RS)
    )


def _delivered(profile: Profile | None, text: str) -> tuple[str, ...]:
    return tuple(text) if profile is None else wedge_profile.delivered(profile, text)


def _suffix(state: Wedge, key: str, at_ms: int) -> tuple[Wedge, Event | None]:
    if not state.held and not state.flooded:
        soon = state.suffix_until_ms is not None and at_ms <= state.suffix_until_ms
        return state, None if soon or key == "\t" else Text("")
    if key == "\t" and not state.flooded and not _structured(state) and state.slowest_ms > FAST_MS:
        return state, None
    return _ended(state, at_ms)


def _character(state: Wedge, key: str, at_ms: int) -> tuple[Wedge, Event | None]:
    if state.flooded:
        return state, None
    if key in _BACKSPACES and not _structured(state):
        return structs.replace(state, held=_without_last(state.held)), None
    if key == _CLEAR:
        return structs.replace(state, held=(), slowest_ms=0), None
    is_character = len(key) == 1
    if (is_character and key < "\x1c") or (not is_character and not state.held):
        return state, None
    after = _from_header(state, _with(state, key))
    return _ended(after, at_ms) if _ends_by_profile(after) else (after, None)


def _with(state: Wedge, key: str) -> Wedge:
    if len(state.held) >= LONGEST_BYTES:
        return structs.replace(state, held=(), flooded=True)
    return structs.replace(state, held=(*state.held, key))


def _without_last(held: tuple[str, ...]) -> tuple[str, ...]:
    """Without the last character; an arrow key after it goes with it."""
    characters = [at for at, each in enumerate(held) if len(each) == 1]
    return held[: characters[-1]] if characters else ()


def _from_header(before: Wedge, state: Wedge) -> Wedge:
    """A message's header begins a message: what somebody has begun to type before it is dropped."""
    header = _delivered(state.profile, _HEADER)
    at = len(state.held) - len(header)
    if at <= 0 or state.held[at:] != header or _structured(before):
        return state
    return structs.replace(state, held=header, slowest_ms=0)


def _ends_by_profile(state: Wedge) -> bool:
    """Whether EOT has arrived, as whatever it arrives here."""
    end = wedge_profile.delivered(state.profile, EOT) if state.profile else ()
    return bool(end) and state.held[-len(end) :] == end and _structured(state)


def _ended(state: Wedge, at_ms: int) -> tuple[Wedge, Event]:
    by_structure = _structured(state)
    # A scanner that types slowly sends its suffix slowly as well.
    grace_ms = max(SUFFIX_MS, 2 * state.slowest_ms if by_structure else 0)
    fresh = structs.replace(state, held=(), slowest_ms=0, flooded=False, suffix_until_ms=at_ms + grace_ms)
    if state.flooded:
        return fresh, Refused(
            f"More than {LONGEST_BYTES} characters arrived in one piece. That is no mark; scan again."
        )
    by_timing = state.slowest_ms <= FAST_MS and len(state.held) >= FEWEST
    event = _scanned(state.held, state.profile) if by_structure or by_timing else _text(state.held)
    return (structs.replace(fresh, profile=event.profile) if isinstance(event, Proven) else fresh), event


def _text(held: tuple[str, ...]) -> Event:
    if any(_INVALID.fullmatch(each) for each in held):
        return Refused("What was typed is not UTF-8 text. Set the terminal to UTF-8, then type it again.")
    return Text("".join(each for each in held if len(each) == 1))


def _scanned(held: tuple[str, ...], profile: Profile | None) -> Event:
    if _is_check(held):
        found = wedge_profile.prove(held)
        return Refused(found.text) if isinstance(found, Fault) else Proven(found)
    if profile is None and _needs_proof(held):
        return Refused(UNPROVEN)
    message = "".join(held).encode() if profile is None else wedge_profile.normalise(profile, held)
    if isinstance(message, Fault):
        return Refused(message.text)
    reading = readings.framed(message, Channel.WEDGE)
    reason = readings.fault(reading)
    return Refused(reason) if reason else Scan(reading)


def _needs_proof(held: tuple[str, ...]) -> bool:
    """Whether a scan holds what only a profile can turn back, or ought to."""
    text = "".join(held)
    found = _AIM.match(text)
    symbology = found[0] if found else ""
    return (
        any(len(each) != 1 for each in held)
        or _SUBSTITUTE.search(text) is not None
        or _WRITTEN.search(text) is not None
        or text[len(symbology) :].startswith(_HEADER)
        or symbology in GS1_SYMBOLS
    )


def _is_check(held: tuple[str, ...]) -> bool:
    """Whether it is the check symbol, whatever the scanner makes of its signs."""
    letters = "".join(each for each in held if len(each) == 1 and each.isascii() and each.isalnum()).upper()
    return len(letters) > _LETTERS_OF_CHECK and "WEDGE" in letters and "CHECK" in letters
