"""The files of the bench page: a fixed list made once, each with its type, its ETag and its short form; and their version."""

import base64
import gzip
import hashlib
from collections.abc import Iterator
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable

import msgspec
from msgspec import Struct

LISTING = "/files.json"
"""Where the list of files with their version is: what the service worker fetches, and believes."""
WORKER = "/service_worker.js"
UNVERSIONED = b'const VERSION = "unversioned";'
"""The line of the service worker into which the version is written."""

_HTML = "text/html; charset=utf-8"
_TYPES = {
    ".html": _HTML,
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json",
    ".webmanifest": "application/manifest+json",
    ".wasm": "application/wasm",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".txt": "text/plain; charset=utf-8",
}
_PAYS = 0.9
"""A short form is kept if it is smaller than this part of the file."""


class PageFile(Struct, frozen=True):
    """One file as it is given. `short` is its gzip form, where that pays; the two have ETags of their own (RFC 9110, 8.8.3)."""

    media_type: str
    body: bytes
    etag: str
    short: bytes | None

    @property
    def short_etag(self) -> str:
        """The ETag of the gzip form."""
        return f'{self.etag[:-1]}-gz"'


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
    """The files of a folder, with their list and the service worker of their version."""
    bodies = {"/" if path == "/index.html" else path: body for path, body in sorted(_found(folder, "/"))}
    version = _version(bodies)
    worker = bodies.pop(WORKER)
    if worker.count(UNVERSIONED) != 1:
        raise ValueError(f"{WORKER} must hold the line {UNVERSIONED.decode()} once, to take the version.")
    files = tuple(Listed(path, _integrity(body)) for path, body in bodies.items())
    bodies[LISTING] = msgspec.json.encode(Listing(version, files))
    bodies[WORKER] = worker.replace(UNVERSIONED, b'const VERSION = "%s";' % version.encode())
    return {path: _file(_HTML if path == "/" else _TYPES[_suffix(path)], body) for path, body in bodies.items()}


def _found(folder: Traversable, above: str) -> Iterator[tuple[str, bytes]]:
    for each in folder.iterdir():
        if each.is_dir():
            yield from _found(each, f"{above}{each.name}/")
        elif _suffix(each.name) in _TYPES:
            yield f"{above}{each.name}", each.read_bytes()


def _version(bodies: dict[str, bytes]) -> str:
    digest = hashlib.sha256()
    for path, body in bodies.items():
        digest.update(f"{path}\0{hashlib.sha256(body).hexdigest()}\n".encode())
    return digest.hexdigest()[:16]


def _integrity(body: bytes) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(body).digest()).decode()}"


def _file(media_type: str, body: bytes) -> PageFile:
    short = gzip.compress(body, mtime=0)
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    return PageFile(media_type, body, etag, short if len(short) < _PAYS * len(body) else None)


def _suffix(name: str) -> str:
    return name[name.rfind(".") :]
