"""The files of the bench page: a fixed list made once, each with its type, its short forms and their ETags; and their version.

Our own scripts go out without comments and needless white space; what is of others goes out as it was pinned.
"""

import base64
import gzip
import hashlib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable

import brotli
import msgspec
from msgspec import Struct

from scanner_client import bare

LISTING = "/files.json"
"""Where the list of files with their version is: what the service worker fetches, and believes."""
WORKER = "/service_worker.js"
UNVERSIONED = b'const VERSION = "unversioned";'
"""The line of the service worker into which the version is written."""

_WORKERS = frozenset({WORKER, "/scan/worker.js"})
_DOCUMENTS = frozenset({".html", ".svg"})
_READY = ".br"
"""Ends the name of a file's brotli form that was made beforehand, since that takes seconds."""
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json",
    ".webmanifest": "application/manifest+json",
    ".wasm": "application/wasm",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".txt": "text/plain; charset=utf-8",
}
_VENDORED = "/vendor/"
_UNLISTED = frozenset(
    {"/manifest.webmanifest", "/icon-192.png", "/icon-512.png", "/vendor/LICENSES.txt", "/vendor/vendor.json"}
)
"""Given to who asks, but not kept by the service worker: a browser that puts the page among its apps fetches what it needs for that
itself, and no page at work needs the rest."""
_PAYS = 0.9
"""A short form is kept if it is smaller than this part of the file."""
_QUALITY = 11
"""Of brotli, for what is compressed as the server starts: a third of a second of a processor for all."""


class Form(Struct, frozen=True):
    """A file as it goes over the wire; each form has a strong ETag of its own (RFC 9110, 8.8.3)."""

    body: bytes
    etag: str


class PageFile(Struct, frozen=True):
    """One file as it is given. `short` are its shorter forms by content coding, the shortest first, where they pay.

    `runs`: a browser makes a document or a worker of it, which then lives under the policy that came with it.
    """

    media_type: str
    runs: bool
    plain: Form
    short: dict[str, Form]


class Listed(Struct, frozen=True):
    """A file as the service worker is told of it: its path, and its content as a browser checks it."""

    path: str
    integrity: str


class Listing(Struct, frozen=True):
    """All files that make one version of the page."""

    version: str
    files: tuple[Listed, ...]


@cache
def shipped() -> dict[str, PageFile]:
    """The page of this package, by path."""
    return made(resources.files("scanner_client").joinpath("page"))


def made(folder: Traversable) -> dict[str, PageFile]:
    """The files of a folder, with their list and the service worker of their version. Raises ValueError where they don't fit."""
    found = dict(sorted(_found(folder, "/")))
    ready = {path.removesuffix(_READY): found.pop(path) for path in [*found] if path.endswith(_READY)}
    bodies = {"/" if path == "/index.html" else path: _bare(path, body) for path, body in found.items()}
    version = _version(bodies)
    del bodies[WORKER]
    files = tuple(Listed(path, _integrity(body)) for path, body in bodies.items() if path not in _UNLISTED)
    bodies[LISTING] = msgspec.json.encode(Listing(version, files))
    bodies[WORKER] = _bare(WORKER, _versioned(found[WORKER], version))
    return {path: _file(path, body, ready) for path, body in bodies.items()}


def _found(folder: Traversable, above: str) -> Iterator[tuple[str, bytes]]:
    for each in folder.iterdir():
        if each.is_dir():
            yield from _found(each, f"{above}{each.name}/")
        elif _suffix(each.name.removesuffix(_READY)) in _TYPES:
            yield f"{above}{each.name}", each.read_bytes()


def _versioned(worker: bytes, version: str) -> bytes:
    if worker.count(UNVERSIONED) != 1:
        raise ValueError(f"{WORKER} must hold the line {UNVERSIONED.decode()} once, to take the version.")
    return worker.replace(UNVERSIONED, b'const VERSION = "%s";' % version.encode())


def _bare(path: str, body: bytes) -> bytes:
    return bare.script(body) if _suffix(path) == ".js" and not path.startswith(_VENDORED) else body


def _version(bodies: dict[str, bytes]) -> str:
    digest = hashlib.sha256()
    for path, body in bodies.items():
        digest.update(f"{path}\0{hashlib.sha256(body).hexdigest()}\n".encode())
    return digest.hexdigest()[:16]


def _integrity(body: bytes) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(body).digest()).decode()}"


def _file(path: str, body: bytes, ready: Mapping[str, bytes]) -> PageFile:
    tag = hashlib.sha256(body).hexdigest()[:16]
    forms = {
        "br": (ready[path] if path in ready else _brotli(body), "br"),
        "gzip": (gzip.compress(body, mtime=0), "gz"),
    }
    if path in ready and brotli.decompress(ready[path]) != body:
        raise ValueError(f"{path}{_READY} is not the short form of {path}.")
    short = {
        coding: Form(each, f'"{tag}-{name}"') for coding, (each, name) in forms.items() if len(each) < _PAYS * len(body)
    }
    kind = ".html" if path == "/" else _suffix(path)
    return PageFile(_TYPES[kind], kind in _DOCUMENTS or path in _WORKERS, Form(body, f'"{tag}"'), short)


def _brotli(body: bytes) -> bytes:
    return brotli.compress(body, quality=_QUALITY)


def _suffix(name: str) -> str:
    return name[name.rfind(".") :]
