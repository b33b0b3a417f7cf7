"""What a terminal delivers as keys: characters, function keys, and what is neither."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner_client import keystrokes


@pytest.mark.parametrize(
    ("data", "keys"),
    [
        (b"aA\x1d\x04\r", ["a", "A", "\x1d", "\x04", "\r"]),
        ("\u00e9\u241d\uf70b\U0001f600".encode(), ["\u00e9", "\u241d", "\uf70b", "\U0001f600"]),
        # xterm, VT220, Linux console: from memory.
        (b"\x1bOP\x1bOS\x1b[15~\x1b[19~\x1b[20~\x1b[24~\x1b[[B", ["F1", "F4", "F5", "F8", "F9", "F12", "F2"]),
        (b"\x1b0\x1b2\x1b9", ["Alt+0", "Alt+2", "Alt+9"]),
        (b"a\x1b[Db\x1b[1;5Cc", ["a", "Esc[D", "b", "Esc[1;5C", "c"]),
        (b"\x1b[200~ab\x1b[201~", ["a", "b"]),
        (b"\xe8x\xff\xc3", ["0xE8", "x", "0xFF", "0xC3"]),
        (b"\xe2\x90", ["0xE2", "0x90"]),
        (b"\xed\xa0\x80", ["0xED", "0xA0", "0x80"]),
        (b"\xe2\x1d", ["0xE2", "\x1d"]),
        (b"\x1b\x1d\x1b[\x1e", ["\x1d", "\x1e"]),
    ],
)
def test_keys_of_bytes(data: bytes, keys: list[str]) -> None:
    """Each byte ends up in one key, and a separator is never swallowed."""
    assert list(keystrokes.read(data)) == keys


@given(st.text(st.characters(exclude_characters="\x1b", exclude_categories=["Cs"])))
def test_text_is_its_characters(text: str) -> None:
    """Whatever is UTF-8 and no escape sequence arrives character for character."""
    assert list(keystrokes.read(text.encode())) == list(text)


@given(st.binary(max_size=60))
def test_no_bytes_break_it(data: bytes) -> None:
    """Any bytes give keys, and every separator among them is there, whatever stands before it."""
    keys = keystrokes.read(data)
    for separator in "\x1d\x1e\x04":
        assert keys.count(separator) == data.count(separator.encode())


def test_a_proof_needs_every_key() -> None:
    """A name is never one character long, so that no key passes for a character."""
    assert all(len(each) > 1 for each in keystrokes.read(b"\x1bOP\x1b[A\x1bx\xff\x1b[19~"))
