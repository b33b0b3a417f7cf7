"""Reading what a client sends, and saying exactly what is wrong with it."""

import base64
import binascii
import re
from collections.abc import Mapping
from typing import Any, TypeVar

import msgspec
from litestar.datastructures import MultiDict
from msgspec import Struct, structs

from service import problems
from service.messages import Problem

T = TypeVar("T", bound=Struct)

_PATH = re.compile(r"^(?P<text>.*?)(?: - at `(?P<path>[^`]*)`)?$", re.DOTALL)
_PART = re.compile(r"\.(\w+)|\[(\d+|\.\.\.)\]")
_FIELD = re.compile(r"(?:unknown|required) field `([^`]*)`")


def body(data: bytes, wanted: type[T]) -> T:
    """A request body as a message. Raises the problem that says what is wrong and where."""
    try:
        return msgspec.json.decode(data, type=wanted)
    except msgspec.ValidationError as error:
        text, pointer = explain(str(error))
        raise problems.raised(problems.Type.INVALID_REQUEST, text, (pointer, text)) from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise problems.raised(problems.Type.MALFORMED_BODY, f"not readable as JSON in UTF-8: {error}") from error


def query(given: Mapping[str, Any], wanted: type[T]) -> T:
    """The query of a request as a message. What may be given several times is a tuple there."""
    try:
        return msgspec.convert(_told(given, wanted), wanted, strict=False)
    except msgspec.ValidationError as error:
        text, pointer = explain(str(error))
        raise problems.raised(
            problems.Type.INVALID_REQUEST, f"in the query: {text}", (f"?{pointer.removeprefix('#/')}", text)
        ) from error


def _told(given: Mapping[str, Any], wanted: type[T]) -> dict[str, Any]:
    if not isinstance(given, MultiDict):
        return dict(given)
    several = {each.encode_name for each in structs.fields(wanted) if isinstance(each.default, tuple)}
    return {name: given.getall(name) if name in several else given[name] for name in given}


def explain(message: str) -> tuple[str, str]:
    """A msgspec error as a sentence and a JSON pointer to what is wrong."""
    match = _PATH.match(message)
    text, path = (match["text"], match["path"] or "") if match else (message, "")
    parts = [name or index for name, index in _PART.findall(path)]
    field = _FIELD.search(text)
    if field:
        parts.append(field[1])
    escaped = [each.replace("~", "~0").replace("/", "~1") for each in parts if each != "..."]
    return text[:1].lower() + text[1:], "#" + "".join(f"/{each}" for each in escaped)


def entry_problem(error: Exception) -> Problem:
    """What is wrong with one entry of a batch; the pointer is relative to that entry."""
    text, pointer = explain(str(error))
    return problems.problem(problems.Type.INVALID_ENTRY, text, (pointer, text))


def encode_cursor(value: msgspec.Struct | None) -> str | None:
    """A cursor as an opaque text."""
    return None if value is None else base64.urlsafe_b64encode(msgspec.json.encode(value)).decode().rstrip("=")


def cursor(text: str | None, wanted: type[T]) -> T | None:
    """A cursor that an earlier page gave out."""
    if text is None:
        return None
    try:
        return msgspec.json.decode(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)), type=wanted)
    except (msgspec.DecodeError, binascii.Error, ValueError, RecursionError) as error:
        detail = "this is not a cursor of this list: leave it out to begin at the start"
        raise problems.raised(problems.Type.INVALID_REQUEST, detail, ("?cursor", detail)) from error
