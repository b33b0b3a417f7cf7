"""What a reader read: bytes, never text, until somebody who knows the standard has parsed them."""

import enum
import re

from msgspec import Struct

LONGEST = 2000
"""A mark is at most this many characters on the wire."""
MESSAGE_START = b"[)>"
"""How every ISO/IEC 15434 message begins."""
GS, RS, EOT = b"\x1d", b"\x1e", b"\x04"

LOST_SEPARATORS = (
    "The separators of this message are lost: it begins [)> but holds no GS character (hex 1D), so its fields can't be "
    "told apart. Set the scanner to send control characters as they are (as a serial port, or in its mode for them, "
    "with no substitute and no filter), then scan again."
)

_AIM_IDENTIFIER = re.compile(rb"\][A-Za-z][0-9A-Za-z]")
_NAMES = {0x1C: "<FS>", 0x1D: "<GS>", 0x1E: "<RS>", 0x1F: "<US>", 0x04: "<EOT>"}


class Channel(enum.StrEnum):
    """How a reading came in. Typed text is the least trusted: a person may have read it off a label."""

    PHOTO = "photo"
    CAMERA = "camera"
    SERIAL = "serial"
    WEDGE = "wedge"
    TYPED = "typed"


class Reading(Struct, frozen=True):
    """One symbol as read: its bytes, the AIM symbology identifier (`]d1`) if the reader gave one, and the channel."""

    data: bytes
    symbology: str | None = None
    channel: Channel = Channel.TYPED

    @property
    def text(self) -> str:
        """The mark as the wire carries it. Bytes that are not UTF-8 are taken as Latin-1, which loses none of them."""
        try:
            return self.data.decode()
        except UnicodeDecodeError:
            return self.data.decode("latin-1")

    @property
    def shown(self) -> str:
        """The mark for a person to look at: every control character by its name."""
        return "".join(_NAMES.get(ord(each), each if each >= " " else f"<{ord(each):02X}>") for each in self.text)


def typed(text: str) -> Reading:
    """A mark that somebody typed."""
    return Reading(text.encode(), None, Channel.TYPED)


def framed(message: bytes, channel: Channel) -> Reading:
    """A message as a scanner sends it: with or without an AIM identifier in front (ISO/IEC 15424)."""
    if _AIM_IDENTIFIER.match(message):
        return Reading(message[3:], message[:3].decode(), channel)
    return Reading(message, None, channel)


def fault(reading: Reading) -> str | None:
    """Why a reading can't be used, in words that say what to do; None if it can."""
    if not reading.data:
        return "Nothing was read."
    if reading.data.startswith(MESSAGE_START) and GS not in reading.data:
        return LOST_SEPARATORS
    if len(reading.text) > LONGEST:
        return f"This holds {len(reading.text)} characters; a mark has at most {LONGEST}. It is not a connector's mark."
    if "\x00" in reading.text:
        return "This holds a NUL character, which no mark has. Scan again, or type the serial number."
    return None
