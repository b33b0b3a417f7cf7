"""Our own marks, for what no standard of the trade marks: badges, tools, work orders, cavities and benches.

The form is a URN (RFC 8141), `urn:tinebook:KIND:NAME`, as in `urn:tinebook:badge:117` or
`urn:tinebook:tool:M81969/14-02`. Why this one: any label program prints it, as Data Matrix, QR or Code 128, since it is
plain text without control characters; a person can read it and type it; no scanner loses anything of it; it holds a colon
and lower-case letters, so that no UII, CAGE code or part number can be one; and it says by itself what it is, which the free
text of an ISO/IEC 15434 envelope (format 07) would not, and which data identifiers do for badge (H) and work order (W)
only.

Each name has one spelling: letters, digits and `-._~/!$&'()*+,;=:@` stand for themselves, every other character is
percent-encoded UTF-8. `URN:TINEBOOK:` may be in capitals and so may the hexadecimal digits, nothing else (RFC 8141, 3.1).
A character that ought to be encoded and is not is forgiven, since label programs leave spaces as they are; a `?` or `#` is
not, since what follows it would not belong to the name.
"""

import enum
import re
from urllib.parse import quote, unquote_to_bytes

from msgspec import Struct

PREFIX = "urn:tinebook:"
LONGEST_NAME = 200
LONGEST_CAVITY_ID = 16

_SAFE = "/!$&'()*+,;=:@"
_START = re.compile(PREFIX, re.IGNORECASE | re.ASCII)
_BAD_ESCAPE = re.compile("%(?![0-9A-Fa-f]{2})")
_ESCAPE = re.compile("%[0-9A-Fa-f]{2}")
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


class Kind(enum.StrEnum):
    """What can be marked."""

    BADGE = "badge"
    TOOL = "tool"
    WORK_ORDER = "work_order"
    CAVITY = "cavity"
    BENCH = "bench"


class OwnMark(Struct, frozen=True):
    """A mark of ours that was read. `escaped` is false where a character ought to have been percent-encoded."""

    kind: Kind
    name: str
    escaped: bool = True


class OwnMarkError(Exception):
    """A mark of ours that can't be used, or can't be made: says why."""


def is_meant(text: str) -> bool:
    """Whether a text begins like a mark of ours: then it is one, or a broken one, and nothing else."""
    return _START.match(text) is not None


def build(kind: Kind, name: str) -> str:
    """The text to print. Raises `OwnMarkError` for a name that could not be told from another one."""
    _check(kind, name)
    return f"{PREFIX}{kind}:{quote(name, safe=_SAFE)}"


def read(text: str) -> OwnMark:
    """Read a mark of ours. Raises `OwnMarkError`."""
    word, _, spelled = text[len(PREFIX) :].partition(":")
    if not is_meant(text) or word not in Kind.__members__.values():
        raise OwnMarkError(f"it must begin {PREFIX} and one of {', '.join(Kind)}")
    if "?" in spelled or "#" in spelled:
        raise OwnMarkError("a ? or # in its name must be percent-encoded")
    if _BAD_ESCAPE.search(spelled):
        raise OwnMarkError("a % in its name must begin two hexadecimal digits")
    try:
        name = unquote_to_bytes(spelled).decode()
    except UnicodeDecodeError as error:
        raise OwnMarkError("what is percent-encoded in its name is not UTF-8") from error
    kind = Kind(word)
    _check(kind, name)
    canonical = quote(name, safe=_SAFE)
    if _upper(quote(spelled, safe=_SAFE + "%")) != canonical:
        raise OwnMarkError("a character that stands for itself is percent-encoded in its name")
    return OwnMark(kind, name, _upper(spelled) == canonical)


def _upper(spelled: str) -> str:
    return _ESCAPE.sub(lambda found: found[0].upper(), spelled)


def _check(kind: Kind, name: str) -> None:
    longest = LONGEST_CAVITY_ID if kind is Kind.CAVITY else LONGEST_NAME
    if name != name.strip() or _CONTROL.search(name):
        raise OwnMarkError("its name has a control character, or a space at an end")
    if not 1 <= len(name) <= longest:
        raise OwnMarkError(f"its name must have 1 to {longest} characters")
    if kind is Kind.CAVITY and any(each.isspace() for each in name):
        raise OwnMarkError("a cavity's id has no spaces")
