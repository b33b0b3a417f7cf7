"""A scanner that types, told from a person at the keys. The vectors are meant for a second implementation as well."""

import json
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from scanner_client import wedge
from scanner_client.wedge import Event
from tests.client.symbols import MESSAGE

VECTORS = json.loads(Path(__file__).with_name("vectors.json").read_text("utf-8"))["vectors"]


def run(keys: list[tuple[int, int]], silence_ms: int = 0) -> list[Event]:
    """The events of bytes with their times, and of a silence after them."""
    state, found, at_ms = wedge.Wedge(), [], 0
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
