"""Keys as a terminal delivers them, byte by byte: characters, and the names of function keys. Pure.

A scanner may send a function key, or a character's number with the Alt key, for a separator, so none of them is dropped here:
each becomes a token as in `service/core/wedge_profile.py`.
"""

from collections.abc import Iterator

from msgspec import Struct, structs

_ESCAPE = 0x1B
_INTRODUCERS = (b"\x1b[", b"\x1bO", b"\x1b[[")
"""Control sequences, single shifts, and what the Linux console puts before its first function keys."""
_LONGEST_ESCAPE = 16
_FUNCTION_KEYS = {
    **{b"\x1bO" + bytes((ord("P") + at,)): f"F{at + 1}" for at in range(4)},
    **{b"\x1b[[" + bytes((ord("A") + at,)): f"F{at + 1}" for at in range(5)},
    **{b"\x1b[%d~" % code: f"F{at + 1}" for at, code in enumerate((11, 12, 13, 14, 15, 17, 18, 19, 20, 21, 23, 24))},
}
"""As xterm, the VT220 and the Linux console send them (from memory)."""
_PASTE_BRACKETS = (b"\x1b[200~", b"\x1b[201~")


class Keystrokes(Struct, frozen=True):
    """What has begun and is not a whole key yet: an escape sequence, or a character of UTF-8."""

    escape: bytes = b""
    character: bytes = b""


def feed(state: Keystrokes, byte: int) -> tuple[Keystrokes, tuple[str, ...]]:
    """Take one byte; gives the keys that it ends. A byte that is no UTF-8 becomes a token of its own, as `0xE8`."""
    if state.escape and byte >= ord(" "):
        opened = state.escape + bytes((byte,))
        return (Keystrokes(opened), ()) if _open(opened) else (Keystrokes(), _named(opened))
    if state.character and byte & 0xC0 == 0x80:  # noqa: PLR2004 - the bits of UTF-8
        return _grown(state.character + bytes((byte,)))
    broken = rest(state)
    if byte == _ESCAPE:
        return Keystrokes(b"\x1b"), broken
    begun, tokens = _grown(bytes((byte,)))
    return begun, broken + tokens


def rest(state: Keystrokes) -> tuple[str, ...]:
    """The bytes of a character that never became whole."""
    return tuple(_byte(each) for each in state.character)


def without_escape(state: Keystrokes) -> Keystrokes:
    """The same after a pause: the Escape key itself was pressed, which means nothing here."""
    return structs.replace(state, escape=b"")


def read(data: bytes) -> tuple[str, ...]:
    """All keys of some bytes."""
    return tuple(_read(data))


def _read(data: bytes) -> Iterator[str]:
    state = Keystrokes()
    for byte in data:
        state, tokens = feed(state, byte)
        yield from tokens
    yield from rest(state)


def _open(sequence: bytes) -> bool:
    """Whether more belongs to an escape sequence."""
    if sequence in _INTRODUCERS:
        return True
    ended = ord("@") <= sequence[-1] <= ord("~") and sequence[1:2] != b""
    return sequence[:2] in _INTRODUCERS and not ended and len(sequence) < _LONGEST_ESCAPE


def _named(sequence: bytes) -> tuple[str, ...]:
    if sequence in _PASTE_BRACKETS:
        return ()
    if sequence in _FUNCTION_KEYS:
        return (_FUNCTION_KEYS[sequence],)
    told = sequence[1:].decode("ascii", "replace")
    return (f"Alt+{told}",) if len(told) == 1 else (f"Esc{told}",)


def _grown(begun: bytes) -> tuple[Keystrokes, tuple[str, ...]]:
    """A character of UTF-8 so far: whole, still open, or none."""
    if len(begun) < _length(begun[0]):
        return Keystrokes(character=begun), ()
    try:
        return Keystrokes(), (begun.decode(),)
    except UnicodeDecodeError:
        return Keystrokes(), tuple(_byte(each) for each in begun)


def _length(first: int) -> int:
    """How many bytes a character of UTF-8 has, by its first one; 1 for a byte that begins none."""
    for length, start, end in ((2, 0xC2, 0xDF), (3, 0xE0, 0xEF), (4, 0xF0, 0xF4)):
        if start <= first <= end:
            return length
    return 1


def _byte(byte: int) -> str:
    return f"0x{byte:02X}"
