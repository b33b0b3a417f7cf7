"""What the page is served with: its certificate over TLS, and the authority that it hands out."""

import os
import ssl
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from msgspec import Struct

Note = Callable[[str], None]
"""Tells whoever runs the page something."""

_SOON = timedelta(days=14)


class UnusableError(Exception):
    """A certificate, key or authority that can't be used; says which file and why."""


class Offered(Struct, frozen=True):
    """The context of TLS, None for plain HTTP, and the authority in DER, None if there is none to hand out."""

    context: ssl.SSLContext | None
    authority_der: bytes | None


def offered(certificate: Path | None, key: Path | None, authority: Path | None, now: datetime, note: Note) -> Offered:
    """Open what the settings name. Raises `UnusableError`; notes what will soon or surely be in the way."""
    if (certificate is None) != (key is None):
        raise UnusableError("TLS needs both, the certificate and its key: --certificate FILE and --key FILE.")
    context = None
    if certificate is not None and key is not None:
        context = renewable(certificate, key, note)
        for each in remarks(certificate, key, now):
            note(each)
    return Offered(context, None if authority is None else authority_der(authority))


def renewable(certificate: Path, key: Path, note: Note) -> ssl.SSLContext:
    """A server's context for TLS 1.2 and above. From the next handshake on it uses what the files hold then.

    Files that don't fit each other, as between the two steps of a renewal, leave the certificate before in use.
    """
    first = _loaded(certificate, key)
    current, seen = first, _state(certificate, key)

    def choose(connection: ssl.SSLSocket | ssl.SSLObject, _name: str | None, _context: ssl.SSLContext) -> None:
        nonlocal current, seen
        now = _state(certificate, key)
        if now != seen:
            seen = now
            try:
                current = _loaded(certificate, key)
                note(f"{certificate} was renewed and is in use.")
            except UnusableError as error:
                note(f"The certificate before stays in use: {error}")
        connection.context = current

    # Called for every handshake, whether or not the other side names a host.
    first.sni_callback = choose
    return first


def remarks(certificate: Path, key: Path, now: datetime) -> tuple[str, ...]:
    """What whoever starts the page should know about its certificate."""
    held = x509.load_pem_x509_certificate(certificate.read_bytes())
    begins, ends = held.not_valid_before_utc, held.not_valid_after_utc
    found = []
    if now < begins:
        found.append(f"{certificate} is valid only from {begins:%Y-%m-%d %H:%M} UTC: browsers will refuse it.")
    if now >= ends:
        found.append(f"{certificate} ended {ends:%Y-%m-%d %H:%M} UTC: browsers refuse it. Renew it.")
    elif now >= ends - _SOON:
        found.append(f"{certificate} ends {ends:%Y-%m-%d %H:%M} UTC, in {(ends - now).days} days. Renew it.")
    if os.name == "posix" and key.stat().st_mode & 0o007:
        found.append(f"Everybody on this machine can use {key}. Take that away (chmod o= {key}).")
    return tuple(found)


def authority_der(path: Path) -> bytes:
    """The first certificate of a file, PEM or DER, as DER; nothing else that the file may hold gets out."""
    data = _read(path)
    try:
        held = x509.load_pem_x509_certificate(data) if b"-----BEGIN" in data else x509.load_der_x509_certificate(data)
        constraints = held.extensions.get_extension_for_class(x509.BasicConstraints).value
    except (ValueError, x509.ExtensionNotFound):
        raise UnusableError(f"{path} holds no certificate of an authority.") from None
    if not constraints.ca:
        raise UnusableError(f"{path} holds the certificate of a page, not that of the authority which signed it.")
    return held.public_bytes(Encoding.DER)


def _loaded(certificate: Path, key: Path) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    _read(certificate)
    _read(key)
    try:
        # With an empty passphrase a locked key is an error; without one the library would ask in the terminal.
        context.load_cert_chain(certificate, key, password="")
    except (OSError, ValueError) as error:
        raise UnusableError(
            f"{certificate} and {key} can't be used together: both must be PEM, the key without a passphrase and that of "
            f"the first certificate ({error})."
        ) from None
    return context


def _state(*files: Path) -> tuple[tuple[int, int, int] | None, ...]:
    return tuple(map(_stamp, files))


def _stamp(file: Path) -> tuple[int, int, int] | None:
    try:
        known = file.stat()
    except OSError:
        return None
    return known.st_mtime_ns, known.st_size, known.st_ino


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UnusableError(f"{path} can't be read ({error.strerror}).") from None
