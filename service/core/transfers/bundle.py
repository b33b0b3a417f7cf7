"""The bundle that a connector travels in: its form, and everything that is proved before anything of it is believed.

A ZIP file whose members are stored as they are, so that nothing unfolds to more than came in. `manifest.json` names every
other file with its size and SHA-256, and is signed (Ed25519, RFC 8032). The chain's hashes are those of the sender's ledger.
"""

import base64
import binascii
import hashlib
import io
import zipfile
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, TypeVar
from uuid import UUID

import msgspec
import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from msgspec import Meta, Struct

from service.core import chain
from service.core.entries import Instant, Note, Text

FORM = "tinebook-transfer/1"
MANIFEST, SIGNATURE = "manifest.json", "signature.json"
DEFINITIONS, ENTRIES, READ_ME = "definitions.ndjson", "entries.ndjson", "read_me.txt"
LOG_CARD, LOG_CARD_DATA = "log_card.pdf", "log_card.json"
RECORDS, SIGNATURES, EARLIER = "records.json", "signatures.json", "earlier.zip"
REQUIRED = (READ_ME, DEFINITIONS, ENTRIES, LOG_CARD, LOG_CARD_DATA)
POSSIBLE = (*REQUIRED, RECORDS, SIGNATURES, EARLIER)
_MADE = (1980, 1, 1, 0, 0, 0)
_ALGORITHM = "Ed25519"
_KEY_PREFIX, _KEY_BYTES = "ed25519:", 32

T = TypeVar("T")
Sha256 = Annotated[str, Meta(pattern="^[0-9a-f]{64}$(?!\\n)")]
PublicKey = Annotated[str, Meta(pattern="^ed25519:[A-Za-z0-9+/]{43}=$(?!\\n)")]


class BundleError(Exception):
    """A bundle that is not taken in: where it is wrong, what is wrong, and what to do."""

    def __init__(self, place: str, text: str, remedy: str) -> None:
        super().__init__(f"{place}: {text}. {remedy}")
        self.place, self.text, self.remedy = place, text, remedy


