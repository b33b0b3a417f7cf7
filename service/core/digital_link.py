"""GS1 Digital Link URIs: the elements that a web address carries in its path and query.

biip reads the path. What it is lenient about is refused here, after the rules of GS1's syntax engine: a scheme of mixed
case, no domain, a trailing slash, a GTIN of fewer than 14 digits, a numeric query key that is no application identifier,
an empty value; and the key is the rightmost one in the path, not the first.
"""

import re
from urllib.parse import parse_qsl, quote, unquote

from biip import ParseError
from biip.gs1_digital_link_uris import GS1DigitalLinkURI

from service.core import application_identifiers
from service.core.application_identifiers import Field

CANONICAL = "https://id.gs1.org/"
"""Where the canonical form of every GS1 Digital Link lives."""
KEYS = frozenset(
    [
        "00",
        "01",
        "253",
        "255",
        "401",
        "402",
        "414",
        "415",
        "417",
        "8003",
        "8004",
        "8006",
        "8010",
        "8013",
        "8017",
        "8018",
    ],
)
"""The identifiers that can begin the path (as biip has them; a test holds this list to it)."""
GTIN_DIGITS = 14

_WEB = re.compile("https?://", re.IGNORECASE | re.ASCII)
_FORM = re.compile(r"(?:https?|HTTPS?)://[^/?#]+/(?P<path>[^?#]*)(?:\?(?P<query>[^#]*))?(?:#.*)?")


class LinkError(Exception):
    """A web address that holds a GS1 key and is no legal Digital Link: says why."""


def is_meant(text: str) -> bool:
    """Whether a text is a web address with a GS1 key in its path: then it is a Digital Link or a broken one."""
    return _WEB.match(text) is not None and not KEYS.isdisjoint(re.split("[/?#]", text)[3:])


def read(text: str) -> tuple[Field, ...]:
    """The elements of a Digital Link, those of the path first. Raises `LinkError`."""
    found = _FORM.fullmatch(text)
    if found is None:
        raise LinkError("its scheme must be http or https in one case, with a domain after it")
    return (*_path(found["path"]), *_query(found["query"] or ""))


def canonical(*parts: tuple[str, str]) -> str:
    """The canonical URI of a key with its qualifiers: (identifier, value) pairs in the order of the path."""
    return CANONICAL + "/".join(f"{identifier}/{quote(value, safe='')}" for identifier, value in parts)


def _path(path: str) -> tuple[Field, ...]:
    segments = path.split("/")
    start = next((at for at in range(len(segments) - 2, -1, -2) if segments[at] in KEYS), None)
    if start is None or "" in segments[start:]:
        raise LinkError("its path must end in a GS1 key and value, and qualifiers, without a slash at the end")
    key, value = segments[start], unquote(segments[start + 1])
    if not unquote(path).isascii() or (key == "01" and len(value) != GTIN_DIGITS):
        raise LinkError(f"its GS1 key {key} has a value of the wrong form")
    try:
        link = GS1DigitalLinkURI.parse(CANONICAL + "/".join(segments[start:]))
    except ParseError as error:
        raise LinkError("its path holds a value of the wrong form, or a qualifier out of place") from error
    return tuple(Field(each.ai.ai, each.value) for each in link.element_strings)


def _query(query: str) -> tuple[Field, ...]:
    found = []
    for name, value in parse_qsl(query, keep_blank_values=True):
        if not name.isdigit():
            continue
        (*fields,) = application_identifiers.read(name + value)
        if not value or len(fields) != 1 or fields[0] != Field(name, value):
            raise LinkError(f"{name} in its query is no GS1 attribute, or has a value of the wrong form")
        found += fields
    return tuple(found)
