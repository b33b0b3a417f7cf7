"""A scanner that types, told from a person at the keys. The vectors are meant for a second implementation as well."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from scanner_client import keystrokes, wedge
from scanner_client.wedge import Event
from service.core import marks, wedge_profile
from service.core.marks import Meaning
from service.core.wedge_profile import CHECK, Profile
from tests.client.symbols import MESSAGE

VECTORS = json.loads(Path(__file__).with_name("vectors.json").read_text("utf-8"))["vectors"]
STATIONS = json.loads((Path(__file__).parents[1] / "core" / "wedge_vectors.json").read_text("utf-8"))

BYTES = {
    "Enter": b"\r",
    "Tab": b"\t",
    "Backspace": b"\x7f",
    "Ctrl+]": b"\x1d",
    "Ctrl+Shift+6": b"\x1e",
    "Ctrl+D": b"\x04",
    "F4": b"\x1bOS",
    "F8": b"\x1b[19~",
    "F9": b"\x1b[20~",
    "ArrowLeft": b"\x1b[D",
}
"""What a terminal gets for a key: control chords as the control characters themselves."""


def proven(symbol: bytes = CHECK.encode()) -> Profile:
    """The profile that these bytes prove."""
    profile = wedge_profile.prove(keystrokes.read(symbol))
    assert isinstance(profile, Profile)
    return profile


PLAIN = proven()


def run(keys: list[tuple[int, int]], silence_ms: int = 0, profile: Profile | None = PLAIN) -> list[Event]:
    """The events of bytes with their times, and of a silence after them."""
    state, found, at_ms = wedge.Wedge(profile=profile), [], 0
    for byte, at_ms in keys:
        state, event = wedge.feed(state, byte, at_ms)
        if event is not None:
            found.append(event)
    if silence_ms:
        _, event = wedge.pause(state, at_ms + silence_ms)
        if event is not None:
            found.append(event)
    return found


def told(event: Event) -> dict[str, str | None]:
    """An event in the form of the vectors."""
    match event:
        case wedge.Scan(reading):
            return {"type": "scan", "hex": reading.data.hex(), "symbology": reading.symbology}
        case wedge.Text(text):
            return {"type": "text", "text": text}
        case wedge.Refused():
            return {"type": "refused"}
        case wedge.Proven(profile):
            return {"type": "proven", "profile": profile.name}
        case wedge.Interrupt():
            return {"type": "interrupt"}
        case wedge.End():
            return {"type": "end"}


@pytest.mark.parametrize("vector", VECTORS, ids=[each["name"] for each in VECTORS])
def test_vector(vector: dict[str, object]) -> None:
    """Bytes with their gaps give exactly the events of the vector."""
    keys, at_ms = [], 0
    for part in vector["parts"]:  # type: ignore[attr-defined]
        for byte in bytes.fromhex(part["hex"]):
            at_ms += part["gap_ms"]
            keys.append((byte, at_ms))
    assert [told(each) for each in run(keys, int(vector.get("silence_ms", 0)))] == vector["events"]  # type: ignore[call-overload]


def pressed(received: list[Any]) -> list[bytes]:
    """The bytes of each key of a vector."""
    found: list[bytes] = []
    for each in received:
        found += [one.encode() for one in each] if isinstance(each, str) else [BYTES[each["key"]]]
    return found


STROKES = [each for each in STATIONS["strokes"] if each.get("only") != "page"]


@pytest.mark.parametrize("vector", STROKES, ids=[each["name"] for each in STROKES])
def test_strokes(vector: dict[str, Any]) -> None:
    """Keys at a proven station, or at one that is not, give the events that the page gives for them as well."""
    proofs = {each["name"]: each["received"] for each in STATIONS["proofs"]}
    profile = proven(b"".join(pressed(proofs[vector["proof"]]))) if vector["proof"] else None
    keys, at_ms = [], 1000
    for part in vector["parts"]:
        for key in pressed(part["received"]):
            at_ms += part["gap_ms"]
            keys += [(byte, at_ms) for byte in key]
    events = run(keys, vector.get("silence_ms", 0), profile)
    assert len(events) == len(vector["events"])
    for event, expected in zip(events, vector["events"], strict=True):
        if isinstance(event, wedge.Refused):
            assert expected["type"] == "refused"
            assert expected["reason"] in event.reason
        elif isinstance(event, wedge.Proven):
            assert event.profile.name == expected.get("at_terminal", expected["profile"])
        else:
            assert told(event) == expected


def test_gs1_symbols_are_those_that_are_read_as_gs1() -> None:
    """A symbol whose data need separators is one that the reader of marks takes apart by them."""
    assert all(marks.read(b"0109506000134352", each).meaning is Meaning.GS1 for each in wedge.GS1_SYMBOLS)
    others = {f"]{family}{each}" for family in "dQCeAzLI" for each in "0123456789ABC"} - wedge.GS1_SYMBOLS
    assert all(marks.read(b"0109506000134352", each).meaning is Meaning.PLAIN_SERIAL for each in others)


@given(st.lists(st.tuples(st.integers(0, 255), st.integers(0, 400)), max_size=300))
def test_a_station_that_is_not_proven_never_guesses(pairs: list[tuple[int, int]]) -> None:
    """Without a proof nothing that holds a separator, or a message's header, is ever taken for a scan."""
    keys, at_ms = [], 0
    for byte, gap in pairs:
        at_ms += gap
        keys.append((byte, at_ms))
    for event in run(keys, 1000, None):
        if isinstance(event, wedge.Scan):
            assert event.reading.data.isascii() or event.reading.data.decode()
            assert not event.reading.data.startswith(b"[)>")
            assert not any(each < 0x20 for each in event.reading.data)