class Sender(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The installation that the connector leaves, and the key that it signs with."""

    installation: UUID
    public_key: PublicKey


class Recipient(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Who takes the connector over; with an installation, no other one takes the bundle in."""

    name: Text
    installation: UUID | None


class FileLine(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One file of the bundle."""

    name: str
    size_bytes: int
    sha256: Sha256


class Manifest(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What the bundle is, and what is in it: the part that is signed. `hash` is the head of the chain."""

    form: str
    id: UUID
    connector: UUID
    serial: str
    cage: str | None
    part_number: str | None
    marks: tuple[str, ...]
    sender: Sender
    recipient: Recipient
    reason: Note
    made_by: Text
    made_at: Instant
    definitions: int
    entries: int
    hash: Sha256
    files: tuple[FileLine, ...]
    notice: str


class Signed(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The signature over the manifest."""

    algorithm: str
    public_key: PublicKey
    signature: str


class Link(Struct, frozen=True):
    """One link of a chain as it travels: the RFC 8785 bytes that were hashed, and the hash."""

    body: bytes
    hash: bytes


class Bundle(Struct, frozen=True):
    """A bundle that holds together: signed by the key in it, every file as it was signed, both chains whole.

    Whether that key is anybody's to trust, and whether the content makes sense, is asked of it after that.
    """

    manifest: Manifest
    definitions: tuple[Link, ...]
    entries: tuple[Link, ...]
    files: dict[str, bytes]


class _Line(Struct, frozen=True, forbid_unknown_fields=True):
    body: msgspec.Raw
    hash: Sha256


_ASK = "Ask the sender for the bundle anew"


def lines(links: tuple[Link, ...]) -> bytes:
    """A chain as a file: one line a link, in RFC 8785 form, with the body just as it was hashed."""
    return b"".join(b'{"body":' + each.body + b',"hash":"' + each.hash.hex().encode() + b'"}\n' for each in links)


def file_line(name: str, data: bytes) -> FileLine:
    """A file as the manifest names it."""
    return FileLine(name=name, size_bytes=len(data), sha256=hashlib.sha256(data).hexdigest())


def pack(manifest: Manifest, files: Mapping[str, bytes], private_key: bytes) -> bytes:
    """The bundle: the same content and key give the same bytes."""
    told = chain.canonical(manifest)
    key = Ed25519PrivateKey.from_private_bytes(private_key)
    signature = base64.b64encode(key.sign(_signed(told))).decode()
    signed = Signed(algorithm=_ALGORITHM, public_key=manifest.sender.public_key, signature=signature)
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as held:
        for name, data in ((MANIFEST, told), (SIGNATURE, chain.canonical(signed)), *files.items()):
            held.writestr(zipfile.ZipInfo(name, _MADE), data)
    return target.getvalue()


def _signed(manifest: bytes) -> bytes:
    # The form goes first, so that nothing that this key signs for another purpose can pass for a manifest.
    return f"{FORM}\n".encode() + manifest


def read(data: bytes) -> Bundle:
    """Read a bundle and prove that it holds together. Raises `BundleError` at the first thing that does not."""
    files = _unpacked(data)
    manifest = _manifest(files.pop(MANIFEST))
    _check_signature(files.pop(SIGNATURE), chain.canonical(manifest), manifest)
    _check_files(manifest, files)
    definitions = _chained(DEFINITIONS, files[DEFINITIONS], b"", manifest.definitions)
    # Decision: the entries' chain begins at the first definition.
    entries = _chained(ENTRIES, files[ENTRIES], definitions[0].hash, manifest.entries)
    head = entries[-1].hash if entries else definitions[0].hash
    if head.hex() != manifest.hash:
        raise BundleError(MANIFEST, "its hash is not the head of the chain that came", _ASK)
    return Bundle(manifest, definitions, entries, files)


def _unpacked(data: bytes) -> dict[str, bytes]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as held:
            members = held.infolist()
            names = [each.filename for each in members]
            _check_names(names)
            if any(each.compress_type != zipfile.ZIP_STORED or each.flag_bits & 1 for each in members):
                raise BundleError("the file", "it holds members that are compressed or locked: not of our making", _ASK)
            if any(each.file_size > len(data) for each in members):
                raise BundleError("the file", "it states sizes larger than itself", _ASK)
            return {name: held.read(name) for name in names}
    except (zipfile.BadZipFile, ValueError, NotImplementedError, EOFError, OSError) as error:
        raise BundleError("the file", f"it is no ZIP file, or a damaged one ({error})", _ASK) from error


def _check_names(names: list[str]) -> None:
    known = {MANIFEST, SIGNATURE, *POSSIBLE}
    for each in names:
        if each not in known or names.count(each) > 1:
            raise BundleError("the file", f"it holds {each[:100]!r}, which does not belong in it, or twice", _ASK)
    for each in (MANIFEST, SIGNATURE, *REQUIRED):
        if each not in names:
            raise BundleError("the file", f"{each} is missing", _ASK)


class _Form(Struct):
    form: str


def _manifest(data: bytes) -> Manifest:
    form = _decoded(MANIFEST, data, _Form).form
    if form != FORM:
        newer = "Bring this installation up to date, or ask the sender for that form"
        raise BundleError(MANIFEST, f"the bundle is of the form {form[:50]!r}; this one reads {FORM!r}", newer)
    manifest = _decoded(MANIFEST, data, Manifest)
    if chain.canonical(manifest) != data:
        raise BundleError(MANIFEST, "it is not in RFC 8785 form, so it is not what was signed", _ASK)
    if manifest.definitions < 1 or manifest.entries < 0:
        raise BundleError(MANIFEST, "it counts no definition of the connector", _ASK)
    return manifest


def _decoded(place: str, data: bytes, wanted: type[T]) -> T:
    try:
        return msgspec.json.decode(data, type=wanted)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise BundleError(place, f"it can't be read ({error})", _ASK) from error


def _check_signature(data: bytes, manifest: bytes, told: Manifest) -> None:
    signed = _decoded(SIGNATURE, data, Signed)
    if signed.algorithm != _ALGORITHM or signed.public_key != told.sender.public_key:
        raise BundleError(SIGNATURE, "it is not by the key that the manifest names", _ASK)
    try:
        signature = base64.b64decode(signed.signature, validate=True)
        Ed25519PublicKey.from_public_bytes(key_bytes(signed.public_key)).verify(signature, _signed(manifest))
    except (InvalidSignature, binascii.Error, ValueError) as error:
        text = "the manifest is not what was signed: it was altered on the way, or signed by somebody else"
        raise BundleError(SIGNATURE, text, _ASK) from error


def _check_files(manifest: Manifest, files: dict[str, bytes]) -> None:
    listed = {each.name: each for each in manifest.files}
    if len(listed) != len(manifest.files) or listed.keys() != files.keys():
        raise BundleError(MANIFEST, "the files that it lists are not those that came", _ASK)
    for name, data in files.items():
        if file_line(name, data) != listed[name]:
            raise BundleError(name, "it is not what was signed: it was altered on the way", _ASK)


def _chained(place: str, data: bytes, start: bytes, count: int) -> tuple[Link, ...]:
    found: list[Link] = []
    previous = start
    for number, line in enumerate(data.split(b"\n")[:-1], 1):
        read_line = _decoded(f"{place}, line {number}", line, _Line)
        link = Link(bytes(read_line.body), bytes.fromhex(read_line.hash))
        where = f"{place}, line {number}"
        if lines((link,)) != line + b"\n" or not _is_canonical(link.body):
            raise BundleError(where, "it is not in RFC 8785 form", _ASK)
        previous = chain.link(previous, link.body)
        if previous != link.hash:
            raise BundleError(where, "its hash does not cover it and what came before it", _ASK)
        found.append(link)
    if len(found) != count or (not data.endswith(b"\n") and data):
        raise BundleError(place, f"it holds {len(found)} lines, the manifest says {count}", _ASK)
    return tuple(found)


def _is_canonical(data: bytes) -> bool:
    try:
        value: Any = msgspec.json.decode(data)
        return rfc8785.dumps(value) == data
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, rfc8785.CanonicalizationError):
        return False


def key_text(public_key: bytes) -> str:
    """A public key as it is written and read aloud: its kind and its 32 bytes in base64."""
    return f"{_KEY_PREFIX}{base64.b64encode(public_key).decode()}"


def key_bytes(text: str) -> bytes:
    """The 32 bytes of a written public key. Raises ValueError for what is none."""
    found = base64.b64decode(text.removeprefix(_KEY_PREFIX), validate=True)
    if not text.startswith(_KEY_PREFIX) or len(found) != _KEY_BYTES or key_text(found) != text:
        raise ValueError("a public key is written as ed25519: and 32 bytes in base64")
    return found


def fingerprint(public_key: bytes) -> str:
    """What two people compare of a key over the telephone: the first 80 bits of its SHA-256, in groups of four."""
    digits = hashlib.sha256(public_key).hexdigest()[:20]
    return " ".join(digits[start : start + 4] for start in range(0, 20, 4))


def read_me(manifest_time: datetime, connector: str, recipient: str) -> str:
    """What somebody reads who opens the bundle without Tinebook."""
    return f"""A connector's ledger on its way to another owner

Connector: {connector}
To: {recipient}
Made: {manifest_time:%Y-%m-%d %H:%M} UTC

{LOG_CARD} is the whole life of the connector for reading and printing.
To take the connector over: tinebook transfer in FILE (or POST /v1/transfers).
To check by hand: signature.json is an Ed25519 signature over "{FORM}", a line feed, and the bytes of manifest.json;
manifest.json has the SHA-256 of every other file. Each hash in {DEFINITIONS} is SHA-256 over the hash before it (nothing
before the first) and the bytes of its body; {ENTRIES} goes on likewise from the hash of the first definition.
"""