def test_the_escape_key_does_not_eat_a_scan() -> None:
    """Somebody presses Escape; the message that is scanned a second later arrives whole."""
    keys = [(0x1B, 0), *((byte, 1000 + place) for place, byte in enumerate(MESSAGE + b"\r"))]
    assert [told(each) for each in run(keys)] == [{"type": "scan", "hex": MESSAGE.hex(), "symbology": None}]


def test_a_byte_that_is_no_text_can_stand_for_a_separator() -> None:
    """A scanner that leaks the function character as Latin-1 is proven like any other, and its messages arrive whole."""
    profile = proven(CHECK.encode().replace(b"\x1d", b"\xe8"))
    keys = [(byte, place * 5) for place, byte in enumerate(MESSAGE.replace(b"\x1d", b"\xe8") + b"\r")]
    scan = {"type": "scan", "hex": MESSAGE.hex(), "symbology": None}
    assert [told(each) for each in run(keys, profile=profile)] == [scan]
    assert [told(each) for each in run(keys, profile=PLAIN)] == [{"type": "refused"}]


@given(
    st.binary(min_size=1, max_size=200).map(lambda data: b"[)>\x1e06\x1d" + bytes(b for b in data if 0x20 < b < 0x7F)),
    st.integers(0, 3000),
    st.sampled_from([b"\r", b"\n", b"\r\n", b"\t"]),
)
def test_a_message_arrives_whole_at_any_speed(message: bytes, gap_ms: int, suffix: bytes) -> None:
    """Structure decides before timing: a message comes out byte for byte, once, however slowly the scanner types."""
    sent = message + b"\x1e\x04" + suffix
    end = len(message) + 1
    # The suffix follows at the scanner's own pace, never slower than its time-out.
    keys = [(byte, place * gap_ms if place <= end else end * gap_ms + 1) for place, byte in enumerate(sent)]
    scans = [each for each in run(keys) if isinstance(each, wedge.Scan)]
    assert [each.reading.data for each in scans] == [message + b"\x1e\x04"]
    assert len(run(keys)) == 1


@given(st.text(st.characters(min_codepoint=0x20, max_codepoint=0x2FF, exclude_characters="\x7f"), min_size=1))
def test_what_a_person_types_is_text(text: str) -> None:
    """Slow keys are a line of text, character for character, unless the line looks like a scanner's message."""
    data = text.encode()
    assume(not wedge.structured(data))
    keys = [(byte, place * (wedge.FAST_MS + 1)) for place, byte in enumerate(data + b"\r")]
    assert run(keys) == [wedge.Text(text)]


@given(st.lists(st.tuples(st.integers(0, 255), st.integers(0, 400)), max_size=300))
def test_no_bytes_break_it(pairs: list[tuple[int, int]]) -> None:
    """Any bytes at any times give events, never an exception, and no scan holds the refused form of a message."""
    keys, at_ms = [], 0
    for byte, gap in pairs:
        at_ms += gap
        keys.append((byte, at_ms))
    for event in run(keys, 1000):
        if isinstance(event, wedge.Scan):
            assert not event.reading.data.startswith(b"[)>") or b"\x1d" in event.reading.data


def test_a_flood_is_refused_and_the_next_scan_is_read() -> None:
    """More bytes than any mark has are refused as one; what follows after a pause is a message of its own."""
    keys = [(ord("A"), place) for place in range(wedge.LONGEST_BYTES + 500)]
    keys.append((ord("\r"), len(keys)))
    later = keys[-1][1] + 1000
    keys += [(byte, later + place) for place, byte in enumerate(b"SN-1042\r")]
    events = run(keys)
    assert isinstance(events[0], wedge.Refused)
    assert [told(each) for each in events[1:]] == [{"type": "scan", "hex": b"SN-1042".hex(), "symbology": None}]


def test_a_message_is_not_echoed_but_typing_is() -> None:
    """A person sees what they type; a message of control characters never reaches the screen."""
    state = wedge.Wedge()
    for place, byte in enumerate(b"inser"):
        state, _ = wedge.feed(state, byte, place * 200)
    assert wedge.shown(state) == "inser"
    state = wedge.Wedge()
    for place, byte in enumerate(MESSAGE[:-1]):
        state, _ = wedge.feed(state, byte, place)
    assert wedge.shown(state) == ""
